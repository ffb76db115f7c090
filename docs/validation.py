"""The figures of validation.md: each function works one observation's strokes and says in words what came out."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from scipy.integrate import trapezoid

from wearsim.bench.bench import Bench, Wear
from wearsim.bench.fields import Extent
from wearsim.bench.figure_source import FigureSource
from wearsim.bench.hands import Hands
from wearsim.bench.lap import Lap
from wearsim.bench.mirror import Mirror
from wearsim.bench.programme import Spell
from wearsim.errors import TipsOffError
from wearsim.figure.conic import Conic
from wearsim.wear.accuracy import DEFAULT
from wearsim.wear.predict import gauge_for
from wearsim.wear.radial.engine import RadialEngine
from wearsim.wear.rotation import turns
from wearsim.wear.state import State, glass_grid, start_state

INCH = 0.0254
ENGINE = RadialEngine()
AT = (0.0, 0.5, 0.7, 0.85, 0.95, 1.0)


def make_bench(
    diameter: float, big: float, conic: float = -1.0, hands: Hands | None = None, wear: Wear | None = None,
    lap: float = 1.0, **of_lap: Any,
) -> Bench:  # fmt: skip
    """A bench with a lap of this share of the mirror; a tool of half its mass (common practice, no source)."""
    mirror = Mirror(diameter=diameter, radius_of_curvature=big, conic=conic, thickness=diameter / 8)
    piece = Lap(diameter=lap * diameter, mass=0.5 * mirror.piece_mass, **of_lap)
    start = FigureSource(conic=0.0)
    return Bench(mirror=mirror, laps=(piece,), hands=hands or Hands(), wear=wear or Wear(), figure=start)


def make_spell(stroke: Any, on_top: Any, minutes: float, **rest: Any) -> Spell:
    """A spell; lengths as fractions of the diameter."""
    extents = {k: Extent(v) for k, v in rest.items() if k in ("length", "side_sweep", "side_overhang")}
    return Spell(stroke=stroke, on_top=on_top, minutes=minutes, **{**rest, **extents})


def started(bench: Bench, conic: float = 0.0) -> State:
    """Glass at a conic, laps as the bench starts them."""
    radius = glass_grid(bench.mirror, DEFAULT)
    height = Conic(bench.mirror.radius_of_curvature, conic).departure(radius)
    return start_state(bench, radius, height, DEFAULT)


@dataclass(frozen=True)
class Done:
    """Glass through some spells: removal of the last at the radii of :data:`AT` [nm], and conic constants."""

    removal: Any
    conics: tuple[float, ...]
    edge_roll: float


def work(bench: Bench, spells: list[Spell], conic: float = 0.0) -> Done:
    """Work spells one after the other, the lap going on as it was left."""
    state = started(bench, conic)
    gauge = gauge_for(bench, state.radius)
    conics, removal = [conic], np.zeros(len(AT))
    for spell in spells:
        after, _ = ENGINE.work_spell(bench, spell, state)
        removal = np.interp(AT, state.radius / bench.mirror.radius, state.height - after.height) * 1e9
        state = after
        conics.append(gauge.numbers(state.height).conic_fit)
    return Done(removal, tuple(conics), gauge.numbers(state.height).edge_roll * 1e9)


def listed(values: Any, digits: int = 0) -> str:
    """Numbers in a row, none of them minus zero."""
    return ", ".join(f"{round(float(v), digits) + 0.0:.{digits}f}" for v in values)


def end_of_stroke() -> str:
    """Pressure and wear with either piece on top."""
    bench = make_bench(0.2, 2.4)
    rows = []
    for on_top in ("tool", "mirror"):
        done = work(bench, [make_spell("one-third", on_top, 20.0)])
        rows.append(f"{on_top} on top {listed(done.removal)} nm")
    return "one-third strokes, 20 minutes, removal at r/a = 0, 0.5, 0.7, 0.85, 0.95, 1: " + "; ".join(rows)


def central_and_overhanging() -> str:
    """Tool on top, central strokes and overhanging ones."""
    bench = make_bench(0.2, 2.4)
    rows = []
    for overhang in (0.0, 0.1, 0.2, 0.3):
        done = work(bench, [make_spell("overhang", "tool", 20.0, length=0.25, side_overhang=overhang)])
        rows.append(f"{overhang:g} D off centre {listed(done.removal[[0, 1, 4]])} nm")
    return "strokes of 0.25 D, 20 minutes, removal at r/a = 0, 0.5, 0.95: " + "; ".join(rows)


def draper(length: float, sweep: float) -> Done:
    """Draper's 15.5-inch mirror of 150 inches focus, mirror on top, 20 strokes a minute, eight spells of 15 minutes."""
    bench = make_bench(15.5 * INCH, 300.0 * INCH, wear=Wear(preston=8e-13), hands=Hands(push=0.0))
    kind, aside = ("w", {"side_sweep": sweep, "strokes_per_sweep": 3.0}) if sweep else ("straight", {})
    return work(bench, [make_spell(kind, "mirror", 15.0, length=length, rate=20.0, **aside)] * 8)


