"""The search: the same twice, inside its limits, stopped when told, better than what it starts from."""

from __future__ import annotations

from functools import cache

import numpy as np
from small_bench import LIMITS, refiner_of, ring_figure, small_bench

from wearsim.decide.library import is_allowed
from wearsim.decide.objective import Objective
from wearsim.decide.search import Effort, Found, Search, distinct, responses
from wearsim.decide.trial import Trials, Trying
from wearsim.wear.constants import AS_STATED

QUICK = Effort(steps=4, starts=2, rounds=1, kept=1)


def searched(time_limit: float | None = None, told: list[tuple[str, float]] | None = None) -> Found:
    bench = small_bench()
    one = refiner_of(bench, ring_figure(bench))
    tell = None if told is None else lambda stage, best: told.append((stage, best))
    return Search(one, one.nominal, one.objective, QUICK, time_limit, tell).run()


@cache
def whole() -> tuple[Found, tuple[tuple[str, float], ...]]:
    told: list[tuple[str, float]] = []
    return searched(told=told), tuple(told)


def test_two_searches_are_equal() -> None:
    found, again = whole()[0], searched()
    assert [one.programme for one in found.judged] == [one.programme for one in again.judged]
    assert [one.score for one in found.judged] == [one.score for one in again.judged]
    assert found.evaluations == again.evaluations > 50


def test_the_best_is_allowed_and_better_than_stopping() -> None:
    bench = small_bench()
    (best,) = whole()[0].best()
    assert best.score.cost < 0.5 * refiner_of(bench, ring_figure(bench)).objective.rms_before
    assert 1 <= len(best.programme) <= LIMITS.spells
    assert sum(tried.minutes for tried in best.programme) <= LIMITS.minutes * 1.01


def test_what_is_told_only_gets_better() -> None:
    told = whole()[1]
    costs = [cost for _, cost in told]
    assert len(told) >= 4 and costs == sorted(costs, reverse=True)
    assert costs[-1] == whole()[0].best()[0].score.cost


def test_a_time_limit_that_is_over_stops_it() -> None:
    stopped = searched(time_limit=1e-9)
    assert stopped.stopped and stopped.judged
    assert stopped.evaluations < whole()[0].evaluations
    assert not whole()[0].stopped


def test_distinct_programmes_differ() -> None:
    kept = distinct(whole()[0].judged, 5)
    costs = [one.score.cost for one in kept]
    assert costs == sorted(costs) and costs[0] == whole()[0].best()[0].score.cost
    kinds = [tuple((t.shape.on_top, t.shape.kind, round(t.shape.length, 1), round(t.shape.overhang, 1))
             for t in one.programme) for one in kept]  # fmt: skip
    assert len(kinds) == len(set(kinds)) == len(kept)


def test_responses_are_removals_a_minute() -> None:
    bench = small_bench()
    one = refiner_of(bench, ring_figure(bench))
    objective: Objective = one.objective
    trials = Trials(bench, LIMITS, AS_STATED)
    (best,) = whole()[0].best()
    shape = best.programme[0].shape
    table = responses(trials, objective, (shape,))
    state = trials.after(objective.start, Trying(shape, 8.0))
    assert np.allclose(table[0, 0], objective.root @ (objective.start.height - state.height) / 8.0, rtol=1e-9)


def test_the_library_of_the_search_is_allowed() -> None:
    bench = small_bench()
    one = refiner_of(bench, ring_figure(bench))
    search = Search(one, one.nominal, one.objective, QUICK, 1e-9)
    search.run()
    assert all(is_allowed(shape, bench, LIMITS) for shape in search.candidates)
