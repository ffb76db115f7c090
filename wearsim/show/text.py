"""Plain text for a terminal of 80 columns, in letters that every terminal has."""

from __future__ import annotations

import textwrap
from collections.abc import Sequence

WIDTH = 80


def paragraph(text: str, first: str = "", rest: str = "", width: int = WIDTH) -> str:
    """A paragraph of at most ``width`` columns.

    Parameters
    ----------
    text, first, rest : str
        The text, and the indents of its first and its other lines.
    width : int
    """
    return textwrap.fill(
        text, width, initial_indent=first, subsequent_indent=rest, break_long_words=False,
        break_on_hyphens=False,
    )  # fmt: skip


def columns(rows: Sequence[Sequence[str]], sides: str, gap: int = 2) -> list[str]:
    """Rows in columns as wide as they must be.

    Parameters
    ----------
    rows : sequence of sequences of str
    sides : str
        A letter a column: ``"<"`` for left, ``">"`` for right.
    gap : int
        Blanks between two columns.
    """
    widths = [max(map(len, column)) for column in zip(*rows, strict=True)]
    return [
        (" " * gap)
        .join(f"{cell:{side}{width}}" for cell, side, width in zip(row, sides, widths, strict=True))
        .rstrip()
        for row in rows
    ]


def lean(value: float, before: float, scale: float, half: int = 7) -> str:
    """A value as a bar to the left (low) or right (high) of a middle, with a mark where it was before.

    Parameters
    ----------
    value, before : float
        In one unit.
    scale : float
        The value that fills half of the bar; 0 for nothing to draw.
    half : int
        Cells to each side.

    Returns
    -------
    str
        ``2 half + 1`` letters: ``#`` the bar, ``o`` where it was, ``|`` the middle.
    """
    cells = [" "] * half + ["|"] + [" "] * half
    if scale > 0.0:
        count = round(half * max(-1.0, min(1.0, value / scale)))
        for step in range(1, abs(count) + 1):
            cells[half + (step if count > 0 else -step)] = "#"
        cells[half + round(half * max(-1.0, min(1.0, before / scale)))] = "o"
    return "".join(cells)
