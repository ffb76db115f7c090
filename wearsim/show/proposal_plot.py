"""The plot of a proposal: the figure before and after, what minutes and spells buy, the strokes."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from wearsim.bench.bench import Bench
from wearsim.decide.proposal import Proposal
from wearsim.decide.trade_off import TradeOff
from wearsim.show.lengths import Unit, length_unit
from wearsim.show.outcome_table import unit_for
from wearsim.show.profiles import draw_removal, draw_surface, ordered
from wearsim.show.proposal_table import work_minutes
from wearsim.show.strokes import draw_spells, drawing_of
from wearsim.show.style import BLUE, INK, QUIET, RED, house, sheet

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure, SubFigure

A_ROW = 4
LINES = ("-", (0, (6, 2)), (0, (2, 1.5)), "-.", (0, (8, 2, 1, 2, 1, 2)), ":", (0, (10, 3)), (0, (1, 3)))


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
    before, after = outcome.numbers_before.surface_rms, outcome.surface_rms
    surface.set_title(f"RMS of the surface {high.text(before)} before, {high.text(after)} after", pad=28)
    draw_removal(removal, bench.mirror, outcome.removal, outcome.radius, radial, high)
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
        axes.axhline(proposal.floor / high.size, color=QUIET, linewidth=1.2, linestyle=(0, (1, 2)))
        axes.set_ylabel(f"RMS to expect [{high.name}]")
    _draw_minutes(by_minutes, proposal, high)
    _draw_spells_count(by_spells, proposal, before, high)


def _draw_minutes(axes: Axes, proposal: Proposal, high: Unit) -> None:
    limit = proposal.limits.minutes
    for one in proposal.trade_off:
        minutes, rms = [*one.minutes, limit], [*one.expected_rms, one.expected_rms[-1]]
        label = "1 spell" if one.spells == 1 else f"{one.spells}"
        look = LINES[(one.spells - 1) % len(LINES)]
        scaled = [value / high.size for value in rms]
        axes.step(minutes, scaled, where="post", color=INK, linestyle=look, linewidth=1.4, label=label)
    _choice(axes, work_minutes(proposal.programme), proposal.expected_rms / high.size)
    axes.set_xlim(0.0, limit)
    axes.set_xlabel("minutes of work; dotted: the floor")
    axes.set_title("What minutes buy", pad=14 + 14 * math.ceil((len(proposal.trade_off) + 1) / 5))
    axes.legend(loc="lower left", bbox_to_anchor=(-0.02, 1.0), ncols=5, columnspacing=1.2)


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
    axes.set_xlabel("number of spells; 0: stop now")
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
    caption = "From above, stroke left to right. Grey: bottom piece; dashed: top piece; line: its centre"
    figure.supxlabel(caption, fontsize=9)
