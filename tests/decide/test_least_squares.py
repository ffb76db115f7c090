"""Improving a programme: never to something worse, and never past its limits."""

from __future__ import annotations

from functools import cache

import numpy as np
import pytest

from tests.helpers.any_stroke import any_limits
from tests.helpers.small_bench import LIMITS, refiner_of, ring_figure, small_bench
from wearsim.decide.coarse_engine import PlannedSpell
from wearsim.decide.least_squares import BoundedResiduals, Candidate, Refiner
from wearsim.decide.repertoire import is_allowed
from wearsim.decide.rounding import FINE_STEP, SIZE_STEP, Rounder, rounded
from wearsim.decide.stroke_library import StrokeSpec

STARTS = (
    (PlannedSpell(StrokeSpec("tool", None, "w", 0.3, 0.15, 0.1), 9.0),),
    (
        PlannedSpell(StrokeSpec("mirror", None, "straight", 0.25), 12.0),
        PlannedSpell(StrokeSpec("tool", None, "oval", 0.2, 0.1, 0.2), 6.0),
    ),
    (PlannedSpell(StrokeSpec("tool", None, "overhang", 0.3, 0.0, 0.15), 5.0),),
)
# A start that breaks a limit: more minutes than there are, and a stroke past the reach.
TOO_MUCH = (
    PlannedSpell(StrokeSpec("mirror", None, "straight", 0.2), 26.0),
    PlannedSpell(StrokeSpec("tool", None, "w", 0.3, 0.2, 0.1), 14.0),
)
TOO_FAR = (PlannedSpell(StrokeSpec("mirror", None, "overhang", 0.8, 0.0, 0.45), 6.0),)


@cache
def refiner() -> Refiner:
    bench = small_bench()
    return refiner_of(bench, ring_figure(bench))


@cache
def improved(number: int) -> Candidate:
    return refiner().improve(STARTS[number], steps=6)


@pytest.mark.parametrize("number", range(len(STARTS)))
def test_never_worse_than_its_start(number: int) -> None:
    before, after = refiner().evaluate(STARTS[number]).score, improved(number).score
    assert after.expected_rms <= before.expected_rms * (1.0 + 1e-3)
    assert after.cost < before.cost


@pytest.mark.parametrize("number", range(len(STARTS)))
def test_budget_and_reach_hold(number: int) -> None:
    programme = improved(number).plan
    assert sum(tried.minutes for tried in programme) <= LIMITS.minutes * (1.0 + 1e-9)
    for tried in programme:
        assert tried.minutes >= 0.0
        assert is_allowed(tried.stroke, small_bench(), LIMITS)


def test_kinds_and_order_stay() -> None:
    for number, start in enumerate(STARTS):
        kinds = [(t.stroke.kind, t.stroke.on_top) for t in start]
        found = [(t.stroke.kind, t.stroke.on_top) for t in improved(number).plan]
        assert found == [one for one in kinds if one in found]


def test_a_start_over_the_budget_comes_back() -> None:
    found = refiner().improve(TOO_MUCH, steps=8).plan
    assert sum(tried.minutes for tried in found) <= LIMITS.minutes * (1.0 + 1e-9)


def test_a_start_past_the_reach_comes_back() -> None:
    bench = small_bench()
    assert not is_allowed(TOO_FAR[0].stroke, bench, LIMITS)
    found = refiner().improve(TOO_FAR, steps=8).plan
    assert found and all(is_allowed(tried.stroke, bench, LIMITS) for tried in found)


def test_numbers_stand_for_the_programme_they_were_made_from(rng: np.random.Generator) -> None:
    for start in STARTS[:2]:
        problem = BoundedResiduals(refiner(), start)
        for tried, same in zip(start, problem.plan(problem.start), strict=True):
            assert same.minutes == pytest.approx(tried.minutes, rel=1e-6)
            for size in ("length", "sweep", "overhang"):
                assert getattr(same.stroke, size) == pytest.approx(getattr(tried.stroke, size), abs=2e-3)
        for _ in range(30):  # and any numbers for an allowed one
            programme = problem.plan(rng.random(problem.start.size))
            assert sum(tried.minutes for tried in programme) <= LIMITS.minutes * (1.0 + 1e-9)
            assert all(is_allowed(tried.stroke, small_bench(), LIMITS) for tried in programme)
            assert [t.stroke.kind for t in programme] == [t.stroke.kind for t in start]


def test_the_same_again() -> None:
    once, again = improved(1), refiner().improve(STARTS[1], steps=6)
    assert once.plan == again.plan and once.score == again.score


def test_round_programmes_can_be_worked() -> None:
    one = refiner()
    for number in range(len(STARTS)):
        settled = Rounder(one).best_near(improved(number).plan, rounds=3)
        neat = rounded(improved(number).plan, small_bench(), one.objective.limits)
        assert settled.score.cost <= one.evaluate(neat).score.cost * (1.0 + 1e-12)
        for tried in settled.plan:
            assert tried.minutes == round(tried.minutes) >= LIMITS.shortest
            sizes = (tried.stroke.length, tried.stroke.sweep, tried.stroke.overhang)
            assert all(size == round(size, 2) for size in sizes)
            assert is_allowed(tried.stroke, small_bench(), LIMITS)


def test_sizes_make_up_for_whole_minutes() -> None:
    """What rounding the minutes costs is mostly given back, the more the finer the sizes may be."""
    one = refiner()
    exact = one.improve(improved(1).plan, steps=20)
    plain = one.evaluate(rounded(exact.plan, small_bench(), one.objective.limits, FINE_STEP))
    costs = []
    for step in (SIZE_STEP, FINE_STEP):
        rounder = Rounder(one, step)
        settled = rounder.best_near(exact.plan, sizes_too=True)
        costs.append(settled.score.cost)
        for tried in settled.plan:
            assert tried.minutes == round(tried.minutes) >= LIMITS.shortest
            for size in (tried.stroke.length, tried.stroke.sweep, tried.stroke.overhang):
                assert abs(size / step - round(size / step)) < 1e-6
            assert is_allowed(tried.stroke, small_bench(), LIMITS)
    assert costs[1] <= plain.score.cost
    assert exact.score.cost * 0.9 < costs[1] < exact.score.cost * 1.25


def test_rounding_keeps_the_budget() -> None:
    bench = small_bench()
    tight = any_limits(minutes=11.0, spells=2)
    one = refiner_of(bench, ring_figure(bench), tight)
    half = (PlannedSpell(STARTS[1][0].stroke, 5.5), PlannedSpell(STARTS[1][1].stroke, 5.5))
    assert sum(t.minutes for t in rounded(half, small_bench(), one.objective.limits)) <= tight.minutes
    short = (PlannedSpell(STARTS[1][0].stroke, 8.0), PlannedSpell(STARTS[1][1].stroke, 1.2))
    assert len(rounded(short, small_bench(), one.objective.limits)) == 1
