"""Climbs: down, within the limits, the same in pieces, and as far as least squares by SciPy."""

from __future__ import annotations

from functools import cache
from itertools import pairwise

import numpy as np
import pytest
from scipy.optimize import lsq_linear

from tests.helpers.small_bench import LIMITS, refiner_of, ring_figure, small_bench
from wearsim.decide.coarse_engine import PlannedSpell
from wearsim.decide.gauss_newton import GaussNewton, gauss_newton, least_within
from wearsim.decide.least_squares import Refiner
from wearsim.decide.limits import Clock
from wearsim.decide.repertoire import is_allowed
from wearsim.decide.stroke_library import StrokeSpec, UnitCube
from wearsim.errors import ContactError

STARTS = (
    (PlannedSpell(StrokeSpec("tool", None, "w", 0.3, 0.15, 0.1), 9.0),),
    (
        PlannedSpell(StrokeSpec("mirror", None, "overhang", 0.25, 0.0, 0.0), 12.0),
        PlannedSpell(StrokeSpec("tool", None, "oval", 0.2, 0.1, 0.2), 6.0),
    ),
    (
        PlannedSpell(StrokeSpec("tool", None, "overhang", 0.3, 0.0, 0.15), 5.0),
        PlannedSpell(StrokeSpec("tool", None, "straight", 0.5), 8.0),
    ),
)


@cache
def judge() -> Refiner:
    bench = small_bench()
    return refiner_of(bench, ring_figure(bench))


@pytest.mark.parametrize("start", STARTS)
def test_down_within_the_limits_and_what_it_says_is_what_the_engine_says(start: tuple[PlannedSpell, ...]) -> None:
    before = judge().evaluate(start).score.cost
    climb = GaussNewton(judge(), start)
    costs = [climb.cost]
    assert climb.cost == pytest.approx(before, rel=2e-2)  # numbers at a bound begin a little inside it
    for _ in range(4):
        climb.run(15)
        costs.append(climb.cost)
    assert all(after <= one for one, after in pairwise(costs))
    assert costs[-1] < 0.5 * before
    assert np.all(climb.x >= climb.problem.bounds[0]) and np.all(climb.x <= climb.problem.bounds[1])
    reached = climb.plan
    assert [t.stroke.kind for t in reached] == [t.stroke.kind for t in start]
    assert [t.stroke.on_top for t in reached] == [t.stroke.on_top for t in start]
    assert sum(t.minutes for t in reached) <= LIMITS.minutes * (1.0 + 1e-9)
    assert all(is_allowed(t.stroke, small_bench(), LIMITS) for t in reached)
    assert judge().evaluate(reached).score.cost == pytest.approx(climb.cost, rel=1e-9)


def test_as_far_as_scipys_least_squares_with_fewer_runs() -> None:
    """Over random programmes: each ends in a valley of its own, now one lower and now the other."""
    rng, ratios = np.random.default_rng(4), []
    ours_runs = theirs_runs = 0
    cubes = {top: UnitCube(small_bench(), LIMITS, top, None) for top in ("tool", "mirror")}
    for number in range(10):
        tops = (("tool", "mirror")[number % 2], ("tool", "mirror")[number // 2 % 2])
        shapes = [cubes[top].stroke(StrokeSpec(top, None, "overhang", 0.0), rng.random(3)) for top in tops]
        start = tuple(PlannedSpell(shape, float(m)) for shape, m in zip(shapes, rng.uniform(3.0, 12.0, 2), strict=True))
        before = judge().evaluations
        theirs = judge().improve(start, steps=10)
        theirs_runs += judge().evaluations - before
        before = judge().evaluations
        ours = gauss_newton(judge(), start, 40)
        ours_runs += judge().evaluations - before
        assert ours is not None
        ratios.append(ours.score.cost / theirs.score.cost)
    assert ours_runs < 0.8 * theirs_runs
    assert np.exp(np.mean(np.log(ratios))) < 1.2


def test_the_least_within_bounds_is_scipys() -> None:
    rng = np.random.default_rng(3)
    for _ in range(200):
        n = int(rng.integers(1, 12))
        slopes, rows = rng.normal(size=(20, n)) @ rng.normal(size=(n, n)), rng.normal(size=20)
        low, high = -rng.uniform(1e-3, 0.5, n), rng.uniform(1e-3, 0.5, n)
        ours = least_within(slopes.T @ slopes, slopes.T @ rows, low, high)
        theirs = lsq_linear(slopes, -rows, (low, high), method="bvls").x
        assert np.all(ours >= low) and np.all(ours <= high)
        squares = [float(np.sum((rows + slopes @ x) ** 2)) for x in (ours, theirs)]
        assert squares[0] <= squares[1] * (1.0 + 1e-6)


def test_a_contact_that_fails_on_the_way_is_no_step(monkeypatch: pytest.MonkeyPatch) -> None:
    climb = GaussNewton(judge(), STARTS[0])
    climb.run(4)
    before = climb.cost

    def fails(x: np.ndarray) -> np.ndarray:
        raise ContactError("of the test", 1.0)

    monkeypatch.setattr(climb.problem, "residuals", fails)
    climb.slopes = np.eye(climb.rows.size, climb.x.size)
    climb.is_fresh = True
    climb.run(6)
    assert climb.cost == before and climb.box < 0.1


def test_a_start_that_cannot_be_worked_is_none(monkeypatch: pytest.MonkeyPatch) -> None:
    def fails(*_: object) -> None:
        raise ContactError("of the test", 1.0)

    monkeypatch.setattr(judge().nominal, "after", fails)
    assert gauss_newton(judge(), STARTS[0], 10) is None


def test_time_up_ends_it_where_it_stands() -> None:
    bench = small_bench()
    late = refiner_of(bench, ring_figure(bench))
    climb = GaussNewton(late, STARTS[0])
    before = climb.cost
    late.clock = Clock(0.0)
    assert gauss_newton(late, STARTS[0], 10) is None
    assert climb.cost == before
