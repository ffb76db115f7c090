"""
What if the pitch is colder?
============================

The same long W strokes, mirror on top, in a cold and in a warm workshop: the pitch relaxes ten times as slowly
8 degrees colder. A lap that follows slowly holds on to the shape it was pressed to, and so does the glass.
"""

from __future__ import annotations

import sys

import numpy as np
from matplotlib.figure import Figure

import wearsim as ws
from wearsim.show.style import BLUE, RED, new_figure, plot_style

DEGREES = np.array([12.0, 15.0, 18.0, 21.0, 24.0, 27.0])


def answer() -> tuple[str, Figure]:
    bench = ws.load_bench("oblate-500")
    spell = ws.Spell(on_top="mirror", stroke="w", length=0.7, side_sweep=0.2, minutes=60)
    programme = ws.Programme(spells=(ws.Spell(stroke="press", minutes=5), spell))
    conic, minutes = [], []
    for degrees in map(float, DEGREES):
        room = bench.model_copy(update={"wear": bench.wear.model_copy(update={"temperature": degrees})})
        minutes.append(room.relaxation_time_at(room.lap()) / 60)
        conic.append(ws.predict(room, programme, draws=0).conic_fit)
    with plot_style():
        figure = new_figure(7.0, 4.0)
        axes = figure.subplots()
        axes.plot(DEGREES, conic, "o-", color=BLUE, label="best-fit conic constant after an hour")
        axes.axhline(5.0, color=RED, linestyle=":", label="before")
        axes.set(xlabel="temperature of the room [degC]", ylabel="conic constant")
        axes.legend()
    rows = zip(DEGREES, minutes, conic, strict=True)
    return "\n".join(f"{t:.0f} degC: relaxes in {m:.3g} min, conic constant {k:+.2f}" for t, m, k in rows), figure


if __name__ == "__main__":
    words, picture = answer()
    print(words)
    if len(sys.argv) > 1:
        picture.savefig(sys.argv[1])
