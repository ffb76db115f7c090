"""The bench card on paper: one page wherever it can be read on one; black on white, large type."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from wearsim.show.card_after import after_height, draw_after
from wearsim.show.card_content import CardContent, SpellCard
from wearsim.show.card_pen import MARGIN, POINT, Pen, wrapped
from wearsim.show.card_strip import MORE_RULED, draw_strip, strip_height
from wearsim.show.card_type import BOTTOM, FULL, LEFT, RIGHT, TYPES, Type, height_of
from wearsim.show.style import plot_style

if TYPE_CHECKING:
    from matplotlib.figure import Figure

TITLE = 10.6
"""Height of the title [mm]."""
CAUTION_SIZE, CAUTION_LEAD = 10.0, 1.2
CAPTION = "To scale. Solid: bottom piece, a lap with channels; dashed: top piece, farthest; line: its centre"
CAPTION_SIZE, CAPTION_LEAD = 9.0, 1.2
CLEAR = 1.2


@dataclass(frozen=True)
class Plan:
    """Which spells stand on which page, in which type.

    Parameters
    ----------
    face : Type
    pages : tuple of tuple of SpellCard
        What comes after the spells is on the last.
    """

    face: Type
    pages: tuple[tuple[SpellCard, ...], ...]


def plan(content: CardContent) -> Plan:
    """The fewest pages, and the largest type in which they hold everything.

    Parameters
    ----------
    content : CardContent
    """
    return min((_packed(content, face) for face in TYPES), key=lambda one: len(one.pages))


def caption(content: CardContent) -> str:
    """What is said of the drawings.

    Parameters
    ----------
    content : CardContent
    """
    some = " (W: part)" if any(spell.drawing.is_thinned for spell in content.spells) else ""
    return f"{CAPTION}{some}."


def card_pages(content: CardContent) -> list[Figure]:
    """The pages of a card.

    Parameters
    ----------
    content : CardContent
    """
    with plot_style():
        made = plan(content)
        return [_page(content, made, number) for number in range(len(made.pages))]


def _packed(content: CardContent, face: Type) -> Plan:
    """Spells from page to page, each as full as it goes."""
    pages: list[list[SpellCard]] = [[]]
    room = BOTTOM - _head_height(content, face, 0) - _under_strips(content, face)
    for spell in content.spells:
        height = strip_height(spell, face)
        if height > room and pages[-1]:
            pages.append([])
            room = BOTTOM - _head_height(content, face, 1) - _under_strips(content, face)
        pages[-1].append(spell)
        room -= height
    if after_height(content, face) + CLEAR + _cautions_height(content) > room and pages[-1]:
        pages.append([])
    return Plan(face, tuple(tuple(page) for page in pages))


def _page(content: CardContent, made: Plan, number: int) -> Figure:
    pen, face, spells = Pen(), made.face, made.pages[number]
    y = _head(pen, content, face, number, len(made.pages))
    is_last = number == len(made.pages) - 1
    bottom = BOTTOM - _cautions_height(content) - CLEAR if is_last else BOTTOM
    need = after_height(content, face) if is_last else 0.0
    if spells:
        heights = [strip_height(spell, face) for spell in spells]
        spare = bottom - y - need - sum(heights) - _under_strips(content, face)
        more = min(max(spare, 0.0) / len(spells), MORE_RULED * face.rule)
        for spell, height in zip(spells, heights, strict=True):
            draw_strip(pen, spell, y, height + more, face, content.scale, content.degree)
            y += height + more
        y = _draw_under_strips(pen, content, face, y)
    if is_last:
        draw_after(pen, content, y, bottom, face)
        _cautions(pen, content)
    return pen.figure


def _head(pen: Pen, content: CardContent, face: Type, number: int, count: int) -> float:
    """Title, promise, what to do first; returns where the spells begin."""
    title = "BENCH CARD" if count == 1 else f"BENCH CARD {number + 1}/{count}"
    pen.write(LEFT, MARGIN, title, 20.0, weight="bold")
    pen.write(RIGHT, MARGIN, content.mirror, 12.0, ha="right", weight="bold")
    noted = f"date .....................   room ............. {content.degree}"
    pen.write(RIGHT, MARGIN + 6.0, noted, 10.5, ha="right")
    y = MARGIN + TITLE
    if number == 0:
        y = pen.fill(LEFT, y, content.promise, FULL, face.said, lead=face.lead) + 0.6
        for line in content.before:
            y = pen.fill(LEFT, y, line, FULL, face.said, bold=True, lead=face.lead)
    return y + CLEAR


def _head_height(content: CardContent, face: Type, number: int) -> float:
    """Where the spells of a page begin [mm]."""
    said = 0.0
    if number == 0:
        said = 0.6 + height_of(content.promise, FULL, face.said, face.lead)
        said += sum(height_of(line, FULL, face.said, face.lead, True) for line in content.before)
    return MARGIN + TITLE + said + CLEAR


def _under_strips(content: CardContent, face: Type) -> float:
    """Height of what is said of all the strips above it [mm]."""
    if not content.spells:
        return 0.0
    check = height_of(content.checking, FULL, face.said, face.lead) + 0.6 if content.checking else 0.0
    return check + height_of(caption(content), FULL, CAPTION_SIZE, CAPTION_LEAD) + 1.2


def _draw_under_strips(pen: Pen, content: CardContent, face: Type, y: float) -> float:
    pen.line(LEFT, y, RIGHT, y, 1.2)
    at = y + 0.6
    if content.checking:
        at = pen.fill(LEFT, at, content.checking, FULL, face.said, lead=face.lead) + 0.6
    pen.fill(LEFT, at, caption(content), FULL, CAPTION_SIZE, lead=CAPTION_LEAD)
    return y + _under_strips(content, face)


def _caution_lines(content: CardContent) -> list[str]:
    return wrapped("CAUTION. " + " ".join(content.cautions), FULL - 4.0, CAUTION_SIZE)


def _cautions_height(content: CardContent) -> float:
    return len(_caution_lines(content)) * CAUTION_LEAD * CAUTION_SIZE * POINT + 2.2


def _cautions(pen: Pen, content: CardContent) -> None:
    """The cautions at the foot of the page."""
    height = _cautions_height(content)
    y = BOTTOM - height
    pen.box(LEFT, y, FULL, height, linewidth=1.4)
    for number, line in enumerate(_caution_lines(content)):
        pen.write(LEFT + 2.0, y + 1.2 + number * CAUTION_LEAD * CAUTION_SIZE * POINT, line, CAUTION_SIZE)
