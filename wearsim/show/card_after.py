"""What comes after the spells on the printed card: readings to expect, what to look for, stopping early, notes."""

from __future__ import annotations

import math

from wearsim.show.card_content import CardContent
from wearsim.show.card_parts import draw_early
from wearsim.show.card_pen import Pen, text_width
from wearsim.show.card_readings import ReadingRows
from wearsim.show.card_strip import ruled
from wearsim.show.card_type import FULL, LEFT, Type, height_of

MOST_ZONES = 30
GAP = 5.0
HALF = (FULL - GAP) / 2.0
# Between two columns of the readings, at least [mm].
APART = 3.0
FOOT, FOOT_LEAD = 9.0, 1.2
HEAD = 5.2
"""Height of a heading [mm]."""
NOTES = "Notes: what was really done, how the lap felt"


def after_height(content: CardContent, face: Type) -> float:
    """Height of all that comes after the spells, without cautions and notes [mm].

    Parameters
    ----------
    content : CardContent
    face : Type
    """
    left = 0.0 if content.readings is None else _readings_height(content.readings, face)
    return max(left, _right_height(content, face))


def draw_after(pen: Pen, content: CardContent, y: float, bottom: float, face: Type) -> None:
    """Draw it, with room for notes where some is left.

    Parameters
    ----------
    pen : Pen
    content : CardContent
    y, bottom : float
        Where it begins and ends, at least :func:`after_height` apart [mm].
    face : Type
    """
    low = y if content.readings is None else _draw_readings(pen, content.readings, y, face)
    x, at = LEFT + HALF + GAP, y
    if content.early.minutes[-1] > 0.0:
        draw_early(pen, content, (x, y), (HALF, face.chart - 1.0))
        at += face.chart
    if content.look:
        pen.write(x, at, "Look for", 11.0, weight="bold")
        at += HEAD
    for line in content.look:
        at = pen.fill(x, at, line, HALF, face.said, lead=face.lead) + 0.6
    below = max(low, at)
    for x, begin, width in (
        ((LEFT, below + 0.5, FULL),)
        if abs(low - at) < 12.0
        else ((LEFT, low + 0.5, HALF), (LEFT + HALF + GAP, at + 0.5, HALF))
    ):
        if bottom - begin >= 4.5 + face.rule:
            pen.write(x, begin, NOTES, 9.0)
            ruled(pen, x, begin + 3.0, width, bottom - 0.5, face.rule)


def _right_height(content: CardContent, face: Type) -> float:
    chart = face.chart if content.early.minutes[-1] > 0.0 else 0.0
    look = HEAD if content.look else 0.0
    return chart + look + sum(height_of(line, HALF, face.said, face.lead) + 0.6 for line in content.look)


def _shown(rows: ReadingRows) -> tuple[tuple[tuple[str, ...], ...], str]:
    """The zones that are shown, and what is written under them."""
    step = math.ceil(len(rows.rows) / MOST_ZONES)
    return rows.rows[::step], rows.foot if step == 1 else f"{rows.foot} One zone in {step} is shown."


def _readings_height(rows: ReadingRows, face: Type) -> float:
    shown, foot = _shown(rows)
    head = height_of(rows.head, HALF, 11.0, 1.28, True)
    return head + HEAD + len(shown) * face.pitch + height_of(foot, HALF, FOOT, FOOT_LEAD) + 0.5


def _draw_readings(pen: Pen, rows: ReadingRows, y: float, face: Type) -> float:
    """The table, every column as wide as its cells need; returns where it ends."""
    y = pen.fill(LEFT, y, rows.head, HALF, 11.0, bold=True)
    shown, foot = _shown(rows)
    widths = column_widths(rows, face.rows)
    # Type is made smaller only where cells at this size would run into each other.
    size = face.rows * min(1.0, (HALF - APART * (len(widths) - 1)) / sum(widths))
    widths = column_widths(rows, size)
    spare = (HALF - sum(widths)) / len(widths)
    right, rights = LEFT, []
    for width in widths:
        right += width + spare
        rights.append(right)
    for place, title in zip(rights, rows.titles, strict=True):
        pen.write(place, y, title, min(size, 10.0), ha="right")
    y += HEAD
    for row in shown:
        for column, (place, cell) in enumerate(zip(rights, row, strict=True)):
            pen.write(place, y, cell, size, ha="right", weight="bold" if column == 2 else "normal")
        y += face.pitch
        pen.line(LEFT, y - 0.5, LEFT + HALF, y - 0.5, 0.4)
    return pen.fill(LEFT, y, foot, HALF, FOOT, lead=FOOT_LEAD)


def column_widths(rows: ReadingRows, size: float) -> list[float]:
    """Widths that the columns need in this type [mm].

    Parameters
    ----------
    rows : ReadingRows
    size : float
        [pt]
    """
    columns = zip(rows.titles, *rows.rows, strict=True)
    return [
        max(text_width(title, min(size, 10.0)), *(text_width(cell, size, bold=number == 2) for cell in cells))
        for number, (title, *cells) in enumerate(columns)
    ]
