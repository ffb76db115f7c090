"""
How far may a flat lap hang over before it lifts?
=================================================

How far a flat lap on top may hang over the rim before it begins to lift, for laps of all sizes.
"""

import sys

import numpy as np
from scipy.optimize import brentq

from wearsim.show.style import BLUE, new_figure, plot_style


def beyond_balance(offset: float, lap: float) -> float:
    """How far the load is beyond where the pressure would reach zero at the lap's inner rim; mirror's radius = 1.

    The load is at the lap's centre; the pressure rises in proportion to the distance from the inner rim.
    """
    x = offset - lap + (1.0 - offset + lap) * (np.arange(4000) + 0.5) / 4000
    chord = np.sqrt(np.minimum(1.0 - x**2, lap**2 - (x - offset) ** 2))
    pressure = x - (offset - lap)
    return offset - float(np.average(x, weights=chord * pressure))


sizes = np.linspace(0.4, 1.0, 25)
offsets = [brentq(beyond_balance, 1.0 - q + 1e-6, 1.0 - 0.1 * q, args=(float(q),)) for q in sizes]
with plot_style():
    figure = new_figure(7.0, 3.4)
    axes = figure.subplots()
    axes.plot(sizes, (offsets + sizes - 1.0) / (2.0 * sizes), color=BLUE)
    axes.set(xlabel="diameter of the lap, in mirrors", ylabel="overhang of its rim, in laps", ylim=(0, 0.3))

if len(sys.argv) > 1:
    figure.savefig(sys.argv[1])
