"""
How long does it take to parabolize?
====================================

W strokes with the mirror on top, long ones and short ones, on a 200 mm f/6 mirror that is polished to a sphere.
The conic constant is followed minute by minute; the paraboloid is at -1. That is what the model gives: it needs strokes
of about 0.6 D to deepen the middle, and one published experiment got a paraboloid with 0.52 D (docs/validation.md). At the
barrel, work a few minutes at a time with a test between.
"""

from __future__ import annotations

import sys

import numpy as np
from matplotlib.figure import Figure

import wearsim as ws
from wearsim.bench.figure_source import FigureSource
from wearsim.show.style import BLUE, INK, new_figure, plot_style

STEP, STEPS = 6.0, 10
SIZES = ((0.75, 0.25, "-"), (0.6, 0.2, "--"), (0.35, 0.1, ":"))


def answer() -> tuple[str, Figure]:
    bench = ws.load_bench("turned-edge-200")
    lap = bench.lap().model_copy(update={"diameter": bench.mirror.diameter, "mass": 2.0})
    bench = bench.model_copy(update={"laps": (lap,), "figure": FigureSource(conic=0.0)})
    minutes, lines = STEP * np.arange(STEPS + 1), []
    with plot_style():
        figure = new_figure(7.0, 4.0)
        axes = figure.subplots()
        for length, sweep, dash in SIZES:
            spell = ws.Spell(on_top="mirror", stroke="w", length=length, side_sweep=sweep, minutes=STEP)
            conic = [ws.predict(bench, ws.Programme(spells=(spell,) * n), draws=0).conic_fit for n in range(STEPS + 1)]
            there = np.interp(1.0, -np.array(conic), minutes) if min(conic) <= -1.0 else np.inf
            never = f"not reached in {minutes[-1]:.0f} min in the model"
            said = f"after about {there:.0f} min" if np.isfinite(there) else never
            lines.append(f"W strokes {length:.2f} D long, {sweep:.2f} D to each side: paraboloid {said}")
            axes.plot(minutes, conic, dash, color=BLUE, label=f"{length:.2f} D long, {sweep:.2f} D to each side")
        axes.axhline(-1.0, color=INK, linewidth=0.8, label="paraboloid")
        axes.set(xlabel="minutes of work", ylabel="best-fit conic constant")
        axes.legend()
    return "\n".join(lines), figure


if __name__ == "__main__":
    words, picture = answer()
    print(words)
    if len(sys.argv) > 1:
        picture.savefig(sys.argv[1])
