"""Rounds of a rehearsal as text."""

from __future__ import annotations

from collections.abc import Sequence

from wearsim.learn.rehearse import Round
from wearsim.show.lengths import height_unit
from wearsim.show.spells import spell_title
from wearsim.show.text import paragraph


def round_text(one: Round) -> str:
    """What was worked in a round, what was predicted, and what came of it.

    Parameters
    ----------
    one : Round
    """
    high = height_unit(max(one.before, one.measured))
    low, top = one.predicted_band
    spells = "; ".join(f"{spell_title(spell)} {spell.minutes:g} min" for spell in one.programme.spells)
    text = (
        f"{spells}. RMS of the surface {high.number(one.before)} {high.name} read before, "
        f"{high.number(one.predicted)} predicted ({high.number(low)} to {high.number(top)}), "
        f"{high.text(one.measured)} read after."
    )
    return paragraph(text, f"Session {one.number}: ", "    ")


def ending_text(rounds: Sequence[Round]) -> str:
    """The figure reached, as it really is: a practice mirror can tell.

    Parameters
    ----------
    rounds : sequence of Round
    """
    if not rounds:
        return "No session was worked."
    first, last = rounds[0], rounds[-1]
    high = height_unit(max(first.true_before, last.true))
    minutes = sum(spell.minutes for one in rounds for spell in one.programme.spells)
    return paragraph(
        f"After {len(rounds)} session{'s' if len(rounds) > 1 else ''} and {minutes:g} minutes the surface really is "
        f"{high.text(last.true)} RMS (it was {high.text(first.true_before)}); read it is {high.text(last.measured)}."
    )
