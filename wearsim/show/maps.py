"""The planar engine's maps as they are read and drawn: what is not round, ripple, and what turning the mirror does.

They are drawn as a hill map is: contour lines, dashed below the target, over a tint that is darker the lower it lies.
``radial`` and ``high`` are the units of places and of heights.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from wearsim.bench.bench import Bench
from wearsim.bench.mirror import Mirror
from wearsim.bench.personal_units import height_unit
from wearsim.bench.programme import Programme
from wearsim.bench.units import LengthUnit
from wearsim.figure.zernike import zernike_astigmatism
from wearsim.kernels.arrays import Floats
from wearsim.show.numbers import BandedNumbers, Number, numbers_after, numbers_table, pressure_number
from wearsim.show.style import AFTER, INK, QUIET
from wearsim.show.text import Cell, ends_words, paragraph, table
from wearsim.wear.outcome import Outcome
from wearsim.wear.rotation import bias_left, is_turned, lies_turned, turns

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure, SubFigure


MapMask = NDArray[np.bool_]
# Lightness rises evenly from low to high, so that a grey print shows the same.
HEIGHTS = ("#557ca3", "#84a8c6", "#b3cbdc", "#dbe5e6", "#f8f0dc")
DEPTHS = ("#fdf6f1", "#f3d9c9", "#e3b193", "#cb8157")
FEWEST, MOST = 4, 7
FLAT = 0.05  # of a step: a map that spans less has no lines, they would trace rounding
REACH = 1.22  # of a map's panel, in radii: room for the arrows
OTHER_TURNS = (45.0, 60.0, 72.0, 80.0, 90.0, 120.0, 180.0)  # [deg]
AFTER_SPELLS = (2, 3, 4, 5, 6, 10)
# Below this an astigmatism has no axis worth showing [m].
NO_AXIS = 1e-10
MERIDIAN = "meridian"


def maps_text(programme: Programme, outcome: Outcome, radial: LengthUnit, high: LengthUnit) -> str:
    """Everything to read about an outcome's maps; empty where it has none."""
    if not outcome.maps:
        return ""
    parts = [_numbers(outcome, high), _remarks(outcome, radial)]
    if is_turned(programme):
        parts += [_turned(programme, outcome), turns_text()]
    return "\n\n".join(parts)


def axis_text(axis: float) -> str:
    """The high meridian of an astigmatism [rad]; a dash where there is next to none."""
    return "-" if math.isnan(axis) else f"{math.degrees(axis):.0f} deg"


def _axis(amplitude: float, axis: float) -> float:
    """The same axis [rad], NaN where the amplitude [m] is next to none."""
    return axis if amplitude >= NO_AXIS else math.nan


def _fine(amplitude: float) -> str:
    """A term's RMS [m] with one decimal more than heights have: what a few spells leave is often less than a nanometre."""
    return _fine_unit().number(amplitude)


def _fine_unit() -> LengthUnit:
    unit = height_unit(0.0)
    return LengthUnit(unit.name, unit.size, unit.decimals + 1)


def details(outcome: Outcome) -> BandedNumbers:
    """All numbers of the planar engine, by the names of the outcome's details."""
    return BandedNumbers(outcome.details, {} if outcome.band is None else outcome.band.details)


def map_numbers(outcome: Outcome, when: str) -> BandedNumbers:
    """Numbers of the map ``before`` or ``after``; before, with bands only where the figure is measured."""
    found, end = details(outcome), f"_{when}_m"
    values = {key.removesuffix(end): value for key, value in found.values.items() if key.endswith(end)}
    values[MERIDIAN] = _axis(values["astigmatism"], found.values[f"astigmatism_axis_{when}_rad"])
    exact = outcome.band is not None and when == "before" and not outcome.band.numbers_before
    return BandedNumbers(
        values, {} if exact else {key: found.ends[key + end] for key in values if key + end in found.ends}
    )


def _numbers(outcome: Outcome, high: LengthUnit) -> str:
    fine = _fine_unit().name
    numbers = (
        Number("map_rms", "RMS, surface", high.name, high.number),
        Number("map_pv", "Peak to valley, surface", high.name, high.number),
        Number("astigmatism", "Astigmatism, RMS", fine, _fine),
        Number(MERIDIAN, "  high meridian at", "", axis_text),
        Number("coma", "Coma, RMS", fine, _fine),
        Number("trefoil", "Trefoil, RMS", fine, _fine),
    )
    columns = {when.capitalize(): map_numbers(outcome, when) for when in ("before", "after")}
    note = "This table is for the whole map; all other numbers are for the mean over rings. Azimuths run "
    note += "counterclockwise from x, looking at the face; x is where the first stroke of a session points."
    return f"{numbers_table(columns, numbers, head='The whole map')}\n{paragraph(note)}"


