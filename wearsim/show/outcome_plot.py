"""The plot of an outcome: surface before and after, the removal beneath it, the strokes that did it."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from wearsim.bench.bench import Bench
from wearsim.bench.programme import Programme
from wearsim.show.lengths import length_unit
from wearsim.show.outcome_table import unit_for
from wearsim.show.profiles import draw_removal, draw_surface
from wearsim.show.strokes import draw_spell
from wearsim.show.style import house, sheet
from wearsim.wear.outcome import Outcome

if TYPE_CHECKING:
    from matplotlib.figure import Figure, SubFigure

A_ROW = 4
MOST_DRAWN = 12


def outcome_figure(bench: Bench, programme: Programme, outcome: Outcome) -> Figure:
    """Plot an outcome.

    Parameters
    ----------
    bench : Bench
    programme : Programme
        The one that the outcome was predicted for.
    outcome : Outcome
    """
    drawn = min(len(programme.spells), MOST_DRAWN)
    rows = math.ceil(drawn / A_ROW)
    with house():
        figure = sheet(8.5, 6.2 + 2.9 * rows)
        if not rows:
            _profiles(figure, bench, outcome)
            return figure
        upper, lower = figure.subfigures(2, 1, height_ratios=[6.2, 2.9 * rows])
        _profiles(upper, bench, outcome)
        _strokes(lower, bench, programme, rows)
    return figure


def _profiles(figure: Figure | SubFigure, bench: Bench, outcome: Outcome) -> None:
    radial, high = length_unit(bench), unit_for(outcome)
    surface, removal = figure.subplots(2, 1, sharex=True, height_ratios=[2.4, 1.0])
    draw_surface(surface, bench.mirror, outcome, radial, high)
    surface.set_ylabel(f"surface above the target [{high.name}]")
    surface.legend(loc="lower center", bbox_to_anchor=(0.5, 1.0), ncols=3)
    surface.set_title(_headline(outcome), pad=28)
    draw_removal(removal, bench.mirror, outcome.removal, outcome.radius, radial, high)
    removal.set_ylabel(f"removed [{high.name}]")
    removal.set_xlabel(f"radius on the mirror [{radial.name}]; hatched: left out of the numbers")


def _headline(outcome: Outcome) -> str:
    high, old, new = unit_for(outcome), outcome.numbers_before, outcome.numbers
    return (
        f"RMS of the surface {high.text(old.surface_rms)} before, {high.text(new.surface_rms)} after; "
        f"Strehl ratio {old.strehl:.2f}, {new.strehl:.2f}"
    )


def _strokes(figure: SubFigure, bench: Bench, programme: Programme, rows: int) -> None:
    unit = length_unit(bench)
    panels = figure.subplots(rows, A_ROW, squeeze=False).ravel()
    for axes in panels:
        axes.set_axis_off()
    for number, (axes, spell) in enumerate(zip(panels, programme.spells, strict=False), start=1):
        draw_spell(axes, bench, spell, number, unit)
    more = len(programme.spells) - MOST_DRAWN
    caption = "From above: grey, the bottom piece; dashed, the top piece at its farthest; line, the way of its centre"
    figure.supxlabel(caption + (f"; {more} more not drawn" if more > 0 else ""), fontsize=9)
