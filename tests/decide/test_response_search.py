"""The search: the same twice, inside its limits, stopped when told, better than what it starts from."""

from __future__ import annotations

from functools import cache
from itertools import combinations

import numpy as np

from tests.helpers.small_bench import LIMITS, refiner_of, ring_figure, small_bench
from wearsim.decide.coarse_engine import CoarseEngine, PlannedSpell
from wearsim.decide.least_squares import CLEAR_DIFFERENCE, cost_of, distinct_programmes
from wearsim.decide.limits import Clock
from wearsim.decide.objective import Objective
from wearsim.decide.repertoire import is_allowed
from wearsim.decide.response_search import CandidatePool, ResponseSearch, SearchBudget, responses
from wearsim.decide.stroke_library import StrokeSpec
from wearsim.parallel import set_worker_count
from wearsim.wear.constants import AS_STATED

QUICK = SearchBudget(steps=4, starts=2)


def searched(time_limit: float | None = None, told: list[tuple[str, float]] | None = None) -> CandidatePool:
    bench = small_bench()
    one = refiner_of(bench, ring_figure(bench), clock=Clock(time_limit))
    report = None if told is None else lambda stage, best: told.append((stage, best))
    return ResponseSearch(one, QUICK, report).run()


@cache
def whole() -> tuple[CandidatePool, tuple[tuple[str, float], ...]]:
    told: list[tuple[str, float]] = []
    return searched(told=told), tuple(told)


def test_two_searches_are_equal_with_any_number_of_workers() -> None:
    found = whole()[0]
    set_worker_count(5)
    try:
        again = searched()
    finally:
        set_worker_count(None)
    assert [one.plan for one in found.candidates] == [one.plan for one in again.candidates]
    assert [one.score for one in found.candidates] == [one.score for one in again.candidates]
    assert found.evaluations == again.evaluations > 50


def test_the_best_is_allowed_and_better_than_stopping() -> None:
    bench = small_bench()
    best = min(whole()[0].candidates, key=cost_of)
    assert best.score.cost < 0.5 * refiner_of(bench, ring_figure(bench)).objective.rms_before
    assert 1 <= len(best.plan) <= LIMITS.spells
    assert sum(tried.minutes for tried in best.plan) <= LIMITS.minutes * 1.01


def test_what_is_told_only_gets_better() -> None:
    told = whole()[1]
    costs = [cost for _, cost in told]
    assert len(told) >= 4 and costs == sorted(costs, reverse=True)
    assert costs[-1] == min(map(cost_of, whole()[0].candidates))


def test_a_time_limit_that_is_over_stops_it() -> None:
    stopped = searched(time_limit=1e-9)
    assert stopped.stopped and stopped.candidates
    assert stopped.evaluations < whole()[0].evaluations
    assert not whole()[0].stopped


def test_distinct_programmes_differ() -> None:
    kept = distinct_programmes(whole()[0].candidates, 5)
    costs = [one.score.cost for one in kept]
    assert costs == sorted(costs) and costs[0] == min(map(cost_of, whole()[0].candidates))
    for one, other in combinations(kept, 2):
        tops, others = ([t.stroke.on_top for t in j.plan] for j in (one, other))
        if tops == others:
            away = [
                abs(getattr(t.stroke, name) - getattr(u.stroke, name))
                for t, u in zip(one.plan, other.plan, strict=True)
                for name in ("length", "sweep", "overhang")
            ]
            shares = [np.array([t.minutes for t in j.plan]) / sum(t.minutes for t in j.plan) for j in (one, other)]
            assert max(*away, float(np.abs(shares[0] - shares[1]).max())) > CLEAR_DIFFERENCE


def test_a_straight_stroke_and_a_thin_oval_are_the_same() -> None:
    one = refiner_of(small_bench(), ring_figure(small_bench()))
    alike = (StrokeSpec("mirror", None, "straight", 0.25), StrokeSpec("mirror", None, "oval", 0.27, 0.03))
    judged = [one.evaluate((PlannedSpell(shape, 8.0),)) for shape in alike]
    other = one.evaluate((PlannedSpell(StrokeSpec("tool", None, "straight", 0.25), 8.0),))
    assert len(distinct_programmes(judged, 2)) == 1 and len(distinct_programmes([*judged, other], 3)) == 2


def test_a_limit_on_the_work_ends_the_climbs_the_same_way_twice() -> None:
    bench = small_bench()
    found, work = [], 0
    for _ in range(3):
        one = refiner_of(bench, ring_figure(bench))
        one.nominal.work = 0
        budget = SearchBudget(steps=3, starts=3, work=work)
        found.append(ResponseSearch(one, budget).run())
        work = work or one.nominal.work // 2
    free, bound, again = found
    assert not bound.stopped and bound.evaluations < free.evaluations
    assert [j.plan for j in bound.candidates] == [j.plan for j in again.candidates]


def test_responses_are_removals_a_minute() -> None:
    bench = small_bench()
    one = refiner_of(bench, ring_figure(bench))
    objective: Objective = one.objective
    trials = CoarseEngine(bench, LIMITS, AS_STATED)
    best = min(whole()[0].candidates, key=cost_of)
    shape = best.plan[0].stroke
    table = responses(trials, objective, (shape,))
    state = trials.after(objective.start, PlannedSpell(shape, 8.0))
    assert np.allclose(table[0, 0], objective.root @ (objective.start.height - state.height) / 8.0, rtol=1e-9)


def test_the_library_of_the_search_is_allowed() -> None:
    bench = small_bench()
    one = refiner_of(bench, ring_figure(bench), clock=Clock(1e-9))
    search = ResponseSearch(one, QUICK)
    search.run()
    assert all(is_allowed(shape, bench, LIMITS) for shape in search.strokes)
