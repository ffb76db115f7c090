"""A mirror followed through its sessions with given constants: predict, compare with what was read, correct, go on.

The glass is never known exactly, so it is carried as a normal distribution: the engine moves its middle, a
linearised engine and the discrepancy move its covariance, and each measurement corrects both (a Kalman
filter). What is left over at every step, observed less expected with its covariance, is all that the
sessions say of the constants, and the covariances of the measurements before and after are in it. What no
window sees stays known from what was worked.

What a session does of its own accord (:mod:`wearsim.wear.discrepancy`) is of the usual size in most sessions and many
times that in a few: something was not as it was recorded. So its distribution is a mixture of sizes (:class:`Tails`), and
a session counts the less, the worse it fits.

Where a measurement corrects the glass, the pitch that lay on it is corrected by as much the other way: a lap fits
the real glass, not our picture of it.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from functools import partial
from types import MappingProxyType

import numpy as np
from scipy.linalg import cho_factor, cho_solve

from wearsim.bench.bench import Bench
from wearsim.bench.lap import Lap
from wearsim.bench.programme import Programme
from wearsim.errors import ContactError
from wearsim.figure.spline import ProfileSpline
from wearsim.kernels.arrays import Floats
from wearsim.learn.observation import Observation
from wearsim.wear.accuracy import Accuracy
from wearsim.wear.constants import Constants
from wearsim.wear.discrepancy import LAP_MODES, UNSAID, Discrepancy, lap_shapes
from wearsim.wear.engine_protocol import Run
from wearsim.wear.initial_figure import StartFigure, covariance_root
from wearsim.wear.radial.engine import RadialEngine
from wearsim.wear.state import PitchProfile, State, start_state

LEARNING = Accuracy(
    glass_rings=40, pitch_rings=36, rim_share=0.85, offsets=20, per_radius=10, per_turn=9, ring_per_turn=8,
    draws=96, phases=12, tolerance=1e-2,
)  # fmt: skip
"""For an engine run hundreds of times: good to 0.2% of the removal, which is in the discrepancy (docs/learning.md)."""
LOG_STEP = 0.1
"""Step of the logarithm of a removal in a difference [1]."""
LEAST_GLASS = 0.3e-9
"""Smallest sigma of the glass's height: no measurement is taken to be better, which keeps matrices sound [m]."""


@dataclass(frozen=True)
class Tails:
    """How many times as large as usual what a session does of its own accord may be, and how often. A judgement.

    Parameters
    ----------
    sizes : tuple of float
        Ascending, the first 1 [1].
    shares : tuple of float
        Of all sessions, their sum 1.
    wrong_from : float
        From this size on something other than what is recorded was worked [1].
    """

    sizes: tuple[float, ...] = (1.0, 2.0, 4.0, 10.0)
    shares: tuple[float, ...] = (0.92, 0.05, 0.015, 0.015)
    wrong_from: float = 10.0


