"""What programmes are predicted to do, as plain data for the page: words, pictures, strokes that move; choices."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from wearsim.bench.bench import Bench
from wearsim.bench.programme import Programme
from wearsim.bench.units import counted
from wearsim.decide.choice import TRIAL
from wearsim.decide.proposal import Proposal
from wearsim.show.card import card_bytes
from wearsim.show.card.content import first_pressing, pressing_words
from wearsim.show.expected_readings import expected_text
from wearsim.show.moving_stroke import barrel_spells
from wearsim.show.numbers import numbers_after, numbers_before
from wearsim.show.outcome import profiles_figure, unit_for
from wearsim.show.proposal import proposal_figure, proposal_text, reasons_text, work_minutes
from wearsim.show.style import data_address
from wearsim.wear.expected_readings import expected_after
from wearsim.wear.outcome import Outcome
from wearsim.wear.predict import Uncertainty

COLUMNS = {
    "name": "Choice", "minutes": "Minutes", "expected": "Expected RMS", "after": "RMS after", "edge": "Edge roll after",
    "count": "Spells",
}  # fmt: skip
"""Heads of the table of choices, by the keys of its rows."""
NOTE = (
    "In brackets: the band, into which nine of ten cases fall. RMS after: with the most likely constants. Expected RMS: "
    "with all uncertainties, so usually larger; compare the choices by it. Glass taken off cannot be put back; taking too "
    "little costs one more session."
)


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
        "pressing": pressing,
        "picture": data_address(profiles_figure(bench, outcome)), "warnings": list(outcome.warnings),
    }  # fmt: skip


def choice_words(name: str, bench: Bench, known: dict[str, Any], proposal: Proposal) -> dict[str, Any]:
    """The same of a proposal, with why it is proposed, its plot and its card."""
    after = expected_after(bench, proposal.programme, proposal.outcome, for_card=True, **known)
    own = after if after is not None and after.is_own else None
    is_trial = any(one.name == TRIAL for one in proposal.choices)
    nothing = "Nothing proposed: a short trial is next" if is_trial else "Nothing proposed"
    readings = expected_text(bench, own) if own else ""
    return {
        **predicted_words(bench, known, proposal.programme, proposal.outcome), "name": name,
        "title": name if proposal.programme.spells else nothing,
        "expected": unit_for(proposal.outcome).text(proposal.expected_rms), "reason": reasons_text(proposal),
        "stopped": unit_for(proposal.outcome).text(proposal.stopped_rms),
        "text": proposal_text(bench, proposal, readings),
        "plot": data_address(proposal_figure(bench, proposal)) if proposal.trade_off else "",
        "card": card_bytes(bench, proposal, after),
    }  # fmt: skip


def choice_rows(choices: Sequence[dict[str, Any]], best: dict[str, Any]) -> list[dict[str, str]]:
    """Rows of the table of choices, and one for stopping now, which is the same beside any of them."""
    rows = [{**one, "minutes": f"{one['minutes']:g}", "count": str(len(one["spells"]))} for one in choices]
    stop = {"name": "Stop now", "minutes": "0", "expected": best["stopped"], "after": best["before"]}
    return [*rows, {**stop, "edge": "as now", "count": "0"}]
