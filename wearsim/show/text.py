"""Plain text for a terminal of 80 columns, in letters that every terminal has."""

from __future__ import annotations

import shutil
import textwrap
from collections.abc import Callable, Iterable, Mapping, Sequence
from typing import Any

WIDTH = 80
NARROWEST = 40


def text_width() -> int:
    """Columns to write in: those of the terminal or of ``COLUMNS``, from 40 to 80."""
    return max(NARROWEST, min(WIDTH, shutil.get_terminal_size((WIDTH, 24)).columns))


def in_diameters(share: float) -> str:
    """A size as a fraction of the diameter: two decimals, three where it is not a whole hundredth."""
    two = f"{share:.2f}"
    return two if abs(share - float(two)) < 5e-5 else f"{share:.3f}"


def paragraph(text: str, first: str = "", rest: str = "", width: int | None = None) -> str:
    """A paragraph of at most ``width`` columns.

    Parameters
    ----------
    text, first, rest : str
        The text, and the indents of its first and its other lines.
    width : int, optional
        By default :func:`text_width`.
    """
    return textwrap.fill(
        text, width or text_width(), initial_indent=first, subsequent_indent=rest, break_long_words=False,
        break_on_hyphens=False,
    )  # fmt: skip


def columns(rows: Sequence[Sequence[str]], sides: str, gap: int = 2) -> list[str]:
    """Rows in columns as wide as they must be.

    Where they are wider than there is room for, the columns that have none stand below, the first column again beside
    them; a first column of words is broken where even one column has no room beside it.

    Parameters
    ----------
    rows : sequence of sequences of str
    sides : str
        A letter a column: ``"<"`` for left, ``">"`` for right.
    gap : int
        Blanks between two columns.
    """
    widths = [max(map(len, column)) for column in zip(*rows, strict=True)]
    room = text_width()
    lines: list[str] = []
    for number, block in enumerate(_blocks(widths, gap, room)):
        part = [[row[column] for column in block] for row in rows]
        part = _broken(part, room - sum(widths[column] + gap for column in block[1:]))
        lines += [""] * (number > 0) + _laid_out(part, "".join(sides[column] for column in block), gap)
    return lines


def _blocks(widths: Sequence[int], gap: int, room: int) -> list[list[int]]:
    """Which columns stand beside each other: the first in every block, and as many of the others as have room."""
    blocks, taken = [[0]], widths[0]
    for column, width in enumerate(widths[1:], start=1):
        if taken + gap + width > room and len(blocks[-1]) > 1:
            blocks.append([0])
            taken = widths[0]
        blocks[-1].append(column)
        taken += gap + width
    return blocks


def _broken(rows: list[list[str]], room: int) -> list[list[str]]:
    """Rows whose first cell is broken into lines where it is wider than its room, the others beside the last of them."""
    broken = []
    for first, *others in rows:
        *above, last = textwrap.wrap(first, max(room, 10), break_long_words=False) or [""]
        broken += [[line, *("" for _ in others)] for line in above]
        broken.append([last if above else first, *others])
    return broken


def _laid_out(rows: list[list[str]], sides: str, gap: int) -> list[str]:
    widths = [max(map(len, column)) for column in zip(*rows, strict=True)]
    return [
        (" " * gap).join(f"{cell:{side}{width}}" for cell, side, width in zip(row, sides, widths, strict=True)).rstrip()
        for row in rows
    ]


def banded(values: Iterable[float], bands: Any, written: Callable[[float], str]) -> list[str]:
    """Values, each with its band in brackets behind it, all as wide as the widest.

    Parameters
    ----------
    values : iterable of float
    bands : (n, 2) array_like, (2,) array_like or None
        Lower and upper end; of one value it may be the pair itself; None for no bands.
    written : callable
        How a number is written.
    """
    numbers = [written(value) for value in values]
    if bands is None:
        return numbers
    import numpy as np  # the voice of every command comes from here, and has no use for it

    pairs = np.reshape(bands, (len(numbers), 2))
    brackets = [f"({written(low)} to {written(high)})" for low, high in pairs]
    return [line for (line,) in aligned([(f"{a} {b}",) for a, b in zip(numbers, brackets, strict=True)], (0,))]


def ends_words(ends: Mapping[str, Any], name: str, written: Callable[[float], str]) -> str:
    """A band in brackets to stand behind its number, a blank before it; empty where there is none.

    Parameters
    ----------
    ends : mapping of str to (2,) ndarray
        Bands of a figure's numbers.
    name : str
        Of the number.
    written : callable
        How a number is written.
    """
    return f" ({written(ends[name][0])} to {written(ends[name][1])})" if name in ends else ""


def aligned(rows: Sequence[tuple[str, ...]], which: Sequence[int]) -> list[tuple[str, ...]]:
    """Rows in whose columns ``which`` numbers stand beneath numbers, whatever brackets follow them.

    Parameters
    ----------
    rows : sequence of tuple of str
    which : sequence of int
        Columns; a cell without brackets in a column that has some stands where the numbers do.
    """
    out = [list(row) for row in rows]
    for column in which:
        behind = [row[column].partition("(")[1:] for row in rows]
        room = max(len("".join(parts)) for parts in behind)
        for row, parts in zip(out, behind, strict=True):
            if room:
                number = row[column].partition("(")[0].rstrip()
                row[column] = f"{number} {''.join(parts):>{room}}"
    return [tuple(row) for row in out]


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
