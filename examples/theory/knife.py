"""
Where does the knife darken the zones of a paraboloid?
======================================================

Knife positions of a 300 mm f/5 paraboloid, and what is tolerable.
"""

import sys

import numpy as np

import wearsim as ws
from wearsim.knifeedge.longitudinal import target_aberration, tolerable_aberration
from wearsim.show.style import BAND, BLUE, new_figure, plot_style

mirror = ws.MirrorGeometry(3.0, radius=0.15, clear_radius=0.15)
r = np.linspace(15.0, 150.0, 200) * 1e-3
with plot_style():
    figure = new_figure(7.0, 4.0)
    axes = figure.subplots()
    for source, dash in (("moving", "-"), ("fixed", "--")):
        at = target_aberration(r, mirror, source) * 1e3
        allowed = tolerable_aberration(r, mirror, 550e-9, source) * 1e3
        axes.fill_between(r * 1e3, at - allowed, at + allowed, **BAND)
        axes.plot(r * 1e3, at, dash, color=BLUE, label=f"{source} source")
    axes.set(xlabel="zone [mm]", ylabel="knife, from the centre of curvature [mm]", ylim=(-1, 9))
    axes.legend(title="shaded: within the Airy disc")

if len(sys.argv) > 1:
    figure.savefig(sys.argv[1])
