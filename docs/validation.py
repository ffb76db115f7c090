"""The figures of validation.md: each function works one observation's strokes and says in words what came out."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from scipy.integrate import trapezoid
from scipy.optimize import brentq

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
    for share in (0.8, 0.6):
        done = work(make_bench(0.2, 2.4, lap=share), [make_spell("straight", "tool", 20.0, length=0.25)])
        rows.append(f"over the centre with a tool of {share:g} D {listed(done.removal[[0, 1, 4]])} nm")
    return "strokes of 0.25 D, 20 minutes, removal at r/a = 0, 0.5, 0.95: " + "; ".join(rows)


DRAPER_RATE = 20.0
"""Strokes a minute of Draper's machine; his polisher turned once in three of them."""
HELD = {"stand_turns": DRAPER_RATE / 3.0}
FOLLOWING = {**HELD, "top_turns": DRAPER_RATE / 3.0}
WATER = {"pressure_exponent": 1.25, "speed_exponent": 0.75}
"""Exponents of a lap half carried by its water (judgement)."""


def draper(
    length: float, hours: float = 2.0, turns: dict[str, float] | None = None, law: dict[str, float] | None = None,
    load: float = 0.0, **lap: Any,
) -> Done:  # fmt: skip
    """Draper's 15.5-inch mirror of 150 inches focus, mirror on top, 20 strokes a minute, spells of 15 minutes."""
    wear, hands = Wear(preston=8e-13, **(law or {})), Hands(push=load, **(turns or {}))
    bench = make_bench(15.5 * INCH, 300.0 * INCH, wear=wear, hands=hands, **lap)
    spell = make_spell("straight", "mirror", 15.0, length=length, rate=DRAPER_RATE)
    return work(bench, [spell] * round(4 * hours))


DRAPER_RUNS: dict[str, dict[str, Any]] = {
    "equal discs at rest": {},
    "polisher turning, mirror held": {"turns": HELD},
    "mirror turning with it": {"turns": FOLLOWING},
    "pitch 3% smaller": {"lap": 0.97},
    "p^1.25 v^0.75": {"law": WATER},
    "the last three together": {"turns": FOLLOWING, "lap": 0.97, "law": WATER},
    "and half as stiff, 120 N of iron": {
        "turns": FOLLOWING, "lap": 0.97, "law": WATER, "stiffness": 2.5e9, "load": 120.0,
    },
}  # fmt: skip


def draper_strokes() -> str:
    """Conic constant after six hours with short and with long straight strokes."""
    rows = []
    for name, run in DRAPER_RUNS.items():
        short, long = (draper(length, 6.0, **run).conics for length in (0.26, 0.52))
        rows.append(f"{name}: K {short[8]:+.2f} and {short[24]:+.2f}; {long[8]:+.2f} and {long[24]:+.2f}")
    return (
        "from a sphere, after 2 and 6 hours of 0.26 D, then of 0.52 D:\n\n"
        + "\n".join(f"* {row}" for row in rows)
        + "\n"
    )


def draper_sign() -> str:
    """The straight stroke, mirror on top, at which the conic's rate of change has no sign, for a flat lap."""
    rows = [f"{name} {sign_change(run):.3f}" for name, run in DRAPER_RUNS.items() if "stiffness" not in run]
    return "in diameters of the mirror, for a flat lap that does not creep: " + ", ".join(rows)


def sign_change(run: dict[str, Any]) -> float:
    """Length of the stroke [diameters]: whatever k, stiffness and load."""
    hands = Hands(length_jitter=0.0, centre_jitter=0.0, push_height=0.0, **run.get("turns", {}))
    wear = Wear(edge_gain=0.0, preston=1e-15, **run.get("law", {}))
    bench = make_bench(
        0.4, 8.0, hands=hands, wear=wear, lap=run.get("lap", 1.0), relaxation_time=1e8, start="spherical"
    )
    state = started(bench)
    gauge = gauge_for(bench, state.radius)

    def rate(length: float) -> float:
        spell = make_spell("straight", "mirror", 1.0, length=length, rate=DRAPER_RATE)
        after, _ = ENGINE.work_spell(bench, spell, state)
        worn = state.height - after.height
        return float(gauge.numbers(-1e-9 * worn / worn.max()).conic_fit)

    return float(brentq(rate, 0.45, 0.68, xtol=1e-3))


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


