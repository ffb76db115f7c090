"""The linear floor: a proven bound of the frozen problem, and how far it is from what is reached."""

from __future__ import annotations

from functools import cache

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.optimize import nnls

from tests.helpers.any_stroke import any_limits
from tests.helpers.small_bench import coarse_state, random_figure, ring_figure, small_bench
from wearsim.decide.coarse_engine import COARSE
from wearsim.decide.lower_bound import Floor, Pricing, floor_over_all_sizes, linear_floor, rms_root
from wearsim.decide.repertoire import is_allowed
from wearsim.decide.stroke_library import StrokeWear, allowed_strokes
from wearsim.figure.metrics import FigureGauge
from wearsim.kernels.arrays import Floats
from wearsim.wear.constants import AS_STATED
from wearsim.wear.predict import gauge_for

BUDGETS = (3.0, 12.0, 60.0, 1000.0)


@cache
def problem(seed: int) -> tuple[FigureGauge, Floats, Floats]:
    """Gauge, figure error and wear per minute of a start figure: the ring, or a random one."""
    bench = small_bench()
    start = random_figure(bench, np.random.default_rng(seed)) if seed else ring_figure(bench)
    gauge = gauge_for(bench, start.radius)
    strokes = allowed_strokes(bench, any_limits(), 5)
    wear = StrokeWear(bench, coarse_state(bench, start), any_limits(), AS_STATED, COARSE).columns(strokes)
    return gauge, gauge.error(start.height), wear


@cache
def floor_of(seed: int, minutes: float) -> Floor:
    gauge, error, wear = problem(seed)
    return linear_floor(gauge, error, wear, minutes)


def rms_after(seed: int, mixes: Floats) -> Floats:
    """RMS figure error after mixes (k, N) of minutes, by the gauge's own numbers."""
    gauge, error, wear = problem(seed)
    return np.array([gauge.aperture.rms(gauge.aperture.level(left)) for left in error - mixes @ wear])


def random_mixes(rng: np.random.Generator, count: int, size: int, minutes: float, best: Floats) -> Floats:
    """Allowed mixes: few strokes or many, a part of the budget or all of it, far from the best or near it."""
    few = rng.random((count, size)) < rng.uniform(1.0 / size, 0.2)
    mixes = rng.exponential(size=(count, size)) * few
    total = mixes.sum(axis=1, keepdims=True)
    mixes *= minutes * rng.random((count, 1)) / np.where(total > 0.0, total, 1.0)
    near = best * np.exp(rng.normal(scale=rng.uniform(0.01, 0.5), size=(count, size)))
    near *= np.minimum(1.0, minutes / np.maximum(near.sum(axis=1, keepdims=True), 1e-300))
    share = rng.random((count, 1)) ** 3
    return np.where(rng.random((count, 1)) < 0.5, mixes, share * mixes + (1.0 - share) * near)


@settings(max_examples=15)
@given(seed=st.integers(0, 4), draw=st.integers(0, 10_000), minutes=st.sampled_from(BUDGETS))
def test_no_allowed_mix_goes_below_the_floor(seed: int, draw: int, minutes: float) -> None:
    floor = floor_of(seed, minutes)
    mixes = random_mixes(np.random.default_rng(draw), 150, floor.minutes.size, minutes, floor.minutes)
    assert np.all(mixes.sum(axis=1) <= minutes * (1.0 + 1e-9))
    assert rms_after(seed, mixes).min() >= floor.rms * (1.0 - 1e-9)


@pytest.mark.parametrize("seed", range(5))
@pytest.mark.parametrize("minutes", BUDGETS)
def test_the_bound_is_reached(seed: int, minutes: float) -> None:
    """The dual bound is the primal value to a millionth, so neither can be bettered."""
    floor = floor_of(seed, minutes)
    before = rms_after(seed, np.zeros((1, floor.minutes.size)))[0]
    assert floor.rms <= floor.reached * (1.0 + 1e-12)
    assert floor.reached - floor.rms <= 1e-6 * before
    assert np.isclose(rms_after(seed, floor.minutes[None])[0], floor.reached, rtol=1e-6, atol=1e-9 * before)