def _remarks(outcome: Outcome, radial: LengthUnit) -> str:
    if not outcome.spells:
        return "No glass is removed."
    found = details(outcome)
    rms, amplitude = (
        found.text(name, _fine, f" {_fine_unit().name}") for name in ("ripple_rms_m", "ripple_amplitude_m")
    )
    ripple = paragraph(
        f"Zonal ripple in the removal {rms} RMS; the strongest component has an amplitude of {amplitude} "
        f"and a period of {radial.text(found.values['ripple_period_m'])}."
    )
    x, y = radial.number(found.values["peak_x_m"]), radial.text(found.values["peak_y_m"])
    return f"{ripple}\n{paragraph(f'The largest pressure was at x {x}, y {y} on the mirror.')}"


def _turned(programme: Programme, outcome: Outcome) -> str:
    rows: list[Sequence[Cell]] = []
    left, lies = bias_left(programme), lies_turned(programme)
    for number, spell in enumerate(programme.spells, start=1):
        if not spell.is_press:
            now = zernike_astigmatism(outcome.maps["zernike"][number])
            amplitude = Number(f"astigmatism_after_spell_{number}_m", "", "", _fine)
            rows.append(
                [
                    str(number),
                    f"{math.degrees(lies[number - 1]) % 360.0:.0f} deg",
                    details(outcome).cells(amplitude),
                    axis_text(_axis(now.amplitude, now.axis)),
                    f"{left[number - 1]:.0%}",
                ]
            )
    heads = (
        "Spell",
        "Mirror\nturned to",
        f"Astigmatism\n{_fine_unit().name} RMS",
        "High meridian",
        "Share of steady\nbias remaining",
    )
    return table(heads, rows)


def turns_text() -> str:
    """How much of a steady bias' astigmatism remains with other turns before each spell."""
    rows = []
    for angle in OTHER_TURNS:
        share = turns(math.radians(angle), max(AFTER_SPELLS)).share
        rows.append([f"{angle:.0f} deg", *(f"{share[n - 1]:.0%}" for n in AFTER_SPELLS)])
    note = (
        "Astigmatism remaining, as a share of what a steady bias of barrel or hands would produce if the mirror were "
    )
    note += (
        "never turned. Spells of equal length. Turning by a fifth, 72 to 80 degrees, each time is common practice, no "
    )
    note += "source."
    heads = ["Turned each time", *(f"{n} spells" for n in AFTER_SPELLS)]
    return f"{table(heads, rows, words=())}\n{paragraph(note)}"


HEIGHT = 7.6  # of all the maps' panels [in]
LONGEST_PERIOD = 0.5  # of the ripple that is drawn, of the mirror's diameter


def draw_maps(figure: Figure | SubFigure, bench: Bench, outcome: Outcome, radial: LengthUnit, high: LengthUnit) -> None:
    """All maps of an outcome."""
    panels = figure.subplot_mosaic(
        [["before", "after", "removal"], ["pitch", "ripple", "ripple"]], height_ratios=[1.0, 0.9]
    )
    levels = common_levels([outcome], bench, high)
    for name in ("before", "after"):
        draw_figure_error(panels[name], bench, outcome, name, radial, high, levels)
    draw_removal_map(panels["removal"], bench, outcome, radial, high)
    draw_pitch(panels["pitch"], outcome, radial)
    draw_ripple(panels["ripple"], bench, outcome, radial)
    figure.supxlabel(map_words(radial, high), fontsize=9)


def map_words(radial: LengthUnit, high: LengthUnit) -> str:
    """What to know to read the maps."""
    return (
        f"Maps look at the face, x and y in {radial.name}; heights in {high.name}, dashed below the target. "
        "Arrows: high meridian of the astigmatism"
    )


def on_glass(outcome: Outcome) -> MapMask:
    """Cells that are glass for the most part."""
    return np.asarray(outcome.maps["glass"] > 0.5, dtype=np.bool_)


def common_levels(outcomes: list[Outcome], bench: Bench, high: LengthUnit) -> Floats:
    """Levels for the figure before and after, of several outcomes alike: what the clear aperture spans."""
    values, inside = [], []
    for outcome in outcomes:
        x = outcome.maps["x"]
        clear = on_glass(outcome) & (np.hypot(x[None, :], x[:, None]) < bench.mirror.clear_radius)
        for name in ("before", "after"):
            values.append(outcome.maps[name] / high.size)
            inside.append(clear)
    return steps(np.array(values), np.array(inside))


