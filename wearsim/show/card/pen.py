"""The sizes of type on a bench card, and the pen that sets it, in millimetres from the upper left corner of the page."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import lru_cache
from typing import Any

from matplotlib.axes import Axes
from matplotlib.font_manager import FontProperties
from matplotlib.patches import Rectangle
from matplotlib.textpath import text_to_path

from wearsim.show.style import new_figure

# As wide as A4 and as high as Letter: prints on either without being scaled.
WIDTH, HEIGHT = 210.0, 279.4
MM = 25.4
POINT = MM / 72.0
DOTTED: dict[str, Any] = {"weight": 0.5, "linestyle": (0, (1, 2))}  # a line to write on
PLAIN: dict[str, Any] = {"ha": "left", "va": "top", "color": "black", "parse_math": False}
EMPTY: dict[str, Any] = {"facecolor": "none", "edgecolor": "black", "linewidth": 1.0}
# A line is set in so much of its width: where type is fitted to the dots of a screen it grows by up to a hundredth.
SAFE = 0.99


@dataclass(frozen=True)
class Type:
    """One step of type.

    Parameters
    ----------
    size : float
        Of what is read at the barrel [pt].
    lead : float
        Line spacing [1].
    drawing : float
        Side of a stroke's drawing [mm].
    rule : float
        Between two lines to write on [mm].
    rows, notes : float
        Of the readings; of what to look for and to do first [pt].
    chart : float
        Height of the chart with its title [mm].
    """

    size: float
    lead: float
    drawing: float
    rule: float
    rows: float
    notes: float
    chart: float


TYPES = (
    Type(14.0, 1.22, 38.0, 7.5, 13.0, 12.0, 46.0),
    Type(13.0, 1.20, 37.0, 7.5, 12.5, 11.5, 42.0),
    Type(12.0, 1.18, 35.0, 7.0, 12.0, 11.0, 38.0),
    Type(11.2, 1.16, 31.0, 6.6, 11.5, 10.5, 33.0),
    Type(10.5, 1.14, 28.0, 6.2, 10.5, 10.2, 31.5),
    Type(10.0, 1.12, 26.5, 5.8, 10.0, 10.0, 29.0),
    Type(9.5, 1.10, 25.0, 5.4, 9.5, 9.5, 27.0),
)


@lru_cache(maxsize=4096)
def printed_width(text: str, size: float, bold: bool = False) -> float:
    """Width of a line of text [mm] at a size [points]."""
    font = FontProperties(size=size, weight="bold" if bold else "normal")
    return POINT * float(text_to_path.get_text_width_height_descent(text, font, ismath=False)[0])


def wrapped(text: str, width: float, size: float, bold: bool = False) -> list[str]:
    """Lines no wider than ``width`` [mm]; a single word that is wider stands alone."""
    lines: list[str] = []
    for word in text.split(" "):
        longer = f"{lines[-1]} {word}" if lines else word
        if lines and printed_width(longer, size, bold) <= SAFE * width:
            lines[-1] = longer
        else:
            lines.append(word)
    return lines


class Pen:
    """Draws on one page; every place is in millimetres, right and down.

    Parameters
    ----------
    face : Type
        In which it writes.
    dry : bool
        A dry pen leaves the page empty: whatever is laid out with it returns where it would end, and so is measured.

    Attributes
    ----------
    figure : matplotlib.figure.Figure
        The page.
    text : list of str
        What stands on it, a paragraph each, for whoever cannot see the drawing.
    """

    def __init__(self, face: Type, *, dry: bool = False) -> None:
        self.text: list[str] = []
        self.face, self.dry = face, dry
        if not dry:
            self.figure = new_figure(WIDTH / MM, HEIGHT / MM)
            self.figure.set_layout_engine("none")
            self.axes = self._axes(0.0, 0.0, WIDTH, HEIGHT)
            self.axes.set(xlim=(0.0, WIDTH), ylim=(HEIGHT, 0.0))
            self.axes.set_axis_off()

    def write(self, x: float, y: float, text: str, size: float, *, bold: bool = False, **style: Any) -> None:
        """A line of text whose upper left corner is at (x, y)."""
        if not self.dry:
            self.axes.text(x, y, text, fontsize=size, weight="bold" if bold else "normal", **PLAIN | style)

    def fill(
        self, x: float, y: float, width: float, size: float, *texts: str, bold: bool = False, lead: float | None = None
    ) -> float:
        """Paragraphs of at most ``width``, none for an empty text; returns where the next line would begin [mm]."""
        for text in filter(None, texts):
            self.text.append(text)
            for line in wrapped(text, width, size, bold):
                self.write(x, y, line, size, bold=bold)
                y += (lead or self.face.lead) * size * POINT
        return y

    def line(self, x1: float, y1: float, x2: float, y2: float, *, weight: float = 0.8, **style: Any) -> None:
        """A straight line; weight in points."""
        if not self.dry:
            self.axes.plot([x1, x2], [y1, y2], color="black", linewidth=weight, **style)

    def ruled(self, x: float, y: float, width: float, bottom: float, rule: float) -> None:
        """Lines to write on, as many as there is room for."""
        for number in range(1, int((bottom - y) / rule + 1e-9) + 1):
            self.line(x, y + rule * number, x + width, y + rule * number, **DOTTED)

    def box(self, x: float, y: float, width: float, height: float, **style: Any) -> None:
        """A rectangle, beneath whatever is written there."""
        if not self.dry:
            self.axes.add_patch(Rectangle((x, y), width, height, **EMPTY | style))

    def picture(self, x: float, y: float, width: float, height: float, draw: Callable[[Axes], None]) -> None:
        """Axes of their own for a drawing or a chart."""
        if not self.dry:
            draw(self._axes(x, y, width, height))

    def _axes(self, x: float, y: float, width: float, height: float) -> Axes:
        return self.figure.add_axes((x / WIDTH, 1.0 - (y + height) / HEIGHT, width / WIDTH, height / HEIGHT))