@pytest.mark.parametrize("seed", range(5))
def test_the_mix_keeps_the_budget(seed: int) -> None:
    for minutes in BUDGETS:
        floor = floor_of(seed, minutes)
        assert np.all(floor.minutes >= 0.0)
        assert floor.minutes.sum() <= minutes * (1.0 + 1e-9)


@pytest.mark.parametrize("seed", range(5))
def test_more_minutes_never_raise_it(seed: int) -> None:
    floors = [floor_of(seed, minutes).reached for minutes in (1.0, *BUDGETS)]
    before = rms_after(seed, np.zeros((1, floor_of(seed, 1.0).minutes.size)))[0]
    assert all(two <= one * (1.0 + 1e-9) for one, two in zip([before, *floors], floors, strict=False))


def test_without_a_budget_that_binds_it_is_plain_least_squares() -> None:
    gauge, error, wear = problem(0)
    root = rms_root(gauge)
    scale = np.linalg.norm(root @ error)
    _, left = nnls(root @ wear.T / scale, root @ error / scale, maxiter=20 * len(wear))
    assert linear_floor(gauge, error, wear, 1e9).reached == pytest.approx(left * scale, rel=1e-9)


def test_more_strokes_never_raise_it() -> None:
    gauge, error, wear = problem(0)
    floors = [linear_floor(gauge, error, wear[:count], 30.0).reached for count in (5, 40, len(wear))]
    assert floors[0] >= floors[1] >= floors[2]


def test_the_root_measures_the_rms() -> None:
    gauge, error, _ = problem(1)
    assert np.linalg.norm(rms_root(gauge) @ error) == pytest.approx(gauge.aperture.rms(error), rel=1e-9)


def test_nothing_to_do_and_nothing_to_do_it_with() -> None:
    gauge, error, wear = problem(0)
    assert linear_floor(gauge, np.zeros_like(error), wear, 30.0).rms == 0.0
    none = linear_floor(gauge, error, wear[:0], 30.0)
    assert none.rms == none.reached == pytest.approx(gauge.aperture.rms(error), rel=1e-9)


@pytest.mark.parametrize("seed", [0, 1])
@pytest.mark.parametrize("minutes", [12.0, 60.0])
def test_no_mix_of_strokes_of_any_size_goes_below_the_floor(seed: int, minutes: float) -> None:
    """Strokes that the floor never made, of random sizes, in their own best mix and in random ones."""
    bench, limits = small_bench(), any_limits(minutes=minutes)
    start = random_figure(bench, np.random.default_rng(seed)) if seed else ring_figure(bench)
    gauge = gauge_for(bench, start.radius)
    error = gauge.error(start.height)
    pricing = Pricing(bench, coarse_state(bench, start), limits, AS_STATED, COARSE)
    floor = floor_over_all_sizes(pricing, gauge, error, minutes)
    others = pricing.random_strokes(2500, seed=99)
    assert all(is_allowed(one, bench, limits) for one in others)
    wear = StrokeWear(bench, pricing.state, limits, AS_STATED, COARSE).columns(tuple(others))
    best = linear_floor(gauge, error, wear, minutes)
    mixes = random_mixes(np.random.default_rng(7), 200, len(others), minutes, best.minutes)
    left = [gauge.aperture.rms(gauge.aperture.level(one)) for one in error - mixes @ wear]
    assert floor.rms <= min(best.rms, *left)
    # and it is not low for nothing: strokes of all sizes do not better it by more than it leaves for them
    assert floor.reached <= 1.05 * best.reached


def test_a_grid_alone_misses_what_other_sizes_do() -> None:
    gauge, error, wear = problem(0)
    bench = small_bench()
    pricing = Pricing(bench, coarse_state(bench, ring_figure(bench)), any_limits(), AS_STATED, COARSE)
    assert floor_over_all_sizes(pricing, gauge, error, 60.0).reached < linear_floor(gauge, error, wear, 60.0).reached
