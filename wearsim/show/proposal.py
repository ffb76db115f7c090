"""A proposal as it is read and plotted: the programme, the figure before and after, the gain from more time.

How good the proposal is, and why it stops there, is read as well.
"""

from __future__ import annotations

import math
from functools import partial
from typing import TYPE_CHECKING, Any

import numpy as np

from wearsim.bench.bench import Bench
from wearsim.bench.programme import STROKES, Programme, Spell
from wearsim.bench.units import LengthUnit, counted, length_unit, round_unit
from wearsim.decide.choice import ANY_STROKE, STOP, TRIAL, which_will_do
from wearsim.decide.good_enough import AIM_REACHED
from wearsim.decide.proposal import LaterSession, Proposal
from wearsim.decide.reasons import share_words
from wearsim.decide.trade_off import TradeOff
from wearsim.show.numbers import BandedNumbers, Number, numbers_after, numbers_before, numbers_table
from wearsim.show.outcome import numbers_text, unit_for
from wearsim.show.profiles import draw_profiles
from wearsim.show.strokes import ROW_HEIGHT, draw_programme, rows_for, spell_words
from wearsim.show.style import BLUE, INK, QUIET, RED, new_figure, plot_style
from wearsim.show.text import banded, in_diameters, paragraph, sentence, table, warnings_text
from wearsim.wear.outcome import Outcome

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure, SubFigure


PROFILES_HEIGHT = 6.4  # of their row [in]
# Of the curves, one after the other: all black and thin, none like the floor.
LINES = ("-", (0, (6, 2)), (0, (6, 2, 1, 2)), (0, (2.5, 1.5)), (0, (8, 2, 1, 2, 1, 2)), (0, (10, 3)))
FLOOR: dict[str, Any] = {"color": "#a8a8a8", "linewidth": 4.0, "solid_capstyle": "butt", "zorder": 1}
EVALUATED: dict[str, Any] = {"marker": "|", "markersize": 9.0, "color": INK, "zorder": 3}
LEGEND_COLUMNS = 2
CENTRE, EDGE = 0.15, 0.93
"""Zones within and beyond these shares of the radius go by these names [1]."""


def proposal_text(bench: Bench, proposal: Proposal, readings: str = "") -> str:
    """Everything to read about a proposal, the expected readings given as text."""
    unit = length_unit(bench)
    parts = [
        programme_text(bench, proposal, unit),
        spells_after_text(proposal.outcome),
        numbers_text(proposal.outcome, unit, partial(_promised, bench, proposal)),
        choices_text(bench, proposal, unit),
        judgement_text(proposal, unit),
        *(later_text(bench, number, one, unit) for number, one in enumerate(proposal.later, start=2)),
        no_more_text(proposal),
        readings,
        warnings_text(proposal.outcome.warnings),
    ]
    return "\n\n".join(part for part in parts if part)


def _promised(bench: Bench, proposal: Proposal, after: BandedNumbers) -> BandedNumbers:
    return after.no_better_than(proposal.least_rms, bench.light.wavelength) if proposal.least_rms else after


def work_minutes(programme: Programme) -> float:
    """Minutes of work, pressing not counted [min]."""
    return programme.minutes_of_work


def programme_text(bench: Bench, proposal: Proposal, unit: LengthUnit) -> str:
    """The programme spell by spell: sizes in the person's unit and as fractions of the mirror's diameter."""
    programme = proposal.programme
    if not programme.spells:
        stops = proposal.reason.startswith(AIM_REACHED)
        return paragraph(f"{'Stop' if stops else 'Nothing proposed'}: {proposal.reason}.")
    heads = ["Spell", "Min", "On top", "Stroke"]
    heads += [
        f"{head}\n{of}"
        for size in ("Length", "Each side", "Off centre")
        for head, of in ((size, unit.name), ("", "of D"))
    ]
    rows = [
        (
            str(number),
            f"{spell.minutes:g}",
            spell.on_top,
            STROKES[spell.stroke].words,
            *_sizes(spell, bench.mirror.diameter, unit),
        )
        for number, spell in enumerate(programme.spells, start=1)
    ]
    note = "Length: whole travel. Each side: half the side-to-side travel. "
    note += "Off centre: distance from the middle of the stroke to the mirror's centre. "
    note += f"{counted(proposal.limits.strokes_a_minute, 'stroke')} per minute, out and back counted as one. "
    note += f"D: the mirror's diameter, {unit.short(bench.mirror.diameter)}."
    if len(bench.laps) > 1:
        laps = (f"spell {n}: {bench.lap(s.lap).name}" for n, s in enumerate(programme.spells, start=1))
        note += " Lap of " + ", ".join(laps) + "."
    head = (
        f"Proposed: {counted(work_minutes(programme), 'minute')} of work in {counted(len(programme.spells), 'spell')}."
    )
    return f"{paragraph(head)}\n{table(heads, rows, words=(2, 3))}\n{paragraph(note)}"


