"""A comparison as text: the tool on top and the mirror on top, side by side.

The plot of a comparison: the tool on top and the mirror on top, side by side on common scales.
"""

from __future__ import annotations

from collections.abc import Callable
from itertools import pairwise
from typing import TYPE_CHECKING

from wearsim.bench.bench import Bench
from wearsim.decide.compare import Comparison, Side
from wearsim.kernels.arrays import Floats
from wearsim.show.maps import common_levels, draw_figure_error, map_words
from wearsim.show.outcome import in_kilopascals, in_tenths, no_band_words, numbers_rows, unit_for
from wearsim.show.profiles import draw_removal, draw_surface, ordered, zones_of
from wearsim.show.style import INK, house, sheet
from wearsim.show.text import columns, ends_words, paragraph
from wearsim.show.units import Unit, length_unit
from wearsim.wear.outcome import Outcome

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure, SubFigure


HEADS = {"tool": "Tool on top", "mirror": "Mirror on top"}
CANNOT = "cannot"


def comparison_text(bench: Bench, both: Comparison) -> str:
    """Everything to read about a comparison.

    Parameters
    ----------
    bench : Bench
    both : Comparison
    """
    parts = [_zones(bench, both, length_unit(bench)), _numbers(both), *map(_remarks, both.sides)]
    return "\n\n".join(part for part in parts if part)


def any_outcome(both: Comparison) -> Outcome:
    """An outcome of the two, for what they have in common."""
    return next(side.outcome for side in both.sides if side.outcome is not None)


def comparison_unit(both: Comparison) -> Unit:
    """The unit in which the heights of both outcomes are read."""
    units = [unit_for(side.outcome) for side in both.sides if side.outcome is not None]
    return max(units, key=lambda unit: unit.size)


def _zones(bench: Bench, both: Comparison, unit: Unit) -> str:
    one, high = any_outcome(both), comparison_unit(both)
    zones = zones_of(bench.mirror, one.radius)
    rows = [
        ("Zone of", "Before", "Tool on top", "", "Mirror on top", ""),
        ("radius", "", "removed", "after", "removed", "after"),
        (unit.name, *[high.name] * 5),
    ]
    before = _stacked(zones.matrix, one.before, None if one.band is None else one.band.before, high)
    cells = [_cells(side, zones.matrix, high) for side in both.sides]
    for i, (inner, outer) in enumerate(pairwise(zones.edges)):
        name = f"{unit.number(inner)}-{unit.number(outer)}{'*' if i >= zones.clear else ' '}"
        stack = [column[i] for column in (before, *cells[0], *cells[1])]
        rows.append((name, *(line[0] for line in stack)))
        if any(line[1] for line in stack):
            rows.append(("", *(line[1] for line in stack)))
    note = "Surface against the target, positive = high, means over each zone."
    if _is_banded(both):
        note += " Beneath each its band: nine of ten cases lie in it."
    if len(zones.matrix) > zones.clear:
        note = "* left out of the numbers. " + note
    return "\n".join([*columns(rows, ">>>>>>"), paragraph(note)])


Cells = list[tuple[str, str]]


def _stacked(matrix: Floats, profile: Floats, ends: Floats | None, high: Unit) -> Cells:
    """Of each zone its mean and, to stand beneath it, the band; empty for none."""
    values = [high.number(value) for value in matrix @ profile]
    if ends is None:
        return [(value, "") for value in values]
    return [(value, _ends(pair, high.number)) for value, pair in zip(values, matrix @ ends.T, strict=True)]


def _cells(side: Side, matrix: Floats, high: Unit) -> tuple[Cells, Cells]:
    outcome = side.outcome
    if outcome is None:
        none = [(CANNOT, "")] * len(matrix)
        return none, none
    removal, after = (None, None) if outcome.band is None else (outcome.band.removal, outcome.band.figure_error)
    return (_stacked(matrix, outcome.removal, removal, high), _stacked(matrix, outcome.figure_error, after, high))


def _is_banded(both: Comparison) -> bool:
    return any(side.outcome is not None and side.outcome.band is not None for side in both.sides)


def _ends(pair: Floats, written: Callable[[float], str]) -> str:
    return f"{written(pair[0])} to {written(pair[1])}"


def _numbers(both: Comparison) -> str:
    high, one = comparison_unit(both), any_outcome(both)

    def row(name: str, before: str, of: Callable[[Outcome], str]) -> tuple[str, ...]:
        return (name, before, *(CANNOT if s.outcome is None else of(s.outcome) for s in both.sides))

    banded = _is_banded(both)
    rows: list[tuple[str, ...]] = [("", "Before", HEADS["tool"], HEADS["mirror"])]
    for name, words, unit, written in numbers_rows(high):
        of_unit = f", {unit}" if unit else ""

        def value(outcome: Outcome, name: str = name, written: Callable[[float], str] = written) -> str:
            return written(getattr(outcome.numbers, name))

        def ends(outcome: Outcome, name: str = name, written: Callable[[float], str] = written) -> str:
            return "-" if outcome.band is None else _ends(outcome.band.numbers[name], written)

        rows.append(row(words if banded else words + of_unit, written(getattr(one.numbers_before, name)), value))
        before = {} if one.band is None else one.band.numbers_before
        if banded:
            rows.append(row(f"  its band{of_unit}", _ends(before[name], written) if before else "", ends))
    for name, words, unit, written in (
        ("peak_pressure", "Largest pressure", "kPa", in_kilopascals),
        ("lift_off_share", "Lift-off, mean share", "", in_tenths),
    ):
        rows += _of_programme(both, name, (words, unit), written)
    lines = columns(rows, "<>>>")
    if one.band is None and one.no_band and one.spells:
        lines.append(paragraph(no_band_words(one.no_band)))
    return "\n".join(lines)


