"""
What is worn while the lap has not yet followed?
================================================

A raised ring under a full-size lap: worn first while the lap has not yet followed.
"""

import sys

import wearsim as ws
from wearsim.show.style import BEFORE, BLUE, new_figure, plot_style

bench = ws.load_bench("raised-zone-300")
spell = ws.Spell(stroke="one-third", minutes=2, lap="full")
with plot_style():
    figure = new_figure(7.5, 4.0)
    axes = figure.subplots()
    for minutes, dash in zip((2, 6, 14, 30), (":", "-.", "--", "-"), strict=True):
        outcome = ws.predict(bench, ws.Programme(spells=(spell,) * (minutes // 2)), draws=0)
        axes.plot(
            outcome.radius * 1e3, outcome.removal / minutes * 1e9, dash, color=BLUE, label=f"mean of {minutes} min"
        )
    twin = axes.twinx()
    twin.plot(outcome.radius * 1e3, outcome.before * 1e9, **{**BEFORE, "label": "figure before (right)"})
    twin.set_ylabel("figure error before [nm]")
    twin.grid(False)
    axes.set(xlabel="radius on the mirror [mm]", ylabel="removed per minute [nm]", ylim=(0, None))
    handles = [*axes.get_lines(), *twin.get_lines()]
    axes.legend(handles, [str(handle.get_label()) for handle in handles], loc="upper left", fontsize=8.5)

if len(sys.argv) > 1:
    figure.savefig(sys.argv[1])
