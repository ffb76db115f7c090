"""A mirror followed through its sessions with given constants: predict, compare with what was read, correct, go on.

The glass is never known exactly, so it is carried as a normal distribution: the engine moves its middle, a
linearised engine and the discrepancy move its covariance, and each measurement corrects both (a Kalman
filter). What is left over at every step, observed less expected with its covariance, is all that the
sessions say of the constants, and the covariances of the measurements before and after are in it.

Where a measurement corrects the glass, the pitch that lay on it is corrected by as much the other way: a lap fits
the real glass, not our picture of it.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from types import MappingProxyType

import numpy as np
from scipy.linalg import cho_factor, cho_solve

from wearsim.bench.bench import Bench
from wearsim.bench.programme import Programme
from wearsim.errors import ContactError
from wearsim.figure.aperture import spline_matrix
from wearsim.kernels.arrays import Floats
from wearsim.learn.discrepancy import Discrepancy
from wearsim.learn.observation import Observation
from wearsim.wear.accuracy import Accuracy
from wearsim.wear.constants import Constants
from wearsim.wear.initial_figure import StartFigure, covariance_root
from wearsim.wear.radial.engine import RadialEngine
from wearsim.wear.state import PitchProfile, State, start_state

LEARNING = Accuracy(
    glass_rings=36, pitch_rings=32, rim_share=0.9, offsets=14, per_radius=10, per_turn=9, ring_per_turn=8,
    tolerance=1e-2,
)  # fmt: skip
"""Of the engine when run hundreds of times: 0.3 nm RMS in three sessions of a micrometre (docs/learning.md)."""
UNKNOWN = 1.0
"""Spread of a removal of which nothing is believed, in that of the engine [1]."""
LITTLE = 0.1
"""Step of the logarithm of the Preston coefficient in a difference [1]."""
LEAST_GLASS = 0.3e-9
"""Of the glass's height: no measurement is taken to be better, which keeps matrices sound [m]."""
NO_SIZES: Mapping[int, float] = MappingProxyType({})
"""Every session removes what its record says."""


@dataclass(frozen=True, eq=False)
class Link:
    """One session as the chain needs it.

    Parameters
    ----------
    number : int
    bench : Bench
        Under the session's conditions.
    programme : Programme
    lap : str or None
        How the lap began (:class:`wearsim.learn.folder.SessionNote`).
    observation : Observation
    """

    number: int
    bench: Bench
    programme: Programme
    lap: str | None
    observation: Observation


@dataclass(frozen=True, eq=False)
class Step:
    """What one session told.

    Parameters
    ----------
    predicted : (n,) ndarray
        Glass after, before it was read [m].
    removal : (n,) ndarray
        [m]
    miss, spread : (p,), (p, p) ndarray
        Observed less expected, and the covariance of that, the chain's ``ratio`` in it.
    state : State
        Glass and laps after, the measurement taken in.
    covariance : (n, n) ndarray
        Of that glass, as stated [m^2].
    gain : (n, p) ndarray
        From the miss to the correction of the glass.
    """

    predicted: Floats
    removal: Floats
    miss: Floats
    spread: Floats
    state: State
    covariance: Floats
    gain: Floats

    @property
    def chi_square(self) -> float:
        """Squared miss in its own spread; about the count of numbers compared where all is well [1]."""
        return float(self.miss @ cho_solve(cho_factor(self.spread), self.miss))

    @property
    def log_likelihood(self) -> float:
        """Of the measurement, given those before it [1]."""
        return -0.5 * (self.chi_square + float(np.linalg.slogdet(self.spread)[1]))


@dataclass(frozen=True, eq=False)
class Frame:
    """The engine of one session, linearised about one set of constants.

    What a session leaves uncertain is taken from here, and so does not depend on the constants that are tried:
    otherwise constants that remove little would be favoured for leaving little uncertain.

    Parameters
    ----------
    carrier : (n, n) ndarray
        From errors of the glass before to errors after.
    removal : (n,) ndarray
        [m]
    response : (n,) ndarray
        Change of the glass after with the logarithm of the Preston coefficient [m].
    """

    carrier: Floats
    removal: Floats
    response: Floats


