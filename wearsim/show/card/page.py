"""The bench card on paper: one page wherever it can be read on one; black on white, large type.

Every part is laid out by one function that draws it with a pen and returns where it ends; with a dry pen it is measured.
"""

from __future__ import annotations

from functools import partial
from itertools import pairwise
from typing import Any

import numpy as np
from matplotlib.axes import Axes

from wearsim.show.card.content import CardContent, SpellCard
from wearsim.show.card.pen import DOTTED, HEIGHT, POINT, TYPES, WIDTH, Pen, Type, printed_width
from wearsim.show.card.readings import ReadingRows
from wearsim.show.notices import ON_THE_CARD
from wearsim.show.strokes import PAPER, Drawing, draw_stroke
from wearsim.show.style import plot_style, without_frame

MARGIN = 10.0
LEFT, RIGHT, BOTTOM = MARGIN, WIDTH - MARGIN, HEIGHT - MARGIN
FULL = RIGHT - LEFT
# Two columns of what comes after the spells, and between them [mm].
GAP = 5.0
HALF = 0.5 * (FULL - GAP)
# Height of the title, and of a heading [mm].
TITLE, HEADING = 10.6, 5.2
# Widths of a spell's columns at the left (number, minutes) and at the right (pace, room to write), between two columns
# of a spell or of the readings, and the side of the black square of the number [mm].
MINUTES, SIDE, LEAST_DISTANCE, SQUARE = 27.0, 61.0, 3.0, 9.0
# Clear of the lines between two spells: a drawing, and text [mm].
DRAWING_CLEAR, CLEAR = 1.0, 1.2
# Every spell has so many lines to write on, and as many more where there is room.
LEAST_RULED = MORE_RULED = 2
# The number of a spell over the chart needs so much for each digit [mm].
ROOM_OF_A_SPELL = 3.0
# Sizes of small print, of headings, of the cautions and of what was done [pt].
SMALL, HEADING_SIZE, CAUTION_SIZE, DONE_SIZE = 9.0, 11.0, 10.0, 10.0
# Line spacing of small print, of headings and of the piece on top [1].
SMALL_LEAD, HEADING_LEAD, TOP_LEAD = 1.2, 1.28, 1.15
NOTES = "Notes: the work actually done, how the lap felt"


def plan(content: CardContent) -> tuple[Type, list[list[SpellCard]]]:
    """The largest type in which the card has the fewest pages, and the spells of each page."""
    return min(((face, _packed(content, face)) for face in TYPES), key=lambda one: len(one[1]))


def card_pages(content: CardContent) -> list[Pen]:
    """The pages of a card, each with its drawing and its text."""
    with plot_style():
        face, pages = plan(content)
        return [_page(content, face, pages, number) for number in range(len(pages))]


def _packed(content: CardContent, face: Type) -> list[list[SpellCard]]:
    """Spells from page to page, each as full as it goes; what comes after them is on the last."""
    dry = Pen(face, dry=True)
    y, under = _head(dry, content), _under(dry, content, 0.0)
    pages: list[list[SpellCard]] = [[]]
    for spell in content.spells:
        height = _strip(dry, content, spell, 0.0)
        if y + height + under > BOTTOM and pages[-1]:
            pages.append([])
            y = _head(dry, content, len(pages) - 1)
        pages[-1].append(spell)
        y += height
    if _after(dry, content, y + under) > _bottom(dry) and pages[-1]:
        pages.append([])
    return pages


def _page(content: CardContent, face: Type, pages: list[list[SpellCard]], number: int) -> Pen:
    pen, dry, spells, is_last = Pen(face), Pen(face, dry=True), pages[number], number == len(pages) - 1
    bottom = _bottom(dry) if is_last else BOTTOM
    y = _head(pen, content, number, len(pages))
    if spells:
        end = _under(dry, content, y + sum(_strip(dry, content, spell, 0.0) for spell in spells))
        spare = bottom - (_after(dry, content, end) if is_last else end)
        more = min(max(spare, 0.0) / len(spells), MORE_RULED * face.rule)
        for spell in spells:
            y = _strip(pen, content, spell, y, more)
        y = _under(pen, content, y)
    if is_last:
        _after(pen, content, y, bottom)
        _cautions(pen, bottom + CLEAR)
    return pen


def _bottom(dry: Pen) -> float:
    """Where what comes after the spells has to end, above the cautions [mm]."""
    return BOTTOM - _cautions(dry, 0.0) - CLEAR


