"""
Which share of the way is best?
===============================

Expected squared error against the share of the way, for a removal known within some factor.
"""

import sys

import numpy as np

from wearsim.show.style import BLUE, RED, new_figure, plot_style

DASHES = ("-", "--", "-.", ":")

share = np.linspace(0.0, 1.4, 200)
with plot_style():
    figure = new_figure(7.0, 3.8)
    axes = figure.subplots()
    for factor, dash in zip((1.05, 1.25, 1.6, 2.5), DASHES, strict=True):
        variance = np.log(factor) ** 2
        mean, square = np.exp(variance / 2), np.exp(2 * variance)
        expected = np.sqrt(1 - 2 * share * mean + share**2 * square)
        best = mean / square
        axes.plot(share, expected, dash, color=BLUE, label=f"known within x {factor:g}: stop at {best:.2f}")
        axes.plot([best], [np.sqrt(1 - mean**2 / square)], "o", color=RED, markersize=5)
    axes.set(xlabel="removal aimed at, over the figure error", ylabel="expected error left, RMS", ylim=(0, 1.6))
    axes.legend()

if len(sys.argv) > 1:
    figure.savefig(sys.argv[1])