def draw_figure_error(
    axes: Axes, bench: Bench, outcome: Outcome, name: str, radial: LengthUnit, high: LengthUnit, levels: Floats
) -> None:
    """Map of the figure error ``before`` or ``after``, with the high meridian."""
    maps, found = outcome.maps, map_numbers(outcome, name)
    draw_map(axes, maps["x"] / radial.size, maps[name] / high.size, on_glass(outcome), levels)
    draw_rims(axes, bench.mirror, radial)
    rms, uneven = (found.height(key, high) for key in ("map_rms", "astigmatism"))
    axes.set_title(f"{name.capitalize()}: RMS {rms},\nastigmatism {uneven}", fontsize=10)
    if not math.isnan(found.values[MERIDIAN]):
        draw_meridian(axes, bench.mirror.radius / radial.size, found.values[MERIDIAN])


def draw_removal_map(axes: Axes, bench: Bench, outcome: Outcome, radial: LengthUnit, high: LengthUnit) -> None:
    """Map of what is removed, and where the largest pressure stood."""
    maps, inside = outcome.maps, on_glass(outcome)
    removed = maps["removal"] / high.size
    draw_map(axes, maps["x"] / radial.size, removed, inside, steps(removed, inside), DEPTHS)
    draw_rims(axes, bench.mirror, radial)
    most = ends_words(details(outcome).ends, "removal_most_m", high.number)
    words = f"Removed: up to {high.text(float(maps['removal'][inside].max()))}{most}"
    if outcome.spells:
        number = pressure_number(outcome, 1)
        pressure = numbers_after(outcome).text(number.name, number.written, f" {number.unit}")
        words += "\nring: largest pressure," + ("\n" if "(" in pressure else " ") + pressure
        draw_place(axes, outcome.details["peak_x_m"] / radial.size, outcome.details["peak_y_m"] / radial.size)
    axes.set_title(words, fontsize=10)


def draw_pitch(axes: Axes, outcome: Outcome, radial: LengthUnit) -> None:
    """Map of the first lap's pitch afterwards; channels are left white."""
    maps = outcome.maps
    inside = np.asarray(maps["facets"] > 0.5, dtype=np.bool_)
    unit = height_unit(float(np.ptp(maps["pitch"][inside])))
    values = maps["pitch"] / unit.size
    draw_map(axes, maps["pitch_x"] / radial.size, values, inside, steps(values, inside))
    name = next(iter(outcome.pitch_height), "lap")
    lap = "" if name == "lap" else f" of {name}"
    axes.set_title(f"Pitch{lap} afterwards [{unit.name}]", fontsize=10)


def draw_ripple(axes: Axes, bench: Bench, outcome: Outcome, radial: LengthUnit) -> None:
    """Zonal ripple in the removal, against its period; the lap's own pattern is marked."""
    frequency, amplitude = outcome.maps["ripple_frequency"], outcome.maps["ripple_amplitude"]
    x = outcome.maps["x"]
    shortest, longest = 4.0 * float(x[1] - x[0]), LONGEST_PERIOD * bench.mirror.diameter
    shown = (frequency > 1.0 / longest) & (frequency < 1.0 / shortest)
    period = 1.0 / frequency[shown] / radial.size
    height, unit = amplitude[shown] / height_unit(0.0).size, height_unit(0.0).name
    axes.fill_between(period, 0.0, height, facecolor="#d3e3f2", linewidth=0.0)
    axes.plot(period, height, marker=".", markersize=4, **{**AFTER, "linewidth": 1.4})
    axes.set_xscale("log")
    axes.set_xlim(shortest / radial.size, longest / radial.size)
    axes.set_ylim(bottom=0.0)
    _plain_periods(axes)
    lap = bench.laps[0]
    if lap.facet_shape != "none" and shortest < lap.facet + lap.channel < longest:
        pattern = (lap.facet + lap.channel) / radial.size
        axes.axvline(pattern, color=QUIET, linestyle=(0, (5, 2)), linewidth=1.2)
        axes.annotate(
            "facet and channel", xy=(pattern, 1.0), xycoords=("data", "axes fraction"), xytext=(4, -10),
            textcoords="offset points", fontsize=8.5, color=INK,
        )  # fmt: skip
    axes.set_title("Zonal ripple in the removal, smooth trend subtracted", fontsize=10)
    axes.set_xlabel(f"period along the radius [{radial.name}]", fontsize=9)
    axes.set_ylabel(f"amplitude [{unit}]", fontsize=9)