def draper_strokes() -> str:
    """Conic constant after two hours with short and with long strokes, with and without side motion."""
    rows = []
    for length, sweep in ((0.26, 0.0), (0.52, 0.0), (0.52, 0.13), (0.52, 0.2), (0.52, 0.26), (0.52, 0.3)):
        side = f"with {sweep:g} D to the side" if sweep else "straight"
        rows.append(f"{length:g} D {side}: K {draper(length, sweep).conics[-1]:+.2f}")
    return "after eight spells of 15 minutes from a sphere: " + "; ".join(rows)


def draper_back() -> str:
    """A paraboloid taken back by shorter strokes."""
    bench = make_bench(15.5 * INCH, 300.0 * INCH, hands=Hands(push=0.0))
    spells = [make_spell("straight", "mirror", 15.0, length=0.26, rate=20.0)] * 24
    conics = work(bench, spells, conic=-1.0).conics
    return f"straight strokes of 0.26 D on a paraboloid: K {listed(conics[::8], 2)} after 0, 2, 4 and 6 hours"


def full_diameter() -> str:
    """Strokes of the whole diameter."""
    bench = make_bench(0.2, 2.4, hands=Hands(length_jitter=0.03))
    found = []
    for length in (0.7, 0.8, 0.9):
        done = work(bench, [make_spell("straight", "mirror", 10.0, length=length)] * 6)
        found.append(f"{length:g} D: K {listed(done.conics[2::2], 2)}")
    try:
        work(bench, [make_spell("straight", "mirror", 10.0, length=1.0)])
    except TipsOffError as error:
        tips = f"a stroke of 1.0 D tips off (at {error.offset * 1e3:.0f} mm; {error.largest * 1e3:.0f} mm would not)"
    else:
        tips = "a stroke of 1.0 D stays up"
    return f"0.2 m f/6, mirror on top, after 20, 40 and 60 minutes: {'; '.join(found)}; {tips}"


def lower_an_edge() -> str:
    """Lap on top, overhanging, to lower an edge."""
    bench = make_bench(0.2, 2.4, conic=0.0)
    spell = make_spell("overhang", "tool", 10.0, length=0.3, side_overhang=0.25)
    done = work(bench, [spell] * 3)
    return (
        "three times 10 minutes of overhang (0.3 D long, 0.25 D off centre) on a sphere: edge roll "
        f"{done.edge_roll:+.0f} nm; removal of the last at r/a = 0, 0.5, 0.7, 0.85, 0.95, 1: {listed(done.removal)} nm"
    )


def parabolize() -> str:
    """An 8-inch f/6 by W strokes."""
    rows = []
    for length, sweep in ((0.8, 0.2), (0.75, 0.25), (0.7, 0.3), (0.5, 0.2), (1 / 3, 0.1)):
        bench = make_bench(0.2032, 2.4384)
        done = work(bench, [make_spell("w", "mirror", 10.0, length=length, side_sweep=sweep)] * 5)
        rows.append(f"{length:.2f} D by {sweep:g} D: K {listed(done.conics[1:], 2)}")
    return "after 10, 20, 30, 40 and 50 minutes: " + "; ".join(rows)