def spells_after_text(outcome: Outcome) -> str:
    """The figure after each spell, with its bands; empty where there is none."""
    if not outcome.spells:
        return ""
    high, band = unit_for(outcome), outcome.band
    rms = banded([s.surface_rms for s in outcome.spells], band and band.stage_rms, high.number)
    roll = banded([s.edge_roll for s in outcome.spells], band and band.stage_edge_roll, high.number)
    rows = [(str(n), *cells) for n, cells in enumerate(zip(rms, roll, strict=True), start=1)]
    return table(["After spell", f"RMS\n{high.name}", f"Edge roll\n{high.name}"], rows, words=())


def choices_text(bench: Bench, proposal: Proposal, unit: LengthUnit) -> str:
    """The table of choices: what was proposed and what else there was; empty where the aim is reached."""
    if not proposal.choices:
        return ""
    high, rows = unit_for(proposal.outcome), []
    for one in proposal.choices:
        spells = [s.stroke.spell(s.minutes, proposal.limits.strokes_a_minute) for s in one.candidate.plan]
        words = "; ".join(f"{s.minutes:g} min {spell_words(s, bench.mirror.diameter, unit)}" for s in spells)
        rows.append((one.name, high.number(one.expected_rms), f"{one.effort:.0f}", words))
    rows.append((STOP, high.number(proposal.stopped_rms), "0", "-"))
    alike = which_will_do(proposal.choices, proposal.stopped_rms)
    notes = [f"{one.name}: the usual one for {one.words}." for one in proposal.choices if one.words]
    if any(one.name == TRIAL for one in proposal.choices):
        notes.append(f"{TRIAL}: the stroke that keeps a sphere, to learn from.")
    if any(one.name == ANY_STROKE for one in proposal.choices):
        notes.append(f"{ANY_STROKE}: the best programme if strokes that are not in common use are allowed as well.")
    note = (
        "Expected RMS: all uncertainties included. Effort: minutes of work, plus 15 for each further spell and each change "
        "of the piece on top; heavy glass on top counts double."
    )
    heads = ["", f"Expected\nRMS {high.name}", "Effort\nmin", "Programme"]
    return f"Choices\n{table(heads, rows, words=(0, 3))}\n{paragraph(' '.join(filter(None, [alike, note, *notes])))}"


def _sizes(spell: Spell, diameter: float, unit: LengthUnit) -> tuple[str, ...]:
    """Length, side sweep and overhang, each in the unit and as a fraction; dashes where there is none."""
    if spell.is_press:
        return ("-", "-") * 3
    stroke = spell.stroke_on(diameter)
    cells: list[str] = []
    for size in (stroke.length, stroke.side_sweep, stroke.side_overhang):
        cells += (unit.number(size), in_diameters(size / diameter)) if size > 0.0 else ("-", "-")
    return tuple(cells)


def where_words(outcome: Outcome, unit: LengthUnit) -> str:
    """Which zone a programme lowers most against the rest of the surface, where that zone is high; else nothing."""
    lowered, high = outcome.before - outcome.figure_error, unit_for(outcome)
    place = int(np.argmax(lowered))
    if outcome.before[place] <= 0.0:
        return ""
    radius, share = outcome.radius[place], outcome.radius[place] / outcome.radius[-1]
    zone = f"the zone {round_unit(unit).text(radius)} from the centre" if share > CENTRE else "the centre"
    zone = "the edge" if share > EDGE else zone
    return (
        f"Against the rest of the surface it lowers {zone} most, by {high.text(lowered[place])}, where the glass is "
        f"{high.text(outcome.before[place])} too high."
    )


