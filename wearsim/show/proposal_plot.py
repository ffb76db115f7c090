"""The plot of a proposal: the figure before and after, what minutes and spells buy, the strokes."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Any

import numpy as np

from wearsim.bench.bench import Bench
from wearsim.decide.proposal import Proposal
from wearsim.decide.trade_off import TradeOff
from wearsim.show.lengths import Unit, length_unit
from wearsim.show.outcome_table import unit_for
from wearsim.show.profiles import draw_removal, draw_surface, ordered, removal_legend
from wearsim.show.proposal_table import work_minutes
from wearsim.show.strokes import caption_of, draw_spells, drawing_of
from wearsim.show.style import BLUE, INK, QUIET, RED, house, sheet
from wearsim.show.text import ends_words

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure, SubFigure

A_ROW = 4
# Of the curves, one after the other: all black and thin, none like the floor.
LINES = ("-", (0, (6, 2)), (0, (6, 2, 1, 2)), (0, (2.5, 1.5)), (0, (8, 2, 1, 2, 1, 2)), (0, (10, 3)))
FLOOR: dict[str, Any] = {"color": "#a8a8a8", "linewidth": 4.0, "solid_capstyle": "butt", "zorder": 1}
LOOKED: dict[str, Any] = {"marker": "|", "markersize": 9.0, "color": INK, "zorder": 3}
LEGEND_COLUMNS = 2


def proposal_figure(bench: Bench, proposal: Proposal) -> Figure:
    """Plot a proposal.

    Parameters
    ----------
    bench : Bench
    proposal : Proposal
    """
    spells = len(proposal.programme.spells)
    rows = math.ceil(spells / A_ROW)
    with house():
        figure = sheet(11.0, 6.4 + 2.9 * rows)
        upper, *lower = figure.subfigures(
            1 + (rows > 0), 1, squeeze=False, height_ratios=[6.4, 2.9 * rows] if rows else None
        ).ravel()
        left, right = upper.subfigures(1, 2, width_ratios=[1.35, 1.0])
        _profiles(left, bench, proposal)
        _bought(right, proposal)
        if rows:
            _strokes(lower[0], bench, proposal, rows)
    return figure


def _profiles(figure: SubFigure, bench: Bench, proposal: Proposal) -> None:
    outcome, radial, high = proposal.outcome, length_unit(bench), unit_for(proposal.outcome)
    surface, removal = figure.subplots(2, 1, sharex=True, height_ratios=[2.4, 1.0])
    draw_surface(surface, bench.mirror, outcome, radial, high)
    surface.set_ylabel(f"surface above the target [{high.name}]")
    surface.legend(**ordered(surface), loc="lower center", bbox_to_anchor=(0.5, 1.0), ncols=3)
    was, now = ({}, {}) if outcome.band is None else (outcome.band.numbers_before, outcome.band.numbers)
    before, after = (
        f"{high.text(numbers.surface_rms)}{ends_words(ends, 'surface_rms', high.number)}"
        for numbers, ends in ((outcome.numbers_before, was), (outcome.numbers, now))
    )
    surface.set_title(f"RMS of the surface {before} before, {after} after", pad=28)
    draw_removal(removal, bench.mirror, outcome.removal, outcome.radius, radial, high, outcome.band)
    removal_legend(removal)
    removal.set_ylabel(f"removed [{high.name}]")
    removal.set_xlabel(f"radius on the mirror [{radial.name}]; hatched: left out of the numbers")


def _bought(figure: SubFigure, proposal: Proposal) -> None:
    """What minutes and what spells buy."""
    high = unit_for(proposal.outcome)
    by_minutes, by_spells = figure.subplots(2, 1)
    before = proposal.outcome.numbers_before.surface_rms
    if proposal.trade_off:  # the measurement's own band included, as in all that is drawn here
        before = float(proposal.trade_off[0].expected_rms[0])
    for axes in (by_minutes, by_spells):
        axes.set_ylim(0.0, 1.2 * max(before, proposal.expected_rms) / high.size or 1.0)
        axes.axhline(proposal.floor / high.size, label="floor", **FLOOR)
        axes.set_ylabel(f"RMS to expect [{high.name}]")
    _draw_minutes(by_minutes, proposal, high)
    _draw_spells_count(by_spells, proposal, before, high)


def _draw_minutes(axes: Axes, proposal: Proposal, high: Unit) -> None:
    limit = proposal.limits.minutes
    curves, marked = _curves(proposal.trade_off), False
    for place, (label, one) in enumerate(curves):
        minutes, rms = [*one.minutes, limit], [*one.expected_rms, one.expected_rms[-1]]
        look = LINES[place % len(LINES)]
        scaled = [value / high.size for value in rms]
        axes.step(minutes, scaled, where="post", color=INK, linestyle=look, linewidth=1.4, label=label)
        at = [one.at(budget) / high.size for budget in one.looked]
        axes.plot(one.looked, at, linestyle="none", **LOOKED, label="" if marked or not at else "looked into")
        marked = marked or bool(at)
    _choice(axes, work_minutes(proposal.programme), proposal.expected_rms / high.size)
    axes.set_xlim(0.0, limit)
    axes.set_xlabel("minutes of work")
    axes.set_title("What minutes buy", pad=14 + 14 * math.ceil((len(curves) + 2 + marked) / LEGEND_COLUMNS))
    axes.legend(loc="lower left", bbox_to_anchor=(-0.02, 1.0), ncols=LEGEND_COLUMNS, columnspacing=1.2)


def _curves(trade_off: tuple[TradeOff, ...]) -> list[tuple[str, TradeOff]]:
    """Each curve once, with a name that reads on its own: more spells that buy nothing share the curve of fewer."""
    alike: list[list[TradeOff]] = []
    for one in trade_off:
        if alike and _same(alike[-1][0], one):
            alike[-1].append(one)
        else:
            alike.append([one])
    return [(_at_most(some[0].spells, some[-1].spells), some[0]) for some in alike]


def _same(one: TradeOff, two: TradeOff) -> bool:
    return np.array_equal(one.minutes, two.minutes) and np.array_equal(one.expected_rms, two.expected_rms)


def _at_most(fewest: int, most: int) -> str:
    """How many spells a curve is of: ``at most 2 or 3 spells`` where the third buys nothing."""
    if fewest == most:
        return f"at most {most} spell{'' if most == 1 else 's'}"
    return f"at most {fewest} {'or' if most == fewest + 1 else 'to'} {most} spells"


def _draw_spells_count(axes: Axes, proposal: Proposal, before: float, high: Unit) -> None:
    counts = [0, *(one.spells for one in proposal.trade_off)]
    best = [before, *(_least(one) for one in proposal.trade_off)]
    axes.vlines(counts, 0.0, [value / high.size for value in best], color=QUIET, linewidth=5.0)
    chosen = sum(not spell.is_press for spell in proposal.programme.spells)
    for count, value in zip(counts, best, strict=True):
        top = max(value, proposal.expected_rms) if count == chosen else value
        axes.annotate(
            high.number(value), (count, top / high.size), (0, 8 if count == chosen else 4),
            textcoords="offset points", ha="center", fontsize=9,
        )  # fmt: skip
    _choice(axes, chosen, proposal.expected_rms / high.size)
    axes.set_xlim(-0.6, proposal.limits.spells + 0.6)
    axes.set_xticks(range(proposal.limits.spells + 1))
    axes.set_xlabel("spells at most; 0: stop now")
    axes.set_title("What spells buy")


def _least(one: TradeOff) -> float:
    return float(one.expected_rms.min())


def _choice(axes: Axes, x: float, y: float) -> None:
    axes.plot(
        [x], [y], "o", color=BLUE, markeredgecolor=RED, markeredgewidth=1.8, markersize=10, zorder=5,
        label="proposed",
    )  # fmt: skip


def _strokes(figure: SubFigure, bench: Bench, proposal: Proposal, rows: int) -> None:
    unit = length_unit(bench)
    spells = proposal.programme.spells
    drawings = [drawing_of(bench, spell, number, unit) for number, spell in enumerate(spells, start=1)]
    across = min(max(len(drawings), 3), A_ROW)
    draw_spells(list(figure.subplots(rows, across, squeeze=False).flat), drawings)
    figure.supxlabel(caption_of(drawings), fontsize=9)
