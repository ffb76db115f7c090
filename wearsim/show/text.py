"""Plain text for a terminal of 40 to 80 columns, in letters that every terminal has: paragraphs and tables."""

from __future__ import annotations

import re
import shutil
import textwrap
from collections.abc import Callable, Collection, Iterable, Mapping, Sequence
from typing import Any, Literal, NamedTuple

WIDTH = 80
NARROWEST = 40
GAP = 2
NARROW_WORDS = 16
"""Columns to which a column of words is narrowed before others are moved below."""
SHORT = 200
"""A warning of so many letters is read at one go."""
Cell = str | tuple[str, str]


def text_width() -> int:
    """Columns to write in: those of the terminal or of ``COLUMNS``, from 40 to 80."""
    return max(NARROWEST, min(WIDTH, shutil.get_terminal_size((WIDTH, 24)).columns))


def in_diameters(share: float) -> str:
    """A size as a fraction of the diameter: two decimals, three where it is not a whole hundredth."""
    two = f"{share:.2f}"
    return two if abs(share - float(two)) < 5e-5 else f"{share:.3f}"


def upper(text: str) -> str:
    """A text with a capital letter first, as a sentence begins."""
    return text[:1].upper() + text[1:]


def sentence(text: str) -> str:
    """A text as a sentence, with its stop where it has none."""
    return upper(text) + "." * (not text.endswith((".", "?", "!")))


def by_window(text: str) -> str:
    """What is said of a place in a sheet of readings, without the file: its row, and its zone as the mask's window."""
    return re.sub(r"\bzone (?=\d)", "window ", re.sub(r"^.*?\b(readings, (?=row)|windows, (?=zone))", "", text))


def in_short(warning: str) -> tuple[str, str]:
    """What a long warning says first, what is wrong and what helps; and the rest, empty where there is none."""
    if len(warning) <= SHORT:
        return sentence(warning), ""
    first, rest = warning.partition(". ")[::2]
    parts = first.split("; ")
    more = (sentence(one) for one in ("; ".join(parts[2:]), rest) if one)
    return sentence("; ".join(parts[:2])), " ".join(more)


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
        text,
        width or text_width(),
        initial_indent=first,
        subsequent_indent=rest,
        break_long_words=False,
        break_on_hyphens=False,
    )


def warnings_text(warnings: Iterable[str], head: str = "Warning: ", rest: str = " " * 9) -> str:
    """Warnings, a paragraph each; empty where there are none."""
    return "\n".join(paragraph(line, head, rest) for line in warnings)


def table(
    heads: Sequence[str], rows: Iterable[Sequence[Cell]], words: Collection[int] = (0,), band: str = "band"
) -> str:
    """Rows under their heads; a column without anything in it is left out.

    Columns without room are put below the others, with the first column repeated; a number and its band stay together.

    Parameters
    ----------
    heads : sequence of str
        They and the cells may have several lines.
    rows : iterable of sequence of str or (str, str)
        A pair is a number and its band, in a column each.
    words : collection of int
        Cells of words, which stand to the left and are broken where there is little room; numbers stand to the right.
    band : str
        Head of the columns of bands.
    """
    groups = [
        _columns(head, cells, place in words, band)
        for place, (head, *cells) in enumerate(zip(heads, *rows, strict=True))
        if not cells or any(cell if isinstance(cell, str) else any(cell) for cell in cells)
    ]
    return "\n\n".join(_printed([column for group in block for column in group]) for block in _blocks(groups))


class _Column(NamedTuple):
    head: str
    cells: Sequence[str]
    is_words: bool = False

    @property
    def width(self) -> int:
        """Columns of the terminal that it takes at least, with the gap before it."""
        width = max(len(line) for cell in (self.head, *self.cells) for line in cell.split("\n"))
        return GAP + (min(width, NARROW_WORDS) if self.is_words else width)


