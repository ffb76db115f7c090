"""A zonal mask as a table to cut it by, and drawn at its true size, to print and cut."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

import numpy as np

from wearsim.bench.bench import Bench
from wearsim.bench.units import MILLIMETRES, LengthUnit
from wearsim.kernels.arrays import Floats
from wearsim.knifeedge.mask import MaskDesign
from wearsim.knifeedge.readings import Readings
from wearsim.show.expected_readings import zone_name
from wearsim.show.numbers import fine_unit
from wearsim.show.style import INK, new_figure, plot_style, without_frame
from wearsim.show.text import paragraph, table, text_width

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure


MARGIN = 8.0
"""Paper left round the glass [mm]."""
FOOT = 16.0
"""Paper under it, for the scale bar [mm]."""
GLASS = "#d9e4ec"
HALF_ANGLE = np.radians(20.0)
"""Half the angle that a window takes up; its sides are radial, so that it weighs every radius by r."""
INCH = 25.4
BARS = {"mm": (20.0, 50.0, 100.0), "in": (1.0, 2.0, 4.0)}


def mask_text(design: MaskDesign, unit: LengthUnit = MILLIMETRES) -> str:
    """The windows of a mask."""
    knife = fine_unit(unit)
    heads = ["Window", *(f"{name}\n{unit.name}" for name in ("From", "To", "Width")), "Share\nof area"]
    heads += [f"Perfect\nreading\n{knife.name}", "Spread in window,\n1 = tolerance of\na reading"]
    rows = [
        (
            str(i + 1),
            *map(unit.number, (inner, outer, outer - inner)),
            f"{design.share[i]:.3f}",
            knife.number(design.aberration[i] - design.aberration[0]),
            f"{design.across[i]:.2f}",
        )
        for i, (inner, outer) in enumerate(zip(design.zones.inner, design.zones.outer, strict=True))
    ]
    note = (
        "Share of area: of all the windows together. Perfect reading: what a perfect mirror would read, relative to "
        "window 1. Spread: how far the perfect readings at the two edges of the window are apart. Above 1 the window "
        "darkens unevenly; you then read its average, and reduce treats it as such."
    )
    return f"{table(heads, rows, words=())}\n{paragraph(note)}"


def windows_drawing(shares: Sequence[tuple[float, float]], marked: int) -> str:
    """The windows as they lie along a diameter of the mirror, one of them marked, as SVG.

    Parameters
    ----------
    shares : sequence of (float, float)
        Inner and outer radius of each window, of the mirror's [1].
    """
    panes = []
    for zone, (inner, outer) in enumerate(shares):
        kind, width = "pane here" if zone == marked else "pane", max(100.0 * (outer - inner), 1.0)
        for left in (100.0 * inner, -100.0 * outer):
            panes.append(f'<rect class="{kind}" x="{left:.1f}" y="-9" width="{width:.1f}" height="18"/>')
        level = 22.0 + 9.0 * (zone % 2)
        room = np.sqrt(100.0**2 - (level + 2.0) ** 2) - 3.0 * len(str(zone + 1)) - 2.0  # inside the rim, to its middle
        panes.append(f'<text x="{min(50.0 * (inner + outer), room):.1f}" y="{level:.0f}">{zone + 1}</text>')
    return (
        '<svg class="mask" viewBox="-102 -38 204 76" role="img" aria-label="The windows on the mirror">'
        '<circle class="glass" r="100"/>' + "".join(panes) + "</svg>"
    )


def windows_of(blank: Readings | None, bench: Bench | None) -> tuple[list[str], list[tuple[float, float]], str]:
    """Each window of a sheet from rim to rim in its unit, as shares of the mirror's radius, and the unit's name."""
    if blank is None or bench is None:
        return [], [], ""
    unit = LengthUnit(blank.length_unit, blank.unit, 2 if blank.unit > 0.01 else 1)
    radius, pairs = bench.mirror.radius, list(zip(blank.zones.inner, blank.zones.outer, strict=True))
    names = [zone_name(inner, outer, unit).replace(" - ", "\u2013") for inner, outer in pairs]
    return names, [(float(inner / radius), float(outer / radius)) for inner, outer in pairs], unit.name


def windows_toml(design: MaskDesign, unit: LengthUnit = MILLIMETRES) -> str:
    """``length_unit``, that of the knife positions as well, and ``windows`` as ``readings.toml`` has them."""
    cut = LengthUnit(unit.name, unit.size, fine_unit(unit).decimals - 1)
    pairs = zip(design.zones.inner, design.zones.outer, strict=True)
    lines = ["windows = ["]
    for inner, outer in pairs:
        pair = f"[{cut.number(inner)}, {cut.number(outer)}],"
        full = len(lines) == 1 or len(f"{lines[-1]} {pair}") > text_width()
        lines[-1:] = [lines[-1], f"    {pair}"] if full else [f"{lines[-1]} {pair}"]
    return "\n".join([f'length_unit = "{unit.name}"', *lines, "]"])


def mask_figure(design: MaskDesign, title: str = "", unit: LengthUnit = MILLIMETRES) -> Figure:
    """Draw a mask at 1:1, with a bar to check the printer by and a title under it."""
    a = design.radius * 1e3
    width, height = 2.0 * (a + MARGIN), 2.0 * (a + MARGIN) + FOOT
    with plot_style():
        figure = new_figure(width / INCH, height / INCH)
        figure.set_layout_engine("none")  # to scale: nothing may move
        axes = figure.add_axes((0.0, 0.0, 1.0, 1.0))
        axes.set_xlim(-a - MARGIN, a + MARGIN)
        axes.set_ylim(-a - MARGIN - FOOT, a + MARGIN)
        without_frame(axes)
        draw_mask(axes, design)
        _foot(axes, design, a, title, unit)
    return figure


def draw_mask(axes: Axes, design: MaskDesign) -> None:
    """Rim, windows and their numbers, in millimetres from the middle of the mirror."""
    _outline(axes, design, design.radius * 1e3)
    for number, (inner, outer) in enumerate(zip(design.zones.inner, design.zones.outer, strict=True), 1):
        _window(axes, number, inner * 1e3, outer * 1e3)


def window_outline(inner: float, outer: float, side: int) -> Floats:
    """Outline of one opening: an annular sector to the right (1) or left (-1), shape (n, 2), same unit."""
    angle = np.linspace(-HALF_ANGLE, HALF_ANGLE, 41)
    arc = np.stack([np.cos(angle), np.sin(angle)], axis=1)
    outline = np.concatenate([outer * arc, inner * arc[::-1]])
    outline[:, 0] *= side
    return np.asarray(outline, dtype=float)


def _outline(axes: Axes, design: MaskDesign, a: float) -> None:
    from matplotlib.patches import Circle

    axes.add_patch(Circle((0.0, 0.0), a, fill=False, ec=INK, lw=0.8))
    if design.inner > 0.0:
        axes.add_patch(Circle((0.0, 0.0), design.inner * 1e3, fill=False, ec=INK, lw=0.6, ls="--"))
    if design.outer < design.radius:
        axes.add_patch(Circle((0.0, 0.0), design.outer * 1e3, fill=False, ec=INK, lw=0.4, ls=":"))
    tick = min(6.0, 0.08 * a)
    axes.plot([0.0, 0.0], [-tick, tick], color=INK, lw=0.5)
    axes.plot([-tick / 2, tick / 2], [0.0, 0.0], color=INK, lw=0.5)
    for sign in (-1.0, 1.0):
        axes.plot([0.0, 0.0], [sign * (a - tick), sign * a], color=INK, lw=0.5)


def _window(axes: Axes, number: int, inner: float, outer: float) -> None:
    from matplotlib.patches import Polygon

    for side in (1, -1):
        axes.add_patch(Polygon(window_outline(inner, outer, side), fc=GLASS, ec=INK, lw=0.5))
        at, size = 0.5 * side * (inner + outer), min(8.0, 2.0 + 0.6 * (outer - inner))
        axes.text(at, 0.0, str(number), ha="center", va="center", fontsize=size, clip_on=True)


def _foot(axes: Axes, design: MaskDesign, a: float, title: str, unit: LengthUnit) -> None:
    most = 2e-3 * a / 1.5 / unit.size  # of the glass, two thirds
    bar = max((length for length in BARS[unit.name] if length <= most), default=BARS[unit.name][0]) * unit.size * 1e3
    level = -a - MARGIN - 4.0
    scale_bar(axes, 0.0, level, bar, unit)
    windows = f"{len(design.zones)} windows of equal area, glass {unit.short(2 * design.radius)}"
    axes.text(0.0, level - 6.5, title or f"{windows}; cut out the tinted parts", ha="center", va="top", fontsize=7)


def scale_bar(axes: Axes, middle: float, level: float, bar: float, unit: LengthUnit) -> None:
    """A bar of this length [mm] to check the printer by, and what to do with it, under a middle at a level."""
    left = middle - bar / 2.0
    for part in range(10):
        ends, face = [left + part * bar / 10, left + (part + 1) * bar / 10], INK if part % 2 == 0 else "white"
        axes.fill_between(ends, level, level + 2.0, fc=face, ec=INK, lw=0.4)
    words = f"{unit.short(bar * 1e-3)}: print at 100% and measure this bar."
    axes.text(middle, level - 2.0, words, ha="center", va="top", fontsize=8)
