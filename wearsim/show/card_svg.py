"""The drawings of a card as SVG: a stroke over the bottom piece, and the figure if stopped early."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

from wearsim.kernels.arrays import Floats
from wearsim.show.card_parts import CHANNELS
from wearsim.show.strokes import Drawing

if TYPE_CHECKING:
    from wearsim.show.card_content import CardContent

# Between two numbers under the chart, in its own units.
ROOM_OF_A_NUMBER = 24.0
# For the number of a spell over it.
ROOM_OF_A_SPELL = 9.0


def stroke_svg(drawing: Drawing, scale: float) -> str:
    """A stroke over the bottom piece, to scale, as SVG; the top piece at its farthest is shown in full.

    Parameters
    ----------
    drawing : Drawing
    scale : float
        Half width of the picture on the bench [m]; at least the drawing's own.
    """
    size = 100.0 / scale
    left, top = size * drawing.middle[0] - 100.0, -size * drawing.middle[1] - 100.0
    far, bottom = drawing.farthest, size * drawing.bottom
    lines = ""
    if drawing.mirror_on_top:
        for at in np.linspace(-bottom, bottom, CHANNELS)[1:-1]:
            half = float(np.sqrt(bottom**2 - at**2))
            lines += f"M{at:.1f} {-half:.1f}V{half:.1f}M{-half:.1f} {at:.1f}H{half:.1f}"
    hole = drawing.hole > 0.0 and not drawing.mirror_on_top
    weight = 2.5 if drawing.is_thinned else 5.0
    along, across = drawing.drawn
    return (
        f'<svg viewBox="{left:.1f} {top:.1f} 200 200" role="img" aria-label="stroke over the bottom piece">'
        f'<path d="{lines}" stroke="#b8b8b8" fill="none"/>'
        f'<circle r="{bottom:.1f}" fill="none" stroke="#000" stroke-width="3.5"/>'
        + (f'<circle r="{size * drawing.hole:.1f}" fill="none" stroke="#000" stroke-width="2"/>' if hole else "")
        + f'<circle cx="{size * drawing.x[far]:.1f}" cy="{-size * drawing.y[far]:.1f}" r="{size * drawing.top:.1f}" '
        'fill="none" stroke="#000" stroke-width="2.5" stroke-dasharray="9 6"/>'
        '<path d="M-5 0H5M0 -5V5" stroke="#000" stroke-width="1.5"/>'
        f'<polyline points="{_points(size * along, -size * across)}" fill="none" stroke="#000" '
        f'stroke-width="{weight}" stroke-linejoin="round" stroke-linecap="round"/></svg>'
    )


def _points(x: Floats, y: Floats) -> str:
    return " ".join(f"{one:.1f},{two:.1f}" for one, two in zip(x, y, strict=True))


def early_svg(content: CardContent, height: float) -> str:
    """The figure against minutes, if the work is stopped early, as SVG.

    Parameters
    ----------
    content : CardContent
    height : float
        Of the picture, whose width is 300.
    """
    foot = height - 32.0
    minutes, rms = content.early.minutes, content.early.rms / content.high.size
    band = None if content.early.rms_band is None else content.early.rms_band.T / content.high.size
    last = float(minutes[-1])
    top = 1.25 * max(float(rms.max()), 0.0 if band is None else float(band[1].max())) or 1.0

    def place(m: float) -> float:
        return 34.0 + 256.0 * m / last

    def level(value: Any) -> Any:
        return foot - (foot - 10.0) * value / top

    parts, begin, written = "", 0.0, 0.0
    for number, end in enumerate(content.ends, start=1):
        if end > begin:
            parts += f'<path d="M{place(end):.1f} 10V{foot:.1f}" stroke="#000" stroke-dasharray="4 3"/>'
            if place(end) - place(begin) > ROOM_OF_A_SPELL:
                x = place(0.5 * (begin + end))
                parts += f'<text x="{x:.1f}" y="22" text-anchor="middle" font-weight="bold">{number}</text>'
            ends_here = end > 0.97 * last  # written to the left of its end, that it be whole
            if place(end) - written > ROOM_OF_A_NUMBER * (1.6 if ends_here else 1.0):
                anchor = "end" if ends_here else "middle"
                parts += f'<text x="{place(end):.1f}" y="{foot + 14:.1f}" text-anchor="{anchor}">{end:g}</text>'
                written = place(end)
        begin = end
    at = level(0.0) + ROOM_OF_A_NUMBER
    for value in (0.0, float(rms[-1]), float(rms[0])):
        if abs(level(value) - at) > 0.5 * ROOM_OF_A_NUMBER:
            at = level(value)
            said = content.high.number(value * content.high.size)
            parts += f'<text x="30" y="{at + 4:.1f}" text-anchor="end">{said}</text>'
    grey, other = "", "above: the spells"
    if band is not None:
        there_and_back = np.concatenate([minutes, minutes[::-1]])
        around = _points(34.0 + 256.0 * there_and_back / last, level(np.concatenate([band[0], band[1][::-1]])))
        grey, other = f'<polygon points="{around}" fill="#cfcfcf"/>', "grey: nine times in ten"
    return (
        f"<h2>If you stop early: RMS of the surface [{content.high.name}]</h2>"
        f'<svg viewBox="0 0 300 {height:.0f}" font-size="12" role="img" aria-label="figure against minutes">'
        f'{grey}<path d="M34 10V{foot:.1f}H290" fill="none" stroke="#000"/>{parts}'
        f'<polyline points="{_points(34.0 + 256.0 * minutes / last, level(rms))}" fill="none" '
        'stroke="#000" stroke-width="3"/>'
        f'<text x="162" y="{height - 3:.1f}" text-anchor="middle">minutes of work; {other}</text></svg>'
    )