def _columns(head: str, cells: Sequence[Cell], is_words: bool, band: str) -> list[_Column]:
    """One column, or two where the cells are numbers with their bands: then the head stands over both."""
    numbers = [cell if isinstance(cell, str) else cell[0] for cell in cells]
    bands = ["" if isinstance(cell, str) else cell[1] for cell in cells]
    if not any(bands):
        return [_Column(head, numbers, is_words)]
    name, _, unit = head.rpartition("\n")
    heads = (f"\n{unit}", f"{name}\n{band}") if name else (head, band)
    return [_Column(heads[0], numbers), _Column(heads[1], bands)]


def _blocks(groups: Sequence[list[_Column]]) -> list[list[list[_Column]]]:
    """Which groups of columns are beside each other: the first in every block, and as many of the others as have room."""
    widths = [sum(column.width for column in group) for group in groups]
    blocks, taken = [[groups[0]]], widths[0]
    for group, width in zip(groups[1:], widths[1:], strict=True):
        if len(blocks[-1]) > 1 and taken + width > text_width() + GAP:
            blocks.append([groups[0]])
            taken = widths[0]
        blocks[-1].append(group)
        taken += width
    return blocks


def _printed(columns: Sequence[_Column]) -> str:
    from rich.console import Console  # no command needs them before it has an answer
    from rich.table import Table

    laid = Table(box=None, pad_edge=False, padding=(0, GAP, 0, 0), show_header=any(column.head for column in columns))
    for column in columns:
        side: Literal["left", "right"] = "left" if column.is_words else "right"
        laid.add_column(column.head, justify=side, no_wrap=not column.is_words, overflow="fold")
    for cells in zip(*(column.cells for column in columns), strict=True):
        laid.add_row(*cells)
    page = Console(
        width=text_width(),
        color_system=None,
        force_terminal=False,
        force_jupyter=False,
        legacy_windows=False,
        markup=False,
        emoji=False,
        highlight=False,
    )
    with page.capture() as printed:
        page.print(laid)
    return "\n".join(line.rstrip() for line in printed.get().splitlines())


def banded(values: Iterable[float], bands: Any, written: Callable[[float], str]) -> list[tuple[str, str]]:
    """Values and their bands (n, 2) in writing, a pair for each cell of a table; no bands, and the second is empty."""
    numbers = [written(value) for value in values]
    if bands is None:
        return [(number, "") for number in numbers]
    return [(number, band_words(ends, written)) for number, ends in zip(numbers, bands, strict=True)]


def bands_beneath(name: str, cells: Sequence[tuple[str, str]], band: str = "") -> list[tuple[str, ...]]:
    """A row of numbers, and beneath it one of their bands, where there are any, with a name of its own."""
    numbers, bands = zip(*cells, strict=True)
    return [(name, *numbers), *([(band, *bands)] if any(bands) else [])]


def band_words(ends: Sequence[float], written: Callable[[float], str]) -> str:
    """A band in writing: ``49 to 57``."""
    low, high = ends
    return f"{written(low)} to {written(high)}"


OUTSIDE_BAND = "Uncertainty usually adds error, so a number can be outside its band"


def is_outside(value: float, ends: Iterable[float]) -> bool:
    """Whether a number is outside its band."""
    low, high = ends
    return not low <= value <= high


def ends_words(ends: Mapping[str, Any], name: str, written: Callable[[float], str]) -> str:
    """Of bands by name one in brackets to stand behind its number, a blank before it; empty where there is none."""
    return f" ({band_words(ends[name], written)})" if name in ends else ""


def low_high_bar(value: float, before: float, scale: float, half: int = 7) -> str:
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


def duration(seconds: float) -> str:
    """A time as a person would say it."""
    if seconds < 90.0:
        return f"{seconds:.0f} s"
    return f"{seconds / 60.0:.0f} min" if seconds < 5400.0 else f"{seconds / 3600.0:.1f} h"
