"""The plot of a comparison: the tool on top and the mirror on top, side by side on common scales."""

from __future__ import annotations

from typing import TYPE_CHECKING

from wearsim.bench.bench import Bench
from wearsim.decide.compare import Comparison, Side
from wearsim.show.comparison_table import HEADS, any_outcome, comparison_unit
from wearsim.show.lengths import Unit, length_unit
from wearsim.show.maps_plot import common_levels, draw_figure_error, map_words
from wearsim.show.profiles import draw_removal, draw_surface, ordered
from wearsim.show.style import INK, house, sheet
from wearsim.show.text import ends_words, paragraph
from wearsim.wear.grid import Array
from wearsim.wear.outcome import Outcome

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure, SubFigure

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


def _maps(figure: SubFigure, bench: Bench, both: Comparison, radial: Unit, high: Unit, levels: Array) -> None:
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