def judgement_text(proposal: Proposal, unit: LengthUnit) -> str:
    """How good the proposal is: expected RMS, the floor and the gap to it, which zone it lowers, how far it goes and why."""
    high = unit_for(proposal.outcome)
    predicted, band, floor = proposal.outcome.surface_rms, proposal.outcome.band, high.rounded(proposal.floor)
    ends = {} if band is None else {"gap": np.array([high.rounded(end) - floor for end in band.surface_rms])}
    gap = high.rounded(predicted) - floor
    values = {"expected": proposal.expected_rms, "predicted": predicted, "floor": floor, "gap": gap}
    numbers = (
        Number("expected", "Expected RMS, all uncertainties included", high.name, high.number),
        Number("predicted", "Predicted RMS, most likely constants", high.name, high.number),
        Number("floor", "Floor: estimated best of any mix of strokes, constants known", high.name, high.number),
        Number("gap", "Gap between predicted RMS and floor", high.name, high.number),
    )
    lines = [
        numbers_table({"": BandedNumbers(values, ends)}, numbers),
        paragraph(
            "Predicted RMS: the RMS after the work in the table above. Expected RMS: the same with everything uncertain, so "
            "usually larger; compare it with that of Stop now."
        ),
    ]
    if proposal.gap < 0.0:
        lines.append(paragraph("The result is better than the floor because the floor takes no account of pitch flow."))
    if proposal.programme.spells:
        share = share_words(proposal.share, proposal.share_band)
        reason = f"This is expected to remove {share}; test before removing the rest: {proposal.reason}."
        reason = reason if "of the error" not in proposal.reason else sentence(proposal.reason)
        lines.append(paragraph(" ".join(filter(None, (where_words(proposal.outcome, unit), reason)))))
    lines += [paragraph(sentence(line), "Advice: ", "        ") for line in proposal.advice]
    if proposal.stopped:
        lines.append(paragraph("The time limit ended the search; a longer one may find something better."))
    if proposal.left_out:
        lines.append(paragraph(f"Skipped because of the time limit: {'; '.join(proposal.left_out)}."))
    return "\n".join(lines)


def reasons_text(proposal: Proposal, unit: LengthUnit) -> str:
    """Why this is proposed and what is advised beside it, in sentences that name no option of a command."""
    where = where_words(proposal.outcome, unit) if proposal.programme.spells else ""
    said = " ".join(filter(None, (where, *map(sentence, (proposal.reason, *proposal.advice)))))
    return said.replace(" (--repertoire any)", "")


def no_more_text(proposal: Proposal) -> str:
    """Why fewer sessions are planned than were asked for; empty where all are."""
    if not proposal.no_more_sessions:
        return ""
    planned = len(proposal.later) + bool(proposal.programme.spells)
    count = f"Only {counted(planned, 'session')} planned" if planned else "No session planned"
    return paragraph(f"{count}: {proposal.no_more_sessions}.")


def later_text(bench: Bench, number: int, session: LaterSession, unit: LengthUnit) -> str:
    """A later session in outline."""
    spells = session.programme.spells
    high = unit_for(session.outcome)
    rms = numbers_after(session.outcome).height("surface_rms", high)
    head = (
        f"Session {number} (outline): {counted(work_minutes(session.programme), 'minute')}, predicted RMS {rms}, "
        f"expected RMS {high.text(session.expected_rms)}, if the earlier sessions go as predicted. Test, then ask for "
        "a new proposal, before you start it."
    )
    lines = [paragraph(head)]
    for spell in spells:
        words = f"{spell.minutes:g} min, {spell_words(spell, bench.mirror.diameter, unit)}"
        lines.append(paragraph(words, "  - ", "    "))
    return "\n".join(lines)


def proposal_figure(bench: Bench, proposal: Proposal) -> Figure:
    """Plot a proposal."""
    radial, high, outcome = length_unit(bench), unit_for(proposal.outcome), proposal.outcome
    rows = rows_for(len(proposal.programme.spells))
    heights = [PROFILES_HEIGHT] + [ROW_HEIGHT * rows] * bool(rows)
    before, after = (numbers(outcome).height("surface_rms", high) for numbers in (numbers_before, numbers_after))
    with plot_style():
        figure = new_figure(11.0, sum(heights))
        upper, *lower = figure.subfigures(len(heights), 1, squeeze=False, height_ratios=heights).ravel()
        left, right = upper.subfigures(1, 2, width_ratios=[1.35, 1.0])
        title = f"RMS of the surface {before} before, {after} after"
        draw_profiles(left, bench.mirror, outcome, title, radial, high)
        _draw_trade_off(right, proposal, high)
        if rows:
            draw_programme(lower[0], bench, proposal.programme.spells, radial)
    return figure


