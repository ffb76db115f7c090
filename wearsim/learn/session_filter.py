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
UNKNOWN_SPREAD = 1.0
"""Spread of a removal of which nothing is believed, in that of the engine [1]."""
LOG_STEP = 0.1
"""Step of the logarithm of the Preston coefficient in a difference [1]."""
LEAST_GLASS = 0.3e-9
"""Of the glass's height: no measurement is taken to be better, which keeps matrices sound [m]."""
NO_SIZES: Mapping[int, float] = MappingProxyType({})
"""Every session removes what its record says."""


@dataclass(frozen=True)
class Discrepancy:
    """How far a session's removal may stand from the engine's even with the right constants.

    The removal of a whole session varies by a common factor from one session to the next (charge, wetness, how hard the
    hands press): log-normal, its spread unknown itself and learnt with the constants. The shape of the removal differs a
    little from the round, averaged engine's: real strokes are few, jittered and walked. Measured against the planar
    engine (docs/learning.md).

    Parameters
    ----------
    spread : float
        Middle of the belief about the relative spread of the removal from session to session [1]. A judgement.
    spread_factor : float
        One-sigma factor within which that is believed [1]. A judgement.
    shape : float
        Difference in shape as a share of the RMS of the removal about its mean [1].
    even : float
        The same as a share of the mean removal [1].
    rim : float
        More of it at the rim, as a share of the mean removal [1].
    rim_length : float
        How fast that fades inwards, as a share of the mirror's radius [1].
    length : float
        Over which it goes together, as a share of the mirror's radius [1]. A judgement.
    floor : float
        Differences in shape that are always possible [m]. A judgement.
    """

    spread: float = 0.08
    spread_factor: float = 1.8
    shape: float = 0.02
    even: float = 0.003
    rim: float = 0.015
    rim_length: float = 0.04
    length: float = 0.15
    floor: float = 0.5e-9

    def covariance(self, removal: Floats, radius: Floats) -> Floats:
        """Covariance (n, n) of the glass after a session from the difference in shape [m^2]; removal and radius (n,) [m]."""
        weight = radius / radius.sum()
        mean = float(weight @ removal)
        about = float(np.sqrt(weight @ (removal - mean) ** 2))
        size = self.shape * about + self.even * abs(mean) + self.floor
        x = radius / radius[-1]
        rim = self.rim * abs(mean) * np.exp(-(1.0 - x) / self.rim_length)
        distance = x[:, None] - x
        return np.asarray(
            size**2 * np.exp(-0.5 * (distance / self.length) ** 2)
            + np.outer(rim, rim) * np.exp(-0.5 * (distance / self.rim_length) ** 2)
        )


@dataclass(frozen=True, eq=False)
class SessionModel:
    """One session as the filter needs it.

    Parameters
    ----------
    bench : Bench
        Under the session's conditions.
    lap : str or None
        How the lap began (:class:`wearsim.learn.mirror_folder.SessionNote`).
    """

    number: int
    bench: Bench
    programme: Programme
    lap: str | None
    observation: Observation


@dataclass(frozen=True, eq=False)
class FilterStep:
    """One session, predicted and corrected by what was read after it.

    Parameters
    ----------
    predicted : (n,) ndarray
        Glass after, before it was read [m].
    removal : (n,) ndarray
        [m]
    innovation, innovation_covariance : (p,), (p, p) ndarray
        Observed less expected, and the covariance of that, the filter's ``ratio`` in it.
    state : State
        Glass and laps after, the measurement taken in.
    covariance : (n, n) ndarray
        Of that glass, as stated [m^2].
    """

    predicted: Floats
    removal: Floats
    innovation: Floats
    innovation_covariance: Floats
    state: State
    covariance: Floats

    @property
    def chi_square(self) -> float:
        """Squared innovation in its own covariance; about the count of numbers compared where all is well [1]."""
        return float(self.innovation @ cho_solve(cho_factor(self.innovation_covariance), self.innovation))

    @property
    def log_likelihood(self) -> float:
        """Of the measurement, given those before it [1]."""
        return -0.5 * (self.chi_square + float(np.linalg.slogdet(self.innovation_covariance)[1]))


