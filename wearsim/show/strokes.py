"""Spells in words and drawn to scale: the bottom piece seen from above, and the way of the top piece's centre over it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

import numpy as np

from wearsim.bench.bench import Bench
from wearsim.bench.lap import Lap
from wearsim.bench.programme import STROKES, Spell, Stroke, spell_sizes
from wearsim.bench.units import LengthUnit, length_unit, stroke_unit
from wearsim.kernels.arrays import Floats
from wearsim.show.style import BLUE, INK, QUIET, RED, without_frame
from wearsim.wear.strokes import path_of

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import SubFigure
    from matplotlib.patches import Patch


def spell_title(spell: Spell) -> str:
    """Piece on top, lap and stroke in a few words."""
    lap = f" ({spell.lap})" if spell.lap else ""
    return f"{spell.on_top} on top{lap}, {STROKES[spell.stroke].words}"


def spell_words(spell: Spell, diameter: float, unit: LengthUnit) -> str:
    """Title and sizes on one line; arguments as for :func:`spell_sizes`."""
    sizes = spell_sizes(spell, diameter, unit)
    return f"{spell_title(spell)}, {sizes}" if sizes else spell_title(spell)


A_ROW = 4
ROW_HEIGHT = 2.9
"""Height of a row of panels [in]."""
POINTS_A_STROKE = 48
# Strokes of a W that are drawn, from one side to the other: all of them there and back are a solid block.
DRAWN_OF_A_W = 3.0
CAPTION = "From above, stroke left to right. Grey: bottom piece; dashed: top piece; line: path of its centre"


def title_of(bench: Bench) -> str:
    """A mirror in words."""
    mirror = bench.mirror
    ratio = mirror.radius_of_curvature / (2.0 * mirror.diameter)
    return f"{length_unit(bench).short(mirror.diameter)} mirror, f/{ratio:.2g}"


def share_words(bench: Bench, share: float) -> str:
    """A size given as a share of the mirror's diameter [1], in the person's unit and as it is."""
    return f"{stroke_unit(bench).short(share * bench.mirror.diameter)}, {share:.2f} of the diameter"


def stroke_path(stroke: Stroke) -> tuple[Floats, Floats]:
    """Centre of the top piece over one round of the stroke, along it (n,) and across it (n,) [m] (physics section 5)."""
    return _points(stroke, 2.0 * stroke.strokes_per_sweep if stroke.is_swept else 1.0)


def drawn_path(stroke: Stroke) -> tuple[Floats, Floats]:
    """What is drawn of :func:`stroke_path`: of a W once from side to side, in a few of its strokes."""
    if not stroke.is_swept:
        return stroke_path(stroke)
    strokes = min(DRAWN_OF_A_W, stroke.strokes_per_sweep)
    return _points(replace(stroke, strokes_per_sweep=strokes), strokes, sweep_phase=-0.25)


def _points(stroke: Stroke, strokes: float, sweep_phase: float = 0.0) -> tuple[Floats, Floats]:
    moments = np.linspace(0.0, strokes, round(POINTS_A_STROKE * strokes) + 1)
    x, y, _, _ = path_of(stroke, moments[None, :], sweep_phase=sweep_phase)
    return x[0], y[0]


@dataclass(frozen=True)
class Drawing:
    """One spell as it is drawn, seen from above.

    Parameters
    ----------
    bottom, top : float
        Radii of the two pieces [m].
    hole : float
        Of the mirror [m].
    mirror_on_top : bool
    x, y : (n,) ndarray
        The way of the top piece's centre, along the stroke and across it [m].
    drawn : (ndarray, ndarray)
        What is drawn of it, the same way [m].
    is_thinned : bool
        Whether that is less than all of it.
    lines : tuple of str
        What is written over it.
    facets : tuple of (n, 2) ndarray
        Outlines of the lap's facets, to scale, where the lap is the bottom piece; they may reach beyond its rim [m].
    """

    bottom: float
    top: float
    hole: float
    mirror_on_top: bool
    x: Floats
    y: Floats
    drawn: tuple[Floats, Floats]
    is_thinned: bool
    lines: tuple[str, ...]
    facets: tuple[Floats, ...] = ()

    @property
    def farthest(self) -> int:
        """Where on its way the top piece's centre is farthest out."""
        return int(np.argmax(np.hypot(self.x, self.y)))

    @property
    def box(self) -> tuple[float, float, float, float]:
        """Left, right, lower and upper end of all that is drawn, the top piece at its farthest in full [m]."""
        x, y = float(self.x[self.farthest]), float(self.y[self.farthest])
        low_x, low_y = (min(-self.bottom, at - self.top, float(path.min())) for at, path in ((x, self.x), (y, self.y)))
        top_x, top_y = (max(self.bottom, at + self.top, float(path.max())) for at, path in ((x, self.x), (y, self.y)))
        return low_x, top_x, low_y, top_y

    @property
    def middle(self) -> tuple[float, float]:
        """Where the middle of the picture lies, from the centre of the bottom piece [m]."""
        left, right, low, top = self.box
        return 0.5 * (left + right), 0.5 * (low + top)

    @property
    def half(self) -> float:
        """Half the width of a square about the middle that holds the drawing [m]."""
        left, right, low, top = self.box
        return 0.5 * max(right - left, top - low)


