"""The schedule of a search: with the most likely constants first, then the best in all scenarios, rounded; and a pressing.

A pressing lets the lap follow the glass as it now is. It moves no glass and counts no minutes of work, but it is a
thing more to do: it must lower the cost clearly.
"""

from __future__ import annotations

from contextlib import suppress
from dataclasses import replace
from functools import partial

import numpy as np

from wearsim.bench.lap import Lap
from wearsim.decide.coarse_engine import COARSE, NEAR, ROUGH, CoarseEngine, Plan, PlannedSpell, chunks
from wearsim.decide.gauss_newton import gauss_newton
from wearsim.decide.least_squares import Candidate, Refiner, cost_of, distinct_programmes
from wearsim.decide.limits import Limits
from wearsim.decide.multistart import MultistartBudget
from wearsim.decide.reasons import NOTHING_LEFT
from wearsim.decide.response_search import CLIMBS_AT_ONCE, CandidatePool, ResponseSearch, SearchBudget, SearchProgress
from wearsim.decide.rounding import Rounder
from wearsim.decide.search_problem import ProposalProblem
from wearsim.decide.stroke_library import StrokeSpec
from wearsim.errors import ContactError
from wearsim.parallel import in_threads
from wearsim.wear.state import State, lap_name

# Lengths of a pressing that are tried [min]. Judgements.
PRESSINGS = (5.0, 15.0)
# A pressing must lower the cost by this share. A judgement.
PRESSING_GAIN = 0.05
# A lap fits the glass where a pressing would move its pitch by less than this share of what the load presses it in.
# A judgement.
FIT_SHARE = 0.1
# Costs that differ by less than this are the same. A judgement.
SAME_COST = 0.03
BUDGET_UNCERTAIN = SearchBudget(starts=4, rounds=1, kept=1)
# With the constants known there is more to gain by looking longer.
BUDGET_CERTAIN = SearchBudget(starts=4, refinement=3, rounds=0, work=60_000, multistart=MultistartBudget())
# At full accuracy: programmes climbed from and coupled runs of each, in turn; those rounded; and evaluations of the
# wear rates after which no further one is begun, and as many again for rounding.
FINE_CLIMBS, ROUNDED, FINE_WORK = ((4, 20), (3, 40)), 3, 80_000
# The long search looks again where the quick one leaves more than this times what the removal's spread alone must
# leave, and this share of the figure error. Judgements.
SPREAD_FACTOR, RESIDUAL_SHARE = 1.2, 0.1


def opening_press(limits: Limits, lap: Lap) -> PlannedSpell:
    """The pressing of a lap before any stroke."""
    return PlannedSpell(StrokeSpec(limits.on_top[0], lap.name, "press", 0.0), PRESSINGS[-1])


def needs_pressing(start: State, press: PlannedSpell, engine: CoarseEngine) -> bool:
    """Whether a pressing would change the shape of a lap enough to matter."""
    bench, lap = engine.bench, engine.bench.lap(press.stroke.lap)
    name = lap_name(lap)
    moved = engine.after(start, press).laps[name].height - start.laps[name].height
    load = bench.load_on("tool" if press.stroke.on_top == "tool" else "mirror", lap)
    give = load / (np.pi * min(bench.mirror.radius, lap.radius) ** 2 * lap.stiffness)
    return float(np.std(moved)) > FIT_SHARE * give / engine.constants.stiffness


def with_pressing(found: list[Candidate], rounder: Rounder, *, sizes_too: bool = False) -> list[Candidate]:
    """The cheapest of round programmes with the pressing that helps it most, its minutes, or sizes too, worked over.

    One programme, or none where no pressing helps clearly.
    """
    best = min(found, key=cost_of, default=None)
    if best is None:
        return []
    plan, top = best.plan, rounder.limits.on_top[0]
    tried = [
        rounder.refiner.evaluate((*plan[:place], PlannedSpell(press, minutes), *plan[place:]))
        for place, press in enumerate(StrokeSpec(top, spell.stroke.lap, "press", 0.0) for spell in plan)
        for minutes in PRESSINGS
    ]
    best_pressed = min(tried, key=cost_of, default=best)
    if best_pressed.score.cost >= best.score.cost:
        return []
    pressed = rounder.best_near(best_pressed.plan, sizes_too=sizes_too)
    return [pressed] if pressed.score.cost <= (1.0 - PRESSING_GAIN) * best.score.cost else []