def _of_programme(
    both: Comparison, name: str, words: tuple[str, str], written: Callable[[float], str]
) -> list[tuple[str, ...]]:
    """A row of a number of the programme, and where there are bands one of these beneath it."""
    outcomes = [side.outcome for side in both.sides]
    of_unit, banded = f", {words[1]}" if words[1] else "", _is_banded(both)
    values = (CANNOT if one is None else written(getattr(one, name)) for one in outcomes)
    rows: list[tuple[str, ...]] = [(words[0] if banded else words[0] + of_unit, "", *values)]
    if banded:
        bands = (CANNOT if one is None else "-" if one.band is None else _ends(one.band.of_programme[name], written)
                 for one in outcomes)  # fmt: skip
        rows.append((f"  its band{of_unit}", "", *bands))
    return rows


def _remarks(side: Side) -> str:
    """Why a side cannot be done, or its warnings."""
    head = f"{HEADS[side.on_top]}: "
    if side.outcome is None:
        return paragraph(f"cannot be done: {side.refused}.", head, "  ")
    return "\n".join(paragraph(line, f"{head}Warning: ", "  ") for line in side.outcome.warnings)


MAPS = 4.2  # height of the maps' row [in]


def comparison_figure(bench: Bench, both: Comparison) -> Figure:
    """Plot a comparison.

    Parameters
    ----------
    bench : Bench
    both : Comparison
    """
    radial, high = length_unit(bench), comparison_unit(both)
    mapped = [side.outcome for side in both.sides if side.outcome is not None and side.outcome.maps]
    with house():
        figure = sheet(10.5, 6.4 + (MAPS if mapped else 0.0))
        if mapped:
            upper, lower = figure.subfigures(2, 1, squeeze=False, height_ratios=[6.4, MAPS]).ravel()
            _profiles(upper, bench, both, radial, high)
            _maps(lower, bench, both, radial, high, common_levels(mapped, bench, high))
        else:
            _profiles(figure, bench, both, radial, high)
    return figure


def _profiles(figure: Figure | SubFigure, bench: Bench, both: Comparison, radial: Unit, high: Unit) -> None:
    panels = figure.subplots(2, 2, sharex=True, sharey="row", height_ratios=[2.2, 1.0])
    deepest = max(_deepest(s.outcome) for s in both.sides if s.outcome is not None)
    for column, side in enumerate(both.sides):
        _draw_side(panels[0, column], panels[1, column], bench, side, radial, high)
        panels[1, column].set_xlabel(f"radius on the mirror [{radial.name}]; hatched: left out")
    panels[1, 0].set_ylim(max(1.12 * deepest / high.size, 1.0), 0.0)
    panels[0, 0].set_ylabel(f"surface above the target [{high.name}]")
    panels[1, 0].set_ylabel(f"removed [{high.name}]")
    drawn = panels[0, 0] if both.tool.outcome is not None else panels[0, 1]
    legend, below = ordered(drawn), panels[1, 0 if both.tool.outcome is not None else 1]
    for handle, label in zip(*below.get_legend_handles_labels(), strict=True):
        legend["handles"].append(handle)
        legend["labels"].append(label)
    figure.legend(**legend, loc="outside lower center", ncols=3)
    one = any_outcome(both)
    words = ends_words({} if one.band is None else one.band.numbers_before, "surface_rms", high.number)
    text = f"Before: RMS of the surface {high.text(one.numbers_before.surface_rms)}{words}"
    figure.suptitle(text, fontsize=11)


def _deepest(outcome: Outcome) -> float:
    """Of the removal, or of the upper end of its band [m]."""
    band = outcome.band
    return float((outcome.removal if band is None or band.removal is None else band.removal[1]).max())


def _maps(figure: SubFigure, bench: Bench, both: Comparison, radial: Unit, high: Unit, levels: Floats) -> None:
    """Map of the figure error before, and after either way, with the same contour lines."""
    panels = figure.subplots(1, 3)
    draw_figure_error(panels[0], bench, any_outcome(both), "before", radial, high, levels)
    for axes, side in zip(panels[1:], both.sides, strict=True):
        if side.outcome is None:
            _refuse(axes, side.refused)
            continue
        draw_figure_error(axes, bench, side.outcome, "after", radial, high, levels)
        axes.set_title(f"{HEADS[side.on_top]}\n{axes.get_title(loc='left')}", fontsize=10)
    figure.supxlabel(map_words(radial, high), fontsize=9)


def _draw_side(upper: Axes, lower: Axes, bench: Bench, side: Side, radial: Unit, high: Unit) -> None:
    outcome = side.outcome
    if outcome is None:
        _refuse(upper, side.refused)
        lower.grid(False)
        upper.set_title(f"{HEADS[side.on_top]}: cannot be done")
        return
    draw_surface(upper, bench.mirror, outcome, radial, high)
    draw_removal(lower, bench.mirror, outcome.removal, outcome.radius, radial, high, outcome.band)
    ends = {} if outcome.band is None else outcome.band.numbers
    upper.set_title(
        f"{HEADS[side.on_top]}\n"
        f"RMS {high.text(outcome.surface_rms)}{ends_words(ends, 'surface_rms', high.number)}, "
        f"Strehl ratio {outcome.strehl:.2f}{ends_words(ends, 'strehl', '{:.2f}'.format)}"
    )


def _refuse(axes: Axes, reason: str) -> None:
    """The reason in place of a profile."""
    text = paragraph(reason, width=44)
    axes.text(0.5, 0.5, text, transform=axes.transAxes, ha="center", va="center", color=INK)
    axes.grid(False)
