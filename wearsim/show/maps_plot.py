"""The planar engine's maps: figure before and after, removal, the pitch, and the ripple that channels print."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from wearsim.bench.bench import Bench
from wearsim.show.contours import DEPTHS, Cells, draw_map, draw_meridian, draw_place, draw_rims, steps
from wearsim.show.lengths import Unit, height_unit
from wearsim.show.maps_table import NO_AXIS, details_ends
from wearsim.show.style import AFTER, INK, QUIET
from wearsim.show.text import ends_words
from wearsim.wear.grid import Array
from wearsim.wear.outcome import Outcome

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure, SubFigure

HEIGHT = 7.6  # of all the maps' panels [in]
LONGEST_PERIOD = 0.5  # of the ripple that is drawn, of the mirror's diameter


def draw_maps(figure: Figure | SubFigure, bench: Bench, outcome: Outcome, radial: Unit, high: Unit) -> None:
    """All maps of an outcome.

    Parameters
    ----------
    figure : Figure or SubFigure
    bench : Bench
    outcome : Outcome
        Of the planar engine.
    radial, high : Unit
        Of places and of heights.
    """
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


def map_words(radial: Unit, high: Unit) -> str:
    """What to know to read the maps."""
    return (
        f"Maps look at the face, x and y in {radial.name}; heights in {high.name}, dashed below the target. "
        "Arrows: high meridian of the astigmatism"
    )


def on_glass(outcome: Outcome) -> Cells:
    """Cells that are glass for the most part."""
    return np.asarray(outcome.maps["glass"] > 0.5, dtype=np.bool_)


def common_levels(outcomes: list[Outcome], bench: Bench, high: Unit) -> Array:
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
    axes: Axes, bench: Bench, outcome: Outcome, name: str, radial: Unit, high: Unit, levels: Array
) -> None:
    """Map of the figure error ``before`` or ``after``, with the high meridian."""
    maps, found = outcome.maps, outcome.details
    draw_map(axes, maps["x"] / radial.size, maps[name] / high.size, on_glass(outcome), levels)
    draw_rims(axes, bench.mirror, radial)
    amplitude = found[f"astigmatism_{name}_m"]
    ends = details_ends(outcome, name)
    rms, astigmatism = (
        f"{high.text(found[key])}{ends_words(ends, key, high.number)}"
        for key in (f"map_rms_{name}_m", f"astigmatism_{name}_m")
    )
    axes.set_title(f"{name.capitalize()}: RMS {rms},\nastigmatism {astigmatism}", fontsize=10)
    if amplitude >= NO_AXIS:
        draw_meridian(axes, bench.mirror.radius / radial.size, found[f"astigmatism_axis_{name}_rad"])


def draw_removal_map(axes: Axes, bench: Bench, outcome: Outcome, radial: Unit, high: Unit) -> None:
    """Map of what is removed, and where the largest pressure stood."""
    maps, inside = outcome.maps, on_glass(outcome)
    removed = maps["removal"] / high.size
    draw_map(axes, maps["x"] / radial.size, removed, inside, steps(removed, inside), DEPTHS)
    draw_rims(axes, bench.mirror, radial)
    most = ends_words(details_ends(outcome, "after"), "removal_most_m", high.number)
    words = f"Removed: up to {high.text(float(maps['removal'][inside].max()))}{most}"
    if outcome.spells:
        ends = {} if outcome.band is None else outcome.band.of_programme
        band = ends_words(ends, "peak_pressure", lambda pressure: f"{pressure / 1e3:.1f}")
        apart = "\n" if band else " "
        words += f"\nring: largest pressure,{apart}{outcome.peak_pressure / 1e3:.1f} kPa{band}"
        draw_place(axes, outcome.details["peak_x_m"] / radial.size, outcome.details["peak_y_m"] / radial.size)
    axes.set_title(words, fontsize=10)


def draw_pitch(axes: Axes, outcome: Outcome, radial: Unit) -> None:
    """Map of the first lap's pitch afterwards; channels are left white."""
    maps = outcome.maps
    inside = np.asarray(maps["facets"] > 0.5, dtype=np.bool_)
    unit = height_unit(float(np.ptp(maps["pitch"][inside])))
    values = maps["pitch"] / unit.size
    draw_map(axes, maps["pitch_x"] / radial.size, values, inside, steps(values, inside))
    name = next(iter(outcome.pitch_height), "lap")
    lap = "" if name == "lap" else f" of {name}"
    axes.set_title(f"Pitch{lap} afterwards [{unit.name}]", fontsize=10)


def draw_ripple(axes: Axes, bench: Bench, outcome: Outcome, radial: Unit) -> None:
    """Zonal ripple in the removal, against its period; the lap's own pattern is marked."""
    frequency, amplitude = outcome.maps["ripple_frequency"], outcome.maps["ripple_amplitude"]
    x = outcome.maps["x"]
    shortest, longest = 4.0 * float(x[1] - x[0]), LONGEST_PERIOD * bench.mirror.diameter
    shown = (frequency > 1.0 / longest) & (frequency < 1.0 / shortest)
    period = 1.0 / frequency[shown] / radial.size
    axes.fill_between(period, 0.0, amplitude[shown] * 1e9, facecolor="#d3e3f2", linewidth=0.0)
    axes.plot(period, amplitude[shown] * 1e9, marker=".", markersize=4, **{**AFTER, "linewidth": 1.4})
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
    axes.set_title("Zonal ripple in the removal, its smooth run taken off", fontsize=10)
    axes.set_xlabel(f"period along the radius [{radial.name}]", fontsize=9)
    axes.set_ylabel("amplitude [nm]", fontsize=9)


def _plain_periods(axes: Axes) -> None:
    """Periods as plain numbers: 5, 10, 20, 50."""
    from matplotlib.ticker import LogLocator, NullFormatter, StrMethodFormatter

    axes.xaxis.set_major_locator(LogLocator(subs=(1.0, 2.0, 5.0)))
    axes.xaxis.set_major_formatter(StrMethodFormatter("{x:g}"))
    axes.xaxis.set_minor_formatter(NullFormatter())
