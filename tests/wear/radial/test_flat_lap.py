"""The flat lap through the whole engine, against an independent quadrature and the published tables."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from scipy.integrate import trapezoid

from tests.helpers.flat_wear import flat_removal
from tests.helpers.kernel_twins import chord, flat_rings, flat_statics, stroke_places
from tests.helpers.workbench import STEADY, flat_state, make_bench, make_spell, pitch_of, work_spell
from wearsim.bench.bench import Wear
from wearsim.wear.accuracy import DEFAULT
from wearsim.wear.constants import Constants
from wearsim.wear.radial.engine import tipping_offset
from wearsim.wear.strokes import stroke_reach

BARE = Wear(edge_gain=0.0)
PUBLISHED = np.array([0.0, 0.5, 0.7, 0.85, 0.95, 1.0])


def share(low: int, high: int) -> st.SearchStrategy[float]:
    return st.integers(low, high).map(lambda n: n / 100)


@st.composite
def flat_cases(draw: Any) -> tuple[Any, Any]:
    """A bench and a stroke that stays clear of tipping; long ones lift off."""
    kind = draw(st.sampled_from(["straight", "overhang", "w", "oval"]))
    diameter = draw(st.sampled_from([0.15, 0.3, 0.6]))
    bench = make_bench(diameter, 10.0 * diameter, draw(share(50, 120)) * diameter, hands=STEADY, wear=BARE)
    extents = {"length": draw(share(10, 70))}
    if kind in ("w", "oval"):
        extents["side_sweep"] = draw(share(2, 25))
    if kind == "overhang":
        extents["side_overhang"] = draw(share(5, 35))
    spell = make_spell(kind, draw(st.sampled_from(["tool", "mirror"])), rate=40.0, **extents)
    reach = stroke_reach(spell.stroke_on(diameter))
    assume(reach < 0.9 * tipping_offset(bench, bench.lap(), spell.on_top))
    return bench, spell


def quadrature(bench: Any, spell: Any, radius: Any) -> tuple[Any, float, bool]:
    """Wear rate over k [Pa m/s] by walking the stroke; mean speed; whether the lap lifts off anywhere."""
    a, b, tool = bench.mirror.radius, bench.lap().radius, spell.on_top == "tool"
    stroke = spell.stroke_on(bench.mirror.diameter)
    strokes, poses = (16, 60) if stroke.kind == "w" else (1, 500)
    places = stroke_places(
        stroke.kind, stroke.length, stroke.side_sweep, stroke.side_overhang, 8.0, strokes, poses,
        np.random.default_rng(0), (0.0, 0.0),
    )  # fmt: skip
    ends = np.concatenate([places.reshape(-1, 2), places[:1, 0]])
    steps = np.hypot(*np.diff(ends, axis=0).T) * stroke.frequency / strokes
    middles = np.hypot(*(0.5 * (ends[1:] + ends[:-1])).T)
    table = np.linspace(middles.min(), max(middles.max(), middles.min() + 1e-6), 61)
    force = bench.load_on(spell.on_top, bench.lap())
    rings, lifted, found = np.empty((table.size, radius.size)), False, None
    for k, e in enumerate(table):
        level, slope = found = flat_statics(a, b, e, e if tool else 0.0, found)
        rings[k] = force * flat_rings(radius, b, e, level, slope, 401)
        x = np.array([max(-a, e - b), min(a, e + b)])
        lifted = lifted or bool(np.any(level + slope * x < 0.0))
    path, _ = np.histogram(middles, 400, (table[0], table[-1]), weights=steps)
    at = table[0] + (np.arange(400) + 0.5) / 400 * (table[-1] - table[0])
    rate = np.array([path @ np.interp(at, table, ring) for ring in rings.T])
    return rate, float(steps.sum()), lifted


@settings(max_examples=24)
@given(flat_cases())
def test_removal_against_independent_quadrature(case: tuple[Any, Any]) -> None:
    bench, spell = case
    radius, rate, speed = flat_removal(bench, spell)
    twin, walked, _ = quadrature(bench, spell, radius)
    assert speed == pytest.approx(walked, rel=2e-3)
    weight = np.gradient(radius**2)
    rms = np.sqrt(weight @ (rate - twin) ** 2 / weight.sum())
    assert rms <= 2e-3 * twin.max()


def test_lift_off_is_among_what_was_compared() -> None:
    bench = make_bench(hands=STEADY, wear=BARE)
    lifts = [quadrature(bench, make_spell("straight", length=x), np.array([0.1]))[2] for x in (0.38, 0.41)]
    assert lifts == [False, True]  # 0.1965 D: the lift-off offset of equal discs


@pytest.mark.parametrize("diameter", [0.2, 0.5])
@pytest.mark.parametrize(
    ("on_top", "length", "published"),
    [
        ("mirror", 0.25, [1.118, 1.118, 1.118, 0.960, 0.667, 0.429]),
        ("mirror", 1 / 3, [1.183, 1.183, 1.156, 0.873, 0.598, 0.398]),
        ("tool", 0.25, [1.060, 1.060, 1.060, 1.000, 0.823, 0.616]),
        ("tool", 1 / 3, [1.065, 1.065, 1.061, 0.982, 0.830, 0.663]),
    ],
)  # fmt: skip
def test_wear_per_path_of_straight_strokes(diameter: float, on_top: str, length: float, published: Any) -> None:
    # [derived]: in units of plain flat wear, upper piece and lower piece
    bench = make_bench(diameter, 10 * diameter, hands=STEADY, wear=BARE)
    radius, rate, speed = flat_removal(bench, make_spell("straight", on_top, length=length))
    plain = bench.load_on(on_top, bench.lap()) / (np.pi * bench.mirror.radius**2)
    found = np.interp(PUBLISHED, radius / bench.mirror.radius, rate / speed / plain)
    assert found == pytest.approx(np.array(published), abs=4e-3)


def test_swapping_the_pieces_swaps_their_pressure() -> None:
    # what the mirror bears on top, the lap bears on top: ring by ring, by the pitch's creep (no edge effect)
    bench = make_bench(hands=STEADY, wear=BARE)
    same = replace(DEFAULT, pitch_rings=DEFAULT.glass_rings)
    slow = Constants(preston=1e-9, relaxation_time=1e9)
    sunk, worn = {}, {}
    for on_top in ("tool", "mirror"):
        before = flat_state(bench, same)
        # time-averaged on the lap, path-averaged on the glass: a circle is travelled at one speed
        spell = make_spell("oval", on_top, 1.0, length=0.3, side_sweep=0.15)
        spell = spell.model_copy(update={"push": 100.0 - bench.load_on(on_top, bench.lap(), push=0.0)})
        after, report = work_spell(bench, spell, before, constants=slow, accuracy=same)
        lap = bench.lap()
        rate = 1.0 / (lap.stiffness * bench.relaxation_time_at(lap) * 1e9) * 60.0
        sunk[on_top] = -pitch_of(bench, after).height / rate
        path = bench.preston * 1e-9 * report.mean_speed * 60.0
        worn[on_top] = -after.height / path
    for one, other in (("tool", "mirror"), ("mirror", "tool")):
        assert worn[one] == pytest.approx(sunk[other], abs=1e-3 * worn[one].max())


def test_chord_is_the_overlap() -> None:
    # the twin's own check: a = 1, b = 0.5, d = 0.7: area 0.6456402668 [derived]
    x = np.linspace(0.2, 1.0, 200001)
    assert trapezoid(2 * chord(x, 1.0, 0.5, 0.7), x) == pytest.approx(0.6456402668, rel=1e-6)
