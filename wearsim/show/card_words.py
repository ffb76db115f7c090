"""What a bench card says in sentences: what it promises, what to do first, what to look for."""

from __future__ import annotations

import numpy as np

from wearsim.bench.bench import GRAVITY, Bench
from wearsim.bench.lap import Lap
from wearsim.bench.lengths import INCHES, Unit
from wearsim.bench.programme import Programme
from wearsim.decide.proposal import Proposal
from wearsim.show.notices import waiting_text
from wearsim.show.profiles import ring_means
from wearsim.show.text import ends_words
from wearsim.wear.outcome import Outcome

# Cold pressing of a lap that is to fit, at least [min] (common practice, no source).
PRESS_MINUTES = 5.0
POUND = 0.45359237
"""[kg]."""


def mirror_words(bench: Bench, unit: Unit) -> str:
    """Whose card it is; D is what sizes are told as fractions of."""
    mirror = bench.mirror
    ratio = mirror.radius_of_curvature / (2.0 * mirror.diameter)
    return f"{unit.short(mirror.diameter)} mirror (D), f/{ratio:.2g}, target conic {mirror.conic:zg}"


def promise_words(proposal: Proposal, high: Unit, minutes: float) -> str:
    """What the programme does, with its band."""
    outcome = proposal.outcome
    if not proposal.programme.spells:
        return f"Nothing to do: {proposal.reason}."
    text = f"{minutes:g} min of work: RMS {now_and_after(outcome, 'surface_rms', high)}"
    return f"{text} (nine times in ten)." if outcome.band is not None else f"{text}."


def now_and_after(outcome: Outcome, name: str, high: Unit) -> str:
    """A height before and after, each with its band.

    Parameters
    ----------
    outcome : Outcome
    name : str
        Of the number, as in :class:`wearsim.figure.metrics.FigureNumbers`.
    high : Unit
    """
    was, now = ({}, {}) if outcome.band is None else (outcome.band.numbers_before, outcome.band.numbers)
    before, after = (
        f"{high.text(getattr(numbers, name))}{ends_words(ends, name, high.number)}"
        for numbers, ends in ((outcome.numbers_before, was), (outcome.numbers, now))
    )
    return f"{before} now, {after} after"


def range_words(low: float, top: float, high: Unit) -> str:
    """A band of heights [m]."""
    return f"{high.number(low)} to {high.text(top)}"


def first_words(bench: Bench, programme: Programme, unit: Unit, *, as_left: bool) -> tuple[str, ...]:
    """What to do before the first spell, and between spells.

    Parameters
    ----------
    bench : Bench
    programme : Programme
    unit : Unit
        Of lengths.
    as_left : bool
        Whether the laps are taken as the last session left them.
    """
    spells = programme.spells
    if not spells:
        return ()
    pressings = any(spell.is_press for spell in spells[1:])
    between = "Press later only where a spell says so." if pressings else "Do not press between spells."
    push = f"Push {push_words(bench.hands.push, unit)} besides the weight; turn it in the hands against your walk."
    lines = [f"{_pressing(bench, programme, as_left=as_left)} {between}", push]
    if len(spells) > 1 and not any(spell.turn for spell in spells):
        lines.append("Between spells turn the mirror a fifth of a turn (common practice, no source).")
    return tuple(lines)


def _pressing(bench: Bench, programme: Programme, *, as_left: bool) -> str:
    """What the prediction takes of the laps, and so what to do with them first; a pressing told here is no spell."""
    if programme.spells[0].is_press:
        return "Press as spell 1 says."
    if as_left:
        return (
            "Do not press before spell 1: the lap is taken as the last session left it. If you do, add "
            "--lap pressed when you record."
        )
    used: list[Lap] = []
    for spell in programme.spells:
        if (lap := bench.lap(spell.lap)) not in used:
            used.append(lap)
    pressed = [lap for lap in used if lap.start == "pressed"]
    several = len(pressed) > 1
    press = (
        f"{_names(pressed, used)} taken as pressed: press {'them' if several else 'it'} until "
        f"{'they fit' if several else 'it fits'} before you begin, {PRESS_MINUTES:g} min at least (common practice, no "
        "source). That is not recorded."
    )
    if len(pressed) == len(used):
        return press
    round_ones = [lap for lap in used if lap.start != "pressed"]
    leave = f"{_names(round_ones, used)} taken as spherical: do not press before spell 1."
    return f"{press} {leave}" if pressed else leave


def _names(laps: list[Lap], used: list[Lap]) -> str:
    """Laps as the subject of a sentence, by name where there are others."""
    if len(laps) == 1:
        return f"The lap {laps[0].name} is" if len(used) > 1 and laps[0].name else "The lap is"
    if len(laps) == len(used) or not all(lap.name for lap in laps):
        return "The laps are"
    return "The laps " + " and ".join(str(lap.name) for lap in laps) + " are"


def push_words(force: float, unit: Unit) -> str:
    """The force, and the weight that is like it: in pounds for whoever measures in inches."""
    name, size = ("lb", POUND) if unit is INCHES else ("kg", 1.0)
    return f"{force:.0f} N ({force / GRAVITY / size:.1f} {name})"


def look_words(bench: Bench, proposal: Proposal, unit: Unit, high: Unit) -> tuple[str, ...]:
    """What to look for at the test: where most should have changed, the rim, the glass at rest."""
    outcome, rest = proposal.outcome, waiting_text(bench.mirror)
    if not proposal.programme.spells:
        return (rest,) if rest else ()
    zones = ring_means(bench.mirror, outcome.radius)
    change = zones.matrix @ (outcome.figure_error - outcome.before)
    i = int(np.argmax(np.abs(change[: zones.clear])))
    ring = f"{unit.number(zones.edges[i])} to {unit.text(zones.edges[i + 1])}"
    way, sign = ("down", -1.0) if change[i] < 0.0 else ("up", 1.0)
    by = high.text(abs(change[i]))
    if outcome.band is not None and outcome.band.change is not None:
        ends = np.sort(sign * (zones.matrix @ outcome.band.change.T)[i])
        by += ends_words({"change": ends}, "change", high.number)
    lines = [
        f"Most changes {ring} from the centre: {way} by about {by} against the rest.",
        f"Edge roll {now_and_after(outcome, 'edge_roll', high)}. If the rim turns down by more: stop.",
    ]
    return (*lines, rest) if rest else tuple(lines)
