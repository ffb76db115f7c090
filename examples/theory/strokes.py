"""
Where does the top piece go?
============================

Paths of the top piece's centre over the bottom piece.
"""

import sys

import numpy as np

from wearsim.bench.programme import Stroke
from wearsim.show.style import BLUE, INK, new_figure, plot_style
from wearsim.wear.strokes import path_of

sizes = {
    "straight": ("straight", 0.5, 0.0, 0.0, 1), "overhang": ("overhang", 0.5, 0.0, 0.25, 1),
    "W": ("w", 0.6, 0.25, 0.0, 8), "oval": ("oval", 0.3, 0.2, 0.1, 1),
}  # fmt: skip
with plot_style():
    figure = new_figure(8.0, 2.3)
    for axes, (name, (kind, length, sweep, aside, each)) in zip(figure.subplots(1, 4), sizes.items(), strict=True):
        count = 2 * each
        moments = np.arange(count)[:, None] + np.arange(64)[None, :] / 64
        stroke = Stroke(kind, length, sweep, aside, float(max(each, 2)), 1.0)
        x, y, _, _ = path_of(stroke, moments)
        turn = np.linspace(0.0, 2 * np.pi, 200)
        axes.plot(0.5 * np.cos(turn), 0.5 * np.sin(turn), color=INK, linewidth=1.2)
        axes.plot(x.ravel(), y.ravel(), color=BLUE, linewidth=1.2)
        axes.set_title(name)
        axes.set_aspect("equal")
        axes.set_axis_off()

if len(sys.argv) > 1:
    figure.savefig(sys.argv[1])
