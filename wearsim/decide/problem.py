"""Where a mirror stands before a proposal: its bench, what is known of it, glass and laps, ready to be tried on."""

from __future__ import annotations

from dataclasses import replace

from wearsim.bench.bench import Bench
from wearsim.decide.coarse_engine import COARSE, Trials, Trying
from wearsim.decide.least_squares import Refiner
from wearsim.decide.limits import Clock, Limits
from wearsim.decide.objective import Objective
from wearsim.decide.rounding import FINE_STEP, SIZE_STEP
from wearsim.decide.scenarios import Scenario, scenarios, share_to_aim_for
from wearsim.wear.accuracy import Accuracy
from wearsim.wear.constants import Belief
from wearsim.wear.initial_figure import StartFigure, on_grid
from wearsim.wear.predict import gauge_for
from wearsim.wear.state import State, start_state

# Offsets shared by all strokes at full accuracy.
FINE_OFFSETS = 60


class Situation:
    """A mirror before a proposal, on the grids of the trials.

    Parameters
    ----------
    bench : Bench
    limits : Limits
    belief : Belief
        What is known of the constants.
    start : StartFigure
        The glass.
    laps : State or None
        Laps as a session left them; None for fresh ones.
    accuracy : Accuracy
        Of the final prediction.
    clock : Clock
    """

    def __init__(
        self, bench: Bench, limits: Limits, belief: Belief, start: StartFigure, laps: State | None,
        accuracy: Accuracy, clock: Clock,
    ) -> None:  # fmt: skip
        self.bench, self.limits, self.belief, self.start = bench, limits, belief, start
        self.laps, self.accuracy, self.clock = laps, accuracy, clock
        self.objective = self._objective(COARSE)
        self.nominal = Trials(bench, limits, belief.best())
        self.cases = scenarios(belief)
        self.aim = share_to_aim_for(belief)
        self._trials: list[Trials] | None = None
        self._on: dict[Accuracy, tuple[Objective, Trials]] = {}

    @property
    def is_certain(self) -> bool:
        """Whether the constants are taken as known."""
        return len(self.cases) == 1

    @property
    def size_step(self) -> float:
        """What sizes are rounded to, in diameters [1]."""
        return FINE_STEP if self.is_certain else SIZE_STEP

    @property
    def trials(self) -> list[Trials]:
        """One a scenario, made when first needed."""
        if self._trials is None:
            self._trials = (
                [self.nominal]
                if self.is_certain
                else [Trials(self.bench, self.limits, case.constants) for case in self.cases]
            )
        return self._trials

    def state(self, accuracy: Accuracy) -> State:
        """Glass and laps at the start, on the grids of an accuracy."""
        start = on_grid(self.bench, self.start, accuracy)
        state = start_state(self.bench, start.radius, start.height, accuracy)
        return state if self.laps is None else replace(state, laps=self.laps.on_grids(self.bench, accuracy).laps)

    def _objective(self, accuracy: Accuracy) -> Objective:
        state = self.state(accuracy)
        gauge = gauge_for(self.bench, state.radius)
        return Objective(gauge, state, self.limits, self.bench.light.wavelength)

    def judge_in_all(self) -> Refiner:
        """Judges programmes in every scenario."""
        return Refiner(self.objective, self.trials, self.cases, self.nominal, clock=self.clock)

    def judge_closely(self, minutes: float | None = None) -> Refiner:
        """Judges as what is told in the end: in every scenario, or at full accuracy where there is but one.

        Parameters
        ----------
        minutes : float, optional
            Work allowed in all; by default as the limits have it [min].
        """
        refiner = self.judge_fine() if self.is_certain else self.judge_in_all()
        if minutes is not None:
            refiner.objective = refiner.objective.within(minutes)
        return refiner

    @property
    def fine(self) -> Accuracy:
        """Full accuracy, on offsets shared by all strokes."""
        return replace(self.accuracy, offsets=FINE_OFFSETS)

    def judge_likely(self, lead: tuple[Trying, ...] = (), accuracy: Accuracy = COARSE) -> Refiner:
        """Judges programmes with the most likely constants, the spread of the constants in its aim.

        Parameters
        ----------
        lead : tuple of Trying
            What is worked before every programme.
        accuracy : Accuracy
        """
        constants = self.belief.best()
        if accuracy is COARSE:
            objective, trials = self.objective, self.nominal
        else:
            if accuracy not in self._on:
                self._on[accuracy] = (self._objective(accuracy), Trials(self.bench, self.limits, constants, accuracy))
            objective, trials = self._on[accuracy]
        objective = objective.after(trials.states(objective.start, lead)[-1])
        aim = 1.0 if self.is_certain else self.aim
        return Refiner(objective, [trials], (Scenario(constants, 1.0),), trials, aim, self.clock)

    def judge_fine(self) -> Refiner:
        """Judges programmes at full accuracy with the most likely constants."""
        judge = self.judge_likely((), self.fine)
        judge.aim = 1.0
        return judge