def drawing_of(bench: Bench, spell: Spell, number: int, unit: LengthUnit) -> Drawing:
    """What to draw of a spell, by its number in the programme."""
    mirror, lap = bench.mirror.radius, bench.lap(spell.lap).radius
    bottom, top = (mirror, lap) if spell.on_top == "tool" else (lap, mirror)
    (x, y), drawn = (np.zeros(1), np.zeros(1)), (np.zeros(1), np.zeros(1))
    if not spell.is_press:
        stroke = spell.stroke_on(bench.mirror.diameter)
        (x, y), drawn = stroke_path(stroke), drawn_path(stroke)
    sizes = spell_sizes(spell, bench.mirror.diameter, unit)
    lines = (f"{number}:  {spell.minutes:g} min", spell_title(spell), *(sizes.split(", ") if sizes else ()))
    on_top = spell.on_top == "mirror"
    thinned = len(drawn[0]) < len(x)
    facets = facet_outlines(bench.lap(spell.lap)) if on_top else ()
    return Drawing(bottom, top, bench.mirror.hole_radius, on_top, x, y, drawn, thinned, lines, facets)


def facet_outlines(lap: Lap) -> tuple[Floats, ...]:
    """Outlines of a lap's facets as they are cut, (n, 2) each [m]; none where it has no channels."""
    period, corners = lap.facet + lap.channel, {"square": 4, "hexagonal": 6}.get(lap.facet_shape, 0)
    if not corners or lap.facet <= 0.0:
        return ()
    angle = 2.0 * np.pi * (np.arange(corners) + 0.5) / corners
    corner = 0.5 * lap.facet / np.cos(np.pi / corners) * np.stack([np.cos(angle), np.sin(angle)], axis=1)
    reach = int(np.ceil(1.5 * lap.radius / period)) + 1
    i, j = (one.ravel() for one in np.meshgrid(np.arange(-reach, reach + 1), np.arange(-reach, reach + 1)))
    if corners == 4:
        middles = period * np.stack([i, j], axis=1) + np.array(lap.channel_offset)
    else:
        middles = period * np.stack([i + 0.5 * j, np.sqrt(0.75) * j], axis=1) + np.array(lap.channel_offset)
    kept = middles[np.hypot(*middles.T) < lap.radius + lap.facet]
    return tuple(middle + corner for middle in kept)


def caption_of(drawings: Sequence[Drawing]) -> str:
    """What to say under drawings."""
    return CAPTION + ("; of a W a few of its crossings" if any(one.is_thinned for one in drawings) else "")


def draw_programme(
    figure: SubFigure, bench: Bench, spells: Sequence[Spell], unit: LengthUnit, most: int | None = None
) -> None:
    """A programme's strokes, a panel each of at most so many, and what to say under them; the others are counted."""
    drawings = [drawing_of(bench, spell, number, unit) for number, spell in enumerate(spells[:most], start=1)]
    across = min(max(len(drawings), 3), A_ROW)
    draw_spells(list(figure.subplots(rows_for(len(drawings)), across, squeeze=False).flat), drawings)
    more = len(spells) - len(drawings)
    figure.supxlabel(caption_of(drawings) + (f"; {more} more spells" if more > 0 else ""), fontsize=9)


