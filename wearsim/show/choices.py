"""What programmes are predicted to do, as plain data for the page: words, pictures, strokes that move; choices."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from wearsim.bench.bench import Bench
from wearsim.bench.programme import Programme
from wearsim.bench.toml_io import spell_shares
from wearsim.bench.units import counted, length_unit
from wearsim.decide.choice import ANY_STROKE, PROPOSED, STOP, TRIAL, which_will_do
from wearsim.decide.proposal import Proposal
from wearsim.decide.reasons import READ_FIRST
from wearsim.decide.repertoire import why_uncommon
from wearsim.show.card import card_bytes
from wearsim.show.card.content import first_pressing, pressing_words
from wearsim.show.expected_readings import expected_text
from wearsim.show.moving_stroke import barrel_spells
from wearsim.show.numbers import STREHL_WORDS, numbers_after, numbers_before
from wearsim.show.outcome import profiles_figure, unit_for
from wearsim.show.proposal import proposal_figure, proposal_text, reasons_text, work_minutes
from wearsim.show.style import data_address
from wearsim.show.text import sentence
from wearsim.wear.expected_readings import expected_after
from wearsim.wear.outcome import Outcome
from wearsim.wear.predict import Uncertainty
from wearsim.wear.warnings import EDGE_AT_WORST

COLUMNS = {
    "name": "Choice", "minutes": "Minutes", "expected": "Expected RMS", "after": "RMS after", "edge": "Edge roll after",
    "count": "Spells",
}  # fmt: skip
"""Heads of the table of choices, by the keys of its rows."""
NOTE = (
    "In brackets: the band, into which nine of ten cases fall. RMS after: with the most likely constants. Expected RMS: "
    "with all uncertainties, so usually larger; compare the choices by it. Glass taken off cannot be put back; taking too "
    "little costs one more session. Length of a stroke: its whole travel, from end to end. " + STREHL_WORDS
)
EDGE_WORSE = 1.1
"""A programme changes the edge where its end of the band is beyond that of before by this factor [1] (judgement)."""


def headline_words(outcome: Outcome) -> dict[str, str]:
    """The figure afterwards in two numbers, with their bands where there are any."""
    high, after = unit_for(outcome), numbers_after(outcome)
    return {"after": after.height("surface_rms", high), "edge": after.height("edge_roll", high)}


def predicted_words(bench: Bench, known: dict[str, Any], programme: Programme, outcome: Outcome) -> dict[str, Any]:
    """What a programme is predicted to do; ``known`` as :func:`wearsim.wear.predict.predict` takes it."""
    pressings = Uncertainty(**known).pressings(bench, programme)
    pressing, minutes = first_pressing(programme, pressings), work_minutes(programme)
    before = f", the lap pressed for {counted(int(pressing), 'minute')} before" if pressing else ""
    return {
        **headline_words(outcome), "programme": programme.text, "minutes": minutes,
        "work": f"{counted(minutes, 'minute')} in {counted(len(programme.spells), 'spell')}{before}",
        "before": numbers_before(outcome).height("surface_rms", unit_for(outcome)),
        "strehl": numbers_after(outcome).text("strehl", "{:.2f}".format), "spells": barrel_spells(bench, programme),
        "first": pressing_words(bench, programme, pressings, by_clock=True) if programme.spells else "",
        "pressing": pressing, "stop": 0.0, "own": [spell_shares(spell, bench.mirror.diameter) for spell in programme.spells],
        "picture": data_address(profiles_figure(bench, outcome)), "edge_now": edge_already(outcome),
        "warnings": [one for one in outcome.warnings if not (one.startswith(EDGE_AT_WORST) and edge_already(outcome))],
    }  # fmt: skip


def edge_already(outcome: Outcome) -> str:
    """How far the edge may be turned before any work, where that is warned of and the programme makes it no worse."""
    before = {} if outcome.band is None else outcome.band.numbers_before
    if outcome.band is None or "edge_roll" not in before:
        return ""
    for way, end in (("down", 0), ("up", 1)):
        was, becomes = (abs(float(ends[end])) for ends in (before["edge_roll"], outcome.band.edge_roll))
        is_warned = any(one.startswith(f"{EDGE_AT_WORST} the edge ends up turned {way}") for one in outcome.warnings)
        if is_warned and becomes <= EDGE_WORSE * was:
            high, now = unit_for(outcome), outcome.numbers_before.edge_roll
            return f"Edge roll now: {high.text(now)} by the readings; the edge may be turned {way} by {high.text(was)}."
    return ""


def choice_words(name: str, bench: Bench, known: dict[str, Any], proposal: Proposal) -> dict[str, Any]:
    """The same of a proposal, with why it is proposed, its plot and its card."""
    after = expected_after(bench, proposal.programme, proposal.outcome, for_card=True, **known)
    own = after if after is not None and after.is_own else None
    readings, spells = expected_text(bench, own) if own else "", proposal.programme.spells
    length = counted(work_minutes(proposal.programme), "minute")
    trial = f"Next: a short trial of {length}, to learn how fast your glass wears"
    words, test_after = predicted_words(bench, known, proposal.programme, proposal.outcome), proposal.early.test_after
    stop = "" if test_after is None else f"Stop after {counted(test_after, 'minute')} of work, test and record."
    is_last = not proposal.choices or name.startswith(proposal.choices[-1].name)  # of those that are shown in turn
    return {
        **words, "name": name, "work": f"{words['work']}. {stop}" if stop else words["work"],
        "stop": test_after or 0.0, "reason": reasons_text(proposal, length_unit(bench)),
        "title": (trial if name == TRIAL else name) if spells else "Nothing proposed",
        "is_next": bool(spells) and name in (PROPOSED, TRIAL),
        "waits": not spells and any(one.name == TRIAL for one in proposal.choices),
        "why_not": why_not(name, bench, proposal.programme),
        "before_all": next((sentence(one) for one in proposal.advice if one.startswith(READ_FIRST)), ""),
        "expected": unit_for(proposal.outcome).text(proposal.expected_rms),
        "alike": which_will_do(proposal.choices, proposal.stopped_rms) if is_last else "",
        "stopped": unit_for(proposal.outcome).text(proposal.stopped_rms),
        "text": proposal_text(bench, proposal, readings),
        "plot": data_address(proposal_figure(bench, proposal)) if proposal.trade_off else "",
        "card": card_bytes(bench, proposal, after),
    }  # fmt: skip


def why_not(name: str, bench: Bench, programme: Programme) -> str:
    """Why strokes that are not common are not what is proposed, though less error is expected of them."""
    found = [why for spell in programme.spells if name == ANY_STROKE and (why := why_uncommon(spell, bench))]
    if not found:
        return ""
    return f"Not proposed, because it is hard to keep up by hand: {'; '.join(found)}. D is the mirror's diameter."


def choice_rows(choices: Sequence[dict[str, Any]], best: dict[str, Any]) -> list[dict[str, str]]:
    """Rows of the table of choices, and one for stopping now, which is the same beside any of them."""
    rows = [{**one, "minutes": f"{one['minutes']:g}", "count": str(len(one["spells"]))} for one in choices]
    stop = {"name": STOP, "minutes": "0", "expected": best["stopped"], "after": best["before"]}
    return [*rows, {**stop, "edge": "as now", "count": "0"}]
