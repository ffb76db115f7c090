"""
Where does a flat lap press as it hangs over?
=============================================

Pressure under a flat lap of the mirror's size along the line of centres, tool on top.
"""

import sys

import numpy as np
from scipy.optimize import root

from wearsim.show.style import BLUE, new_figure, plot_style

DASHES = ("-", "--", "-.", ":")


def pressure_along(offset: float) -> tuple[np.ndarray, np.ndarray]:
    """Places across the overlap of two equal discs, mirror's radius = 1, and the pressure there, mean at rest = 1.

    A rigid flat lap that can only push presses with ``max(0, level + slope x)``; level and slope are those that carry
    the load at the lap's centre: force and moment are integrals over chords of the overlap.
    """
    x = offset - 1.0 + (2.0 - offset) * (np.arange(4000) + 0.5) / 4000
    chord = 2.0 * np.sqrt(np.minimum(1.0 - x**2, 1.0 - (x - offset) ** 2)) * (x[1] - x[0])

    def pressure(plane: np.ndarray) -> np.ndarray:
        return np.maximum(0.0, plane[0] + plane[1] * x)

    def unbalanced(plane: np.ndarray) -> tuple[float, float]:
        return chord @ pressure(plane) - np.pi, (chord * (x - offset)) @ pressure(plane)

    return x, pressure(root(unbalanced, (1.0, 1.0)).x)


with plot_style():
    figure = new_figure(7.0, 4.0)
    axes = figure.subplots()
    for offset, dash in zip((0.1, 1 / 3, 0.39, 0.6), DASHES, strict=True):
        axes.plot(*pressure_along(offset), dash, color=BLUE, label=f"centres {offset / 2:.3f} D apart")
    axes.set(xlabel="place along the line of centres, mirror's radius = 1", ylabel="pressure, mean at rest = 1")
    axes.legend()

if len(sys.argv) > 1:
    figure.savefig(sys.argv[1])
