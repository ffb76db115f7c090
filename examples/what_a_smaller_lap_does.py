"""
What does a smaller lap do?
===========================

The same W strokes, tool on top, with laps of the mirror's diameter and of less, all with the same
weight and push per unit area. A small lap digs where it is guided; a full one averages. Ten minutes are for comparing the
laps: over the centre a small one is worked for a minute or two, and for a hill there.
"""

from __future__ import annotations

import sys

from matplotlib.figure import Figure

import wearsim as ws
from wearsim.bench.figure_source import FigureSource
from wearsim.show.style import BLUE, new_figure, plot_style

SHARES = ((1.0, "-"), (0.8, "--"), (0.65, "-."), (0.5, ":"))


def answer() -> tuple[str, Figure]:
    bench = ws.load_bench("raised-zone-300").model_copy(update={"figure": FigureSource(conic=0.0)})
    full, lines = bench.lap("full"), []
    with plot_style():
        figure = new_figure(7.5, 4.2)
        axes = figure.subplots()
        for share, dash in SHARES:
            lap = full.model_copy(update={"diameter": share * full.diameter, "mass": share**2 * full.mass})
            spell = ws.Spell(
                stroke="w", length=0.3, side_sweep=0.15, minutes=10, push=share**2 * bench.hands.push, lap="full"
            )
            own = bench.model_copy(update={"laps": (lap,)})
            outcome = ws.predict(own, ws.Programme(spells=(spell,)), draws=0)
            axes.plot(outcome.radius * 1e3, outcome.removal * 1e9, dash, color=BLUE, label=f"{share:.2f} of the mirror")
            most = outcome.radius[int(outcome.removal.argmax())]
            least = outcome.removal.min() / outcome.removal.max()
            lines.append(
                f"lap of {share:.2f} D: removes most at {most * 1e3:.0f} mm, and at least {least:.0%} of that elsewhere"
            )
        axes.set(xlabel="radius on the mirror [mm]", ylabel="removed in 10 min [nm]", ylim=(0, None))
        axes.legend(title="diameter of the lap")
    return "\n".join(lines), figure


if __name__ == "__main__":
    words, picture = answer()
    print(words)
    if len(sys.argv) > 1:
        picture.savefig(sys.argv[1])
