"""What a bench card says, apart from how it is drawn: on paper (card_page) or in a browser (card_html)."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import accumulate

import numpy as np

from wearsim.bench.bench import GRAVITY, Bench
from wearsim.bench.programme import Programme, Spell
from wearsim.decide.proposal import EarlyStop, Proposal
from wearsim.show.cautions import CAUTIONS
from wearsim.show.expected_table import reading_units, zone_name
from wearsim.show.lengths import INCHES, Unit, length_unit, temperature_unit
from wearsim.show.outcome_table import unit_for
from wearsim.show.spells import NAMES
from wearsim.show.strokes import Drawing, drawing_of
from wearsim.show.waiting import waiting_text
from wearsim.show.zones import zones_of
from wearsim.wear.readings_after import ReadingsAfter

# A spell longer than this has a checkpoint halfway [min].
LONG_SPELL = 20.0
# Cold pressing before the first spell [min] (common practice, no source).
PRESS_MINUTES = 5.0
POUND = 0.45359237
"""[kg]."""
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
        Strokes, rounds of the barrel, turns in the hands.
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
class ReadingRows:
    """The expected readings as cells.

    Parameters
    ----------
    head : str
    titles : tuple of str
    rows : tuple of tuple of str
    foot : str
    """

    head: str
    titles: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    foot: str


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
    readings: ReadingRows | None
    look: tuple[str, ...]
    early: EarlyStop
    ends: tuple[float, ...]
    high: Unit
    cautions: tuple[str, ...]
    scale: float
    unit: Unit
    degree: str


def card_content(bench: Bench, proposal: Proposal, readings: ReadingsAfter | None) -> CardContent:
    """What the card of a proposal says.

    Parameters
    ----------
    bench : Bench
    proposal : Proposal
    readings : ReadingsAfter or None
    """
    unit, high = length_unit(bench), unit_for(proposal.outcome)
    programme = proposal.programme
    work = [0.0 if spell.is_press else spell.minutes for spell in programme.spells]
    ends = tuple(accumulate(work))
    spells = tuple(
        _spell(
            bench, spell, number, _halfway(proposal, ends[number - 1] - work[number - 1], spell, high), unit
        )
        for number, spell in enumerate(programme.spells, start=1)
    )
    return CardContent(
        mirror=_mirror(bench, unit),
        promise=_promise(proposal, high, sum(work)),
        before=_before(bench, programme, unit),
        spells=spells,
        readings=None if readings is None else _readings(bench, readings),
        look=_look(bench, proposal, unit, high),
        early=proposal.early,
        ends=ends,
        high=high,
        cautions=CAUTIONS,
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


def _mirror(bench: Bench, unit: Unit) -> str:
    mirror = bench.mirror
    ratio = mirror.radius_of_curvature / (2.0 * mirror.diameter)
    return f"{unit.short(mirror.diameter)} mirror, f/{ratio:.2g}, target conic {mirror.conic:g}"


def _promise(proposal: Proposal, high: Unit, minutes: float) -> str:
    outcome = proposal.outcome
    before, after = outcome.numbers_before.surface_rms, outcome.surface_rms
    if not proposal.programme.spells:
        return f"Nothing to do: {proposal.reason}."
    text = f"{minutes:g} min of work: RMS of the surface {high.text(before)} now, {high.text(after)} after"
    if outcome.band is not None:
        low, top = outcome.band.surface_rms
        text += f" ({high.number(low)} to {high.text(top)} nine times in ten)"
    return text


def _before(bench: Bench, programme: Programme, unit: Unit) -> tuple[str, ...]:
    """Pressing and turning: what the prediction starts from, and what it leaves to practice."""
    spells = programme.spells
    if not spells:
        return ()
    laps = {bench.lap(spell.lap).start for spell in spells}
    if spells[0].is_press:
        first = "Press as spell 1 says"
    elif laps == {"pressed"}:
        first = f"Press {PRESS_MINUTES:g} min before spell 1 (common practice, no source)"
    else:
        first = "Do not press before spell 1: the lap is taken as spherical"
    pressings = any(spell.is_press for spell in spells[1:])
    between = "later only where a spell says so" if pressings else "not between spells"
    push = f"Push {_push(bench.hands.push, unit)} besides the weight; turn it in the hands against your walk."
    lines = [f"{first}; {between}.", push]
    if len(spells) > 1 and not any(spell.turn for spell in spells):
        lines.append("Between spells turn the mirror a fifth of a turn (common practice, no source).")
    return tuple(lines)


def _halfway(proposal: Proposal, begun: float, spell: Spell, high: Unit) -> str:
    """What to find halfway through a long spell."""
    if spell.is_press or spell.minutes <= LONG_SPELL:
        return ""
    early, half = proposal.early, spell.minutes / 2.0
    rms, roll = (float(np.interp(begun + half, early.minutes, y)) for y in (early.rms, early.edge_roll))
    return f"At {half:g} min: check. RMS {high.text(rms)}, edge roll {high.text(roll)}"


def _spell(bench: Bench, spell: Spell, number: int, checkpoint: str, unit: Unit) -> SpellCard:
    lap = f" (lap {spell.lap})" if spell.lap and len(bench.laps) > 1 else ""
    drawing = drawing_of(bench, spell, number, unit)
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
        drawing=drawing,
    )


def _sizes(bench: Bench, spell: Spell, unit: Unit) -> tuple[str, ...]:
    if spell.is_press:
        return ()
    diameter = bench.mirror.diameter
    stroke = spell.stroke_on(diameter)
    parts = ((stroke.length, "long"), (stroke.side_sweep, "each side"), (stroke.side_overhang, "off centre"))
    return tuple(
        f"{unit.short(size)} {what} ({size / diameter:.2f}\u00a0D)" for size, what in parts if size > 0.0
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
        f"{quarters(spell.duration / hands.walk)} round the barrel",
        f"{quarters(spell.duration / hands.hand_turn)} turned in the hands",
    ]
    return (*lines, f"push {_push(spell.push, unit)}") if spell.push is not None else tuple(lines)


def _push(force: float, unit: Unit) -> str:
    """The force, and the weight that is like it: in pounds for whoever measures in inches."""
    name, size = ("lb", POUND) if unit is INCHES else ("kg", 1.0)
    return f"{force:.0f} N ({force / GRAVITY / size:.1f} {name})"


def _readings(bench: Bench, readings: ReadingsAfter) -> ReadingRows:
    radial, knife = reading_units(bench, readings.sheet)
    zones, after = readings.sheet.zones, readings.after
    rows = tuple(
        (
            zone_name(zones.inner[i], zones.outer[i], radial), knife.number(readings.now[i]),
            knife.number(after.positions[i]), f"\u00b1 {knife.number(after.spread[i])}" if i else "",
        )
        for i in range(len(zones))
    )  # fmt: skip
    source = "source moving" if readings.sheet.source == "moving" else "source fixed"
    mask = "" if readings.is_own else "A usual mask, as none is named. "
    foot = (
        f"{mask}Counted from the first zone; larger = farther from the mirror. \u00b1: one sigma. Off by more "
        "than twice that: the spells did something else; record it before going on."
    )
    return ReadingRows(
        f"Readings to expect [{knife.name}], {source}",
        (f"zone [{radial.name}]", "now", "after", ""),
        rows,
        foot,
    )


def _look(bench: Bench, proposal: Proposal, unit: Unit, high: Unit) -> tuple[str, ...]:
    """What to look for at the test: where most should have changed, the rim, the glass at rest."""
    outcome, rest = proposal.outcome, waiting_text(bench.mirror)
    if not proposal.programme.spells:
        return (rest,) if rest else ()
    zones = zones_of(bench.mirror, outcome.radius)
    change = zones.matrix @ (outcome.figure_error - outcome.before)
    i = int(np.argmax(np.abs(change[: zones.clear])))
    ring = f"{unit.number(zones.edges[i])} to {unit.text(zones.edges[i + 1])}"
    way = "down" if change[i] < 0.0 else "up"
    lines = [
        f"Most changes {ring} from the centre: {way} by about {high.text(abs(change[i]))} against the rest.",
        f"Edge roll {high.text(outcome.numbers_before.edge_roll)} now, {high.text(outcome.edge_roll)} after. "
        "If the rim turns down by more: stop.",
    ]
    return (*lines, rest) if rest else tuple(lines)