@dataclass(frozen=True, eq=False)
class SessionModel:
    """One session as the filter needs it.

    Parameters
    ----------
    bench : Bench
        Under the session's conditions.
    lap : str or None
        How the lap began (:class:`wearsim.learn.mirror_folder.SessionNote`).
    pressed : float or None
        For how long it was pressed before the session [s]; None where nobody said.
    confirmed : bool
        Whether the person vouches for the record: it is believed however badly it fits.
    """

    number: int
    bench: Bench
    programme: Programme
    lap: str | None
    observation: Observation
    pressed: float | None = None
    confirmed: bool = False

    @property
    def pressing(self) -> float:
        """For how long the laps are taken to have been pressed [s]."""
        return UNSAID if self.pressed is None else self.pressed


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
    responses : (spells, n) ndarray
        Change of the glass after with the logarithm of each spell's removal [m].
    lap : (n, modes) ndarray
        Change of the glass after by one sigma of each shape of the lap's misfit [m].
    """

    transition: Floats
    removal: Floats
    responses: Floats
    lap: Floats

    def covariance(self, radius: Floats, discrepancy: Discrepancy, spread: float) -> Floats:
        """Covariance (n, n) of what the session does of its own accord [m^2]; ``spread`` is that between sessions [1]."""
        whole = self.responses.sum(axis=0)
        spells = discrepancy.spell_spread**2 * self.responses.T @ self.responses
        common = spread**2 * np.outer(whole, whole)
        return np.asarray(discrepancy.covariance(self.removal, radius) + spells + common + self.lap @ self.lap.T)


@dataclass(frozen=True, eq=False)
class FilterStep:
    """One session, predicted and corrected by what was read after it.

    Parameters
    ----------
    predicted : (n,) ndarray
        Glass after, before it was read [m].
    removal : (n,) ndarray
        [m]
    innovation : (p,) ndarray
        Observed less expected.
    covariances : (t, p, p) ndarray
        Of that, for each size of :class:`Tails`.
    chances : (t,) ndarray
        Of each size, once it was read; their sum is 1.
    log_likelihood : float
        Of the measurement, given those before it [1].
    state : State
        Glass and laps after, the measurement taken in.
    covariance : (n, n) ndarray
        Of that glass [m^2].
    response : (p,) ndarray
        Change of what is observed with the logarithm of the whole removal.
    """

    predicted: Floats
    removal: Floats
    innovation: Floats
    covariances: Floats
    chances: Floats
    log_likelihood: float
    state: State
    covariance: Floats
    response: Floats

    @property
    def chi_square(self) -> float:
        """Squared innovation in its usual covariance; about the count of numbers compared where all is well [1]."""
        return self.miss_without(0.0)

    def miss_without(self, log_size: float) -> float:
        """The same, were the logarithm of the whole removal larger by this [1]."""
        left = self.innovation - log_size * self.response
        return float(left @ cho_solve(cho_factor(self.covariances[0]), left))

    @property
    def likeliest_size(self) -> float:
        """Logarithm of the factor on the whole removal that explains the innovation best [1]."""
        solved = cho_solve(cho_factor(self.covariances[0]), self.response)
        square = float(self.response @ solved)
        return float(self.innovation @ solved) / square if square > 0.0 else 0.0

    @property
    def information(self) -> Floats:
        """Inverse covariance (p, p) of the innovation, averaged over what sizes are likely."""
        return np.asarray(sum(p * np.linalg.inv(one) for p, one in zip(self.chances, self.covariances, strict=True)))


@dataclass(frozen=True, eq=False)
class SessionFilter:
    """All sessions of a mirror on one grid.

    Parameters
    ----------
    first : StartFigure
        The glass before the first session, on the grid of ``accuracy``.
    """

    first: StartFigure
    models: tuple[SessionModel, ...]
    accuracy: Accuracy
    discrepancy: Discrepancy = field(default_factory=Discrepancy)
    tails: Tails = field(default_factory=Tails)

    def upto(self, count: int) -> SessionFilter:
        """The first ``count`` sessions alone."""
        return replace(self, models=self.models[:count])

    def follow(
        self, constants: Constants, spread: float, linearisations: tuple[Linearisation, ...] | None = None
    ) -> tuple[FilterStep, ...]:
        """Follow the mirror through its sessions.

        Parameters
        ----------
        spread : float
            Of the removal from session to session [1].
        linearisations : tuple of Linearisation, optional
            Each session linearised (:meth:`linearised`); by default errors of the glass stay as they are, and what is
            uncertain goes by the removal with these very constants.

        Raises
        ------
        ContactError
            Where a balance was not found with these constants.
        """
        steps: list[FilterStep] = []
        state, covariance = self._start()
        for place, model in enumerate(self.models):
            state = self._with_laps(model, state, is_first=place == 0)
            run = self._run(model, state, constants)
            linear = _unchanged(run) if linearisations is None else linearisations[place]
            steps.append(self._step(model, run, covariance, spread, linear))
            state, covariance = steps[-1].state, steps[-1].covariance
        return tuple(steps)

    def follow_closely(self, constants: Constants, spread: float) -> tuple[FilterStep, ...]:
        """As :meth:`follow`, the engine linearised at these very constants."""
        return self.follow(constants, spread, self.linearised(constants, self.follow(constants, spread)))

    def _start(self) -> tuple[State, Floats]:
        first = self.first
        state = State(first.radius, first.height, MappingProxyType({}))
        return state, first.root @ first.root.T + LEAST_GLASS**2 * np.eye(first.radius.size)

    def _run(self, model: SessionModel, state: State, constants: Constants, sizes: Floats | None = None) -> Run[State]:
        """A session from laps as they were before they were pressed."""
        engine, begun = RadialEngine(self.accuracy), with_lap_start(model.bench, model.lap)
        laps = {spell.lap for spell in model.programme.spells if begun.lap(spell.lap).start == "pressed"}
        state = engine.pressed(model.bench, state, sorted(laps, key=str), model.pressing, constants)
        return engine.run(model.bench, model.programme, state, constants, sizes=sizes)

    def _with_laps(self, model: SessionModel, state: State, is_first: bool) -> State:
        """The state with its laps as this session began."""
        if state.laps and not is_fresh(model, is_first):
            return state
        return start_state(with_lap_start(model.bench, model.lap), state.radius, state.height, self.accuracy)

    def _step(
        self, model: SessionModel, run: Run[State], covariance: Floats, spread: float, linear: Linearisation
    ) -> FilterStep:
        after, observation = run.end, model.observation
        seen = observation.matrix
        before = linear.transition @ covariance @ linear.transition.T
        own = linear.covariance(after.radius, self.discrepancy, spread)
        squares = np.square(self.tails.sizes if not model.confirmed else (1.0,))
        known = seen @ before @ seen.T + observation.covariance
        totals = np.array([known + square * (seen @ own @ seen.T) for square in squares])
        innovation = observation.innovation(after.height)
        factors = [cho_factor(total) for total in totals]
        logs = np.array([_log_normal(innovation, factor) for factor in factors])
        logs += np.log(self.tails.shares[: squares.size]) if squares.size > 1 else 0.0
        likelihood = float(np.logaddexp.reduce(logs))
        chances = np.exp(logs - likelihood)
        change, left = _corrected(chances, before, own, squares, factors, seen, innovation)
        return FilterStep(
            after.height, run.removal, innovation, totals, chances, likelihood, corrected_state(after, change), left,
            seen @ linear.responses.sum(axis=0),
        )  # fmt: skip

    def linearised(self, constants: Constants, steps: tuple[FilterStep, ...]) -> tuple[Linearisation, ...]:
        """Each session linearised in the errors of the glass that it starts from, the sizes of its spells, and the lap.

        Differences are taken along the errors themselves, one sigma each; what lies outside of them stays as it is.
        ``steps`` are those of the same filter, followed with the same constants.
        """
        out: list[Linearisation] = []
        covariance = self._start()[1]
        for model, step, state in zip(self.models, steps, self.states_before(steps), strict=True):
            transition = self._transition(model, state, covariance, constants, step.predicted)
            responses = self._responses(model, state, constants, step)
            lap = self._lap_response(model, state, constants, step.predicted, is_first=not out)
            out.append(Linearisation(transition, step.removal, responses, lap))
            covariance = step.covariance
        return tuple(out)

    def states_before(self, steps: tuple[FilterStep, ...]) -> tuple[State, ...]:
        """Glass and laps as each session began, the filter followed as in ``steps``."""
        before = [self._start()[0], *(step.state for step in steps[:-1])]
        return tuple(
            self._with_laps(model, state, is_first=place == 0)
            for place, (model, state) in enumerate(zip(self.models, before, strict=True))
        )

    def _after(
        self, model: SessionModel, state: State, constants: Constants, otherwise: Floats, sizes: Floats | None = None
    ) -> Floats:
        """The glass after a session [m]; ``otherwise`` where no balance is found."""
        try:
            return self._run(model, state, constants, sizes).end.height
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

    def _responses(self, model: SessionModel, state: State, constants: Constants, step: FilterStep) -> Floats:
        """Change of the glass after with the logarithm of each spell's removal, nothing for a pressing."""
        out = np.zeros((len(model.programme.spells), state.radius.size))
        for place, spell in enumerate(model.programme.spells):
            if not spell.is_press:
                sizes = np.where(np.arange(len(out)) == place, np.exp(LOG_STEP), 1.0)
                changed = self._after(model, state, constants, step.predicted - LOG_STEP * step.removal, sizes)
                out[place] = (changed - step.predicted) / LOG_STEP
        return out

    def _lap_response(
        self, model: SessionModel, state: State, constants: Constants, predicted: Floats, is_first: bool
    ) -> Floats:
        """Change of the glass after by one sigma of each shape of the laps' misfit."""
        fresh = is_fresh(model, is_first)
        rms = self.discrepancy.fresh_misfit if fresh else self.discrepancy.sag

        def misfit(_: Lap, share: Floats, mode: int) -> Floats:
            return np.asarray(rms * lap_shapes(share)[..., mode])

        engine = RadialEngine(self.accuracy)
        shaped = [engine.with_misfit(model.bench, state, partial(misfit, mode=mode)) for mode in range(LAP_MODES)]
        columns = [self._after(model, one, constants, predicted) - predicted for one in shaped]
        return np.array(columns).T


