"""A proposal as text: the programme, the figure before and after, how good that is and why it stops there."""

from __future__ import annotations

from wearsim.bench.bench import Bench
from wearsim.bench.programme import Programme, Spell
from wearsim.decide.proposal import LaterSession, Proposal
from wearsim.decide.reasons import share_words
from wearsim.show.lengths import Unit, length_unit
from wearsim.show.outcome_table import numbers_text, unit_for, warnings_text
from wearsim.show.spells import NAMES, spell_words
from wearsim.show.text import aligned, banded, columns, ends_words, in_diameters, paragraph
from wearsim.wear.outcome import Outcome

HEADS = ("Spell", "Min", "On top", "Stroke", "Length", "", "Side", "", "Off", "")


def proposal_text(bench: Bench, proposal: Proposal, readings: str = "") -> str:
    """Everything to read about a proposal.

    Parameters
    ----------
    bench : Bench
    proposal : Proposal
    readings : str
        The readings to expect afterwards, as text already.
    """
    unit = length_unit(bench)
    parts = [
        programme_text(bench, proposal, unit),
        spells_after_text(proposal.outcome),
        numbers_text(proposal.outcome),
        judgement_text(proposal),
        *(later_text(bench, number, one, unit) for number, one in enumerate(proposal.later, start=2)),
        no_more_text(proposal),
        readings,
        warnings_text(proposal.outcome),
    ]
    return "\n\n".join(part for part in parts if part)


def work_minutes(programme: Programme) -> float:
    """Minutes of work, pressing not counted [min]."""
    return sum(spell.minutes for spell in programme.spells if not spell.is_press)


def programme_text(bench: Bench, proposal: Proposal, unit: Unit) -> str:
    """The programme spell by spell: sizes in the person's unit and as fractions of the mirror's diameter."""
    programme = proposal.programme
    if not programme.spells:
        return paragraph(f"Nothing to do: {proposal.reason}.")
    named = len(bench.laps) > 1
    rows: list[tuple[str, ...]] = [HEADS, ("", "", "", "", *(unit.name, "of D") * 3)]
    for number, spell in enumerate(programme.spells, start=1):
        rows.append((
            str(number), f"{spell.minutes:g}", spell.on_top, NAMES[spell.stroke],
            *_sizes(spell, bench.mirror.diameter, unit),
        ))  # fmt: skip
    note = "Side: to each side of the stroke's middle; off: of that middle off centre. "
    note += f"{proposal.limits.rate:g} strokes a minute, out and back counted as one. "
    note += f"D: the mirror's diameter, {unit.short(bench.mirror.diameter)}."
    if named:
        laps = (f"spell {n}: {bench.lap(s.lap).name}" for n, s in enumerate(programme.spells, start=1))
        note += " Lap of " + ", ".join(laps) + "."
    head = f"Proposed: {work_minutes(programme):g} minutes of work in {_counted(len(programme.spells))}."
    return "\n".join([head, *columns(rows, ">><<>>>>>>"), paragraph(note)])


def spells_after_text(outcome: Outcome) -> str:
    """The figure after each spell, with its bands; empty where there is none.

    Parameters
    ----------
    outcome : Outcome
    """
    if not outcome.spells:
        return ""
    high, band = unit_for(outcome), outcome.band
    rms = banded([s.surface_rms for s in outcome.spells], band and band.stage_rms, high.number)
    roll = banded([s.edge_roll for s in outcome.spells], band and band.stage_edge_roll, high.number)
    rows = [("After spell", f"RMS, {high.name}", f"Edge roll, {high.name}")]
    rows += [(str(n), *both) for n, both in enumerate(zip(rms, roll, strict=True), start=1)]
    return "\n".join(columns(rows, ">>>"))


def _counted(spells: int) -> str:
    return "1 spell" if spells == 1 else f"{spells} spells"


def _sizes(spell: Spell, diameter: float, unit: Unit) -> tuple[str, ...]:
    """Length, side sweep and overhang, each in the unit and as a fraction; dashes where there is none."""
    if spell.is_press:
        return ("-", "-") * 3
    stroke = spell.stroke_on(diameter)
    cells: list[str] = []
    for size in (stroke.length, stroke.side_sweep, stroke.side_overhang):
        cells += (unit.number(size), in_diameters(size / diameter)) if size > 0.0 else ("-", "-")
    return tuple(cells)


def judgement_text(proposal: Proposal) -> str:
    """How good the proposal is: what to expect, the floor and the gap to it, the way gone and why."""
    high = unit_for(proposal.outcome)
    (gap,) = banded([proposal.gap], proposal.gap_band, high.number)
    rows = [
        (f"RMS to expect, all that is uncertain considered, {high.name}", high.number(proposal.expected_rms)),
        (f"Floor: no mix of allowed strokes does better, wear frozen, {high.name}", high.number(proposal.floor)),
        (f"Gap between the RMS after and the floor, {high.name}", gap),
    ]  # fmt: skip
    lines = columns(aligned(rows, (1,)), "<<")
    if proposal.gap < 0.0:
        lines.append(paragraph("The lap's flow beats the frozen floor."))
    if proposal.programme.spells:
        share = share_words(proposal.share, proposal.share_band)
        why = f"Goes {share} of the way; the rest is left for after a test: {proposal.reason}."
        lines.append(paragraph(why if proposal.reason.find("of the way") < 0 else _sentence(proposal.reason)))
    lines += [paragraph(_sentence(line), "Advice: ", "        ") for line in proposal.advice]
    if proposal.stopped:
        lines.append(paragraph("The time limit ended the search; a longer one may find better."))
    if proposal.left_out:
        lines.append(paragraph(f"The time limit left no time for: {'; '.join(proposal.left_out)}."))
    return "\n".join(lines)


def _sentence(text: str) -> str:
    return text[:1].upper() + text[1:] + ("" if text.endswith(".") else ".")


def no_more_text(proposal: Proposal) -> str:
    """Why fewer sessions are planned than were asked for; empty where all are."""
    if not proposal.no_more_sessions:
        return ""
    planned = len(proposal.later) + bool(proposal.programme.spells)
    count = "no session" if planned == 0 else "1 session" if planned == 1 else f"{planned} sessions"
    return paragraph(f"Planned: {count}, not as many as were asked for: {proposal.no_more_sessions}.")


def later_text(bench: Bench, number: int, session: LaterSession, unit: Unit) -> str:
    """A later session in outline."""
    spells = session.programme.spells
    high, ends = (
        unit_for(session.outcome),
        {} if session.outcome.band is None else session.outcome.band.numbers,
    )
    rms = f"{high.text(session.rms)}{ends_words(ends, 'surface_rms', high.number)}"
    head = (
        f"Session {number}, in outline: {work_minutes(session.programme):g} minutes, {rms} RMS after it, "
        f"{high.text(session.expected_rms)} to expect, if what comes before goes as predicted. "
        "Test and propose again before it."
    )
    lines = [paragraph(head)]
    for spell in spells:
        words = f"{spell.minutes:g} min, {spell_words(spell, bench.mirror.diameter, unit)}"
        lines.append(paragraph(words, "  - ", "    "))
    return "\n".join(lines)