def _plain_periods(axes: Axes) -> None:
    """Periods as plain numbers: 5, 10, 20, 50."""
    from matplotlib.ticker import LogLocator, NullFormatter, StrMethodFormatter

    axes.xaxis.set_major_locator(LogLocator(subs=(1.0, 2.0, 5.0)))
    axes.xaxis.set_major_formatter(StrMethodFormatter("{x:g}"))
    axes.xaxis.set_minor_formatter(NullFormatter())


def steps(values: Floats, inside: MapMask) -> Floats:
    """Round levels for contour lines of a map, or of several, in the unit of the values where they count."""
    from matplotlib.ticker import MaxNLocator

    shown = values[inside]
    if not shown.size or np.ptp(shown) < 1e-3:
        return np.array([-0.5, 0.5])
    ticks = MaxNLocator(MOST, min_n_ticks=FEWEST, steps=[1, 2, 5, 10])
    return np.asarray(ticks.tick_values(*np.percentile(shown, [0.2, 99.8])))


def draw_map(
    axes: Axes, across: Floats, values: Floats, inside: MapMask, levels: Floats, tints: tuple[str, ...] = HEIGHTS
) -> None:
    """Draw one map.

    Parameters
    ----------
    across : ndarray, shape (n,)
        Coordinates of columns and rows, in the unit of the axes.
    values, inside : ndarray, shape (n, n)
        The map in the unit of the levels, and where it is drawn.
    tints : tuple of str
        From the least value to the largest.
    """
    from matplotlib.colors import LinearSegmentedColormap

    shown = np.ma.masked_where(~inside, np.clip(values, levels[0], levels[-1]))
    step = float(levels[1] - levels[0])
    flat = float(np.ptp(shown.compressed())) < FLAT * step
    if flat:  # a shade beside a level, not now this side of it and now that
        shown = np.ma.masked_where(~inside, np.full_like(values, float(shown.mean()) + FLAT * step))
    tint = LinearSegmentedColormap.from_list("heights", tints)
    axes.contourf(across, across, shown, levels=levels, cmap=tint, extend="neither")
    if not flat:
        _lines(axes, across, shown, levels)
    axes.set_aspect("equal")
    axes.grid(False)
    axes.tick_params(labelsize=8)


def _lines(axes: Axes, across: Floats, shown: Any, levels: Floats) -> None:
    """Lines of equal height, some of them with their number: dashed below zero, heavy at it."""
    signs = np.where(np.abs(levels) < 1e-12, 0, np.sign(levels))
    lines = axes.contour(
        across, across, shown, levels=levels, colors=INK, linewidths=[1.3 if sign == 0 else 0.6 for sign in signs],
        linestyles=["--" if sign < 0 else "-" for sign in signs],
    )  # fmt: skip
    axes.clabel(lines, levels[1:-1:2], fontsize=7.5, fmt=_label, inline_spacing=5)


def _label(level: float) -> str:
    """A level with a sign that stands clear of a dashed line."""
    return f" \u2212 {-level:g} " if level < -1e-12 else f"{level:g}"


def draw_rims(axes: Axes, mirror: Mirror, radial: LengthUnit) -> None:
    """The glass's rims, and dotted what counts in the numbers."""
    from matplotlib.patches import Circle

    for radius, line in ((mirror.radius, "-"), (mirror.hole_radius, "-"), (mirror.clear_radius, ":")):
        if radius > 0.0:
            rim = Circle((0.0, 0.0), radius / radial.size, fill=False, edgecolor=INK, linestyle=line, linewidth=1.0)
            axes.add_patch(rim)
    reach = REACH * mirror.radius / radial.size
    axes.set_xlim(-reach, reach)
    axes.set_ylim(-reach, reach)


def draw_meridian(axes: Axes, radius: float, axis: float) -> None:
    """The high meridian [rad], as two arrows that point at it from outside the rim, whose radius is in the axes' unit."""
    for azimuth in (axis, axis + np.pi):
        x, y = np.cos(azimuth), np.sin(azimuth)
        axes.annotate(
            "", xy=(1.02 * radius * x, 1.02 * radius * y), xytext=(1.2 * radius * x, 1.2 * radius * y),
            arrowprops={"arrowstyle": "-|>", "color": INK, "linewidth": 1.6, "shrinkA": 0, "shrinkB": 0},
            annotation_clip=False,
        )  # fmt: skip


def draw_place(axes: Axes, x: float, y: float) -> None:
    """A place on a map, ringed."""
    ring: dict[str, Any] = {"marker": "o", "markersize": 9, "markerfacecolor": "none"}
    for colour, width in (("white", 3.4), (INK, 1.6)):
        axes.plot([x], [y], **ring, markeredgecolor=colour, markeredgewidth=width)