@dataclass(frozen=True, eq=False)
class Chain:
    """All sessions of a mirror on one grid.

    Parameters
    ----------
    first : StartFigure
        The glass before the first session, on the grid of ``accuracy``.
    links : tuple of Link
    accuracy : Accuracy
    discrepancy : Discrepancy
    ratio : float
        How many times as uncertain as stated everything is taken to be: the first figure, the sessions and the
        readings alike, which leaves all corrections of the glass as they are [1].
    """

    first: StartFigure
    links: tuple[Link, ...]
    accuracy: Accuracy
    discrepancy: Discrepancy = field(default_factory=Discrepancy)
    ratio: float = 1.0

    def upto(self, count: int) -> Chain:
        """The first ``count`` sessions alone."""
        return replace(self, links=self.links[:count])

    def with_link(self, link: Link) -> Chain:
        """The same with another record of one session."""
        return replace(
            self, links=tuple(link if one.number == link.number else one for one in self.links)
        )  # fmt: skip

    def follow(
        self, constants: Constants, spread: float, frames: tuple[Frame, ...] | None = None,
        misfits: frozenset[int] = frozenset(), sizes: Mapping[int, float] = NO_SIZES,
        done: tuple[Step, ...] = (),
    ) -> tuple[Step, ...]:  # fmt: skip
        """Follow the mirror through its sessions.

        Parameters
        ----------
        constants : Constants
        spread : float
            Of the removal from session to session [1].
        frames : tuple of Frame, optional
            Each session linearised (:meth:`frames`); by default errors of the glass stay as they are, and what is
            uncertain goes by the removal with these very constants.
        misfits : frozenset of int
            Numbers of sessions whose record is not believed: only what was read after them counts.
        sizes : mapping from int to float
            Factors on the removal of sessions by number, 1 where there is none [1].
        done : tuple of Step
            Its first sessions, followed already.

        Raises
        ------
        ContactError
            Where a balance was not found with these constants.
        """
        steps = list(done)
        state, covariance = (done[-1].state, done[-1].covariance) if done else self._start()
        for place, link in enumerate(self.links[len(done) :], start=len(done)):
            frame = None if frames is None else frames[place]
            state = self._laid_on(link, state, is_first=place == 0)
            its = sized(constants, sizes.get(link.number, 1.0))
            step = self._step(link, state, covariance, its, spread, frame, link.number in misfits)
            steps.append(step)
            state, covariance = step.state, step.covariance
        return tuple(steps)

    def follow_closely(
        self, constants: Constants, spread: float, misfits: frozenset[int] = frozenset(),
        sizes: Mapping[int, float] = NO_SIZES,
    ) -> tuple[Step, ...]:  # fmt: skip
        """As :meth:`follow`, the engine linearised at these very constants."""
        steps = self.follow(constants, spread, None, misfits, sizes)
        return self.follow(constants, spread, self.frames(constants, steps, sizes), misfits, sizes)

    def _start(self) -> tuple[State, Floats]:
        first = self.first
        state = State(first.radius, first.height, MappingProxyType({}))
        return state, first.root @ first.root.T + LEAST_GLASS**2 * np.eye(first.radius.size)

    def _laid_on(self, link: Link, state: State, is_first: bool) -> State:
        """The state with its laps as this session began."""
        as_left = link.lap == "as left" or (link.lap is None and not is_first)
        if as_left and state.laps:
            return state
        bench = link.bench
        if link.lap in ("pressed", "spherical"):
            laps = tuple(lap.model_copy(update={"start": link.lap}) for lap in bench.laps)
            bench = bench.model_copy(update={"laps": laps})
        return start_state(bench, state.radius, state.height, self.accuracy)

    def _step(
        self, link: Link, state: State, covariance: Floats, constants: Constants, spread: float,
        frame: Frame | None, is_misfit: bool,
    ) -> Step:  # fmt: skip
        after = RadialEngine(self.accuracy).run(link.bench, link.programme, state, constants).end
        removal = state.height - after.height
        frame = frame or Frame(np.eye(removal.size), removal, -removal)
        grown = frame.carrier @ covariance @ frame.carrier.T
        grown = grown + self.discrepancy.covariance(frame.removal, state.radius)
        grown = grown + (UNKNOWN if is_misfit else spread) ** 2 * np.outer(frame.response, frame.response)
        if is_misfit:
            wide = replace(self.discrepancy, shape=UNKNOWN, even=UNKNOWN)
            grown = grown + wide.covariance(frame.removal, state.radius)
        seen = link.observation
        miss = seen.miss(after.height)
        total = seen.matrix @ grown @ seen.matrix.T + seen.covariance
        gain = cho_solve(cho_factor(total), seen.matrix @ grown).T
        corrected = corrected_state(after, gain @ miss)
        if is_misfit:
            corrected = start_state(link.bench, state.radius, corrected.height, self.accuracy)
        left = grown - gain @ total @ gain.T
        left, spread_of_miss = 0.5 * (left + left.T), self.ratio**2 * total
        return Step(after.height, removal, miss, spread_of_miss, corrected, left, gain)

    def frames(
        self, constants: Constants, steps: tuple[Step, ...], sizes: Mapping[int, float] = NO_SIZES
    ) -> tuple[Frame, ...]:
        """Each session linearised in the errors of the glass that it starts from, and in the removal.

        Differences are taken along the errors themselves, one sigma each; what lies outside of them stays as it is.

        Parameters
        ----------
        constants : Constants
        steps : tuple of Step
            The same chain followed with these constants.
        sizes : mapping from int to float
            Factors on the removal of sessions by number, as it was followed with [1].
        """
        out = []
        covariance = self._start()[1]
        for link, step, state in zip(self.links, steps, self.begun(steps), strict=True):
            its = sized(constants, sizes.get(link.number, 1.0))
            carrier = self._carrier(link, state, covariance, its, step.predicted)
            more = sized(its, np.exp(LITTLE))
            changed = self._after(link, state, more, step.predicted - LITTLE * step.removal)
            out.append(Frame(carrier, step.removal, (changed - step.predicted) / LITTLE))
            covariance = step.covariance
        return tuple(out)

    def begun(self, steps: tuple[Step, ...]) -> tuple[State, ...]:
        """Glass and laps as each session began, the chain followed as in ``steps``."""
        before = [self._start()[0], *(step.state for step in steps[:-1])]
        return tuple(
            self._laid_on(link, state, is_first=place == 0)
            for place, (link, state) in enumerate(zip(self.links, before, strict=True))
        )

    def _after(self, link: Link, state: State, constants: Constants, otherwise: Floats) -> Floats:
        """The glass after a session [m]; ``otherwise`` where no balance is found."""
        try:
            return RadialEngine(self.accuracy).run(link.bench, link.programme, state, constants).end.height
        except ContactError:
            return otherwise

    def _carrier(self, link: Link, state: State, covariance: Floats, constants: Constants, predicted: Floats) -> Floats:
        root = _main_columns(covariance)
        moved = np.empty_like(root)
        for column in range(root.shape[1]):
            error = root[:, column]
            after = self._after(link, corrected_state(state, error), constants, predicted + error)
            moved[:, column] = after - predicted
        return np.asarray(np.eye(state.radius.size) + (moved - root) @ np.linalg.pinv(root))


def sized(constants: Constants, factor: float) -> Constants:
    """Constants of a session whose removal is ``factor`` times that of its record [1]."""
    return constants if factor == 1.0 else replace(constants, preston=constants.preston * factor)


def _main_columns(covariance: Floats, share: float = 1e-3) -> Floats:
    root = covariance_root(covariance)
    return root[:, np.sum(root**2, axis=0) > share * np.sum(root**2, axis=0).max()]


def corrected_state(state: State, change: Floats) -> State:
    """Glass changed by a correction (n,) [m], and every lap by as much the other way.

    Parameters
    ----------
    state : State
    change : (n,) ndarray
        [m]
    """
    radius = state.radius
    laps = {}
    for name, pitch in state.laps.items():
        on_lap = spline_matrix(radius, np.clip(pitch.radius, radius[0], radius[-1])) @ change
        laps[name] = PitchProfile(pitch.radius, pitch.height - on_lap)
    return State(radius, state.height + change, MappingProxyType(laps))