def _head(pen: Pen, content: CardContent, number: int = 0, count: int = 1) -> float:
    """Title, promise, what to do first."""
    title = "BENCH CARD" if count == 1 else f"BENCH CARD {number + 1}/{count}"
    pen.text.append(f"{title}: {content.mirror}")
    pen.write(LEFT, MARGIN, title, 20.0, bold=True)
    pen.write(RIGHT, MARGIN, content.mirror, 12.0, ha="right", bold=True)
    date_line = f"date .....................   room ............. {content.degree}"
    pen.write(RIGHT, MARGIN + 6.0, date_line, 10.5, ha="right")
    y = MARGIN + TITLE
    if number == 0:
        y = pen.fill(LEFT, y, FULL, pen.face.notes, content.warning, bold=True)
        y = pen.fill(LEFT, y, FULL, pen.face.notes, content.prediction) + 0.6
        y = pen.fill(LEFT, y, FULL, pen.face.notes, *content.before, bold=True)
    return y + CLEAR


def _strip(pen: Pen, content: CardContent, spell: SpellCard, y: float, more: float = 0.0) -> float:
    """Number and minutes, the stroke, its sizes, the pace, a check, room to write, and ``more`` of it [mm]."""
    face, begin, x = pen.face, y + CLEAR, LEFT + MINUTES + pen.face.drawing + LEAST_DISTANCE
    width = RIGHT - SIDE - LEAST_DISTANCE - x
    planned = _minutes(pen, content, spell, begin)
    middle = pen.fill(x, begin, width, face.size + 2.0, spell.top, bold=True, lead=TOP_LEAD)
    middle = pen.fill(x, middle, width, face.size, *spell.what)
    middle = pen.fill(x, middle, width, face.size, spell.turn, bold=True)
    side = pen.fill(RIGHT - SIDE, begin, SIDE, face.size, *spell.pace)
    end = max(planned, middle, side + LEAST_RULED * face.rule) + CLEAR
    end = max(end, y + face.drawing + 2.0 * DRAWING_CLEAR) + more
    pen.line(LEFT, y, RIGHT, y, weight=1.2)
    pen.ruled(RIGHT - SIDE, side, SIDE, end - CLEAR, face.rule)
    draw = partial(_stroke, drawing=spell.drawing, half=content.scale)
    pen.picture(LEFT + MINUTES, y + DRAWING_CLEAR, face.drawing, face.drawing, draw)
    if not spell.checkpoint:
        return end
    low = pen.fill(LEFT + 1.0, end + 0.7, FULL - 2.0, face.size, spell.checkpoint, bold=True) + 0.5
    pen.box(LEFT, end, FULL, low - end, facecolor="0.92", edgecolor="none")
    return low


def _minutes(pen: Pen, content: CardContent, spell: SpellCard, y: float) -> float:
    """Number and minutes, and where to write the minutes and the temperature that it really was."""
    pen.text.append(f"Spell {spell.number}: {spell.minutes} min")
    right, room, half = LEFT + MINUTES - LEAST_DISTANCE, MINUTES - SQUARE - LEAST_DISTANCE, 0.5 * SQUARE
    pen.box(LEFT, y, SQUARE, SQUARE, facecolor="black")
    middle: dict[str, Any] = {"bold": True, "ha": "center", "va": "center"}
    pen.write(LEFT + half, y + half + 0.2, str(spell.number), 16.0, color="white", **middle)
    x, most = LEFT + SQUARE + 0.5 * room + 1.0, 2.2 * pen.face.size
    size = min(most, most * room / printed_width(spell.minutes, most, True))
    pen.write(x, y + half + 0.2, spell.minutes, size, **middle)
    y += SQUARE + 0.4
    pen.write(x, y, "minute" if spell.minutes == "1" else "minutes", DONE_SIZE, ha="center")
    y += 1.2 * DONE_SIZE * POINT
    for before, unit in (("done", ""), ("at", content.degree)):
        y += pen.face.rule
        pen.write(LEFT, y, before, DONE_SIZE, va="bottom")
        pen.write(right, y, unit, DONE_SIZE, va="bottom", ha="right")
        begin, end = printed_width(before, DONE_SIZE) + 1.0, printed_width(unit, DONE_SIZE) + bool(unit)
        pen.line(LEFT + begin, y - 0.6, right - end, y - 0.6, **DOTTED)
    return y


def _stroke(axes: Axes, drawing: Drawing, half: float) -> None:
    x, y = drawing.middle
    without_frame(axes)
    axes.set(xlim=(x - half, x + half), ylim=(y - half, y + half))
    draw_stroke(axes, drawing, PAPER)


def _under(pen: Pen, content: CardContent, y: float) -> float:
    """What is said of all the spells above it."""
    if not content.spells:
        return y
    pen.line(LEFT, y, RIGHT, y, weight=1.2)
    y = pen.fill(LEFT, y + 0.6, FULL, pen.face.notes, content.checking) + (0.6 if content.checking else 0.0)
    return pen.fill(LEFT, y, FULL, SMALL, content.caption, lead=SMALL_LEAD) + 0.6


