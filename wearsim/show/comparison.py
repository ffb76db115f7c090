"""A comparison as it is read and plotted: the tool on top and the mirror on top, side by side on common scales."""

from __future__ import annotations

from typing import TYPE_CHECKING

from wearsim.bench.bench import Bench
from wearsim.bench.units import LengthUnit, length_unit
from wearsim.decide.compare import Comparison, Side
from wearsim.kernels.arrays import Floats
from wearsim.show.maps import common_levels, draw_figure_error, map_words
from wearsim.show.numbers import (
    CANNOT,
    LIFT_OFF,
    figure_rows,
    numbers_after,
    numbers_before,
    numbers_table,
    pressure_number,
)
from wearsim.show.outcome import no_band_words, unit_for
from wearsim.show.profiles import deepest_removal, draw_removal, draw_surface, legend_entries, ring_means
from wearsim.show.style import INK, new_figure, plot_style
from wearsim.show.text import OUTSIDE_BAND, bands_beneath, paragraph, table, warnings_text
from wearsim.wear.outcome import Outcome

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure, SubFigure


NAMES = {"tool": "Tool on top", "mirror": "Mirror on top"}
RADIUS = "The upper piece becomes more concave, the lower more convex"
PROFILES_HEIGHT, MAPS_HEIGHT = 6.4, 4.2  # of their rows [in]


def comparison_text(bench: Bench, both: Comparison) -> str:
    """Everything to read about a comparison."""
    parts = [_zones(bench, both, length_unit(bench)), _numbers(both, length_unit(bench)), *map(_remarks, both.sides)]
    return "\n\n".join(part for part in parts if part)


def any_outcome(both: Comparison) -> Outcome:
    """An outcome of the two, for what they have in common."""
    return next(side.outcome for side in both.sides if side.outcome is not None)


def comparison_unit(both: Comparison) -> LengthUnit:
    """The unit in which the heights of both outcomes are read."""
    units = [unit_for(side.outcome) for side in both.sides if side.outcome is not None]
    return max(units, key=lambda unit: unit.size)


def _zones(bench: Bench, both: Comparison, unit: LengthUnit) -> str:
    """Surface by zone: before, and either way what is removed and what is left."""
    one, high = any_outcome(both), comparison_unit(both)
    rings = ring_means(bench.mirror, one.radius)
    (before, *_), heads = rings.cells(one, high), ["Before"]
    columns = [before]
    for side in both.sides:
        name = NAMES[side.on_top].replace(" ", "\n", 1)
        heads += [f"{name}\nremoved", f"{name}\nafter"]
        cannot = [(CANNOT, "")] * len(rings.matrix)
        columns += [cannot, cannot] if side.outcome is None else rings.cells(side.outcome, high)[1:]
    rows = [row for name, *cells in zip(rings.names(unit), *columns, strict=True) for row in bands_beneath(name, cells)]
    note = f"{rings.note}Mean surface of each zone relative to the target, positive = high."
    if any(band for column in columns for _, band in column):
        note += " The band is below each value: nine of ten cases fall inside it."
    heads = [f"Zone of\nradius\n{unit.name}", *(f"{head}\n{high.name}" for head in heads)]
    return f"{table(heads, rows, words=())}\n{paragraph(note)}"


def _numbers(both: Comparison, unit: LengthUnit) -> str:
    one = any_outcome(both)
    sides = {NAMES[s.on_top]: None if s.outcome is None else numbers_after(s.outcome) for s in both.sides}
    numbers = (*figure_rows(comparison_unit(both), unit), pressure_number(one), LIFT_OFF)
    text = numbers_table({"Before": numbers_before(one), **sides}, numbers, band_beneath=True)
    if one.band is None and one.no_band and one.spells:
        text += f"\n{paragraph(no_band_words(one.no_band))}"
    outside = {name: None for side in sides.values() if side for name in side.outside(numbers)}
    if names := ", ".join(outside):
        text += f"\n{paragraph(f'{OUTSIDE_BAND}, as here: {names}.')}"
    return "\n".join(filter(None, [text, paragraph(radius_and_conic(both))]))


def radius_and_conic(both: Comparison) -> str:
    """What swapping the pieces reverses here: the radius of curvature always, the conic constant or not."""
    done = [side.outcome for side in both.sides if side.outcome is not None and side.outcome.spells]
    if len(done) < 2:
        return ""
    one, other = (outcome.conic_fit - outcome.numbers_before.conic_fit for outcome in done)
    conic = "and here that in conic constant as well" if one * other < 0.0 else "but not the change in conic constant"
    return f"{RADIUS}: swapping the pieces reverses the change in radius of curvature, {conic}."