def hours_to_a_sphere(rate: float = 50.0, wear: Wear | None = None, **lap: Any) -> float:
    """Hours of stroking from K = 5 to K = 0.3 on a 0.5 m f/4; half an hour each after five minutes of pressing."""
    bench = make_bench(0.5, 4.0, wear=wear, **lap)
    half_hour = make_spell("w", "mirror", 30.0, length=0.7, side_sweep=0.2, rate=rate)
    conics = np.array(work(bench, [make_spell("press", "tool", 5.0), half_hour] * 40, conic=5.0).conics[::2])
    past = int(np.argmax(conics <= 0.3))
    if conics[past] > 0.3:
        return float("inf")
    return 0.5 * (past - 1 + float((conics[past - 1] - 0.3) / (conics[past - 1] - conics[past])))


def oblate_half_metre() -> str:
    """Ten hours on an oblate half-metre mirror: what each thing makes of them."""
    slow, soft = Wear(preston=8e-13 / 2.5), {"stiffness": 5e9 / 3.0}
    runs: dict[str, Any] = {
        "50 strokes a minute": {},
        "25 strokes a minute, as a piece of 15 kg allows": {"rate": 25.0},
        "that, and pitch at a third of the stiffness": {"rate": 25.0, **soft},
        "that, and a Preston coefficient 2.5 times as small": {"rate": 25.0, "wear": slow, **soft},
    }
    rows = [f"{name}: {hours_to_a_sphere(**run):.1f} h" for name, run in runs.items()]
    return "0.5 m f/4, W strokes 0.7 D by 0.2 D, hours of stroking from K = 5 to K = 0.3: " + "; ".join(rows)


def turned_edge_width() -> str:
    """How wide the edge is that the glass-edge effect turns, over the range of its length."""
    bare = make_bench(0.2, 2.4, conic=0.0, wear=Wear(edge_gain=0.0))
    spell = make_spell("one-third", "tool", 120.0)
    without, _ = ENGINE.work_spell(bare, spell, started(bare))
    rows = []
    for length in (0.003, 0.005, 0.010, 0.015):
        bench = make_bench(0.2, 2.4, conic=0.0, wear=Wear(edge_length=length))
        after, _ = ENGINE.work_spell(bench, spell, started(bench))
        extra = without.height - after.height
        extra = extra - extra[0]
        tenth = np.interp(0.1 * extra[-1], np.maximum.accumulate(extra), after.radius)
        width = (bench.mirror.radius - tenth) * 1e3
        rows.append(f"{length * 1e3:.0f} mm: {extra[-1] * 1e9:.0f} nm, a tenth of it {width:.1f} mm inside")
    return (
        "two hours of one-third strokes, tool on top, how much lower the rim is with the edge effect than without, by its "
        "length: " + "; ".join(rows)
    )


def polish_out() -> str:
    """Glass taken in a polishing session."""
    rows = []
    for abrasive in ("cerium-oxide", "rouge"):
        bench = make_bench(6 * INCH, 96 * INCH, wear=Wear(abrasive=abrasive))
        state = started(bench)
        after, _ = ENGINE.work_spell(bench, make_spell("one-third", "tool", 60.0, rate=45.0), state)
        hour = trapezoid((state.height - after.height) * state.radius, state.radius)
        hour /= trapezoid(state.radius, state.radius)
        rows.append(
            f"{abrasive}: {hour * 1e6:.2f} um an hour, {6 * hour * 1e6:.1f} to {12 * hour * 1e6:.1f} um in 6 to 12 hours"
        )
    return "6 in f/8, one-third strokes, 45 a minute; " + "; ".join(rows)