def _after(pen: Pen, content: CardContent, y: float, bottom: float = 0.0) -> float:
    """Expected readings, stopping early, what to look for; notes where room is left above ``bottom``."""
    x, low, at = LEFT + HALF + GAP, y, y
    if content.readings is not None:
        low = _readings(pen, content.readings, y)
    if content.early.minutes[-1] > 0.0:
        at = _early(pen, content, x, y)
    if content.to_look_for:
        pen.fill(x, at, HALF, HEADING_SIZE, "Afterwards", bold=True)
        at += HEADING
    for line in content.to_look_for:
        at = pen.fill(x, at, HALF, pen.face.notes, line) + 0.6
    end = max(low, at)
    notes = [(LEFT, end, FULL)] if abs(low - at) < 12.0 else [(LEFT, low, HALF), (x, at, HALF)]
    for place, (left, begin, width) in enumerate(notes):
        if bottom - begin >= 5.0 + pen.face.rule:
            if place == 0:
                pen.write(left, begin + 0.5, NOTES, SMALL)
            pen.ruled(left, begin + 3.5, width, bottom - 0.5, pen.face.rule)
    return end


def _readings(pen: Pen, rows: ReadingRows, y: float) -> float:
    """The table, every column as wide as its cells need; in smaller type where they would run into each other."""
    y = pen.fill(LEFT, y, HALF, HEADING_SIZE, rows.head, bold=True, lead=HEADING_LEAD)
    size, title_size = pen.face.rows, min(pen.face.rows, 10.0)
    widths = np.array([
        max(printed_width(title, title_size), *(printed_width(cell, size, column == 2) for cell in cells))
        for column, (title, *cells) in enumerate(zip(rows.titles, *rows.rows, strict=True))
    ])  # fmt: skip
    fit = min(1.0, (HALF - LEAST_DISTANCE * (len(widths) - 1)) / float(widths.sum()))
    rights = LEFT + np.cumsum(fit * widths + (HALF - fit * widths.sum()) / len(widths))
    for right, title in zip(rights, rows.titles, strict=True):
        pen.write(right, y, title, fit * title_size, ha="right")
    y += HEADING
    for row in rows.rows:
        pen.text.append(", ".join(f"{title} {cell}".strip() for title, cell in zip(rows.titles, row, strict=True)))
        for column, (right, cell) in enumerate(zip(rights, row, strict=True)):
            pen.write(right, y, cell, fit * size, ha="right", bold=column == 2)
        y += 1.2 * size * POINT
        pen.line(LEFT, y - 0.5, LEFT + HALF, y - 0.5, weight=0.4)
    return pen.fill(LEFT, y, HALF, SMALL, rows.foot, lead=SMALL_LEAD) + 0.5


def _early(pen: Pen, content: CardContent, x: float, y: float) -> float:
    """What the figure is if the work is stopped early."""
    early, width = content.early, HALF - 11.0
    title = f"If you stop early: RMS of the surface [{content.high.name}]"
    pen.fill(x, y, HALF, 10.5, title, bold=True)
    rms = map(content.high.number, np.interp(content.ends, early.minutes, early.rms))
    pen.text += [f"{one} after {end:g} min of work" for one, end in zip(rms, content.ends, strict=True)]
    draw = partial(_chart, content=content, width=width)
    pen.picture(x + 9.0, y + 6.0, width, pen.face.chart - 17.0, draw)
    return y + pen.face.chart


def _chart(axes: Axes, content: CardContent, width: float) -> None:
    minutes, rms = content.early.minutes, content.early.rms / content.high.size
    most, other = float(rms.max()), "numbers: the spells"
    if content.early.rms_band is not None:
        low, top = content.early.rms_band.T / content.high.size
        axes.fill_between(minutes, low, top, color="0.82", linewidth=0.0)
        most, other = max(most, float(top.max())), "grey: 90% band"
    axes.plot(minutes, rms, color="black", linewidth=2.2)
    axes.set(xlim=(0.0, minutes[-1]), ylim=(0.0, 1.22 * most or 1.0))
    axes.tick_params(labelsize=10)
    axes.set_xlabel(f"minutes of work; {other}", fontsize=10, color="black")
    for number, (begin, end) in enumerate(pairwise((0.0, *content.ends)), start=1):
        if end > begin:
            axes.axvline(end, color="black", linewidth=0.8, linestyle=(0, (4, 3)))
            if (end - begin) / minutes[-1] * width > ROOM_OF_A_SPELL * len(str(number)):
                x, y = 0.5 * (begin + end), 1.19 * most
                axes.text(x, y, str(number), ha="center", va="top", fontsize=11, weight="bold")


def _cautions(pen: Pen, y: float) -> float:
    """The cautions in a box at the foot of the page."""
    text = "CAUTION. " + " ".join(ON_THE_CARD)
    end = pen.fill(LEFT + 2.0, y + 1.2, FULL - 4.0, CAUTION_SIZE, text, lead=SMALL_LEAD) + 1.0
    pen.box(LEFT, y, FULL, end - y, linewidth=1.4)
    return end
