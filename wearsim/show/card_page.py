"""The bench card on paper: one page, a second one beyond four spells; black on white, large type."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from wearsim.show.card_content import CardContent, ReadingRows, SpellCard
from wearsim.show.card_parts import draw_early, draw_stroke
from wearsim.show.card_pen import HEIGHT, MARGIN, POINT, WIDTH, Pen, text_width, wrapped
from wearsim.show.style import house

if TYPE_CHECKING:
    from matplotlib.figure import Figure

LEFT, RIGHT, BOTTOM = MARGIN, WIDTH - MARGIN, HEIGHT - MARGIN
FULL = RIGHT - LEFT
ONE_PAGE = 4
A_PAGE = 8
MOST_ZONES = 20
CAUTION_SIZE = 8.2
GAP = 4.0
# Heights of a spell's strip from which so large a type and so wide a drawing fit [mm]: height, type [pt], line spacing,
# drawing [mm].
STRIPS = (
    (56.0, 14.0, 1.2, 40.0),
    (36.0, 12.2, 1.24, 36.0),
    (30.5, 11.0, 1.24, 36.0),
    (0.0, 10.0, 1.15, 36.0),
)
TALLEST = 58.0
# Width of the column at the right: pace, room to write [mm].
SIDE = 60.0
# What comes after the spells needs so much height, the cautions apart [mm].
AFTER = 77.0


def card_pages(content: CardContent) -> list[Figure]:
    """The pages of a card.

    Parameters
    ----------
    content : CardContent
    """
    spells = content.spells
    with house():
        if len(spells) <= ONE_PAGE:
            pen = Pen()
            y = _head(pen, content)
            room = BOTTOM - _cautions_height(content) - AFTER - y
            y = _spells(pen, content, spells, y, min(TALLEST, room / max(len(spells), 1)))
            _after(pen, content, y + 1.0)
            return [pen.figure]
        pages = []
        for first in range(0, len(spells), A_PAGE):
            pen = Pen()
            y = _head(pen, content)
            some = spells[first : first + A_PAGE]
            _spells(pen, content, some, y, min(40.0, (BOTTOM - 4.0 - y) / len(some)))
            pages.append(pen.figure)
        pen = Pen()
        _after(pen, content, _title(pen, content))
        return [*pages, pen.figure]


def _title(pen: Pen, content: CardContent) -> float:
    pen.write(LEFT, MARGIN, "BENCH CARD", 21.0, weight="bold")
    pen.write(RIGHT, MARGIN, content.mirror, 12.0, ha="right", weight="bold")
    pen.write(
        RIGHT,
        MARGIN + 6.0,
        f"date .....................   room ............. {content.degree}",
        10.5,
        ha="right",
    )
    return MARGIN + 12.0


def _head(pen: Pen, content: CardContent) -> float:
    """Title, promise, what to do first; returns where the spells begin."""
    y = pen.fill(LEFT, _title(pen, content), content.promise, FULL, 10.5)
    y += 0.8
    for line in content.before:
        y = pen.fill(LEFT, y, line, FULL, 11.0, bold=True)
    return y + 1.2


def _spells(pen: Pen, content: CardContent, spells: tuple[SpellCard, ...], y: float, height: float) -> float:
    """Strips of spells, one under the other."""
    if not spells:
        return y
    for spell in spells:
        _strip(pen, content, spell, y, height)
        y += height
    pen.line(LEFT, y, RIGHT, y, 1.2)
    caption = "To scale, from above. Solid: bottom piece, a lap with channels; dashed: top piece, farthest; "
    some = " (W: part)" if any(spell.drawing.is_thinned for spell in spells) else ""
    pen.write(LEFT, y + 0.8, caption + f"line: its centre{some}. D: mirror's diameter.", 7.5)
    return y + 4.4


def _type_for(spell: SpellCard, height: float) -> tuple[float, float, float]:
    """The largest type, its line spacing and the width of the drawing that fit a strip."""
    for needed, size, lead, widest in STRIPS:
        room = RIGHT - SIDE - (LEFT + 27.0 + min(height - 2.0, widest))
        said = [line for text in (spell.stroke, *spell.sizes) for line in wrapped(text, room, size)]
        said += wrapped(spell.turn, room, size, bold=True) if spell.turn else []
        lines = len(said) + 1.2 * len(wrapped(spell.top, room, size + 2.0, bold=True))
        if height >= needed and lines * lead * size * POINT <= height - 2.0:
            return size, lead, widest
    return STRIPS[-1][1:]


def _strip(pen: Pen, content: CardContent, spell: SpellCard, y: float, height: float) -> None:
    """One spell: number and minutes, the stroke, its sizes, the pace, room to write."""
    size, lead, widest = _type_for(spell, height)
    pen.line(LEFT, y, RIGHT, y, 1.2)
    pen.box(LEFT, y + 1.5, 9.0, 9.0, facecolor="black")
    pen.write(
        LEFT + 4.5, y + 6.2, str(spell.number), 16.0, color="white", weight="bold", ha="center", va="center"
    )
    most = 2.0 * size
    big = most if text_width(spell.minutes, most, True) <= 22.0 else 15.0
    pen.write(LEFT, y + 12.0, spell.minutes, big, weight="bold")
    pen.write(LEFT, y + 12.5 + 1.1 * big * POINT, "minutes", 10.0)
    side = min(height - 2.0, widest)
    draw_stroke(pen, spell.drawing, (LEFT + 25.0, y + 1.0), side, content.scale)
    x = LEFT + 27.0 + side
    middle = RIGHT - SIDE
    at = pen.fill(x, y + 1.3, spell.top, middle - x, size + 2.0, bold=True, lead=1.12)
    for line in (spell.stroke, *spell.sizes):
        at = pen.fill(x, at, line, middle - x, size, lead=lead)
    if spell.turn:
        pen.fill(x, at, spell.turn, middle - x, size, bold=True)
    at = y + 1.6
    for line in spell.pace:
        at = pen.fill(middle + 2.0, at, line, RIGHT - middle - 2.0, size, lead=lead)
    if spell.checkpoint:
        at = pen.fill(middle + 2.0, at, spell.checkpoint, RIGHT - middle - 2.0, size, bold=True, lead=lead)
    foot = y + height - 0.9
    if foot - 7.0 - at > 7.0:
        _ruled(pen, middle + 2.0, foot - 14.0, RIGHT - middle - 2.0, foot - 5.0)
    pen.write(middle + 2.0, foot, f"done ........... min   ........... {content.degree}", 9.5, va="bottom")


def _after(pen: Pen, content: CardContent, y: float) -> None:
    """What comes after the spells: readings, what to look for, stopping early, notes, cautions."""
    top = _cautions(pen, content)
    half = (FULL - GAP) / 2.0
    low = y
    if content.readings is not None:
        low = _readings(pen, content.readings, y, half, top - y)
    x = LEFT + half + GAP
    chart = 0.0
    if content.early.minutes[-1] > 0.0:
        chart = 36.0
        draw_early(pen, content, (x, y), (half, chart))
    at = y + chart + 1.0
    if content.look:
        pen.write(x, at, "Look for", 11.0, weight="bold")
        at += 5.0
    for line in content.look:
        at = pen.fill(x, at, line, half, 10.0, lead=1.2) + 0.6
    _notes(pen, low + 1.5, half, top - 1.0)
    if at + 12.0 < top:
        _ruled(pen, x, at, half, top - 1.0)


def _readings(pen: Pen, rows: ReadingRows, y: float, width: float, room: float) -> float:
    y = pen.fill(LEFT, y, rows.head, width, 10.5, bold=True)
    step = math.ceil(len(rows.rows) / MOST_ZONES)
    shown = rows.rows[::step]
    pitch = min(5.6, (room - 24.0) / (len(shown) + 1))
    size = min(12.0, pitch / 1.22 / POINT)
    right = (LEFT + 0.40 * width, LEFT + 0.58 * width, LEFT + 0.78 * width, LEFT + width)
    for place, title in zip(right, rows.titles, strict=True):
        pen.write(place, y, title, min(size, 10.0), ha="right")
    y += min(pitch, 4.8)
    for row in shown:
        for column, (place, cell) in enumerate(zip(right, row, strict=True)):
            pen.write(place, y, cell, size, ha="right", weight="bold" if column == 2 else "normal")
        y += pitch
        pen.line(LEFT, y - 0.5, LEFT + width, y - 0.5, 0.4)
    foot = rows.foot if step == 1 else f"{rows.foot} One zone in {step} is shown."
    return pen.fill(LEFT, y, foot, width, 8.5)


def _notes(pen: Pen, y: float, width: float, bottom: float) -> None:
    """Room to write what was really done."""
    if bottom - y < 9.0:
        return
    pen.write(LEFT, y, "Notes: what was really done, how the lap felt", 9.0)
    _ruled(pen, LEFT, y + 3.0, width, bottom)


def _ruled(pen: Pen, x: float, y: float, width: float, bottom: float) -> None:
    lines = int((bottom - y) / 7.5)
    for number in range(1, lines + 1):
        pen.line(x, y + 7.5 * number, x + width, y + 7.5 * number, 0.5, linestyle=(0, (1, 2)))


def _caution_lines(content: CardContent) -> list[str]:
    return wrapped("CAUTION. " + " ".join(content.cautions), FULL - 4.0, CAUTION_SIZE)


def _cautions_height(content: CardContent) -> float:
    return len(_caution_lines(content)) * 1.25 * CAUTION_SIZE * POINT + 2.4


def _cautions(pen: Pen, content: CardContent) -> float:
    """The cautions at the foot of the page; returns where they begin."""
    height = _cautions_height(content)
    y = BOTTOM - height
    pen.box(LEFT, y, FULL, height, linewidth=1.4)
    for number, line in enumerate(_caution_lines(content)):
        pen.write(LEFT + 2.0, y + 1.4 + number * 1.25 * CAUTION_SIZE * POINT, line, CAUTION_SIZE)
    return y
