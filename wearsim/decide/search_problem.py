"""The problem of a proposal: a mirror's bench, glass and laps, what is known of them, and the engines to try strokes on."""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np

from wearsim.bench.bench import Bench
from wearsim.decide.coarse_engine import COARSE, CoarseEngine, Plan
from wearsim.decide.least_squares import Refiner
from wearsim.decide.limits import COMMON, Clock, Limits
from wearsim.decide.objective import Objective, Scenario, scenarios
from wearsim.decide.repertoire import size_step
from wearsim.decide.rounding import FINE_STEP, SIZE_STEP
from wearsim.wear.accuracy import Accuracy
from wearsim.wear.constants import Belief
from wearsim.wear.discrepancy import Discrepancy
from wearsim.wear.initial_figure import StartFigure, on_grid
from wearsim.wear.predict import gauge_for
from wearsim.wear.radial.engine import RadialEngine
from wearsim.wear.state import State, start_state

# Offsets shared by all strokes at full accuracy.
FINE_OFFSETS = 60


@dataclass(frozen=True, eq=False)
class ProposalProblem:
    """A mirror before a proposal.

    Its laps are as a session left them, or fresh where there are none; the accuracy is that of the final prediction.
    """

    bench: Bench
    limits: Limits
    belief: Belief
    start: StartFigure
    laps: State | None
    accuracy: Accuracy
    clock: Clock

    @cached_property
    def cases(self) -> tuple[Scenario, ...]:
        """Weighted cases of the constants."""
        return scenarios(self.belief)

    @property
    def objective(self) -> Objective:
        """On coarse grids."""
        return self._on_grids(COARSE)[0]

    @property
    def nominal(self) -> CoarseEngine:
        """With the most likely constants, on coarse grids."""
        return self._on_grids(COARSE)[1]

    @property
    def is_certain(self) -> bool:
        """Whether the constants are taken as known."""
        return len(self.cases) == 1

    @property
    def measured(self) -> float:
        """RMS uncertainty of the start figure, piston and r^2 removed [m]."""
        aperture = gauge_for(self.bench, self.start.radius).aperture
        root = aperture.levelling_matrix() @ self.start.root
        return float(np.sqrt(np.sum((aperture.rms_matrix() @ root) * root)))

    @property
    def size_step(self) -> float:
        """What sizes are rounded to, in diameters [1]."""
        if self.limits.repertoire == COMMON:
            return size_step(self.bench)
        return FINE_STEP if self.is_certain else SIZE_STEP

    def state(self, accuracy: Accuracy) -> State:
        """Glass and laps at the start, on the grids of an accuracy; the laps pressed as a card will ask."""
        start = on_grid(self.bench, self.start, accuracy)
        state = start_state(self.bench, start.radius, start.height, accuracy)
        if self.laps is not None:
            state = replace(state, laps=self.laps.on_grids(self.bench, accuracy).laps)
        if self.belief.is_certain:
            return state
        engine, best, own = RadialEngine(accuracy), self.belief.best(), Discrepancy()
        for lap in self.bench.laps:
            if self.laps is not None or lap.start == "pressed":
                seconds = own.pressing(self.bench, lap, best, is_fresh=self.laps is None)
                state = engine.pressed(self.bench, state, [lap.name], seconds, best)
        return state

    @cached_property
    def _by_accuracy(self) -> dict[Accuracy, tuple[Objective, CoarseEngine]]:
        return {}

    def _on_grids(self, accuracy: Accuracy) -> tuple[Objective, CoarseEngine]:
        """Objective, and engine with the most likely constants, made when first needed."""
        if accuracy not in self._by_accuracy:
            state = self.state(accuracy)
            gauge = gauge_for(self.bench, state.radius)
            objective = Objective(gauge, state, self.limits, self.bench)
            self._by_accuracy[accuracy] = objective, CoarseEngine(self.bench, self.limits, self.belief.best(), accuracy)
        return self._by_accuracy[accuracy]

    @cached_property
    def _engines(self) -> list[CoarseEngine]:
        """One a scenario."""
        if self.is_certain:
            return [self.nominal]
        return [CoarseEngine(self.bench, self.limits, case.constants) for case in self.cases]

    def in_all_scenarios(self, minutes: float | None = None) -> Refiner:
        """For programmes in every scenario, with so many minutes of work in all or as the limits have it [min]."""
        objective = self.objective if minutes is None else self.objective.within(minutes)
        return Refiner(objective, self._engines, self.cases, self.nominal, self.clock)

    def refiner_after(self, opening: Plan) -> Refiner:
        """For programmes in every scenario; with the constants known, after what is worked before every one."""
        return self.most_likely(opening) if self.is_certain else self.in_all_scenarios()

    def most_likely(self, prefix: Plan = (), accuracy: Accuracy = COARSE, minutes: float | None = None) -> Refiner:
        """For programmes with the most likely constants, after a lead that is worked before every one.

        The minutes are those of work in all, by default as the limits have it [min].
        """
        objective, engine = self._on_grids(accuracy)
        objective = objective.after(engine.states(objective.start, prefix)[-1])
        if minutes is not None:
            objective = objective.within(minutes)
        return Refiner(objective, [engine], (Scenario(self.belief.best(), 1.0),), engine, self.clock)

    def at_full_accuracy(self, minutes: float | None = None) -> Refiner:
        """For programmes at full accuracy, on offsets shared by all strokes, with the most likely constants."""
        return self.most_likely(accuracy=replace(self.accuracy, offsets=FINE_OFFSETS), minutes=minutes)

    def for_figures(self, minutes: float | None = None) -> Refiner:
        """As the figures of a proposal are made: in every scenario, or at full accuracy where there is but one."""
        return self.at_full_accuracy(minutes) if self.is_certain else self.in_all_scenarios(minutes)