def _unchanged(run: Run[State]) -> Linearisation:
    """What stands for a linearised session where there is none: errors stay, and removals grow as they are."""
    return Linearisation(
        np.eye(run.radius.size), run.removal, np.diff(run.heights, axis=0), np.zeros((run.radius.size, 1))
    )


CholeskyFactor = tuple[Floats, bool]
"""As SciPy's ``cho_factor`` gives it."""


def _log_normal(residual: Floats, factor: CholeskyFactor) -> float:
    return float(-0.5 * residual @ cho_solve(factor, residual) - np.log(np.diagonal(factor[0])).sum())


def _corrected(
    chances: Floats, before: Floats, own: Floats, squares: Floats, factors: list[CholeskyFactor], seen: Floats,
    innovation: Floats,
) -> tuple[Floats, Floats]:  # fmt: skip
    """The correction (n,) of the glass and its covariance (n, n) after it, mean and spread of the mixture of sizes."""
    changes, lefts = [], []
    for square, factor in zip(squares, factors, strict=True):
        grown = before + square * own
        on_glass = seen @ grown
        gain = cho_solve(factor, on_glass).T
        changes.append(gain @ innovation)
        lefts.append(grown - gain @ on_glass)
    mean = chances @ np.array(changes)
    spread = sum(
        p * (left + np.outer(change - mean, change - mean))
        for p, left, change in zip(chances, lefts, changes, strict=True)
    )
    return np.asarray(mean), np.asarray(0.5 * (spread + spread.T))


def is_fresh(model: SessionModel, is_first: bool) -> bool:
    """Whether a session began with a lap fitted again, and not as the session before left it."""
    return not (model.lap == "as left" or (model.lap is None and not is_first))


def with_lap_start(bench: Bench, start: str | None) -> Bench:
    """The bench, its laps beginning pressed or spherical; as they are where ``start`` is neither."""
    if start not in ("pressed", "spherical"):
        return bench
    return bench.model_copy(update={"laps": tuple(lap.model_copy(update={"start": start}) for lap in bench.laps)})


def _main_columns(covariance: Floats, share: float = 1e-2) -> Floats:
    root = covariance_root(covariance)
    return root[:, np.sum(root**2, axis=0) > share * np.sum(root**2, axis=0).max()]


def corrected_state(state: State, change: Floats) -> State:
    """Glass changed by a correction (n,) [m], and every lap by as much the other way."""
    radius = state.radius
    laps = {}
    for name, pitch in state.laps.items():
        on_lap = ProfileSpline(radius, change).height(pitch.radius)
        laps[name] = PitchProfile(pitch.radius, pitch.height - on_lap)
    return State(radius, state.height + change, MappingProxyType(laps))
