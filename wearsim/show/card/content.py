"""What a bench card says, apart from how it is laid out: its numbers and its sentences."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from itertools import accumulate

import numpy as np

from wearsim.bench.bench import GRAVITY, Bench
from wearsim.bench.hands import Hands
from wearsim.bench.lap import Lap
from wearsim.bench.programme import STROKES, Programme, Spell
from wearsim.bench.units import INCHES, POUND, LengthUnit, counted, length_unit, stroke_unit
from wearsim.decide.good_enough import AIM_REACHED
from wearsim.decide.proposal import EarlyStop
from wearsim.kernels.arrays import Floats
from wearsim.show.card.readings import ReadingRows, can_check, check_by_readings, reading_rows
from wearsim.show.card.work import NO_SPELLS, CardWork
from wearsim.show.notices import waiting_text, waiting_time
from wearsim.show.numbers import degree_sign
from wearsim.show.outcome import mistrust_text, unit_for
from wearsim.show.profiles import ring_means
from wearsim.show.strokes import Drawing, drawing_of
from wearsim.show.text import band_words, ends_words, in_diameters
from wearsim.wear.expected_readings import ReadingsAfter, is_long
from wearsim.wear.outcome import Outcome

BOX = "\u25a1"


# Cold pressing of a lap that is to fit, at least [min] (common practice, no source).
PRESS_MINUTES = 5.0
PRESSED_FOR = "pressed\u00a0for\u00a0.............\u00a0min"
LEAST_ROUNDS = 2
"""Rounds that one walks in a spell, at least: on fewer a piece is worn to one side (common practice, no source)."""
FRACTIONS = {0.25: "\u00bc", 0.5: "\u00bd", 0.75: "\u00be"}
CAPTION = "To scale. Solid: bottom piece; dashed: top piece farthest out; line: path of its centre"


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
    mirror, warning, prediction : str
        Whose card it is; why the numbers are not to be trusted, empty where they are; what the programme does.
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
    warning: str
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


def card_content(bench: Bench, proposal: CardWork, readings: ReadingsAfter | None) -> CardContent:
    """What the card of a proposal, or of a programme that was predicted, says.

    A long spell is checked halfway only where the glass is cool enough to be read before the lap loses its fit.

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
    checked = can_check(bench)
    spells = []
    for number, (spell, end) in enumerate(zip(programme.spells, ends, strict=True), start=1):
        found: tuple[str, ...] = ()
        if checked and is_long(spell) and halfway is not None:
            found = check_by_readings(bench, halfway, number)
        elif checked and is_long(spell):
            found = _figure_check(early, end - spell.minutes + 0.5 * spell.minutes, high)
        spells.append(_spell(bench, spell, number, found, unit))
    checks = checked and halfway is None and any(spell.checkpoint for spell in spells)
    other = "If it is clearly different" if early.rms_band is None else "If either is outside its brackets"
    thinned = " (of a W, only part is drawn)" if any(spell.drawing.is_thinned for spell in spells) else ""
    return CardContent(
        mirror=_mirror(bench, unit),
        warning=mistrust_text(proposal.outcome),
        prediction=_prediction(proposal, high, ends[-1] if ends else 0.0),
        before=_first(bench, proposal, unit),
        spells=tuple(spells),
        checking=f"CHECK: {other}: stop, record what was done, propose again." if checks else "",
        caption=f"{CAPTION}{thinned}.",
        readings=None if readings is None else reading_rows(bench, readings),
        to_look_for=_to_look_for(bench, proposal, high),
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
    parts = ((stroke.length, "long"), (stroke.side_sweep, "to each side"), (stroke.side_overhang, "off centre"))
    sizes = (f"{unit.short(size)} {what} ({in_diameters(size / diameter)}\u00a0D)" for size, what in parts if size)
    sweep = f", {spell.strokes_per_sweep:g} strokes per sweep" if spell.stroke == "w" else ""
    return (f"{STROKES[spell.stroke].words} stroke{sweep}", *sizes)


def _pace(bench: Bench, spell: Spell, unit: LengthUnit) -> tuple[str, ...]:
    if spell.is_press:
        return ("under its own weight, hands off",)
    hands = bench.hands
    count = (spell.rate or 0.0) * spell.minutes
    lines = (f"{counted(count, 'stroke')}, {spell.rate:g} per minute", counted_turns(hands, spell.duration))
    return lines if spell.push is None else (*lines, f"push {push_words(spell.push, unit)}")


def counted_turns(hands: Hands, seconds: float) -> str:
    """How both pieces turn: by hand, or on a machine."""
    if any(hands.spins):
        return f"top piece {hands.top_turns:g}, stand {hands.stand_turns:g} turns per minute"
    return f"walk round {rounds_of(hands, seconds)}\u00d7, turn top {quarters(seconds / hands.hand_turn)}\u00d7"


def rounds_of(hands: Hands, seconds: float) -> int:
    """How often one walks round the barrel: whole rounds, or one side is worn more than the other, and two at least."""
    return max(LEAST_ROUNDS, round(seconds / hands.walk))


def turns_by_hand(hands: Hands, seconds: float) -> str:
    """How often the top piece turns in the hands."""
    return in_quarters(seconds / hands.hand_turn, "turn")


def in_quarters(value: float, noun: str) -> str:
    """So many, in whole ones and quarters, of what a noun names."""
    return f"{quarters(value)} {noun}{'' if round(4.0 * value) <= 4 else 's'}"


def quarters(value: float) -> str:
    """A number in whole ones and quarters, as hands count: 0.13 is "less than ¼"."""
    rounded = round(4.0 * value) / 4.0
    if rounded == 0.0:
        return "less than " + FRACTIONS[0.25]
    whole, part = divmod(rounded, 1.0)
    return (f"{whole:.0f}" if whole else "") + FRACTIONS.get(part, "")


def push_words(force: float, unit: LengthUnit) -> str:
    """The force, and the weight that is like it: in pounds, and first, for whoever measures in inches."""
    if unit is INCHES:
        return f"{force / GRAVITY / POUND:.1f} lb ({force:.0f} N)"
    return f"{force:.0f} N ({force / GRAVITY:.1f} kg)"


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


def _prediction(proposal: CardWork, high: LengthUnit, minutes: float) -> str:
    """What the programme does, with its band."""
    outcome = proposal.outcome
    if not proposal.programme.spells:
        proposed = proposal.reason.startswith((AIM_REACHED, NO_SPELLS))
        return f"Nothing {'to do' if proposed else 'proposed'}: {proposal.reason}."
    before, after = _before_and_after(outcome, "surface_rms", high)
    text = f"RMS now {before}; after {minutes:g} min of work {after}."
    band = outcome.band
    if band is None:
        return text
    stages = ((outcome.numbers_before, band.numbers_before), (outcome.numbers, band.numbers))
    is_below = any("surface_rms" in ends and numbers.surface_rms < ends["surface_rms"][0] for numbers, ends in stages)
    why = ", higher because uncertainty adds error" if is_below else ""
    return f"{text} In brackets: 90% band{why}."


def _before_and_after(outcome: Outcome, name: str, high: LengthUnit) -> tuple[str, str]:
    """A height before and after, each with its band; ``name`` as in :class:`wearsim.figure.metrics.FigureNumbers`."""
    was, now = ({}, {}) if outcome.band is None else (outcome.band.numbers_before, outcome.band.numbers)
    before, after = (
        f"{high.text(getattr(numbers, name))}{ends_words(ends, name, high.number)}"
        for numbers, ends in ((outcome.numbers_before, was), (outcome.numbers, now))
    )
    return before, after


def _first(bench: Bench, proposal: CardWork, unit: LengthUnit) -> tuple[str, ...]:
    """What to do before the first spell, and between spells."""
    spells = proposal.programme.spells
    if not spells:
        return ()
    pressings = any(spell.is_press for spell in spells[1:])
    between = "Press the lap again only where a spell says so." if pressings else "No pressing between spells."
    pushed = push_words(bench.hands.push, unit)
    push = f"Press down on the top piece with {pushed} in addition to its weight. {_turning_words(bench.hands)}"
    first = f"{BOX} lap warmed and pressed   {BOX} fresh charge on   {BOX} lap wet   {BOX} mirror rotated"
    lines = (first, f"{pressing_words(bench, proposal.programme, proposal.pressings)} {between}", push)
    if len(spells) == 1 or any(spell.turn for spell in spells):
        return lines
    return (*lines, "Between spells turn the mirror a fifth of a turn (common practice, no source).")


def _turning_words(hands: Hands) -> str:
    if any(hands.spins):
        return "The machine turns the pieces."
    return "Turn it slowly, against the direction you walk."


def pressing_words(
    bench: Bench, programme: Programme, pressings: Mapping[str | None, float], *, by_clock: bool = False
) -> str:
    """What to do with the laps first, as the prediction assumes it.

    Parameters
    ----------
    pressings : mapping of str or None to float
        For how long each lap is pressed, by its name as spells have it [s].
    by_clock : bool
        Whether a clock is beside it whose time is recorded; it is for one lap.
    """
    if programme.spells[0].is_press:
        return "Press as spell 1 says."
    used: list[Lap] = []
    for spell in programme.spells:
        if (lap := bench.lap(spell.lap)) not in used:
            used.append(lap)
    times = {bench.lap(lap): seconds for lap, seconds in pressings.items()}
    is_turned = by_clock and any(
        spell.on_top == "mirror" for spell in programme.spells
    )  # the card has no room to say so
    top = "tool on top for the pressing only" if is_turned else "tool on top"
    noted = f"Do not enter this as a spell: {'write down for how long you pressed' if by_clock else PRESSED_FOR}."
    if by_clock and [*times] == used[:1]:
        noted = "The minutes on this clock go into the record by themselves."
    lines = [
        f"Press {_named(lap, used)} until it fits, {top}: about {_minutes(times[lap])} at this temperature. {noted}"
        for lap in used
        if lap in times
    ]
    round_ones = [lap for lap in used if lap not in times and lap.start != "pressed"]
    lines += [
        f"Do not press {_named(lap, used)} before spell 1: the prediction assumes that it is spherical."
        for lap in round_ones
    ]
    return " ".join(lines) or f"Press until the lap fits, at least {PRESS_MINUTES:g} min (common practice, no source)."


def first_pressing(programme: Programme, pressings: Mapping[str | None, float]) -> float:
    """For how long the lap of the first spell is pressed before it [min], of such times; 0 where it is not."""
    return float(np.ceil(pressings.get(programme.spells[0].lap, 0.0) / 60.0)) if programme.spells else 0.0


def _minutes(seconds: float) -> str:
    """A time of pressing: minutes, or hours where it is long."""
    return f"{np.ceil(seconds / 60.0):.0f} min" if seconds < 5400.0 else f"{seconds / 3600.0:.1f} h"


def _named(lap: Lap, used: list[Lap]) -> str:
    """A lap as the object of a sentence, by name where there are others."""
    return f"the lap {lap.name}" if len(used) > 1 and lap.name else "the lap"


def _to_look_for(bench: Bench, proposal: CardWork, high: LengthUnit) -> tuple[str, ...]:
    """What to do and to look for afterwards: where the change is largest, the edge, and the test."""
    outcome, rest = proposal.outcome, (afterwards_text(bench),)
    if not proposal.programme.spells:
        return (waiting_text(bench.mirror),)
    zones = ring_means(bench.mirror, outcome.radius)
    change = zones.matrix @ (outcome.figure_error - outcome.before)
    i = int(np.argmax(np.abs(change[: zones.clear])))
    unit = stroke_unit(bench)
    ring = f"{unit.number(zones.edges[i])} to {unit.text(zones.edges[i + 1])}"
    way, sign = ("lower", -1.0) if change[i] < 0.0 else ("higher", 1.0)
    why = "" if sign < 0.0 else ", because less glass is removed there"
    than = f"{high.text(abs(change[i]))} {way} than the rest"
    edge_now, edge_after = _before_and_after(outcome, "edge_roll", high)
    lower = "If clearly lower" if outcome.band is None else "If below this range"
    if outcome.band is not None and outcome.band.change is not None:
        ends = np.sort(sign * (zones.matrix @ outcome.band.change.T)[i])
        than += f" ({_either_way(ends, way, high)})"
    return (
        f"Largest change: {ring} from the centre, {than}{why}.",
        f"Edge roll {edge_now} now, {edge_after} after (- = down). {lower}, propose again.",
        *rest,
    )


def _either_way(ends: Floats, way: str, high: LengthUnit) -> str:
    """A band of a change that goes ``way``: where one end goes the other way, in words."""
    if ends[0] >= 0.0:
        return band_words(ends.tolist(), high.number)
    other = "higher" if way == "lower" else "lower"
    return f"{high.text(-ends[0])} {other} to {high.text(ends[1])} {way}"


def afterwards_text(bench: Bench) -> str:
    """What to do before and at the test, as a list to tick."""
    wait = waiting_time(bench.mirror)
    steps = ("wash", f"let it cool {wait}", "read each zone 3 times", "look at the edge", "ripple?", "scratches?")
    return "   ".join(f"{BOX}\u00a0{step.replace(' ', chr(160))}" for step in steps)
