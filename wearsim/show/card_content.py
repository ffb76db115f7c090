"""What a bench card says, apart from how it is drawn: on paper (card_page) or in a browser (card_html)."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import accumulate

import numpy as np

from wearsim.bench.bench import Bench
from wearsim.bench.lengths import Unit, length_unit
from wearsim.bench.programme import Spell
from wearsim.decide.proposal import EarlyStop, Proposal
from wearsim.show.card_readings import ReadingRows, check_by_figure, check_by_readings, how_to_check, reading_rows
from wearsim.show.card_words import first_words, look_words, mirror_words, promise_words, push_words
from wearsim.show.notices import ON_THE_CARD
from wearsim.show.outcome import unit_for
from wearsim.show.strokes import NAMES, Drawing, drawing_of
from wearsim.show.text import in_diameters
from wearsim.show.units import temperature_unit
from wearsim.wear.expected_readings import ReadingsAfter, is_long

FRACTIONS = {0.25: "\u00bc", 0.5: "\u00bd", 0.75: "\u00be"}


@dataclass(frozen=True)
class SpellCard:
    """One spell on the card.

    Parameters
    ----------
    number : int
    minutes : str
    top, stroke : str
        Piece on top; the stroke's name.
    sizes : tuple of str
        Each in the person's unit and as a fraction of the diameter.
    pace : tuple of str
        Strokes; rounds of the barrel and turns in the hands; the push, where it is the spell's own.
    turn : str
        How to turn the mirror before it; empty where it stays.
    checkpoint : str
        What to find halfway; empty for a short spell.
    drawing : Drawing
    """

    number: int
    minutes: str
    top: str
    stroke: str
    sizes: tuple[str, ...]
    pace: tuple[str, ...]
    turn: str
    checkpoint: str
    drawing: Drawing


@dataclass(frozen=True)
class CardContent:
    """Everything that a card says.

    Parameters
    ----------
    mirror, promise : str
        Whose card it is; what the programme does.
    before : tuple of str
        To do before the first spell, and between spells.
    spells : tuple of SpellCard
    checking : str
        How to use what is to be found halfway; empty where no spell is long, and where it is readings, whose foot says it.
    readings : ReadingRows or None
    look : tuple of str
        What to look for at the test.
    early : EarlyStop
    ends : tuple of float
        Minutes of work at which the spells end [min].
    high : Unit
        Of heights.
    cautions : tuple of str
    scale : float
        Half width of the drawings, one for all: each holds its top piece at the farthest [m].
    unit : Unit
        Of lengths.
    degree : str
        Unit in which temperatures are to be written down.
    """

    mirror: str
    promise: str
    before: tuple[str, ...]
    spells: tuple[SpellCard, ...]
    checking: str
    readings: ReadingRows | None
    look: tuple[str, ...]
    early: EarlyStop
    ends: tuple[float, ...]
    high: Unit
    cautions: tuple[str, ...]
    scale: float
    unit: Unit
    degree: str


def card_content(
    bench: Bench, proposal: Proposal, readings: ReadingsAfter | None, *, as_left: bool = False
) -> CardContent:
    """What the card of a proposal says.

    Parameters
    ----------
    bench : Bench
    proposal : Proposal
    readings : ReadingsAfter or None
        Where the sheet is the person's own and they hold the readings halfway through long spells, these are what is
        to be checked there; otherwise the figure is.
    as_left : bool
        Whether the laps were taken as the last session left them.
    """
    unit, high = length_unit(bench), unit_for(proposal.outcome)
    programme = proposal.programme
    work = [0.0 if spell.is_press else spell.minutes for spell in programme.spells]
    ends = tuple(accumulate(work))
    halfway = readings if readings is not None and readings.is_own and readings.halfway else None
    spells = tuple(
        _spell(
            bench,
            spell,
            number,
            _checkpoint(bench, proposal, halfway, number, ends[number - 1] - work[number - 1]),
            unit,
        )
        for number, spell in enumerate(programme.spells, start=1)
    )
    return CardContent(
        mirror=mirror_words(bench, unit),
        promise=promise_words(proposal, high, sum(work)),
        before=first_words(bench, programme, unit, as_left=as_left),
        spells=spells,
        checking=how_to_check(proposal.early) if halfway is None and any(spell.checkpoint for spell in spells) else "",
        readings=None if readings is None else reading_rows(bench, readings),
        look=look_words(bench, proposal, unit, high),
        early=proposal.early,
        ends=ends,
        high=high,
        cautions=ON_THE_CARD,
        scale=1.03 * max((spell.drawing.half for spell in spells), default=bench.mirror.radius),
        unit=unit,
        degree=temperature_unit(bench),
    )


def quarters(value: float) -> str:
    """A number in whole ones and quarters, as hands count: 0.13 is "less than ¼"."""
    rounded = round(4.0 * value) / 4.0
    if rounded == 0.0:
        return "less than " + FRACTIONS[0.25]
    whole, part = divmod(rounded, 1.0)
    return (f"{whole:.0f}" if whole else "") + FRACTIONS.get(part, "")


def _checkpoint(bench: Bench, proposal: Proposal, halfway: ReadingsAfter | None, number: int, begun: float) -> str:
    """What to find halfway through a long spell: at the knife where there are readings, else of the figure."""
    spell = proposal.programme.spells[number - 1]
    if not is_long(spell):
        return ""
    half = 0.5 * spell.minutes
    if halfway is not None:
        said = check_by_readings(bench, halfway, number)
    else:
        said = check_by_figure(proposal.early, begun + half, unit_for(proposal.outcome))
    return f"CHECK at {half:g} min:  " + ",  ".join(said)


def _spell(bench: Bench, spell: Spell, number: int, checkpoint: str, unit: Unit) -> SpellCard:
    lap = f" (lap {spell.lap})" if spell.lap and len(bench.laps) > 1 else ""
    turned = np.degrees(spell.turn)
    return SpellCard(
        number=number,
        minutes=f"{spell.minutes:g}",
        top=f"{spell.on_top} on top".upper() + lap,
        stroke=_stroke(spell),
        sizes=_sizes(bench, spell, unit),
        pace=_pace(bench, spell, unit),
        turn=f"First turn the mirror by\u00a0{turned:.0f}\u00b0" if spell.turn else "",
        checkpoint=checkpoint,
        drawing=drawing_of(bench, spell, number, unit),
    )


def _sizes(bench: Bench, spell: Spell, unit: Unit) -> tuple[str, ...]:
    if spell.is_press:
        return ()
    diameter = bench.mirror.diameter
    stroke = spell.stroke_on(diameter)
    parts = ((stroke.length, "long"), (stroke.side_sweep, "each side"), (stroke.side_overhang, "off centre"))
    return tuple(
        f"{unit.short(size)} {what} ({in_diameters(size / diameter)}\u00a0D)" for size, what in parts if size > 0.0
    )


def _stroke(spell: Spell) -> str:
    if spell.is_press:
        return "cold pressing, at rest"
    sweep = f", {spell.strokes_per_sweep:g} from side to side" if spell.stroke == "w" else ""
    return f"{NAMES[spell.stroke]} stroke{sweep}"


def _pace(bench: Bench, spell: Spell, unit: Unit) -> tuple[str, ...]:
    if spell.is_press:
        return ("under its own weight, hands off",)
    hands = bench.hands
    count = (spell.rate or 0.0) * spell.minutes
    lines = [
        f"{count:.0f} strokes, {spell.rate:g} a minute",
        f"{quarters(spell.duration / hands.walk)} rounds, {quarters(spell.duration / hands.hand_turn)} turns in hand",
    ]
    return (*lines, f"push {push_words(spell.push, unit)}") if spell.push is not None else tuple(lines)