def smoothing() -> str:
    """Removal in which a ripple under the lap fades to 1/e."""
    rows = [f"{kappa:.1e} Pa/m: {1e3 / kappa * 1e6:.2f} um" for kappa in (1.7e9, 2.5e9, 5e9, 1.5e10)]
    return "mean removal, at 1 kPa, in which a ripple fades to 1/e, by the stiffness: " + "; ".join(rows)


def continuous_polishing() -> str:
    """A mirror on a larger turning lap that does not creep, worn until it wears alike everywhere."""
    left, change = equilibrium()
    return (
        f"pressure times speed departs from its mean by {change:.0%} RMS at the start and by {left:.1%} after 60 hours, "
        "when the glass is worn evenly"
    )


def equilibrium() -> tuple[float, float]:
    """RMS departure of p v from its mean over the glass at the end, and of v, which is that of the start [1]."""
    hands = Hands(push=60.0, length_jitter=0.0, centre_jitter=0.0, push_height=0.0, top_turns=9.0, stand_turns=20.0)
    bench = make_bench(0.2, 2.4, hands=hands, wear=Wear(edge_gain=0.0), lap=1.2, relaxation_time=1e8, start="spherical")
    state = started(bench)
    spell = make_spell("overhang", "mirror", 600.0, length=1e-4, side_overhang=0.09)
    after = state
    for _ in range(6):
        after, _ = ENGINE.work_spell(bench, spell, after)
    angle = 2.0 * np.pi * (np.arange(720) + 0.5) / 720
    top, stand = hands.spins
    place = after.radius[:, None] * np.exp(1j * angle)
    speed = np.abs(-1j * stand * 0.09 * 0.2 + 1j * (stand - top) * place).mean(axis=1)
    area = trapezoid(after.height * after.radius, after.radius) / trapezoid(after.radius, after.radius)
    pressure = bench.load_on("mirror", bench.lap()) / (np.pi * 0.1**2) + bench.lap().stiffness * (after.height - area)
    return departure(pressure * speed, after.radius), departure(speed, after.radius)


def departure(values: Any, radius: Any) -> float:
    """RMS departure from the mean over the area, over the mean [1]."""
    area = trapezoid(radius, radius)
    mean = trapezoid(values * radius, radius) / area
    return float(np.sqrt(trapezoid((values / mean - 1.0) ** 2 * radius, radius) / area))


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
    what = "a spherical lap on an oblate glass (K = +3): share of the overlap that carries no load in the next minute"
    return f"{what}, after a pressing of " + ", ".join(rows)


def fifth_of_a_turn() -> str:
    """What is left of a steady astigmatic bias."""
    left = {degrees: 100.0 * turns(np.radians(degrees), 5).share for degrees in (0.0, 72.0, 90.0, 180.0)}
    rows = [f"{degrees:.0f} deg {listed(share)}%" for degrees, share in left.items()]
    return "astigmatism remaining after 1 to 5 spells, as a share of that without turning: " + "; ".join(rows)


def winter() -> str:
    """Relaxation time over the range of a basement's temperature."""
    rows = []
    for warm in (17.0, 19.0, 21.0):
        bench = make_bench(0.2, 2.4, wear=Wear(temperature=warm))
        done = work(bench, [make_spell("w", "mirror", 20.0, length=0.75, side_sweep=0.2)])
        minutes = bench.relaxation_time_at(bench.lap()) / 60.0
        rows.append(f"{warm:.0f} degC: relaxation time {minutes:.1f} min, K {done.conics[-1]:+.2f}")
    return "20 minutes of W strokes (0.75 D by 0.2 D) on a 0.2 m f/6 sphere at " + "; ".join(rows)
