"""Strokes drawn to scale: the bottom piece seen from above, and the way of the top piece's centre over it."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from wearsim.bench.bench import Bench
from wearsim.bench.programme import Spell, Stroke
from wearsim.show.lengths import Unit
from wearsim.show.spells import spell_sizes, spell_title
from wearsim.show.style import BLUE, INK, QUIET, RED, without_frame
from wearsim.wear.grid import Array

if TYPE_CHECKING:
    from matplotlib.axes import Axes

POINTS_A_STROKE = 48


def stroke_path(stroke: Stroke) -> tuple[Array, Array]:
    """Centre of the top piece over one round of the stroke, along it and across it (physics section 5).

    Parameters
    ----------
    stroke : Stroke

    Returns
    -------
    x, y : (n,) ndarray
        [m]
    """
    strokes = 2.0 * stroke.strokes_per_sweep if stroke.kind == "w" else 1.0
    turns = np.linspace(0.0, strokes, round(POINTS_A_STROKE * strokes) + 1)
    x = 0.5 * stroke.length * np.sin(2.0 * np.pi * turns)
    if stroke.kind == "w":
        side = 2.0 / np.pi * np.arcsin(np.sin(2.0 * np.pi * turns / strokes))
    elif stroke.kind == "oval":
        side = np.cos(2.0 * np.pi * turns)
    else:
        side = np.zeros_like(turns)
    return x, stroke.side_overhang + stroke.side_sweep * side


def draw_spell(axes: Axes, bench: Bench, spell: Spell, number: int, unit: Unit) -> None:
    """One spell: bottom piece, top piece where it reaches farthest, and the way of its centre.

    Parameters
    ----------
    axes : Axes
    bench : Bench
    spell : Spell
    number : int
        In the programme.
    unit : Unit
        Of lengths.
    """
    mirror, lap = bench.mirror.radius, bench.lap(spell.lap).radius
    bottom, top = (mirror, lap) if spell.on_top == "tool" else (lap, mirror)
    x, y = np.zeros(1), np.zeros(1)
    if not spell.is_press:
        x, y = stroke_path(spell.stroke_on(bench.mirror.diameter))
    far = int(np.argmax(np.hypot(x, y)))
    _disc(axes, 0.0, 0.0, bottom, facecolor="#ececec", edgecolor=INK, linewidth=1.3)
    _disc(axes, x[far], y[far], top, facecolor="none", edgecolor=RED, linewidth=1.2, linestyle=(0, (4, 2)))
    axes.plot(x, y, color=BLUE, linewidth=1.1, solid_joinstyle="round")
    axes.plot([0.0], [0.0], "+", color=QUIET, markersize=7)
    reach = 1.62 * max(mirror, lap)
    axes.set_xlim(-reach, reach)
    axes.set_ylim(-reach, reach)
    without_frame(axes)
    sizes = spell_sizes(spell, bench.mirror.diameter, unit).replace(", ", "\n")
    axes.set_title(f"{number}  {spell.minutes:g} min\n{spell_title(spell)}\n{sizes}", fontsize=9)


def _disc(axes: Axes, x: float, y: float, radius: float, **look: object) -> None:
    from matplotlib.patches import Circle

    axes.add_patch(Circle((x, y), radius, **look))  # type: ignore[arg-type]
