"""What the trade sees must come out of the equations; nothing in the code puts it in. Two sizes of mirror each."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest

from tests.helpers.flat_wear import flat_removal
from tests.helpers.workbench import STEADY, make_bench, make_spell, start, work_spell
from wearsim.bench.bench import Wear
from wearsim.errors import TipsOffError
from wearsim.wear.predict import gauge_for

SIZES = pytest.mark.parametrize(("diameter", "big"), [(0.2, 2.4), (0.5, 4.0)])
AT = np.array([0.0, 0.25, 0.5, 0.7, 0.85, 0.95, 1.0])


def worked(bench: Any, spell: Any, conic: float = 0.0, error: Any = None) -> tuple[Any, Any]:
    """Glass before, and after the spell."""
    before = start(bench, conic=conic, error=error)
    after, _ = work_spell(bench, spell, before)
    return before, after


def removal_at(bench: Any, before: Any, after: Any) -> Any:
    return np.interp(AT, before.radius / bench.mirror.radius, before.height - after.height)


def bow(bench: Any, before: Any, after: Any) -> float:
    """Height that the glass gained at its rim against its centre, best parabola [m]: positive = concave."""
    gained = after.height - before.height
    return float(gauge_for(bench, before.radius).aperture.piston_and_bowl(gained)[1] * bench.mirror.radius**2)


@SIZES
@pytest.mark.parametrize("length", [1 / 3, 0.5, 0.7])
def test_top_piece_turns_concave_and_bottom_convex(diameter: float, big: float, length: float) -> None:
    bench = make_bench(diameter, big)
    below = bow(bench, *worked(bench, make_spell("straight", "tool", length=length)))
    above = bow(bench, *worked(bench, make_spell("straight", "mirror", length=length)))
    assert below < -20e-9
    assert above > 20e-9


@SIZES
def test_one_third_strokes_wear_evenly(diameter: float, big: float) -> None:
    # tool on top, equal discs, flat lap, no creep
    bench = make_bench(diameter, big, hands=STEADY, wear=Wear(edge_gain=0.0))
    radius, rate, _ = flat_removal(bench, make_spell("one-third", "tool"))
    inside = rate[radius <= 0.85 * bench.mirror.radius]
    assert inside.max() / inside.min() < 1.10


@SIZES
def test_one_third_strokes_leave_mainly_a_change_of_radius(diameter: float, big: float) -> None:
    bench = make_bench(diameter, big)
    before, after = worked(bench, make_spell("one-third", "tool"))
    aperture = gauge_for(bench, before.radius).aperture
    removed = before.height - after.height
    whole = aperture.rms(removed - aperture.mean(removed))
    left = aperture.rms(aperture.level(removed))
    assert left < 0.35 * whole  # nine tenths of the mean square is r^2
    assert left < 0.05 * aperture.mean(removed)


@SIZES
def test_longer_strokes_with_mirror_on_top_deepen_the_centre(diameter: float, big: float) -> None:
    bench = make_bench(diameter, big)
    depth = []
    for length in (0.3, 0.4, 0.5, 0.6, 0.7):
        removal = removal_at(bench, *worked(bench, make_spell("straight", "mirror", length=length)))
        depth.append(removal[0] / removal[4])
    assert np.all(np.diff(depth) > 0.0)
    assert depth[-1] > 2.0 * depth[0]


@SIZES
def test_overhang_with_tool_on_top_moves_the_wear_to_the_rim(diameter: float, big: float) -> None:
    bench = make_bench(diameter, big)
    share = []
    for overhang in (0.0, 0.1, 0.2, 0.3):
        spell = make_spell("overhang", "tool", length=0.25, side_overhang=overhang)
        removal = removal_at(bench, *worked(bench, spell))
        share.append(removal[5] / removal[2])
    assert np.all(np.diff(share) > 0.0)
    assert share[-1] > 4.0 * share[0]


def conic_after(length: float, sweep: float, minutes: float, diameter: float = 0.2, big: float = 2.4) -> float:
    bench = make_bench(diameter, big)
    spell = make_spell("w", "mirror", minutes, length=length, side_sweep=sweep)
    before, after = worked(bench, spell)
    return float(gauge_for(bench, before.radius).numbers(after.height).conic_fit)


@pytest.mark.parametrize(
    ("length", "sweep"), [(0.7, 0.2), (0.7, 0.25), (0.7, 0.3), (0.75, 0.2), (0.75, 0.25), (0.75, 0.3), (0.8, 0.2)]
)
def test_long_w_strokes_parabolize_in_tens_of_minutes(length: float, sweep: float) -> None:
    # mirror on top, 0.2 m f/6, the constants at their defaults; [memory] for the strokes, [read] for the time
    by_then = [conic_after(length, sweep, minutes) for minutes in (10.0, 20.0, 30.0, 45.0)]
    assert by_then[0] > -1.0 > by_then[-1]
    assert np.all(np.diff(by_then) < 0.0)


def test_long_w_strokes_parabolize_a_larger_mirror_too() -> None:
    assert conic_after(0.75, 0.25, 90.0, 0.3, 3.6) < -1.0


def test_the_longest_and_widest_w_tips_off() -> None:
    # 0.8 D with 0.3 D to the side: with the friction lead the load leaves the lap at 0.474 D
    with pytest.raises(TipsOffError, match=r"tips off at an offset of 97\.\d mm.*is 94\.\d mm"):
        conic_after(0.8, 0.3, 10.0)


@pytest.mark.parametrize(("length", "sweep"), [(0.25, 0.1), (0.25, 0.2), (1 / 3, 0.1), (1 / 3, 0.2), (0.5, 0.1)])
def test_short_w_strokes_do_not_parabolize(length: float, sweep: float) -> None:
    assert conic_after(length, sweep, 60.0) > -0.1


@SIZES
@pytest.mark.parametrize("conic", [3.0, -3.0])
def test_full_size_lap_pulls_towards_the_sphere(diameter: float, big: float, conic: float) -> None:
    # one-third strokes, either piece on top; an oblate surface and, the same cause, a hyperboloid
    for on_top in ("tool", "mirror"):
        bench = make_bench(diameter, big, conic=0.0)
        spell = make_spell("one-third", on_top, minutes=45.0)
        before, after = worked(bench, spell, conic=conic)
        gauge = gauge_for(bench, before.radius)
        was, came = gauge.numbers(before.height), gauge.numbers(after.height)
        assert abs(came.conic_fit) < abs(was.conic_fit) - 0.1
        assert came.surface_rms < 0.97 * was.surface_rms


@SIZES
def test_raised_ring_wears_first_while_the_lap_has_not_followed(diameter: float, big: float) -> None:
    def ring(t: Any) -> Any:
        return 200e-9 * np.exp(-(((t - 0.6) / 0.12) ** 2))

    def advantage(began: str, minutes: float, before_it: float = 0.0) -> float:
        """How much faster the ring wears than the glass beside it, in a spell after ``before_it`` of pressing."""
        bench = make_bench(diameter, big, start=began, hands=STEADY)
        state = start(bench, conic=0.0, error=ring)
        if before_it:
            state, _ = work_spell(bench, make_spell("press", "tool", before_it), state)
        after, _ = work_spell(bench, make_spell("straight", "tool", minutes, length=0.1), state)
        removed = state.height - after.height
        high, low = np.interp([0.6, 0.3], state.radius / bench.mirror.radius, removed)
        return float(high / low)

    fresh = advantage("spherical", 1.0)
    assert fresh > 1.5
    assert 1.0 < advantage("spherical", 30.0) < fresh  # the lap follows in the while
    assert advantage("spherical", 1.0, before_it=60.0) < 0.5 * (1.0 + fresh)  # pressed for long: it has followed
    assert advantage("pressed", 1.0) < 0.5 * (1.0 + fresh)
