"""A zonal mask at its true size on sheets of paper: on one where it fits, else on several with marks to join them by."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from io import BytesIO
from math import ceil
from typing import TYPE_CHECKING

import numpy as np

from wearsim.bench.bench import Bench
from wearsim.bench.units import INCHES, MILLIMETRES, LengthUnit, length_unit
from wearsim.errors import InputError
from wearsim.knifeedge.mask import MaskDesign, MaskLimits, design_mask
from wearsim.knifeedge.readings import Readings
from wearsim.show.mask import HALF_ANGLE, INCH, MARGIN, draw_mask, scale_bar
from wearsim.show.style import INK, QUIET, new_figure, plot_style, without_frame

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

BORDER = 10.0
"""That printers leave white at every side [mm] (common practice, no source)."""
STRIP = 16.0
"""Under the drawing on every sheet, for its bar and its name [mm]."""
OVERLAP = 12.0
"""That neighbouring sheets show alike, for tape or glue [mm]."""
MOST_SHEETS = 100
"""Of one mask, enough for a mirror of 1.9 m. A judgement."""
ALIKE = 0.3e-3
"""Windows are the same within this [m]."""
USUAL_WINDOWS = 5
CROSSES = (0.2, 0.8)
"""Where crosses lie along a joint, as shares of the sheet."""


CLEAR_OF_WINDOWS = 0.5 * np.sin(HALF_ANGLE) + 0.03
"""How far from the middle a joint misses the windows, as a share of the drawing."""


@dataclass(frozen=True)
class Paper:
    """A size of paper.

    Parameters
    ----------
    name : str
    width, height : float
        Upright [mm].
    """

    name: str
    width: float
    height: float

    def laid(self, wide: bool) -> Paper:
        """The same, upright or lying on its side."""
        return Paper(self.name, self.height, self.width) if wide else self

    @property
    def room(self) -> tuple[float, float]:
        """For a drawing, across and up [mm]."""
        return self.width - 2.0 * BORDER, self.height - 2.0 * BORDER - STRIP


PAPERS = {"a4": Paper("A4", 210.0, 297.0), "letter": Paper("Letter", 215.9, 279.4)}
"""ISO 216, and 8 1/2 by 11 inches."""


def usual_paper(unit: LengthUnit) -> Paper:
    """Letter where lengths are in inches, A4 elsewhere (judgement)."""
    return PAPERS["letter" if unit.name == INCHES.name else "a4"]


@dataclass(frozen=True)
class Sheet:
    """One sheet: what it shows of the drawing.

    Parameters
    ----------
    paper : Paper
        As it lies.
    row, column, rows, columns : int
        Its place among the sheets, from 0 at the top left.
    left, bottom : float
        Corner of what it shows, from the middle of the mirror [mm].
    """

    paper: Paper
    row: int
    column: int
    rows: int
    columns: int
    left: float
    bottom: float

    @property
    def number(self) -> int:
        """From 1, row by row."""
        return self.row * self.columns + self.column + 1

    @property
    def joints(self) -> Iterator[tuple[float, float, str]]:
        """The crosses on this sheet: where they lie from the middle of the mirror [mm], and their letters.

        Each lies half way across an overlap, so that the neighbour shows the same one.
        """
        (width, height), letters = self.paper.room, "abcdefghijklmnopqrstuvwxyz"
        upright = self.rows * (self.columns - 1)  # joints beside each other come first in the alphabet
        for side in (0, 1):
            if 0 <= self.column - 1 + side < self.columns - 1:
                joint = self.row * (self.columns - 1) + self.column - 1 + side
                x = self.left + (width - OVERLAP / 2.0 if side else OVERLAP / 2.0)
                for place, share in enumerate(CROSSES):
                    yield x, self.bottom + share * height, f"{letters[joint % 26]}{place + 1}"
            if 0 <= self.row - 1 + side < self.rows - 1:
                joint = upright + (self.row - 1 + side) * self.columns + self.column
                y = self.bottom + (OVERLAP / 2.0 if side else height - OVERLAP / 2.0)
                for place, share in enumerate(CROSSES):
                    yield self.left + share * width, y, f"{letters[joint % 26]}{place + 1}"


def sheets_for(design: MaskDesign, paper: Paper) -> list[Sheet]:
    """The fewest sheets that hold a mask at its true size, all lying alike, row by row from the top."""
    size = 2.0 * (design.radius * 1e3 + MARGIN / 2.0)
    return min((_laid_out(size, paper.laid(wide)) for wide in (False, True)), key=len)


def _laid_out(size: float, paper: Paper) -> list[Sheet]:
    (width, height), counts = paper.room, []
    for room in (width, height):
        counts.append(1 if size <= room else ceil((size - OVERLAP) / (room - OVERLAP)))
    columns, rows = counts
    whole = (columns * (width - OVERLAP) + OVERLAP, rows * (height - OVERLAP) + OVERLAP)
    # a joint across the middle would run through the windows, which lie along the horizontal diameter
    lift = min(0.5 * (whole[1] - size), CLEAR_OF_WINDOWS * size) if rows % 2 == 0 else 0.0
    return [
        Sheet(
            paper, row, column, rows, columns, -whole[0] / 2.0 + column * (width - OVERLAP),
            lift + whole[1] / 2.0 - (row + 1) * (height - OVERLAP) - OVERLAP,
        )
        for row in range(rows) for column in range(columns)
    ]  # fmt: skip


def sheets_text(sheets: list[Sheet]) -> str:
    """On how much paper a mask prints, in a sentence or two."""
    paper = sheets[0].paper.name
    if len(sheets) == 1:
        return f"The PDF is one sheet of {paper}. Print it at 100% and measure the bar."
    rows, columns = sheets[0].rows, sheets[0].columns
    return (
        f"The PDF is {len(sheets)} sheets of {paper}, {columns} across and {rows} down. Print them at 100%, measure the "
        "bar on each, and lay crosses with the same label on top of each other: a1 on a1, a2 on a2."
    )


def sheet_figure(design: MaskDesign, sheet: Sheet, unit: LengthUnit = MILLIMETRES) -> Figure:
    """One sheet of paper, with its part of the mask at 1:1."""
    paper, (width, height) = sheet.paper, sheet.paper.room
    with plot_style():
        figure = new_figure(paper.width / INCH, paper.height / INCH)
        figure.set_layout_engine("none")  # to scale: nothing may move
        frame = (
            BORDER / paper.width, (BORDER + STRIP) / paper.height, width / paper.width, height / paper.height,
        )  # fmt: skip
        axes = figure.add_axes(frame)
        axes.set_xlim(sheet.left, sheet.left + width)
        axes.set_ylim(sheet.bottom, sheet.bottom + height)
        without_frame(axes)
        draw_mask(axes, design)
        for x, y, letter in sheet.joints:
            _cross(axes, x, y, letter)
        strip = figure.add_axes((frame[0], BORDER / paper.height, frame[2], STRIP / paper.height))
        strip.set_xlim(0.0, width)
        strip.set_ylim(0.0, STRIP)
        without_frame(strip)
        _name(strip, design, sheet, unit)
    return figure


def _cross(axes: Axes, x: float, y: float, letter: str) -> None:
    """A mark that lies on its twin when two sheets are joined."""
    from matplotlib.patches import Circle

    axes.plot([x - 4.0, x + 4.0], [y, y], color=INK, lw=0.5)
    axes.plot([x, x], [y - 4.0, y + 4.0], color=INK, lw=0.5)
    axes.add_patch(Circle((x, y), 2.0, fill=False, ec=INK, lw=0.5))
    axes.text(x + 1.6, y + 1.6, letter, fontsize=7, color=QUIET, clip_on=True)


def _name(axes: Axes, design: MaskDesign, sheet: Sheet, unit: LengthUnit) -> None:
    words = (
        f"{len(design.zones)} windows of equal area, glass {unit.short(2 * design.radius)}; cut out the tinted parts"
    )
    if sheet.rows * sheet.columns > 1:
        place = f"row {sheet.row + 1}, column {sheet.column + 1}"
        words = f"Sheet {sheet.number} of {sheet.rows * sheet.columns}: {place}. {words}"
    scale_bar(axes, 0.5 * sheet.paper.room[0], STRIP - 4.0, 100.0 if unit.size < 0.01 else 4.0 * INCH, unit)
    axes.text(0.5 * sheet.paper.room[0], 0.5, words, ha="center", va="bottom", fontsize=7)


def mask_bytes(design: MaskDesign, unit: LengthUnit = MILLIMETRES, paper: Paper | None = None) -> bytes:
    """The mask at 1:1 as a PDF, a page for every sheet of paper.

    Raises
    ------
    InputError
        Where it takes more sheets than anyone would join.
    """
    from matplotlib.backends.backend_pdf import PdfPages

    stream, paper = BytesIO(), paper or usual_paper(unit)
    sheets = sheets_for(design, paper)
    if len(sheets) > MOST_SHEETS:
        raise InputError(
            f"this mask takes {len(sheets)} sheets of {paper.name}", expected=f"at most {MOST_SHEETS} sheets"
        )
    with plot_style(), PdfPages(stream, metadata={"CreationDate": None, "Title": "Zonal mask"}) as file:
        for sheet in sheets:
            file.savefig(sheet_figure(design, sheet, unit))
    return stream.getvalue()


def suggested_mask_bytes(bench: Bench, blank: Readings | None) -> bytes:
    """The mask that wearsim suggests for a mirror, as PDF; with as many windows as a sheet of readings has, five without.

    Raises
    ------
    InputError
        Where the sheet's windows are others: that mask is the person's own.
    """
    limits, count = MaskLimits(unit=length_unit(bench)), USUAL_WINDOWS if blank is None else len(blank.zones)
    design = design_mask(count, bench.mirror.geometry, bench.light.wavelength, limits=limits)
    if blank is not None and not np.allclose(design.zones.outer, blank.zones.outer, atol=ALIKE):
        raise InputError("the sheet's windows are not the suggested ones", expected="your own mask, or wearsim mask")
    return mask_bytes(design, limits.unit)
