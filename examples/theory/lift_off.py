"""
How far may a flat lap hang over before it lifts?
=================================================

How far a flat lap on top may hang over the rim before it begins to lift, for laps of all sizes.
"""

import sys

import numpy as np
from wearsim.wear.flat import lift_off_offset

from wearsim.show.style import BLUE, new_figure, plot_style

sizes = np.linspace(0.4, 1.0, 25)
over = [(lift_off_offset(1.0, float(q)) + q - 1.0) / (2.0 * q) for q in sizes]
with plot_style():
    figure = new_figure(7.0, 3.4)
    axes = figure.subplots()
    axes.plot(sizes, over, color=BLUE)
    axes.set(xlabel="diameter of the lap, in mirrors", ylabel="overhang of its rim, in laps", ylim=(0, 0.3))

if len(sys.argv) > 1:
    figure.savefig(sys.argv[1])
