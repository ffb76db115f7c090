"""
Tool on top or mirror on top?
=============================

The same straight strokes over the centre, a third and a half of the diameter long, worked for ten minutes with
either piece on top on a mirror that is a perfect sphere. How much glass comes off each zone?
"""

from __future__ import annotations

import sys

from matplotlib.figure import Figure

import wearsim as ws
from wearsim.bench.figure_source import FigureSource
from wearsim.show.style import BLUE, RED, new_figure, plot_style

MINUTES = 10


def answer() -> tuple[str, Figure]:
    bench = ws.load_bench("raised-zone-300").model_copy(update={"figure": FigureSource(conic=0.0)})
    lines = []
    with plot_style():
        figure = new_figure(7.5, 4.2)
        axes = figure.subplots()
        for length, dashes in ((1 / 3, ("-", "--")), (0.5, ("-.", ":"))):
            for on_top, colour, dash in zip(("tool", "mirror"), (BLUE, RED), dashes, strict=True):
                spell = ws.Spell(on_top=on_top, stroke="straight", length=length, minutes=MINUTES)
                outcome = ws.predict(bench, ws.Programme(spells=(spell,)), draws=0)
                gone = outcome.removal * 1e9
                label = f"{on_top} on top, stroke {length:.2f} of the diameter"
                axes.plot(outcome.radius * 1e3, gone, dash, color=colour, label=label)
                lines.append(f"{label}: {gone[0]:.0f} nm at the centre, {gone[-1]:.0f} nm at the rim")
        axes.set(xlabel="radius on the mirror [mm]", ylabel=f"removed in {MINUTES} min [nm]", ylim=(0, None))
        axes.legend()
    return "\n".join(lines), figure


if __name__ == "__main__":
    words, picture = answer()
    print(words)
    if len(sys.argv) > 1:
        picture.savefig(sys.argv[1])