class SearchSchedule:
    """Searches for the best programme of a problem, quickly and then longer where that promises something."""

    def __init__(self, problem: ProposalProblem, progress: SearchProgress | None = None) -> None:
        self.problem, self.progress = problem, progress
        self.pool, self.best = CandidatePool(clock=problem.clock), list[Candidate]()

    def run(self, starts: int | None = None) -> tuple[CandidatePool, list[Candidate]]:
        """All that was met, and what can be worked, the most promising first.

        ``starts`` is how many programmes are refined first, of each origin; by default what the budget has.
        """
        problem = self.problem
        if problem.objective.rms_before < NOTHING_LEFT:
            return self.pool, []
        openings = self._openings()
        begins_quickly = not problem.is_certain or len(openings) > 1
        for budget in (BUDGET_UNCERTAIN, BUDGET_CERTAIN) if begins_quickly else (BUDGET_CERTAIN,):
            costs = []
            for opening in openings:
                if self.pool.candidates and self.pool.is_late():
                    break
                costs.append(self._after(opening, budget if starts is None else budget.scaled(starts)))
            least = min((one.score.expected_rms for one in self.best), default=np.inf)
            if self.pool.is_late() or (not problem.is_certain and least < self._sufficient_rms()):
                break
            openings = [openings[int(np.argmin(costs))]]  # the longer search follows the better beginning
        if self.progress is not None and self.best:
            self.progress("whole minutes", min(map(cost_of, self.best)))
        return self.pool, _ranked(self.best)

    def _after(self, opening: Plan, budget: SearchBudget) -> float:
        """Search and round after what comes first; the lowest cost."""
        problem, grids = self.problem, None
        refiner = problem.most_likely(opening)
        if budget.multistart is not None:
            finer = NEAR if problem.is_certain else COARSE
            grids = problem.most_likely(opening, ROUGH), problem.most_likely(opening, finer)
        pool = ResponseSearch(refiner, budget, self.progress, grids).run()
        pool.candidates = [replace(one, plan=(*opening, *one.plan)) for one in pool.candidates]
        done = self._round_certain(pool) if problem.is_certain else self._round_uncertain(pool)
        self.best += done
        self.pool.add_pool(pool)
        return min(map(cost_of, done), default=np.inf)

    def _openings(self) -> list[Plan]:
        """What may come before the first stroke: nothing, or a pressing where some lap does not fit the glass."""
        problem = self.problem
        pressings = [opening_press(problem.limits, lap) for lap in problem.bench.laps]
        unfit = [one for one in pressings if needs_pressing(problem.objective.start, one, problem.nominal)]
        return [(), tuple(unfit)] if unfit else [()]

    def _sufficient_rms(self) -> float:
        """Expected RMS that a quick search may end with [m].

        With the removal known up to a log-normal factor of variance v, the best share of the way still leaves
        ``sqrt(1 - exp(-v))`` of the figure error (physics section 9).
        """
        least_share = float(np.sqrt(-np.expm1(-self.problem.belief.covariance[0, 0])))
        return (SPREAD_FACTOR * least_share + RESIDUAL_SHARE) * self.problem.objective.rms_before

    def _round_uncertain(self, pool: CandidatePool) -> list[Candidate]:
        """The best programmes weighed in every scenario, their minutes worked over and made whole."""
        robust = self.problem.in_all_scenarios()
        rounder = Rounder(robust, self.problem.size_step)
        best: list[Candidate] = []
        for one in distinct_programmes(pool.candidates, 2):
            if best and self.pool.is_late():
                break
            with suppress(ContactError):  # in a scenario of hands that go farther than is meant
                best.append(rounder.best_near(robust.improve(one.plan, steps=5, free="minutes").plan))
        if not self.pool.is_late():
            best += with_pressing(best, rounder)
        pool.evaluations += robust.evaluations
        return best

    def _round_certain(self, pool: CandidatePool) -> list[Candidate]:
        """The best programmes worked over at full accuracy, then rounded: what is left is small by now."""
        fine = self.problem.at_full_accuracy()
        rounder = Rounder(fine, self.problem.size_step)
        end = fine.nominal.work + FINE_WORK
        climbed = self._climbed_in_turn(fine, distinct_programmes(pool.candidates, FINE_CLIMBS[0][0]), end)
        best: list[Candidate] = []
        for batch in chunks(climbed[:ROUNDED], CLIMBS_AT_ONCE):
            if best and (self.pool.is_late() or fine.nominal.work > end + FINE_WORK):
                break
            best += in_threads(lambda one: rounder.best_near(one.plan, sizes_too=True), batch)
        if not self.pool.is_late():
            best += with_pressing(best, rounder, sizes_too=True)
        pool.evaluations += fine.evaluations
        return best

    def _climbed_in_turn(self, fine: Refiner, climbed: list[Candidate], end: int) -> list[Candidate]:
        """The best first, climbed from as long as time and work allow."""
        for count, runs in FINE_CLIMBS:
            climbed.sort(key=cost_of)
            for place in range(0, min(count, len(climbed)), CLIMBS_AT_ONCE):
                if self.pool.is_late() or fine.nominal.work > end:
                    break
                batch = climbed[place : min(place + CLIMBS_AT_ONCE, count)]
                climbed[place : place + len(batch)] = in_threads(partial(_climbed, fine, runs), batch)
        return sorted(climbed, key=cost_of)


def _climbed(fine: Refiner, runs: int, one: Candidate) -> Candidate:
    return gauss_newton(fine, one.plan, runs) or one


def _ranked(best: list[Candidate]) -> list[Candidate]:
    """Cheapest first; of those that cost the same within what the costs' judgements resolve, the smallest RMS."""
    least = min(map(cost_of, best), default=0.0)

    def rank(one: Candidate) -> tuple[int, float]:
        return (0, one.score.rms) if one.score.cost <= (1.0 + SAME_COST) * least else (1, one.score.cost)

    return sorted(best, key=rank)
