"""A stroke as it moves, seen from above and to scale, at the true rate: SVG that a browser moves without any script."""

from __future__ import annotations

import math
from typing import Any

from wearsim.bench.bench import Bench
from wearsim.bench.hands import Hands
from wearsim.bench.programme import Programme, Spell, spell_sizes
from wearsim.bench.units import length_unit, stroke_unit
from wearsim.show.card.content import counted_turns, in_quarters, push_words, rounds_of, turns_by_hand
from wearsim.show.notices import is_heavy
from wearsim.show.strokes import POINTS_A_STROKE, Drawing, drawing_of, spell_title, spell_words

SPOKES = 8
"""Lines on a lap that show how it turns; they are not its channels."""
MOST_FRAMES = 600


def moving_stroke(bench: Bench, spell: Spell) -> str:
    """The top piece going over the bottom piece, both turning as the hands turn and as one walks.

    The person stands still, below the drawing, and strokes away and back: the bottom piece turns by a round in the time of
    one round of the barrel, the top piece in the hands the other way.

    Parameters
    ----------
    spell : Spell
        A pressing stands still.
    """
    drawing = drawing_of(bench, spell, 1, length_unit(bench))
    mm = 1e3
    ways = (-drawing.y.min(), drawing.y.max(), drawing.x.max(), -drawing.x.min())
    left, right, away, near = (1.03 * mm * max(drawing.bottom, drawing.top + float(way)) for way in ways)
    box = f'viewBox="{-left:.1f} {-away:.1f} {left + right:.1f} {away + near:.1f}" preserveAspectRatio="xMidYMax"'
    bottom = _piece(
        "bottom", drawing.bottom * mm, drawing.hole * mm * (not drawing.mirror_on_top), drawing.mirror_on_top
    )
    top = _piece("top", drawing.top * mm, drawing.hole * mm * drawing.mirror_on_top, not drawing.mirror_on_top)
    path = " ".join(f"{x * mm:.1f},{y * mm:.1f}" for x, y in zip(*drawing.drawn, strict=True))
    words = f"From above, to scale: {spell_words(spell, bench.mirror.diameter, length_unit(bench))}"
    return (
        f'<svg class="stroke" {box} role="img" aria-label="{_quoted(words)}"><g transform="rotate(-90)">'
        f"<g>{_turning(bench.hands.walk, spell)}{bottom}</g>"
        f'<polyline class="way" points="{path}"/>'
        f"<g>{_travel(drawing, spell)}<g>{_turning(-bench.hands.hand_turn, spell)}{top}</g></g></g></svg>"
    )


def _caption(bench: Bench, spell: Spell) -> str:
    """What a moving stroke shows: who stands where, which circle is which piece, and the way of each."""
    below = "tool" if spell.on_top == "mirror" else "mirror"
    pieces = f"Filled: {below}. Dashed: {spell.on_top}, on top."
    if spell.is_press:
        return pieces
    aside = " Off centre: to your right." * bool(spell.stroke_on(bench.mirror.diameter).side_overhang)
    return f"You stand here; strokes go away and back.{aside} {pieces} Dots: how they turn."


def _quoted(text: str) -> str:
    return text.replace("&", "&amp;").replace('"', "&quot;").replace("<", "&lt;")


