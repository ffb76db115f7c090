"""The drawings on a card: a stroke over the bottom piece, and the figure if stopped early."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from wearsim.show.card_pen import Pen

if TYPE_CHECKING:
    from wearsim.show.card_content import CardContent
    from wearsim.show.strokes import Drawing

# The number of a spell over the chart needs so much for each digit [mm].
ROOM_OF_A_SPELL = 3.0
CHANNELS = 9
"""Lines across a drawn lap: they tell it from the glass, they are not its own channels."""


def draw_stroke(pen: Pen, drawing: Drawing, corner: tuple[float, float], side: float, scale: float) -> None:
    """A stroke over the bottom piece, to scale, in a square; the top piece at its farthest is shown in full.

    Parameters
    ----------
    pen : Pen
    drawing : Drawing
    corner : tuple of float
        Upper left corner of the square [mm].
    side : float
        [mm]
    scale : float
        Half width of the square on the bench [m]; at least the drawing's own.
    """
    size = 0.5 * side / scale  # mm of paper a metre of the bench
    middle = drawing.middle
    x, y = corner[0] + 0.5 * side - size * middle[0], corner[1] + 0.5 * side + size * middle[1]
    bottom = pen.disc(x, y, size * drawing.bottom, facecolor="white", linewidth=1.6)
    if drawing.mirror_on_top:
        half = size * drawing.bottom
        for step in np.linspace(-half, half, CHANNELS):
            for ends in (([x + step] * 2, [y - half, y + half]), ([x - half, x + half], [y + step] * 2)):
                (line,) = pen.axes.plot(*ends, color="0.72", linewidth=0.7)
                line.set_clip_path(bottom)
    elif drawing.hole > 0.0:
        pen.disc(x, y, size * drawing.hole, linewidth=1.0)
    far = drawing.farthest
    at = (x + size * float(drawing.x[far]), y - size * float(drawing.y[far]))
    pen.disc(*at, size * drawing.top, linewidth=1.3, linestyle=(0, (4, 2.5)))
    pen.line(x - 1.0, y, x + 1.0, y, 0.8)
    pen.line(x, y - 1.0, x, y + 1.0, 0.8)
    along, across = drawing.drawn
    pen.axes.plot(
        x + size * along, y - size * across, color="black", linewidth=1.2 if drawing.is_thinned else 2.2,
        solid_joinstyle="round", solid_capstyle="round",
    )  # fmt: skip


def draw_early(pen: Pen, content: CardContent, corner: tuple[float, float], size: tuple[float, float]) -> None:
    """How the figure stands if the work is stopped early.

    Parameters
    ----------
    pen : Pen
    content : CardContent
    corner, size : tuple of float
        Upper left corner, width and height [mm].
    """
    (x, y), (width, height) = corner, size
    pen.write(x, y, f"If you stop early: RMS of the surface [{content.high.name}]", 10.5, weight="bold")
    axes = pen.panel(x + 9.0, y + 6.0, width - 11.0, height - 16.0)
    early = content.early
    rms = early.rms / content.high.size
    most = float(rms.max())
    if early.rms_band is not None:
        low, top = early.rms_band.T / content.high.size
        axes.fill_between(early.minutes, low, top, color="0.82", linewidth=0.0)
        most = max(most, float(top.max()))
    axes.plot(early.minutes, rms, color="black", linewidth=2.2)
    axes.set_xlim(0.0, float(early.minutes[-1]))
    axes.set_ylim(0.0, 1.22 * most or 1.0)
    axes.tick_params(labelsize=10)
    other = "numbers: the spells" if early.rms_band is None else "grey: nine times in ten"
    axes.set_xlabel(f"minutes of work; {other}", fontsize=10, color="black")
    begin = 0.0
    for number, end in enumerate(content.ends, start=1):
        if end > begin:
            axes.axvline(end, color="black", linewidth=0.8, linestyle=(0, (4, 3)))
            if (end - begin) / early.minutes[-1] * (width - 11.0) > ROOM_OF_A_SPELL * len(str(number)):
                axes.text(
                    0.5 * (begin + end), 1.19 * most, str(number), ha="center", va="top", fontsize=11,
                    weight="bold",
                )  # fmt: skip
        begin = end
