"""One spell on the printed card: number and minutes, the stroke, its sizes, the pace, a check, room to write."""

from __future__ import annotations

from wearsim.show.card_content import SpellCard
from wearsim.show.card_parts import draw_stroke
from wearsim.show.card_pen import POINT, Pen, text_width
from wearsim.show.card_type import FULL, LEFT, RIGHT, Type, height_of

# Widths of the columns at the left (number, minutes) and at the right (pace, room to write) [mm].
MINUTES, SIDE = 27.0, 61.0
# Between two columns, and what the drawing keeps clear of the line above [mm].
APART, CLEAR = 3.0, 1.0
# The black square of the number [mm].
SQUARE = 9.0
# Every spell has as many lines to write on beside those for minutes and temperature.
LEAST_RULED = 2
# A strip takes as many more where the page has room.
MORE_RULED = 2
DONE, AT = "done", "at"
"""Before what is written down of the minutes, beneath those that are planned, and of the temperature."""
DONE_SIZE = 10.0
"""[pt]"""
ABOVE, BELOW = 1.2, 1.2
"""Clear of the lines between two strips [mm]."""
TOP_LEAD = 1.15


def strip_height(spell: SpellCard, face: Type) -> float:
    """Height of the strip of a spell, with the least room to write [mm].

    Parameters
    ----------
    spell : SpellCard
    face : Type
    """
    return _upper(spell, face) + _check_height(spell, face)


def draw_strip(pen: Pen, spell: SpellCard, y: float, height: float, face: Type, scale: float, degree: str) -> None:
    """Draw a spell.

    Parameters
    ----------
    pen : Pen
    spell : SpellCard
    y, height : float
        Where it begins and how high it is, at least :func:`strip_height` [mm].
    face : Type
    scale : float
        Half width of the drawing on the bench [m].
    degree : str
        Unit of temperatures.
    """
    check = _check_height(spell, face)
    end = y + height - check
    pen.line(LEFT, y, RIGHT, y, 1.2)
    _draw_minutes(pen, spell, y + ABOVE, face, degree)
    draw_stroke(pen, spell.drawing, (LEFT + MINUTES, y + CLEAR), face.drawing, scale)
    x, width = _middle(face)
    at = pen.fill(x, y + ABOVE, spell.top, width, face.size + 2.0, bold=True, lead=TOP_LEAD)
    for line in (spell.stroke, *spell.sizes):
        at = pen.fill(x, at, line, width, face.size, lead=face.lead)
    if spell.turn:
        pen.fill(x, at, spell.turn, width, face.size, bold=True, lead=face.lead)
    at, x = y + ABOVE, RIGHT - SIDE
    for line in spell.pace:
        at = pen.fill(x, at, line, SIDE, face.size, lead=face.lead)
    ruled(pen, x, at, SIDE, end - BELOW, face.rule)
    if check:
        pen.box(LEFT, end, FULL, check, facecolor="0.92", edgecolor="none")
        pen.fill(LEFT + 1.0, end + 0.7, spell.checkpoint, FULL - 2.0, face.size, bold=True, lead=face.lead)


def _draw_minutes(pen: Pen, spell: SpellCard, y: float, face: Type, degree: str) -> None:
    """Number and minutes, and where to write the minutes and the temperature that it really was."""
    pen.box(LEFT, y, SQUARE, SQUARE, facecolor="black")
    middle = {"ha": "center", "va": "center"}
    pen.write(
        LEFT + 0.5 * SQUARE, y + 0.5 * SQUARE + 0.2, str(spell.number), 16.0, color="white", weight="bold", **middle
    )
    big, room = _minutes_size(spell, face), MINUTES - SQUARE - APART
    pen.write(LEFT + SQUARE + 0.5 * room + 1.0, y + 0.5 * SQUARE + 0.2, spell.minutes, big, weight="bold", **middle)
    pen.write(LEFT + SQUARE + 0.5 * room + 1.0, y + SQUARE + 0.4, "minutes", DONE_SIZE, ha="center")
    at = y + SQUARE + 0.4 + 1.2 * DONE_SIZE * POINT
    for before, unit in ((DONE, ""), (AT, degree)):
        at += face.rule
        pen.write(LEFT, at, before, DONE_SIZE, va="bottom")
        pen.write(LEFT + MINUTES - APART, at, unit, DONE_SIZE, va="bottom", ha="right")
        begin, end = (text_width(before, DONE_SIZE) + 1.0, MINUTES - APART - text_width(unit, DONE_SIZE) - bool(unit))
        pen.line(LEFT + begin, at - 0.6, LEFT + end, at - 0.6, 0.5, linestyle=(0, (1, 2)), gid="done")


def ruled(pen: Pen, x: float, y: float, width: float, bottom: float, rule: float) -> int:
    """Lines to write on, as many as there is room for; returns how many."""
    lines = int((bottom - y) / rule + 1e-9)
    for number in range(1, lines + 1):
        at = y + rule * number
        pen.line(x, at, x + width, at, 0.5, linestyle=(0, (1, 2)), gid="to write on")
    return lines


def _middle(face: Type) -> tuple[float, float]:
    """Where the middle column begins, and how wide it is [mm]."""
    x = LEFT + MINUTES + face.drawing + APART
    return x, RIGHT - SIDE - APART - x


def _minutes_size(spell: SpellCard, face: Type) -> float:
    most = 2.2 * face.size
    return min(most, most * (MINUTES - SQUARE - APART) / text_width(spell.minutes, most, True))


def _upper(spell: SpellCard, face: Type) -> float:
    """Height without the check [mm]."""
    _, width = _middle(face)
    said = height_of(spell.top, width, face.size + 2.0, TOP_LEAD, True)
    said += sum(height_of(line, width, face.size, face.lead) for line in (spell.stroke, *spell.sizes))
    if spell.turn:
        said += height_of(spell.turn, width, face.size, face.lead, True)
    side = sum(height_of(line, SIDE, face.size, face.lead) for line in spell.pace)
    side += LEAST_RULED * face.rule
    minutes = SQUARE + 0.4 + 1.2 * DONE_SIZE * POINT + 2.0 * face.rule
    return max(ABOVE + max(said, side, minutes) + BELOW, face.drawing + 2.0 * CLEAR)


def _check_height(spell: SpellCard, face: Type) -> float:
    if not spell.checkpoint:
        return 0.0
    return height_of(spell.checkpoint, FULL - 2.0, face.size, face.lead, True) + 1.2