def _remarks(side: Side) -> str:
    """Why a side cannot be done, or its warnings."""
    name = f"{NAMES[side.on_top]}: "
    if side.outcome is None:
        return paragraph(f"cannot be done: {side.refused}.", name, "  ")
    return warnings_text(side.outcome.warnings, f"{name}Warning: ", "  ")


def comparison_figure(bench: Bench, both: Comparison) -> Figure:
    """Plot a comparison."""
    radial, high = length_unit(bench), comparison_unit(both)
    mapped = [side.outcome for side in both.sides if side.outcome is not None and side.outcome.maps]
    heights = [PROFILES_HEIGHT] + [MAPS_HEIGHT] * bool(mapped)
    with plot_style():
        figure = new_figure(10.5, sum(heights))
        if not mapped:
            _draw_profiles(figure, bench, both, radial, high)
            return figure
        upper, lower = figure.subfigures(2, 1, squeeze=False, height_ratios=heights).ravel()
        _draw_profiles(upper, bench, both, radial, high)
        _draw_maps(lower, bench, both, radial, high, common_levels(mapped, bench, high))
    return figure


def _draw_profiles(
    figure: Figure | SubFigure, bench: Bench, both: Comparison, radial: LengthUnit, high: LengthUnit
) -> None:
    panels = figure.subplots(2, 2, sharex=True, sharey="row", height_ratios=[2.2, 1.0])
    for column, side in enumerate(both.sides):
        _draw_side(panels[0, column], panels[1, column], bench, side, radial, high)
        panels[1, column].set_xlabel(f"radius on the mirror [{radial.name}]; hatched: not counted")
    deepest = max(deepest_removal(side.outcome) for side in both.sides if side.outcome is not None)
    panels[1, 0].set_ylim(max(1.12 * deepest / high.size, 1.0), 0.0)
    panels[0, 0].set_ylabel(f"surface above the target [{high.name}]")
    panels[1, 0].set_ylabel(f"removed [{high.name}]")
    drawn = 0 if both.tool.outcome is not None else 1
    legend = legend_entries(panels[0, drawn])
    handles, labels = panels[1, drawn].get_legend_handles_labels()
    legend |= {"handles": legend["handles"] + handles, "labels": legend["labels"] + labels}
    figure.legend(**legend, loc="outside lower center", ncols=3)
    rms = numbers_before(any_outcome(both)).height("surface_rms", high)
    figure.suptitle(f"Before: RMS of the surface {rms}", fontsize=11)


def _draw_side(upper: Axes, lower: Axes, bench: Bench, side: Side, radial: LengthUnit, high: LengthUnit) -> None:
    name = NAMES[side.on_top]
    if side.outcome is None:
        _write_refusal(upper, side.refused)
        lower.grid(False)
        upper.set_title(f"{name}: cannot be done")
        return
    draw_surface(upper, bench.mirror, side.outcome, radial, high)
    draw_removal(lower, bench.mirror, side.outcome, radial, high)
    after = numbers_after(side.outcome)
    strehl = after.text("strehl", "{:.2f}".format)
    upper.set_title(f"{name}\nRMS {after.height('surface_rms', high)}, Strehl ratio {strehl}")


def _draw_maps(
    figure: SubFigure, bench: Bench, both: Comparison, radial: LengthUnit, high: LengthUnit, levels: Floats
) -> None:
    """Map of the figure error before, and after either way, with the same contour lines."""
    panels = figure.subplots(1, 3)
    draw_figure_error(panels[0], bench, any_outcome(both), "before", radial, high, levels)
    for axes, side in zip(panels[1:], both.sides, strict=True):
        if side.outcome is None:
            _write_refusal(axes, side.refused)
            continue
        draw_figure_error(axes, bench, side.outcome, "after", radial, high, levels)
        axes.set_title(f"{NAMES[side.on_top]}\n{axes.get_title(loc='left')}", fontsize=10)
    figure.supxlabel(map_words(radial, high), fontsize=9)


def _write_refusal(axes: Axes, reason: str) -> None:
    """The reason in place of a profile."""
    text = paragraph(reason, width=44)
    axes.text(0.5, 0.5, text, transform=axes.transAxes, ha="center", va="center", color=INK)
    axes.grid(False)
