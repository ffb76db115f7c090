"""Many starts: drawn within the limits, the best of them good, the same for a seed, ended by the clock."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable
from functools import cache

import numpy as np
import pytest

from tests.helpers.small_bench import LIMITS, refiner_of, ring_figure, small_bench
from wearsim.decide.coarse_engine import ROUGH, CoarseEngine, PlannedSpell
from wearsim.decide.least_squares import Candidate, Refiner
from wearsim.decide.multistart import MOST_ORDERS, Multistart, MultistartBudget, Rounds, _orders
from wearsim.decide.repertoire import is_allowed
from wearsim.decide.stroke_library import StrokeSpec
from wearsim.errors import ContactError
from wearsim.wear.state import State

LITTLE = MultistartBudget(
    starts=16,
    later=8,
    leading=3,
    rounds=Rounds((14, 14), (0.5,)),
    fine=4,
    fine_runs=20,
    parents=3,
    crossed=8,
    patience=1,
    work=1_500_000,
    starts_share=0.8,
    crossed_rounds=Rounds((14, 8), (0.5,)),
    crossed_fine=3,
    crossed_runs=12,
    best_kept=3,
)
# The starts alone: all work is done with them.
ONE_BATCH = {"rounds": LITTLE.rounds, "fine": 4, "fine_runs": 20, "work": 1, "starts_share": 1e12}


@cache
def judges() -> tuple[Refiner, Refiner]:
    bench = small_bench()
    return refiner_of(bench, ring_figure(bench, ROUGH), accuracy=ROUGH), refiner_of(bench, ring_figure(bench))


def many(budget: MultistartBudget = LITTLE, seen: list[list[Candidate]] | None = None) -> Multistart:
    return Multistart(*judges(), budget, lambda: False, (lambda judged: None) if seen is None else seen.append)


def keeps_the_limits(programme: tuple[PlannedSpell, ...]) -> bool:
    return (
        len(programme) <= LIMITS.spells
        and sum(t.minutes for t in programme) <= LIMITS.minutes * (1.0 + 1e-9)
        and all(t.minutes >= 0.0 and is_allowed(t.stroke, small_bench(), LIMITS) for t in programme)
    )


def test_starts_are_allowed_and_of_every_order_alike() -> None:
    one = many()
    orders = [(a, b) for a in one.cubes for b in one.cubes]
    drawn = one._drawn(40, orders)
    assert all(keeps_the_limits(programme) for programme in drawn)
    tops = Counter(tuple(t.stroke.on_top for t in programme) for programme in drawn)
    assert len(tops) == 4 and set(tops.values()) == {10}
    lengths = np.array([t.stroke.length for programme in drawn for t in programme])
    assert lengths.min() < 0.2 and lengths.max() > 0.5


def test_what_is_crossed_is_allowed_and_something_else() -> None:
    one = many()
    orders = [(a, b) for a in one.cubes for b in one.cubes]
    parents = one._drawn(4, orders)
    young = one._crossed(parents, 80)
    assert all(keeps_the_limits(programme) for programme in young)
    kinds = {t.stroke.kind for programme in young for t in programme}
    assert kinds >= {"overhang", "w", "oval"}
    assert sum(programme in parents for programme in young) < 40


def test_the_best_are_good_and_the_same_again() -> None:
    seen: list[list[Candidate]] = []
    found = many(seen=seen).run([])
    assert sum(len(one) for one in seen) == len(found) >= LITTLE.fine
    best = min(found, key=lambda one: one.score.cost)
    assert best.score.cost < 0.15 * judges()[1].objective.rms_before
    assert best.score.cost == pytest.approx(judges()[1].evaluate(best.plan).score.cost, rel=1e-12)
    assert all(keeps_the_limits(one.plan) for one in found)
    again = many().run([])
    assert [one.plan for one in again] == [one.plan for one in found]


def test_more_starts_find_no_worse() -> None:
    few = MultistartBudget(starts=4, subsets=0, **ONE_BATCH)
    lots = MultistartBudget(starts=40, subsets=0, **ONE_BATCH)
    costs = [min(one.score.cost for one in many(budget).run([])) for budget in (few, lots)]
    assert costs[1] < costs[0]


def test_what_is_begun_from_as_well_goes_the_same_way() -> None:
    none = MultistartBudget(starts=0, subsets=2, **ONE_BATCH)
    first = (
        PlannedSpell(StrokeSpec("mirror", None, "overhang", 0.25), 12.0),
        PlannedSpell(StrokeSpec("tool", None, "oval", 0.2, 0.1, 0.2), 6.0),
    )
    found = many(none).run([first])
    assert len(found) == 1 and [t.stroke.kind for t in found[0].plan] == ["overhang", "oval"]
    assert found[0].score.cost < judges()[1].evaluate(first).score.cost


def test_dear_runs_make_it_less_and_its_work_is_kept() -> None:
    budget = MultistartBudget(starts=200, later=40, crossed=16, crossed_fine=4, fine=6, work=3_000_000)
    one = many(budget)
    afforded = one._affordable()
    assert afforded.starts < 0.5 * budget.starts and afforded.rounds == budget.rounds
    one = many(budget)
    one.run([])
    assert budget.work < one._spent() < 1.5 * budget.work


def test_nothing_is_begun_when_the_time_is_over() -> None:
    one = Multistart(*judges(), LITTLE, lambda: True, lambda judged: None)
    assert one.run([]) == []


def test_an_end_halfway_keeps_what_there_is() -> None:
    asked = iter([False] * 2 + [True] * 1000)
    found = Multistart(*judges(), LITTLE, lambda: next(asked), lambda judged: None).run([])
    assert found
    assert all(keeps_the_limits(one.plan) for one in found)


def test_starts_that_the_contact_refuses_are_left_out(monkeypatch: pytest.MonkeyPatch) -> None:
    def only_short(trials: CoarseEngine) -> Callable[[State, PlannedSpell], State]:
        after = trials.after

        def some(state: State, tried: PlannedSpell) -> State:
            if tried.stroke.length > 0.4:
                raise ContactError("of the test", 1.0)
            return after(state, tried)

        return some

    for judge in judges():
        monkeypatch.setattr(judge.nominal, "after", only_short(judge.nominal))
    found = many().run([])
    assert found and all(t.stroke.length <= 0.4 for one in found for t in one.plan)


def test_rounds_count_their_runs() -> None:
    assert Rounds((10, 10, 20), (0.5, 0.4)).mean_runs == 10 + 5 + 4


def test_very_many_orders_are_some_of_them() -> None:
    """Ten spells with either piece on top and three laps would be sixty million orders."""
    places = [(top, lap) for top in ("tool", "mirror") for lap in ("a", "b", "c")]
    some = _orders(places, 10, 1)
    assert len(some) == MOST_ORDERS and all(len(order) == 10 for order in some)
    assert len(_orders(places, 2, 1)) == 36