def rows_for(panels: int) -> int:
    """Rows that so many panels take."""
    return -(-panels // A_ROW)


def draw_spells(panels: Sequence[Axes], drawings: Sequence[Drawing]) -> None:
    """Draw spells to one common scale, a panel each; panels that are left over stay empty."""
    reach = 1.03 * max(abs(end) for drawing in drawings for end in drawing.box)
    most = max(len(drawing.lines) for drawing in drawings)
    for axes in panels:
        without_frame(axes)
        axes.set_xlim(-reach, reach)
        axes.set_ylim(-reach, reach)
    for axes, drawing in zip(panels, drawings, strict=False):
        draw_stroke(axes, drawing, SCREEN)
        blank = [" "] * (most - len(drawing.lines))
        axes.set_title("\n".join([*drawing.lines, *blank]), fontsize=9)


# How a stroke is drawn: circles of the bottom piece, of the top piece at its farthest and of the hole of a mirror that is
# the bottom; the way of the top piece's centre, and that where only part of it is drawn; the cross at the centre; the
# facets of a lap that is the bottom, its channels left white.
SCREEN: dict[str, dict[str, Any]] = {
    "bottom": {"facecolor": "#ececec", "edgecolor": INK, "linewidth": 1.3},
    "top": {"edgecolor": RED, "linewidth": 1.2, "linestyle": (0, (4, 2))},
    "hole": {"facecolor": "white", "edgecolor": INK, "linewidth": 1.0},
    "way": {"color": BLUE, "linewidth": 1.0},
    "part": {"color": BLUE, "linewidth": 1.0},
    "centre": {"color": QUIET, "markersize": 7},
}
PAPER: dict[str, dict[str, Any]] = {
    "bottom": {"facecolor": "white", "edgecolor": "black", "linewidth": 1.6},
    "top": {"edgecolor": "black", "linewidth": 1.3, "linestyle": (0, (4, 2.5))},
    "hole": {"facecolor": "white", "edgecolor": "black", "linewidth": 1.0},
    "way": {"color": "black", "linewidth": 2.2, "solid_capstyle": "round"},
    "part": {"color": "black", "linewidth": 1.2, "solid_capstyle": "round"},
    "centre": {"color": "black", "markersize": 6, "markeredgewidth": 0.8},
    "facets": {"facecolor": "0.88", "edgecolor": "0.6", "linewidth": 0.4, "zorder": 1.5},
}
"""Black on white, in lines thick enough for a printed card."""


def draw_stroke(axes: Axes, drawing: Drawing, style: Mapping[str, dict[str, Any]]) -> None:
    """A stroke over the bottom piece, to scale in metres; the top piece at its farthest is shown in full.

    Parameters
    ----------
    axes : Axes
        Whose limits hold :attr:`Drawing.box`.
    style : mapping
        ``SCREEN`` or ``PAPER``.
    """
    from matplotlib.patches import Polygon

    far = drawing.farthest
    at = float(drawing.x[far]), float(drawing.y[far])
    bottom = _disc(axes, (0.0, 0.0), drawing.bottom, style["bottom"])
    _disc(axes, at, drawing.top, style["top"])
    for outline in drawing.facets if "facets" in style else ():
        axes.add_patch(Polygon(outline, **style["facets"])).set_clip_path(bottom)
    if drawing.hole > 0.0 and drawing.mirror_on_top:
        _disc(axes, at, drawing.hole, style["top"])
    elif drawing.hole > 0.0:
        _disc(axes, (0.0, 0.0), drawing.hole, style["hole"])
    axes.plot(*drawing.drawn, solid_joinstyle="round", **style["part" if drawing.is_thinned else "way"])
    axes.plot([0.0], [0.0], "+", **style["centre"])


def _disc(axes: Axes, centre: tuple[float, float], radius: float, style: dict[str, Any]) -> Patch:
    from matplotlib.patches import Circle

    return axes.add_patch(Circle(centre, radius, **{"facecolor": "none", **style}))
