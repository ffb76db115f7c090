"""
Where does a flat lap press as it hangs over?
=============================================

Pressure under a flat lap of the mirror's size along the line of centres, tool on top.
"""

import sys

import numpy as np
from wearsim.wear.flat import flat_contact

from wearsim.show.style import BLUE, new_figure, plot_style

DASHES = ("-", "--", "-.", ":")

with plot_style():
    figure = new_figure(7.0, 4.0)
    axes = figure.subplots()
    for offset, dash in zip((0.1, 1 / 3, 0.39, 0.6), DASHES, strict=True):
        found = flat_contact(1.0, 1.0, offset, np.pi, (offset, 0.0))
        x = np.linspace(offset - 1.0, 1.0, 400)
        pressure = [found.pressure(float(at)) for at in x]
        axes.plot(x, pressure, dash, color=BLUE, label=f"centres {offset / 2:.3f} D apart")
    axes.set(xlabel="place along the line of centres, mirror's radius = 1", ylabel="pressure, mean at rest = 1")
    axes.legend()

if len(sys.argv) > 1:
    figure.savefig(sys.argv[1])
