"""The plot of an outcome: surface before and after, the removal beneath it, the strokes that did it."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from wearsim.bench.bench import Bench
from wearsim.bench.programme import Programme
from wearsim.show.lengths import length_unit
from wearsim.show.maps_plot import HEIGHT, draw_maps
from wearsim.show.outcome_table import unit_for
from wearsim.show.profiles import draw_removal, draw_surface, ordered, removal_legend
from wearsim.show.strokes import caption_of, draw_spells, drawing_of
from wearsim.show.style import house, sheet
from wearsim.show.text import ends_words
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
    heights = [HEIGHT] * bool(outcome.maps) + [6.2] + [2.9 * rows] * bool(rows)
    with house():
        figure = sheet(10.0 if outcome.maps else 8.5, sum(heights))
        parts = list(figure.subfigures(len(heights), 1, squeeze=False, height_ratios=heights).ravel())
        if outcome.maps:
            draw_maps(parts.pop(0), bench, outcome, length_unit(bench), unit_for(outcome))
        _profiles(parts.pop(0), bench, outcome)
        if parts:
            _strokes(parts.pop(0), bench, programme, rows)
    return figure


def _profiles(figure: Figure | SubFigure, bench: Bench, outcome: Outcome) -> None:
    radial, high = length_unit(bench), unit_for(outcome)
    surface, removal = figure.subplots(2, 1, sharex=True, height_ratios=[2.4, 1.0])
    draw_surface(surface, bench.mirror, outcome, radial, high)
    surface.set_ylabel(f"surface above the target [{high.name}]")
    surface.legend(**ordered(surface), loc="lower center", bbox_to_anchor=(0.5, 1.0), ncols=3)
    surface.set_title(_headline(outcome), pad=28)
    draw_removal(removal, bench.mirror, outcome.removal, outcome.radius, radial, high, outcome.band)
    removal_legend(removal)
    removal.set_ylabel(f"removed [{high.name}]")
    removal.set_xlabel(f"radius on the mirror [{radial.name}]; hatched: left out of the numbers")


def _headline(outcome: Outcome) -> str:
    high, old, new = unit_for(outcome), outcome.numbers_before, outcome.numbers
    mean = "Mean over rings: " if outcome.maps else ""
    was, now = ({}, {}) if outcome.band is None else (outcome.band.numbers_before, outcome.band.numbers)
    rms = (
        f"{high.text(numbers.surface_rms)}{ends_words(ends, 'surface_rms', high.number)}"
        for numbers, ends in ((old, was), (new, now))
    )
    strehl = (
        f"{numbers.strehl:.2f}{ends_words(ends, 'strehl', '{:.2f}'.format)}"
        for numbers, ends in ((old, was), (new, now))
    )
    return f"{mean}RMS {' before, '.join(rms)} after; Strehl ratio {', '.join(strehl)}"


def _strokes(figure: SubFigure, bench: Bench, programme: Programme, rows: int) -> None:
    unit = length_unit(bench)
    drawings = [
        drawing_of(bench, spell, number, unit)
        for number, spell in enumerate(programme.spells[:MOST_DRAWN], start=1)
    ]
    across = min(max(len(drawings), 3), A_ROW)
    draw_spells(list(figure.subplots(rows, across, squeeze=False).flat), drawings)
    more = len(programme.spells) - MOST_DRAWN
    figure.supxlabel(caption_of(drawings) + (f"; {more} more spells" if more > 0 else ""), fontsize=9)
