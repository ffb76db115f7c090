"""What a bench card says, apart from how it is laid out: its numbers and its sentences."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from itertools import accumulate

import numpy as np

from wearsim.bench.bench import GRAVITY, Bench
from wearsim.bench.hands import Hands
from wearsim.bench.lap import Lap
from wearsim.bench.programme import STROKES, Programme, Spell
from wearsim.bench.units import INCHES, POUND, LengthUnit, length_unit
from wearsim.decide.proposal import EarlyStop, Proposal
from wearsim.knifeedge.forward_model import ExpectedReadings
from wearsim.show.expected_readings import reading_units, zone_name
from wearsim.show.notices import waiting_text
from wearsim.show.numbers import degree_sign
from wearsim.show.outcome import unit_for
from wearsim.show.profiles import ring_means
from wearsim.show.strokes import Drawing, drawing_of
from wearsim.show.text import ends_words, in_diameters
from wearsim.wear.expected_readings import ReadingsAfter, is_long
from wearsim.wear.outcome import Outcome

# Two zones to check halfway lie at least so many places in the mask from each other where it has room: neighbours tell
# the same. A judgement.
LEAST_DISTANCE = 2
MOST_ZONES = 30
EN_DASH = "\u2013"
"""Without blanks about it the name of a zone is never broken."""


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


def reading_rows(bench: Bench, readings: ReadingsAfter) -> ReadingRows:
    """The readings to expect afterwards."""
    radial, knife = reading_units(bench, readings.sheet)
    zones, after = readings.sheet.zones, readings.after
    rows = tuple(
        (
            zone_name(zones.inner[i], zones.outer[i], radial), knife.number(readings.now[i]),
            knife.number(after.positions[i]), f"\u00b1 {knife.number(after.spread[i])}" if i else "",
        )
        for i in range(len(zones))
    )  # fmt: skip
    step = math.ceil(len(rows) / MOST_ZONES)
    mask = "" if readings.is_own else "A usual mask, as none is named. "
    off = "Off by more than twice that: record it before going on."
    if readings.is_own and readings.halfway:
        off = "One off by more than twice that, here or at a CHECK: stop, read all, record, propose again."
    thinned = f" One zone in {step} is shown." if step > 1 else ""
    return ReadingRows(
        head=f"Readings to expect [{knife.name}], source {readings.sheet.source}",
        titles=(f"zone [{radial.name}]", "now", "after", ""),
        rows=rows[::step],
        foot=f"{mask}Less the first zone's; larger = farther from the mirror. \u00b1: one sigma. {off}{thinned}",
    )


def check_zones(now: np.ndarray, half: ExpectedReadings, end: np.ndarray) -> np.ndarray:
    """The two zones that tell most whether a spell goes as predicted, in the order of the mask.

    Those whose reading has changed most by then, or has most to change yet, against what one setting can mistake; not
    two neighbours where there are others.

    Parameters
    ----------
    now : (n,) ndarray
        Readings less the first zone's before the programme [m].
    half : ExpectedReadings
        Halfway through the spell.
    end : (n,) ndarray
        As ``now``, after the programme [m].

    Returns
    -------
    (k,) ndarray
        Indices, at most two, never of the first zone: the others are counted from it.
    """
    moved = np.maximum(np.abs(half.positions - now), np.abs(end - half.positions))
    setting = np.where(half.setting > 0.0, half.setting, 1.0 if not half.setting.any() else np.inf)
    order = np.argsort(-(moved / setting)[1:], kind="stable") + 1
    far = [i for i in order[1:] if abs(i - order[0]) >= LEAST_DISTANCE]
    return np.sort([*order[:1], *(far or order[1:])[:1]])


def check_by_readings(bench: Bench, readings: ReadingsAfter, number: int) -> tuple[str, ...]:
    """What two zones should read halfway through a spell, a zone a text.

    Parameters
    ----------
    readings : ReadingsAfter
        With the readings halfway through this spell.
    number : int
        Of the spell.
    """
    radial, knife = reading_units(bench, readings.sheet)
    half, zones = readings.halfway[number], readings.sheet.zones
    return tuple(
        f"{zone_name(zones.inner[i], zones.outer[i], radial).replace(' - ', EN_DASH)}:\u00a0"
        f"{knife.number(half.positions[i])}\u00a0\u00b1\u00a0{knife.number(half.spread[i])}"
        for i in check_zones(readings.now, half, readings.after.positions)
    )


# Cold pressing of a lap that is to fit, at least [min] (common practice, no source).
PRESS_MINUTES = 5.0
FRACTIONS = {0.25: "\u00bc", 0.5: "\u00bd", 0.75: "\u00be"}
CAPTION = "To scale. Solid: bottom piece, a lap with channels; dashed: top piece, farthest; line: its centre"


@dataclass(frozen=True)
class SpellCard:
    """One spell on the card.

    Parameters
    ----------
    number : int
    minutes, top : str
        How long; piece on top.
    what, pace : tuple of str
        The stroke's name, then each size in the person's unit and as a fraction of the diameter. Strokes, rounds of
        the barrel and turns in the hands, the push where it is the spell's own.
    turn, checkpoint : str
        How to turn the mirror before it, empty where it stays; what to find halfway, empty for a short spell.
    drawing : Drawing
    """

    number: int
    minutes: str
    top: str
    what: tuple[str, ...]
    pace: tuple[str, ...]
    turn: str
    checkpoint: str
    drawing: Drawing


@dataclass(frozen=True)
class CardContent:
    """Everything that a card says.

    Parameters
    ----------
    mirror, prediction : str
        Whose card it is; what the programme does.
    before, to_look_for : tuple of str
        To do before the first spell, and between spells; what to look for at the test.
    spells : tuple of SpellCard
    checking, caption : str
        How to use what is to be found halfway, empty where no spell is long, and where it is readings, whose foot says
        it; what is said of the drawings.
    readings : ReadingRows or None
    early : EarlyStop
    ends : tuple of float
        Minutes of work at which the spells end [min].
    high : LengthUnit
        Of heights.
    scale : float
        Half width of the drawings, one for all: each holds its top piece at the farthest [m].
    degree : str
        Unit in which temperatures are to be written down.
    """

    mirror: str
    prediction: str
    before: tuple[str, ...]
    to_look_for: tuple[str, ...]
    spells: tuple[SpellCard, ...]
    checking: str
    caption: str
    readings: ReadingRows | None
    early: EarlyStop
    ends: tuple[float, ...]
    high: LengthUnit
    scale: float
    degree: str


def card_content(bench: Bench, proposal: Proposal, readings: ReadingsAfter | None) -> CardContent:
    """What the card of a proposal says.

    Parameters
    ----------
    readings : ReadingsAfter or None
        Where the sheet is the person's own and they hold the readings halfway through long spells, these are what is
        to be checked there; otherwise the figure is.
    """
    unit, high = length_unit(bench), unit_for(proposal.outcome)
    programme, early = proposal.programme, proposal.early
    ends = tuple(accumulate(0.0 if spell.is_press else spell.minutes for spell in programme.spells))
    halfway = readings if readings is not None and readings.is_own and readings.halfway else None
    spells = []
    for number, (spell, end) in enumerate(zip(programme.spells, ends, strict=True), start=1):
        found: tuple[str, ...] = ()
        if is_long(spell) and halfway is not None:
            found = check_by_readings(bench, halfway, number)
        elif is_long(spell):
            found = _figure_check(early, end - spell.minutes + 0.5 * spell.minutes, high)
        spells.append(_spell(bench, spell, number, found, unit))
    checks = halfway is None and any(spell.checkpoint for spell in spells)
    other = "If it is clearly otherwise" if early.rms_band is None else "If either lies outside its brackets"
    thinned = " (W: part)" if any(spell.drawing.is_thinned for spell in spells) else ""
    return CardContent(
        mirror=_mirror(bench, unit),
        prediction=_prediction(proposal, high, ends[-1] if ends else 0.0),
        before=_first(bench, proposal, unit),
        spells=tuple(spells),
        checking=f"CHECK: {other}: stop, record what was done, propose again." if checks else "",
        caption=f"{CAPTION}{thinned}.",
        readings=None if readings is None else reading_rows(bench, readings),
        to_look_for=_to_look_for(bench, proposal, unit, high),
        early=early,
        ends=ends,
        high=high,
        scale=1.03 * max((spell.drawing.half for spell in spells), default=bench.mirror.radius),
        degree=degree_sign(bench),
    )


# One spell


def _spell(bench: Bench, spell: Spell, number: int, found: tuple[str, ...], unit: LengthUnit) -> SpellCard:
    lap = f" (lap {spell.lap})" if spell.lap and len(bench.laps) > 1 else ""
    turned = np.degrees(spell.turn)
    return SpellCard(
        number=number,
        minutes=f"{spell.minutes:g}",
        top=f"{spell.on_top} on top".upper() + lap,
        what=_stroke_words(bench, spell, unit),
        pace=_pace(bench, spell, unit),
        turn=f"First turn the mirror by\u00a0{turned:.0f}\u00b0" if spell.turn else "",
        checkpoint=f"CHECK at {0.5 * spell.minutes:g} min:  " + ",  ".join(found) if found else "",
        drawing=drawing_of(bench, spell, number, unit),
    )


def _stroke_words(bench: Bench, spell: Spell, unit: LengthUnit) -> tuple[str, ...]:
    """The stroke and its sizes."""
    if spell.is_press:
        return ("cold pressing, at rest",)
    diameter = bench.mirror.diameter
    stroke = spell.stroke_on(diameter)
    parts = ((stroke.length, "long"), (stroke.side_sweep, "each side"), (stroke.side_overhang, "off centre"))
    sizes = (f"{unit.short(size)} {what} ({in_diameters(size / diameter)}\u00a0D)" for size, what in parts if size)
    sweep = f", {spell.strokes_per_sweep:g} from side to side" if spell.stroke == "w" else ""
    return (f"{STROKES[spell.stroke].words} stroke{sweep}", *sizes)


def _pace(bench: Bench, spell: Spell, unit: LengthUnit) -> tuple[str, ...]:
    if spell.is_press:
        return ("under its own weight, hands off",)
    hands = bench.hands
    count = (spell.rate or 0.0) * spell.minutes
    lines = (f"{count:.0f} strokes, {spell.rate:g} a minute", _turning(hands, spell.duration))
    return lines if spell.push is None else (*lines, f"push {_push(spell.push, unit)}")


def _turning(hands: Hands, seconds: float) -> str:
    """How both pieces turn: by hand, or on a machine."""
    if any(hands.spins):
        return f"top piece {hands.top_turns:g}, stand {hands.stand_turns:g} turns a minute"
    return f"{quarters(seconds / hands.walk)} rounds, {quarters(seconds / hands.hand_turn)} turns in hand"


def quarters(value: float) -> str:
    """A number in whole ones and quarters, as hands count: 0.13 is "less than ¼"."""
    rounded = round(4.0 * value) / 4.0
    if rounded == 0.0:
        return "less than " + FRACTIONS[0.25]
    whole, part = divmod(rounded, 1.0)
    return (f"{whole:.0f}" if whole else "") + FRACTIONS.get(part, "")


def _push(force: float, unit: LengthUnit) -> str:
    """The force, and the weight that is like it: in pounds for whoever measures in inches."""
    name, size = ("lb", POUND) if unit is INCHES else ("kg", 1.0)
    return f"{force:.0f} N ({force / GRAVITY / size:.1f} {name})"


def _figure_check(early: EarlyStop, minutes: float, high: LengthUnit) -> tuple[str, ...]:
    """What the figure should be after so many minutes of work: RMS and edge roll, with their bands where known."""
    found = []
    for name, curve, band in (("RMS", early.rms, early.rms_band), ("edge roll", early.edge_roll, early.edge_roll_band)):
        text = f"{name} {high.text(float(np.interp(minutes, early.minutes, curve)))}"
        if band is not None:
            low, top = (float(np.interp(minutes, early.minutes, end)) for end in band.T)
            text += f" ({high.number(low)} to {high.text(top)})"
        found.append(text)
    return tuple(found)


# The whole programme


def _mirror(bench: Bench, unit: LengthUnit) -> str:
    """Whose card it is; D is what sizes are given as fractions of."""
    mirror = bench.mirror
    ratio = mirror.radius_of_curvature / (2.0 * mirror.diameter)
    return f"{unit.short(mirror.diameter)} mirror (D), f/{ratio:.2g}, target conic {mirror.conic:zg}"


def _prediction(proposal: Proposal, high: LengthUnit, minutes: float) -> str:
    """What the programme does, with its band."""
    outcome = proposal.outcome
    if not proposal.programme.spells:
        return f"Nothing to do: {proposal.reason}."
    text = f"{minutes:g} min of work: RMS {_now_and_after(outcome, 'surface_rms', high)}"
    return f"{text} (nine times in ten)." if outcome.band is not None else f"{text}."


def _now_and_after(outcome: Outcome, name: str, high: LengthUnit) -> str:
    """A height before and after, each with its band; ``name`` as in :class:`wearsim.figure.metrics.FigureNumbers`."""
    was, now = ({}, {}) if outcome.band is None else (outcome.band.numbers_before, outcome.band.numbers)
    before, after = (
        f"{high.text(getattr(numbers, name))}{ends_words(ends, name, high.number)}"
        for numbers, ends in ((outcome.numbers_before, was), (outcome.numbers, now))
    )
    return f"{before} now, {after} after"


def _first(bench: Bench, proposal: Proposal, unit: LengthUnit) -> tuple[str, ...]:
    """What to do before the first spell, and between spells."""
    spells = proposal.programme.spells
    if not spells:
        return ()
    pressings = any(spell.is_press for spell in spells[1:])
    between = "Press later only where a spell says so." if pressings else "Do not press between spells."
    push = f"Push {_push(bench.hands.push, unit)} besides the weight; turn it in the hands against your walk."
    lines = (f"{pressing_words(bench, proposal.programme, proposal.pressings)} {between}", push)
    if len(spells) == 1 or any(spell.turn for spell in spells):
        return lines
    return (*lines, "Between spells turn the mirror a fifth of a turn (common practice, no source).")


def pressing_words(bench: Bench, programme: Programme, pressings: Mapping[str | None, float]) -> str:
    """What to do with the laps first, as the prediction assumes it.

    Parameters
    ----------
    pressings : mapping of str or None to float
        For how long each lap is pressed, by its name as spells have it [s].
    """
    if programme.spells[0].is_press:
        return "Press as spell 1 says."
    used: list[Lap] = []
    for spell in programme.spells:
        if (lap := bench.lap(spell.lap)) not in used:
            used.append(lap)
    times = {bench.lap(lap): seconds for lap, seconds in pressings.items()}
    lines = [
        f"Press {_named(lap, used)} until it fits, tool on top: about {_minutes(times[lap])} at this temperature."
        " It is no spell: record it with --pressed."
        for lap in used
        if lap in times
    ]
    round_ones = [lap for lap in used if lap not in times and lap.start != "pressed"]
    lines += [f"Do not press {_named(lap, used)} before spell 1: it begins spherical." for lap in round_ones]
    return " ".join(lines) or f"Press until the lap fits, {PRESS_MINUTES:g} min at least (common practice, no source)."


def _minutes(seconds: float) -> str:
    """A time of pressing: minutes, or hours where it is long."""
    return f"{np.ceil(seconds / 60.0):.0f} min" if seconds < 5400.0 else f"{seconds / 3600.0:.1f} h"


def _named(lap: Lap, used: list[Lap]) -> str:
    """A lap as the object of a sentence, by name where there are others."""
    return f"the lap {lap.name}" if len(used) > 1 and lap.name else "the lap"


def _to_look_for(bench: Bench, proposal: Proposal, unit: LengthUnit, high: LengthUnit) -> tuple[str, ...]:
    """What to look for at the test: where most should have changed, the rim, the glass at rest."""
    outcome, rest = proposal.outcome, tuple(filter(None, [waiting_text(bench.mirror)]))
    if not proposal.programme.spells:
        return rest
    zones = ring_means(bench.mirror, outcome.radius)
    change = zones.matrix @ (outcome.figure_error - outcome.before)
    i = int(np.argmax(np.abs(change[: zones.clear])))
    ring = f"{unit.number(zones.edges[i])} to {unit.text(zones.edges[i + 1])}"
    way, sign = ("down", -1.0) if change[i] < 0.0 else ("up", 1.0)
    by = high.text(abs(change[i]))
    if outcome.band is not None and outcome.band.change is not None:
        ends = np.sort(sign * (zones.matrix @ outcome.band.change.T)[i])
        by += ends_words({"change": ends}, "change", high.number)
    return (
        f"Most changes {ring} from the centre: {way} by about {by} against the rest.",
        f"Edge roll {_now_and_after(outcome, 'edge_roll', high)}. If the rim turns down by more: stop.",
        *rest,
    )