def _draw_trade_off(figure: SubFigure, proposal: Proposal, high: LengthUnit) -> None:
    """The gain from more minutes and from more spells."""
    by_minutes, by_spells = figure.subplots(2, 1)
    before = proposal.outcome.numbers_before.surface_rms
    if proposal.trade_off:  # the measurement's own band included, as in all that is drawn here
        before = float(proposal.trade_off[0].expected_rms[0])
    elif not proposal.programme.spells:
        before = proposal.expected_rms
    for axes in (by_minutes, by_spells):
        axes.set_ylim(0.0, 1.2 * max(before, proposal.expected_rms) / high.size or 1.0)
        axes.axhline(proposal.floor / high.size, label="floor", **FLOOR)
        axes.set_ylabel(f"expected RMS [{high.name}]")
    _draw_minutes(by_minutes, proposal, high)
    _draw_spells_count(by_spells, proposal, before, high)


def _draw_minutes(axes: Axes, proposal: Proposal, high: LengthUnit) -> None:
    limit = proposal.limits.minutes
    curves, marked = _curves(proposal.trade_off), False
    for place, (label, one) in enumerate(curves):
        minutes, rms = [*one.minutes, limit], np.append(one.expected_rms, one.expected_rms[-1]) / high.size
        dashes = LINES[place % len(LINES)]
        axes.step(minutes, rms, where="post", color=INK, linestyle=dashes, linewidth=1.4, label=label)
        at = [one.at(budget) / high.size for budget in one.evaluated]
        if at:  # a line of no points would be drawn at the corner of the page
            label = "" if marked else "searched"
            axes.plot(one.evaluated, at, linestyle="none", clip_on=False, **EVALUATED, label=label)
        marked = marked or bool(at)
    _mark_proposed(axes, work_minutes(proposal.programme), proposal.expected_rms / high.size)
    axes.set_xlim(0.0, limit)
    axes.set_xlabel("minutes of work")
    axes.set_title("Gain from more minutes", pad=14 + 14 * math.ceil((len(curves) + 2 + marked) / LEGEND_COLUMNS))
    axes.legend(loc="lower left", bbox_to_anchor=(-0.02, 1.0), ncols=LEGEND_COLUMNS, columnspacing=1.2)


def _curves(trade_off: tuple[TradeOff, ...]) -> list[tuple[str, TradeOff]]:
    """Each curve once, with a name that reads on its own: more spells that buy nothing share the curve of fewer."""
    alike: list[list[TradeOff]] = []
    for one in trade_off:
        if alike and _same(alike[-1][0], one):
            alike[-1].append(one)
        else:
            alike.append([one])
    return [(_at_most(partial[0].spells, partial[-1].spells), partial[0]) for partial in alike]


def _same(one: TradeOff, two: TradeOff) -> bool:
    return np.array_equal(one.minutes, two.minutes) and np.array_equal(one.expected_rms, two.expected_rms)


def _at_most(fewest: int, most: int) -> str:
    """How many spells a curve is of: ``at most 2 or 3 spells`` where the third buys nothing."""
    if fewest == most:
        return f"at most {counted(most, 'spell')}"
    return f"at most {fewest} {'or' if most == fewest + 1 else 'to'} {most} spells"


def _draw_spells_count(axes: Axes, proposal: Proposal, before: float, high: LengthUnit) -> None:
    counts = [0, *(one.spells for one in proposal.trade_off)]
    best = [before, *(float(one.expected_rms.min()) for one in proposal.trade_off)]
    axes.vlines(counts, 0.0, [value / high.size for value in best], color=QUIET, linewidth=5.0)
    chosen = sum(not spell.is_press for spell in proposal.programme.spells)
    for count, value in zip(counts, best, strict=True):
        top = max(value, proposal.expected_rms) if count == chosen else value
        at, above = (count, top / high.size), (0, 8 if count == chosen else 4)
        axes.annotate(high.number(value), at, above, textcoords="offset points", ha="center", fontsize=9)
    _mark_proposed(axes, chosen, proposal.expected_rms / high.size)
    axes.set_xlim(-0.6, proposal.limits.spells + 0.6)
    axes.set_xticks(range(proposal.limits.spells + 1))
    axes.set_xlabel("maximum number of spells (0: stop now)")
    axes.set_title("Gain from more spells")


def _mark_proposed(axes: Axes, x: float, y: float) -> None:
    edge: dict[str, Any] = {"markeredgecolor": RED, "markeredgewidth": 1.8}
    axes.plot([x], [y], "o", color=BLUE, markersize=10, zorder=5, label="proposed", clip_on=False, **edge)