@dataclass(frozen=True, eq=False)
class Linearisation:
    """The engine of one session, linearised about one set of constants.

    What a session leaves uncertain is taken from here, and so does not depend on the constants that are tried:
    otherwise constants that remove little would be favoured for leaving little uncertain.

    Parameters
    ----------
    transition : (n, n) ndarray
        From errors of the glass before to errors after.
    removal : (n,) ndarray
        [m]
    response : (n,) ndarray
        Change of the glass after with the logarithm of the Preston coefficient [m].
    """

    transition: Floats
    removal: Floats
    response: Floats


@dataclass(frozen=True, eq=False)
class SessionFilter:
    """All sessions of a mirror on one grid.

    Parameters
    ----------
    first : StartFigure
        The glass before the first session, on the grid of ``accuracy``.
    ratio : float
        How many times as uncertain as stated everything is taken to be: the first figure, the sessions and the
        readings alike, which leaves all corrections of the glass as they are [1].
    """

    first: StartFigure
    models: tuple[SessionModel, ...]
    accuracy: Accuracy
    discrepancy: Discrepancy = field(default_factory=Discrepancy)
    ratio: float = 1.0

    def upto(self, count: int) -> SessionFilter:
        """The first ``count`` sessions alone."""
        return replace(self, models=self.models[:count])

    def follow(
        self, constants: Constants, spread: float, linearisations: tuple[Linearisation, ...] | None = None,
        misfits: frozenset[int] = frozenset(), sizes: Mapping[int, float] = NO_SIZES,
    ) -> tuple[FilterStep, ...]:  # fmt: skip
        """Follow the mirror through its sessions.

        Parameters
        ----------
        spread : float
            Of the removal from session to session [1].
        linearisations : tuple of Linearisation, optional
            Each session linearised (:meth:`linearised`); by default errors of the glass stay as they are, and what is
            uncertain goes by the removal with these very constants.
        misfits : frozenset of int
            Numbers of sessions whose record is not believed: only what was read after them counts.
        sizes : mapping from int to float
            Factors on the removal of sessions by number, 1 where there is none [1].

        Raises
        ------
        ContactError
            Where a balance was not found with these constants.
        """
        steps: list[FilterStep] = []
        state, covariance = self._start()
        for place, model in enumerate(self.models):
            linear = None if linearisations is None else linearisations[place]
            state = self._with_laps(model, state, is_first=place == 0)
            scaled = scaled_removal(constants, sizes.get(model.number, 1.0))
            steps.append(self._step(model, state, covariance, scaled, spread, linear, model.number in misfits))
            state, covariance = steps[-1].state, steps[-1].covariance
        return tuple(steps)

    def follow_closely(self, constants: Constants, spread: float, misfits: frozenset[int]) -> tuple[FilterStep, ...]:
        """As :meth:`follow`, the engine linearised at these very constants."""
        steps = self.follow(constants, spread, None, misfits)
        return self.follow(constants, spread, self.linearised(constants, steps), misfits)

    def _start(self) -> tuple[State, Floats]:
        first = self.first
        state = State(first.radius, first.height, MappingProxyType({}))
        return state, first.root @ first.root.T + LEAST_GLASS**2 * np.eye(first.radius.size)

    def _with_laps(self, model: SessionModel, state: State, is_first: bool) -> State:
        """The state with its laps as this session began."""
        as_left = model.lap == "as left" or (model.lap is None and not is_first)
        if as_left and state.laps:
            return state
        return start_state(with_lap_start(model.bench, model.lap), state.radius, state.height, self.accuracy)

    def _step(
        self, model: SessionModel, state: State, covariance: Floats, constants: Constants, spread: float,
        linear: Linearisation | None, is_misfit: bool,
    ) -> FilterStep:  # fmt: skip
        after = RadialEngine(self.accuracy).run(model.bench, model.programme, state, constants).end
        removal = state.height - after.height
        linear = linear or Linearisation(np.eye(removal.size), removal, -removal)
        grown = linear.transition @ covariance @ linear.transition.T
        grown = grown + self.discrepancy.covariance(linear.removal, state.radius)
        grown = grown + (UNKNOWN_SPREAD if is_misfit else spread) ** 2 * np.outer(linear.response, linear.response)
        if is_misfit:
            wide = replace(self.discrepancy, shape=UNKNOWN_SPREAD, even=UNKNOWN_SPREAD)
            grown = grown + wide.covariance(linear.removal, state.radius)
        observation = model.observation
        innovation = observation.innovation(after.height)
        total = observation.matrix @ grown @ observation.matrix.T + observation.covariance
        gain = cho_solve(cho_factor(total), observation.matrix @ grown).T
        corrected = corrected_state(after, gain @ innovation)
        if is_misfit:
            corrected = start_state(model.bench, state.radius, corrected.height, self.accuracy)
        left = grown - gain @ total @ gain.T
        left, innovation_covariance = 0.5 * (left + left.T), self.ratio**2 * total
        return FilterStep(after.height, removal, innovation, innovation_covariance, corrected, left)

    def linearised(
        self, constants: Constants, steps: tuple[FilterStep, ...], sizes: Mapping[int, float] = NO_SIZES
    ) -> tuple[Linearisation, ...]:
        """Each session linearised in the errors of the glass that it starts from, and in the removal.

        Differences are taken along the errors themselves, one sigma each; what lies outside of them stays as it is.
        ``steps`` are those of the same filter, followed with the same constants and sizes.
        """
        out = []
        covariance = self._start()[1]
        for model, step, state in zip(self.models, steps, self.states_before(steps), strict=True):
            scaled = scaled_removal(constants, sizes.get(model.number, 1.0))
            transition = self._transition(model, state, covariance, scaled, step.predicted)
            increased = scaled_removal(scaled, np.exp(LOG_STEP))
            changed = self._after(model, state, increased, step.predicted - LOG_STEP * step.removal)
            out.append(Linearisation(transition, step.removal, (changed - step.predicted) / LOG_STEP))
            covariance = step.covariance
        return tuple(out)

    def states_before(self, steps: tuple[FilterStep, ...]) -> tuple[State, ...]:
        """Glass and laps as each session began, the filter followed as in ``steps``."""
        before = [self._start()[0], *(step.state for step in steps[:-1])]
        return tuple(
            self._with_laps(model, state, is_first=place == 0)
            for place, (model, state) in enumerate(zip(self.models, before, strict=True))
        )

    def _after(self, model: SessionModel, state: State, constants: Constants, otherwise: Floats) -> Floats:
        """The glass after a session [m]; ``otherwise`` where no balance is found."""
        try:
            return RadialEngine(self.accuracy).run(model.bench, model.programme, state, constants).end.height
        except ContactError:
            return otherwise

    def _transition(
        self, model: SessionModel, state: State, covariance: Floats, constants: Constants, predicted: Floats
    ) -> Floats:
        root = _main_columns(covariance)
        moved = np.empty_like(root)
        for column in range(root.shape[1]):
            error = root[:, column]
            after = self._after(model, corrected_state(state, error), constants, predicted + error)
            moved[:, column] = after - predicted
        return np.asarray(np.eye(state.radius.size) + (moved - root) @ np.linalg.pinv(root))


def with_lap_start(bench: Bench, start: str | None) -> Bench:
    """The bench, its laps beginning pressed or spherical; as they are where ``start`` is neither."""
    if start not in ("pressed", "spherical"):
        return bench
    return bench.model_copy(update={"laps": tuple(lap.model_copy(update={"start": start}) for lap in bench.laps)})


def scaled_removal(constants: Constants, factor: float) -> Constants:
    """Constants of a session whose removal is ``factor`` times that of its record [1]."""
    return constants if factor == 1.0 else replace(constants, preston=constants.preston * factor)


def _main_columns(covariance: Floats, share: float = 1e-3) -> Floats:
    root = covariance_root(covariance)
    return root[:, np.sum(root**2, axis=0) > share * np.sum(root**2, axis=0).max()]


def corrected_state(state: State, change: Floats) -> State:
    """Glass changed by a correction (n,) [m], and every lap by as much the other way."""
    radius = state.radius
    laps = {}
    for name, pitch in state.laps.items():
        on_lap = spline_matrix(radius, np.clip(pitch.radius, radius[0], radius[-1])) @ change
        laps[name] = PitchProfile(pitch.radius, pitch.height - on_lap)
    return State(radius, state.height + change, MappingProxyType(laps))
