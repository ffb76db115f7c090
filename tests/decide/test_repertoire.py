"""The strokes that hands do: every rule of the table, in sizes of whole steps."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from tests.helpers.small_bench import ring_figure, small_bench
from tests.helpers.start_figures import StartCase
from wearsim.bench.bench import Bench
from wearsim.bench.toml_io import bench_from_table
from wearsim.decide.coarse_engine import CoarseEngine, PlannedSpell
from wearsim.decide.limits import Limits, usual_rate
from wearsim.decide.repertoire import (
    FARTHEST_HUNG,
    LONG,
    MOST_LIFTED,
    REPERTOIRE,
    Gentle,
    common_strokes,
    is_allowed,
    is_said_to_deepen,
    rows_of,
    size_step,
    why_uncommon,
)
from wearsim.decide.stroke_library import LEAST_ADVANCE, StrokeSpec
from wearsim.wear.accuracy import DEFAULT
from wearsim.wear.constants import AS_STATED
from wearsim.wear.initial_figure import on_grid
from wearsim.wear.radial.engine import tipping_offset
from wearsim.wear.state import start_state

BENCH = StartCase("", 300, 5.0, 60).bench()
SMALL_LAP = StartCase("", 300, 5.0, 60, lap_share=0.5).bench()
ROOM = tipping_offset(BENCH, BENCH.laps[0], "tool") / BENCH.mirror.diameter


def _in_inches() -> Bench:
    mirror = {"diameter": "8 in", "radius_of_curvature": "96 in", "thickness": "1.2 in"}
    return bench_from_table(
        {"mirror": mirror, "lap": {"diameter": "8 in", "mass": "4 lb"}, "figure": {"conic": 0.0}},
        text='[mirror]\ndiameter = "8 in"\n',
    )


@pytest.mark.parametrize("bench", [BENCH, SMALL_LAP, small_bench()], ids=["full", "small lap", "small"])
def test_what_is_looked_at_is_of_the_table_and_of_whole_steps(bench: Bench) -> None:
    limits = Limits().settled(bench)
    found = common_strokes(bench, limits)
    assert len(found) == len(set(found)) > 20 and {one.on_top for one in found} == {"tool", "mirror"}
    step, share = size_step(bench), bench.laps[0].diameter / bench.mirror.diameter
    for one in found:
        assert is_allowed(one, bench, limits)
        steps = np.array([size / step for size in one.free.values()])
        assert np.allclose(steps, np.round(steps), atol=0.01)
        assert one.length >= (0.2 if share > 0.9 else 0.3 * share) - 0.01
        if one.kind == "w":
            assert 2.0 * one.sweep / one.strokes_per_sweep >= LEAST_ADVANCE * one.length * 0.999


@pytest.mark.parametrize(
    "stroke",
    [
        StrokeSpec("tool", None, "straight", 0.15),
        StrokeSpec("tool", None, "w", 0.4, 0.04),
        StrokeSpec("mirror", None, "overhang", 0.3, 0.0, FARTHEST_HUNG + 0.04),
        StrokeSpec("tool", None, "oval", 0.3, 0.2),
        StrokeSpec("tool", None, "overhang", 0.5, 0.0, 0.3),
        StrokeSpec("tool", None, "straight", 0.9),
    ],
)
def test_what_hands_do_not_do(stroke: StrokeSpec) -> None:
    assert not rows_of(stroke, BENCH)
    assert why_uncommon(stroke.spell(5.0, 50.0), BENCH)
    assert not is_allowed(stroke, BENCH, Limits().settled(BENCH))


def test_why_a_stroke_is_not_common_is_its_size_and_the_limit() -> None:
    hung = StrokeSpec("mirror", None, "overhang", 0.3, 0.0, 0.25)
    assert why_uncommon(hung.spell(5.0, 50.0), BENCH) == "0.25 D off centre with the mirror on top (at most 0.2 D)"
    assert not why_uncommon(replace(hung, on_top="tool", overhang=0.2).spell(5.0, 50.0), BENCH)
    assert not why_uncommon(StrokeSpec("tool", None, "press", 0.0).spell(5.0, 50.0), BENCH)


def test_only_long_strokes_with_the_mirror_on_top_are_said_to_deepen() -> None:
    half = StrokeSpec("mirror", None, "w", 0.5, 0.1)
    assert is_said_to_deepen(half.spell(20.0, 50.0), BENCH)
    for other in (
        replace(half, on_top="tool"),
        replace(half, length=0.3),
        StrokeSpec("mirror", None, "oval", 0.5, 0.1),
    ):
        assert not is_said_to_deepen(other.spell(20.0, 50.0), BENCH)


def test_reach_is_held_but_for_the_long_strokes_that_deepen() -> None:
    for one in common_strokes(BENCH, Limits()):
        reach = np.hypot(0.5 * one.length, one.sweep + one.overhang) / ROOM
        is_long = one.kind in ("straight", "w") and one.length >= 0.5 and one.overhang == 0.0
        assert reach <= (LONG[0] if is_long else 0.65) + 0.01
    assert all("common practice" in row.reason for row in REPERTOIRE)


def test_anything_is_allowed_where_it_is_asked_for() -> None:
    odd = StrokeSpec("tool", None, "oval", 0.07, 0.02, 0.3)
    limits = Limits().settled(BENCH)
    assert not is_allowed(odd, BENCH, limits)
    assert is_allowed(odd, BENCH, Limits(repertoire="any").settled(BENCH))


def test_rate_and_heavy_glass_go_by_the_mirror() -> None:
    assert usual_rate(0.15) == 50.0 and usual_rate(0.5) == 30.0 and 30.0 < usual_rate(0.3) < 50.0
    heavy = StartCase("", 500, 5.0, 60, mirror_kg=31.0).bench()
    assert Limits().settled(heavy).on_top == ("tool",)
    assert Limits(on_top=("mirror",)).settled(heavy).on_top == ("mirror",)
    assert Limits(rate=44.0).settled(heavy).rate == 44.0


def test_inches_have_steps_of_their_own() -> None:
    assert size_step(BENCH) * 300.0 == pytest.approx(10.0)
    assert size_step(_in_inches()) * 8.0 == pytest.approx(0.5)


def test_what_presses_or_lifts_too_much_is_not_gentle() -> None:
    bench = small_bench()
    limits = Limits().settled(bench)
    engine = CoarseEngine(bench, limits, AS_STATED)
    glass = on_grid(bench, ring_figure(bench, DEFAULT), engine.accuracy)
    state = start_state(bench, glass.radius, glass.height, engine.accuracy)
    strokes = common_strokes(bench, limits)
    gentle = Gentle(engine, state, strokes)
    kept = [one for one in strokes if gentle.allows_from_start(one)]
    assert 0 < len(kept) < len(strokes)
    wild = StrokeSpec("mirror", None, "overhang", 0.5, 0.0, 0.33)
    assert not gentle.allows(state, PlannedSpell(wild, 6.0))
    assert any(engine.roughness(state, PlannedSpell(one, 6.0))[1] <= MOST_LIFTED for one in kept)


def test_the_name_of_before_is_still_taken() -> None:
    assert Limits(repertoire="practised") == Limits(repertoire="common") == Limits()
