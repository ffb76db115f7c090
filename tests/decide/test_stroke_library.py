"""The library of strokes: what is allowed, what it wears, what is left out as dominated."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

import wearsim as ws
from tests.helpers.any_stroke import any_limits
from tests.helpers.small_bench import coarse_state, ring_figure, small_bench
from wearsim.bench.toml_io import bench_from_table
from wearsim.decide.coarse_engine import COARSE
from wearsim.decide.repertoire import is_allowed
from wearsim.decide.stroke_library import (
    LIBRARY,
    REACH_SIGMAS,
    StrokeSpec,
    StrokeWear,
    _grid,
    allowed_strokes,
    steps_for,
    thinned,
)
from wearsim.show.strokes import stroke_path
from wearsim.wear.accuracy import DEFAULT
from wearsim.wear.constants import AS_STATED, Constants
from wearsim.wear.initial_figure import start_figure
from wearsim.wear.radial.engine import largest_offset, tipping_offset
from wearsim.wear.radial.offset_basis import basis_offsets, path_matrix
from wearsim.wear.radial.path_weights import load_cases
from wearsim.wear.state import start_state

LIMITS = any_limits()


def farthest(shape: StrokeSpec, diameter: float, growth: float) -> float:
    """Largest centre offset of a stroke grown by a factor, from its path drawn point by point."""
    grown = StrokeSpec(shape.on_top, shape.lap, shape.kind, growth * shape.length, growth * shape.sweep, shape.overhang)
    x, y = stroke_path(grown.stroke_on(diameter, 50.0))
    return float(np.hypot(x, y).max())


@pytest.mark.parametrize("share", [1.0, 0.6])
@pytest.mark.parametrize("hole", ["0 mm", "50 mm"])
def test_every_allowed_stroke_keeps_off_tipping(share: float, hole: str) -> None:
    bench = bench_from_table(
        {
            "mirror": {"diameter": "250 mm", "radius_of_curvature": "2.5 m", "hole": hole},
            "lap": {"diameter": f"{250 * share} mm", "mass": "3 kg"},
            "figure": {"conic": -1.0},
        }
    )
    found = allowed_strokes(bench, LIMITS, 8)
    assert {shape.on_top for shape in found} == {"tool", "mirror"}
    growth = 1.0 + REACH_SIGMAS * bench.hands.length_jitter
    for shape in found:
        tip = tipping_offset(bench, bench.lap(), shape.on_top)
        far = farthest(shape, bench.mirror.diameter, growth) + REACH_SIGMAS * bench.hands.centre_jitter
        assert far <= LIMITS.reach * tip * (1.0 + 1e-9)


def test_a_refused_stroke_would_reach_too_far() -> None:
    bench = small_bench()
    allowed = set(allowed_strokes(bench, LIMITS, 6))
    refused = [StrokeSpec("tool", None, *rest) for rest in _grid(6)]
    refused = [shape for shape in refused if shape not in allowed]
    largest = largest_offset(bench, bench.lap(), "tool", DEFAULT)
    growth = 1.0 + REACH_SIGMAS * bench.hands.length_jitter
    assert refused
    for shape in refused:
        far = farthest(shape, bench.mirror.diameter, growth)
        if "sweep" in shape.free:  # judged by the corner of its box, which it seldom visits
            size = growth * bench.mirror.diameter
            far = np.hypot(0.5 * size * shape.length, shape.overhang * bench.mirror.diameter + size * shape.sweep)
        far += REACH_SIGMAS * bench.hands.centre_jitter
        assert far > LIMITS.reach * largest * (1.0 - 5e-3)  # the drawn path steps over its farthest point


def test_the_limit_on_the_piece_on_top_holds() -> None:
    found = allowed_strokes(small_bench(), any_limits(on_top=("mirror",)), 6)
    assert found and {shape.on_top for shape in found} == {"mirror"}


def test_every_lap_has_its_strokes() -> None:
    bench = bench_from_table(
        {
            "mirror": {"diameter": "250 mm", "radius_of_curvature": "2.5 m"},
            "lap": [
                {"name": "full", "diameter": "250 mm", "mass": "3 kg"},
                {"name": "small", "diameter": "150 mm", "mass": "1 kg"},
            ],
            "figure": {"conic": -1.0},
        }
    )
    assert {shape.lap for shape in allowed_strokes(bench, LIMITS, 4)} == {"full", "small"}
    only = allowed_strokes(bench, LIMITS, 4, bench.lap("small"))
    assert {shape.lap for shape in only} == {"small"}


def test_strokes_judged_together_are_those_allowed_one_by_one() -> None:
    bench = bench_from_table(
        {
            "mirror": {"diameter": "250 mm", "radius_of_curvature": "2.5 m", "hole": "40 mm"},
            "lap": [
                {"name": "full", "diameter": "250 mm", "mass": "3 kg"},
                {"name": "small", "diameter": "150 mm", "mass": "1 kg"},
            ],
            "figure": {"conic": -1.0},
        }
    )
    one_by_one = [
        shape
        for lap in bench.laps
        for top in LIMITS.on_top
        for shape in (StrokeSpec(top, lap.name, *rest) for rest in _grid(5))
        if is_allowed(shape, bench, LIMITS)
    ]
    assert list(allowed_strokes(bench, LIMITS, 5)) == one_by_one


@pytest.mark.parametrize("count", [1, 200, 1500])
def test_a_count_is_met_by_the_coarsest_grid_that_can(count: int) -> None:
    bench = small_bench()
    steps = steps_for(bench, LIMITS, count)
    assert len(allowed_strokes(bench, LIMITS, steps)) >= count
    assert steps == 2 or len(allowed_strokes(bench, LIMITS, steps - 1)) < count


def test_more_strokes_than_the_finest_grid_makes_are_refused(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("wearsim.decide.stroke_library.MOST_STEPS", 4)
    with pytest.raises(ValueError, match=r"count: 999 strokes, expected at most \d+"):
        ws.library(small_bench(), count=999)


def test_a_fine_grid_counts_hundreds_of_thousands() -> None:
    candidates = 2 * sum(1 for _ in _grid(60))
    assert candidates > 200_000
    names = [(kind, *map(float, sizes)) for kind, *sizes in _grid(12)]
    assert len(names) == len(set(names))
    assert len(allowed_strokes(small_bench(), LIMITS, 16)) > 1_000


@pytest.fixture(scope="module")
def columns() -> tuple[tuple[StrokeSpec, ...], np.ndarray]:
    bench = small_bench()
    found = allowed_strokes(bench, LIMITS, 4)
    return found, StrokeWear(bench, coarse_state(bench, ring_figure(bench)), LIMITS, AS_STATED, COARSE).columns(found)


def test_columns_are_linear_in_k(columns: tuple[tuple[StrokeSpec, ...], np.ndarray]) -> None:
    found, once = columns
    bench = small_bench()
    state = coarse_state(bench, ring_figure(bench))
    thrice = StrokeWear(bench, state, LIMITS, Constants(preston=3.0), COARSE).columns(found)
    assert np.allclose(thrice, 3.0 * once, rtol=1e-12)
    assert np.all(once >= 0.0) and np.all(once.max(axis=1) > 0.0)


def test_columns_are_linear_in_the_rate(columns: tuple[tuple[StrokeSpec, ...], np.ndarray]) -> None:
    found, once = columns
    bench = small_bench()
    state = coarse_state(bench, ring_figure(bench))
    half = StrokeWear(bench, state, any_limits(rate=25.0), AS_STATED, COARSE).columns(found)
    assert np.allclose(half, 0.5 * once, rtol=1e-9)


def test_strokes_shared_among_threads_are_those_of_one() -> None:
    bench = small_bench()
    cases = load_cases(bench.hands.friction_lead, tuple(bench.hands.push_offset))
    offset = basis_offsets(bench, bench.lap(), "tool")
    strokes = [shape.stroke_on(bench.mirror.diameter, 50.0) for shape in allowed_strokes(bench, LIMITS, 8)]
    assert len(strokes) > 4 * 32
    together = path_matrix(strokes, (0.06, 0.002), offset, cases, "tool", COARSE)
    for row, stroke in zip(together[::7], strokes[::7], strict=True):
        assert np.array_equal(path_matrix([stroke], (0.06, 0.002), offset, cases, "tool", COARSE)[0], row)


def test_a_library_errs_by_half_a_percent_at_most() -> None:
    bench = small_bench()
    start = start_figure(bench)
    state = start_state(bench, start.radius, start.height, LIBRARY)
    some = allowed_strokes(bench, LIMITS, 12)[::13]
    assert len(some) > 30 and {shape.kind for shape in some} >= {"overhang", "w", "oval"}
    columns = StrokeWear(bench, state, LIMITS, accuracy=LIBRARY).columns(some)
    exact = StrokeWear(bench, state, LIMITS, accuracy=replace(LIBRARY, draws=2048, phases=32)).columns(some)
    error = np.linalg.norm(columns - exact, axis=1) / np.linalg.norm(exact, axis=1)
    assert error.max() < 5e-3 and np.median(error) < 1e-3


def one_by_one(table: np.ndarray, closeness: float) -> list[int]:
    """Dominance as the words have it: the fastest first, each against all that are kept."""
    size = np.linalg.norm(table, axis=1)
    kept: list[int] = []
    for i in np.argsort(-size, kind="stable"):
        near = [np.linalg.norm(table[i] / size[i] - table[k] / size[k]) < closeness for k in kept]
        if not any(near):
            kept.append(int(i))
    return sorted(kept)


def check_thinned(table: np.ndarray, closeness: float) -> None:
    kept = thinned(table, closeness)
    assert kept.tolist() == one_by_one(table, closeness)
    size = np.linalg.norm(table, axis=1)
    unit = table / size[:, None]
    apart = np.linalg.norm(unit[:, None] - unit[None, kept], axis=2)
    for row, i in enumerate(kept):
        others = np.delete(np.arange(len(kept)), row)
        assert np.all(apart[i, others] > closeness * (1.0 - 1e-6))
    for i in np.setdiff1d(np.arange(len(table)), kept):
        dominating = (apart[i] <= closeness * (1.0 + 1e-6)) & (size[kept] >= size[i] * (1.0 - 1e-12))
        assert dominating.any()


def test_thinning_keeps_dominance(columns: tuple[tuple[StrokeSpec, ...], np.ndarray]) -> None:
    for closeness in (1e-3, 5e-2, 0.2):
        check_thinned(columns[1], closeness)


@given(seed=st.integers(0, 10_000), count=st.integers(1, 40))
def test_thinning_keeps_dominance_of_random_columns(seed: int, count: int) -> None:
    rng = np.random.default_rng(seed)
    few = rng.random((max(1, count // 4), 5)) + 0.1
    table = few[rng.integers(0, len(few), count)] * rng.uniform(0.5, 2.0, (count, 1))
    check_thinned(table * (1.0 + 1e-2 * rng.normal(size=table.shape)), 0.02)


def test_a_stroke_that_wears_nothing_is_left_out() -> None:
    table = np.array([[1.0, 2.0], [0.0, 0.0], [2.0, 4.0], [2.0, 1.0]])
    assert thinned(table).tolist() == [2, 3]
    assert thinned(0.0 * table).tolist() == []


def test_the_public_library_holds_what_its_parts_say() -> None:
    bench = small_bench()
    whole = ws.library(bench, steps=4, thin=False)
    thin = ws.library(bench, count=len(whole))
    assert len(whole) == len(allowed_strokes(bench, LIMITS, 4)) >= len(thin) > 10
    assert whole.wear.shape == (len(whole), whole.radius.size)
    assert set(thin.strokes) <= set(whole.strokes)
    assert all(is_allowed(shape, bench, LIMITS) for shape in whole.strokes)