def _piece(name: str, radius: float, hole: float, is_lap: bool) -> str:
    """A disc with what shows how it turns: spokes on a lap, a mark at the rim of a mirror."""
    parts = [f'<circle class="{name}" r="{radius:.1f}"/>']
    if is_lap:
        for spoke in range(SPOKES // 2):
            x, y = (radius * f(math.pi * 2 * spoke / SPOKES) for f in (math.cos, math.sin))
            parts.append(f'<line class="spoke" x1="{-x:.1f}" y1="{-y:.1f}" x2="{x:.1f}" y2="{y:.1f}"/>')
    parts.append(f'<circle class="mark" cx="{0.86 * radius:.1f}" r="{0.05 * radius:.1f}"/>')
    if hole:
        parts.append(f'<circle class="hole" r="{hole:.1f}"/>')
    return "".join(parts)


def _turning(period: float, spell: Spell) -> str:
    """A turn in so many seconds, the other way where negative."""
    if spell.is_press:
        return ""
    end = math.copysign(360, period)
    return (
        f'<animateTransform attributeName="transform" type="rotate" from="0" to="{end:.0f}" dur="{abs(period):g}s" '
        'repeatCount="indefinite"/>'
    )


def _travel(drawing: Drawing, spell: Spell) -> str:
    """The way of the top piece's centre, at the spell's rate."""
    if spell.is_press or not spell.rate:
        return ""
    strokes = (len(drawing.x) - 1) / POINTS_A_STROKE
    step = max(1, math.ceil(len(drawing.x) / MOST_FRAMES))
    frames = ";".join(f"{1e3 * x:.1f} {1e3 * y:.1f}" for x, y in zip(drawing.x[::step], drawing.y[::step], strict=True))
    return (
        f'<animateTransform attributeName="transform" type="translate" values="{frames}" '
        f'dur="{60.0 * strokes / spell.rate:.2f}s" repeatCount="indefinite"/>'
    )


def barrel_spells(bench: Bench, programme: Programme) -> list[dict[str, Any]]:
    """A programme spell by spell, as the barrel needs it: in words, moving, and what the hands count."""
    unit, hands = stroke_unit(bench), bench.hands
    return [
        {
            "title": spell_title(spell),
            "sizes": spell_sizes(spell, bench.mirror.diameter, unit),
            "moving": f"<figure>{moving_stroke(bench, spell)}<figcaption>{_caption(bench, spell)}</figcaption></figure>",
            "minutes": spell.minutes,
            "rate": 0.0 if spell.is_press else spell.rate,
            "turning": "" if spell.is_press else _turning_words(hands, spell),
            "walk": "" if any(hands.spins) else _walking_words(hands, spell),
            "is_heavy": spell.on_top == "mirror" and not spell.is_press and is_heavy(bench.mirror),
            "turn": round(math.degrees(spell.turn)),
            "push": push_words(hands.push if spell.push is None else spell.push, length_unit(bench)),
        }
        for spell in programme.spells
    ]


def _turning_words(hands: Hands, spell: Spell) -> str:
    """How both pieces turn in a spell, in words for the barrel."""
    if any(hands.spins):
        return counted_turns(hands, spell.duration)
    rounds, turns = rounds_of(hands, spell.duration), turns_by_hand(hands, spell.duration)
    return f"in the whole spell walk {rounds} turns round the barrel and give the top piece {turns}"


def _walking_words(hands: Hands, spell: Spell) -> str:
    """How fast one walks."""
    each = in_quarters(rounds_of(hands, spell.duration) / spell.minutes, "turn")
    return f"Walk round the barrel: {each} per minute, always the same way."


def before(spell: dict[str, Any], first: str) -> list[str]:
    """What to do before a spell; ``first`` is for the very first one."""
    turned = [f"First turn the mirror by {spell['turn']}\u00b0."] if spell["turn"] else []
    charge = "Wet the lap; put on a fresh charge." if spell["rate"] else "Cold-press the lap."
    lift = ["Lift the heavy glass with a second person or a hoist."] if spell["is_heavy"] else []
    return [*turned, *([first] if first else []), charge, *lift]


def reminders(spell: dict[str, Any]) -> list[str]:
    """What to think of in turn while a spell goes."""
    if not spell["rate"]:
        return ["Hands off: its own weight presses it."]
    push = f"Press with {spell['push']} in addition to its weight."
    turned = [spell["walk"], "Turn the top piece, against the direction you walk."] if spell["walk"] else []
    return ["Keep it wet.", *turned, push, "Add charge where it runs dry."]