def oblate_half_metre() -> str:
    """Ten hours on an oblate half-metre mirror."""
    found = []
    for name, wear in (("cerium oxide", Wear()), ("a compound twice as fast", Wear(preston=1.6e-12))):
        bench = make_bench(0.5, 4.0, wear=wear)
        half_hour = make_spell("w", "mirror", 30.0, length=0.7, side_sweep=0.2)
        conics = work(bench, [make_spell("press", "tool", 5.0), half_hour] * 20, conic=5.0).conics
        found.append(f"{name}: K {listed(conics[::8], 1)} after 0, 2, 4, 6, 8 and 10 hours")
    what = "0.5 m f/4, W strokes 0.7 D by 0.2 D, half an hour each after 5 minutes of pressing; "
    return what + "; ".join(found)


def turned_edge_width() -> str:
    """How wide the edge is that the glass-edge effect turns."""
    bench = make_bench(0.2, 2.4, conic=0.0)
    state = started(bench)
    after, _ = ENGINE.work_spell(bench, make_spell("one-third", "tool", 120.0), state)
    bare = make_bench(0.2, 2.4, conic=0.0, wear=Wear(edge_gain=0.0))
    without, _ = ENGINE.work_spell(bare, make_spell("one-third", "tool", 120.0), started(bare))
    extra = without.height - after.height
    extra = extra - extra[0]
    half = np.interp(0.5 * extra[-1], extra, state.radius) if extra[-1] > 0 else np.nan
    width = (bench.mirror.radius - half) * 1e3
    return (
        f"two hours of one-third strokes, tool on top, with the edge effect against without: {extra[-1] * 1e9:.0f} nm "
        f"lower at the rim, half of that {width:.0f} mm inside it"
    )


def polish_out() -> str:
    """Glass taken in a polishing session."""
    bench = make_bench(6 * INCH, 96 * INCH)
    state = started(bench)
    after, _ = ENGINE.work_spell(bench, make_spell("one-third", "tool", 60.0, rate=45.0), state)
    hour = trapezoid((state.height - after.height) * state.radius, state.radius)
    hour /= trapezoid(state.radius, state.radius)
    hours = f"{6 * hour * 1e6:.1f} to {12 * hour * 1e6:.1f} um in 6 to 12 hours"
    return f"6 in f/8, one-third strokes, 45 a minute: {hour * 1e6:.2f} um an hour, {hours}"


def cold_pressing() -> str:
    """What five minutes of pressing do."""
    bench = make_bench(0.2, 2.4, start="spherical", conic=0.0)
    rows = []
    for minutes in (0.0, 5.0, 15.0):
        state = started(bench, conic=3.0)
        if minutes:
            state, _ = ENGINE.work_spell(bench, make_spell("press", "tool", minutes), state)
        _, report = ENGINE.work_spell(bench, make_spell("one-third", "tool", 1.0), state)
        rows.append(f"{minutes:.0f} min {report.lift_off_share:.0%}")
    what = "a spherical lap on an oblate glass (K = +3): share of the overlap that carries nothing in the next minute"
    return f"{what}, after a pressing of " + ", ".join(rows)


def fifth_of_a_turn() -> str:
    """What is left of a steady astigmatic bias."""
    left = {degrees: 100.0 * turns(np.radians(degrees), 5).share for degrees in (0.0, 72.0, 90.0, 180.0)}
    rows = [f"{degrees:.0f} deg {listed(share)} %" for degrees, share in left.items()]
    return "of the astigmatism worn without turning there is left after 1 to 5 spells: " + "; ".join(rows)


def winter() -> str:
    """Relaxation time over the range of a basement's temperature."""
    rows = []
    for warm in (17.0, 19.0, 21.0):
        bench = make_bench(0.2, 2.4, wear=Wear(temperature=warm))
        done = work(bench, [make_spell("w", "mirror", 20.0, length=0.75, side_sweep=0.2)])
        minutes = bench.relaxation_time_at(bench.lap()) / 60.0
        rows.append(f"{warm:.0f} degC: relaxation time {minutes:.1f} min, K {done.conics[-1]:+.2f}")
    return "20 minutes of W strokes (0.75 D by 0.2 D) on a 0.2 m f/6 sphere at " + "; ".join(rows)
