"""
What if the pitch is colder?
============================

Ten minutes of one-third strokes, tool on top, in a cold and in a warm workshop, on a 200 mm f/6 mirror that is oblate by
five times the paraboloid's correction. By the bench's law pitch relaxes ten times as slowly 6 degrees colder. A lap that
follows slowly holds on to the shape it was pressed to, and so does the glass.
"""

from __future__ import annotations

import sys

import numpy as np
from matplotlib.figure import Figure

import wearsim as ws
from wearsim.bench.figure_source import FigureSource
from wearsim.show.style import BLUE, RED, new_figure, plot_style

BEFORE = 5.0
DEGREES = np.array([12.0, 15.0, 18.0, 21.0, 24.0, 27.0])


def answer() -> tuple[str, Figure]:
    bench = ws.load_bench("turned-edge-200")
    lap = bench.lap().model_copy(update={"diameter": bench.mirror.diameter, "mass": 2.0})
    bench = bench.model_copy(update={"laps": (lap,), "figure": FigureSource(conic=BEFORE)})
    spell = ws.Spell(on_top="tool", stroke="one-third", minutes=10)
    programme = ws.Programme(spells=(ws.Spell(stroke="press", minutes=5), spell))
    conic, minutes = [], []
    for degrees in map(float, DEGREES):
        room = bench.model_copy(update={"wear": bench.wear.model_copy(update={"temperature": degrees})})
        minutes.append(room.relaxation_time_at(room.lap()) / 60)
        conic.append(ws.predict(room, programme, draws=0).conic_fit)
    with plot_style():
        figure = new_figure(7.0, 4.0)
        axes = figure.subplots()
        axes.plot(DEGREES, conic, "o-", color=BLUE, label="best-fit conic constant after ten minutes")
        axes.axhline(BEFORE, color=RED, linestyle=":", label="before")
        axes.set(xlabel="temperature of the room [degC]", ylabel="conic constant")
        axes.legend()
    rows = zip(DEGREES, minutes, conic, strict=True)
    return "\n".join(f"{t:.0f} degC: relaxes in {m:.3g} min, conic constant {k:+.2f}" for t, m, k in rows), figure


if __name__ == "__main__":
    words, picture = answer()
    print(words)
    if len(sys.argv) > 1:
        picture.savefig(sys.argv[1])
