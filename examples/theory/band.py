"""
How wide is the band of one spell?
==================================

The worked bench's prediction with its band.
"""

import sys

import wearsim as ws
from wearsim.show.style import AFTER, BAND, BEFORE, QUIET, new_figure, plot_style

bench = ws.load_bench("raised-zone-300")
spell = ws.Spell(stroke="w", length=0.3, side_sweep=0.25, minutes=8, lap="full")
outcome = ws.predict(bench, ws.Programme(spells=(spell,)), draws=32)
with plot_style():
    figure = new_figure(7.0, 3.8)
    axes = figure.subplots()
    r = outcome.radius * 1e3
    axes.fill_between(r, *(outcome.band.figure_error * 1e9), label="5th to 95th percentile", **BAND)
    axes.plot(r, outcome.before * 1e9, label="before", **BEFORE)
    axes.plot(r, outcome.figure_error * 1e9, label="after", **AFTER)
    axes.axhline(0.0, color=QUIET, linewidth=0.8)
    axes.set(xlabel="radius on the mirror [mm]", ylabel="figure error [nm]")
    axes.legend()

if len(sys.argv) > 1:
    figure.savefig(sys.argv[1])
