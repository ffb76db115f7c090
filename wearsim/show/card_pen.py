"""A pen that writes on a page in millimetres from its upper left corner."""

from __future__ import annotations

from functools import lru_cache
from typing import TYPE_CHECKING, Any

from wearsim.show.style import new_figure

if TYPE_CHECKING:
    from matplotlib.figure import Figure

# As wide as A4 and as high as Letter: prints on either without being scaled.
WIDTH, HEIGHT = 210.0, 279.4
MARGIN = 10.0
MM = 25.4
POINT = MM / 72.0
BLACK = "black"
# A line is set in so much of its width: where type is fitted to the dots of a screen it grows by up to a hundredth.
SAFE = 0.99


@lru_cache(maxsize=4096)
def text_width(text: str, size: float, bold: bool = False) -> float:
    """Width of a line of text [mm] at a size [points]."""
    from matplotlib.font_manager import FontProperties
    from matplotlib.textpath import text_to_path

    font = FontProperties(size=size, weight="bold" if bold else "normal")
    width, _, _ = text_to_path.get_text_width_height_descent(text, font, ismath=False)
    return float(width) * POINT


def wrapped(text: str, width: float, size: float, bold: bool = False) -> list[str]:
    """Lines no wider than ``width`` [mm]; a single word that is wider stands alone."""
    lines: list[str] = []
    for word in text.split(" "):
        longer = f"{lines[-1]} {word}" if lines else word
        if lines and text_width(longer, size, bold) <= SAFE * width:
            lines[-1] = longer
        else:
            lines.append(word)
    return lines


class Pen:
    """Draws on one page; every place is in millimetres, right and down.

    Parameters
    ----------
    width, height : float
        Of the page [mm].
    """

    def __init__(self, width: float = WIDTH, height: float = HEIGHT) -> None:
        self.width, self.height = width, height
        self.figure: Figure = new_figure(width / MM, height / MM)
        self.figure.set_layout_engine("none")
        self.axes = self.figure.add_axes((0.0, 0.0, 1.0, 1.0))
        self.axes.set_xlim(0.0, width)
        self.axes.set_ylim(height, 0.0)
        self.axes.set_axis_off()

    def write(self, x: float, y: float, text: str, size: float = 11.0, **look: Any) -> None:
        """A line of text whose upper left corner is at (x, y)."""
        style: dict[str, Any] = {"ha": "left", "va": "top", "color": BLACK, "parse_math": False, **look}
        self.axes.text(x, y, text, fontsize=size, **style)

    def fill(
        self, x: float, y: float, text: str, width: float, size: float = 11.0, bold: bool = False,
        lead: float = 1.28,
    ) -> float:  # fmt: skip
        """A paragraph of at most ``width``; returns where the next line would begin [mm]."""
        for line in wrapped(text, width, size, bold):
            self.write(x, y, line, size, weight="bold" if bold else "normal")
            y += lead * size * POINT
        return y

    def line(self, x1: float, y1: float, x2: float, y2: float, weight: float = 0.8, **look: Any) -> None:
        """A straight line; weight in points."""
        self.axes.plot([x1, x2], [y1, y2], color=BLACK, linewidth=weight, **look)

    def box(self, x: float, y: float, width: float, height: float, **look: Any) -> Any:
        """A rectangle."""
        from matplotlib.patches import Rectangle

        style: dict[str, Any] = {"facecolor": "none", "edgecolor": BLACK, "linewidth": 1.0, **look}
        return self.axes.add_patch(Rectangle((x, y), width, height, **style))

    def disc(self, x: float, y: float, radius: float, **look: Any) -> Any:
        """A circle."""
        from matplotlib.patches import Circle

        style: dict[str, Any] = {"facecolor": "none", "edgecolor": BLACK, "linewidth": 1.2, **look}
        return self.axes.add_patch(Circle((x, y), radius, **style))

    def panel(self, x: float, y: float, width: float, height: float) -> Any:
        """Axes for a chart."""
        return self.figure.add_axes(
            (x / self.width, 1.0 - (y + height) / self.height, width / self.width, height / self.height)
        )
