"""
Which of two programmes is safer?
=================================

Two ways to take down the demo's raised zone: a short session of overhanging strokes, or a longer one of W
strokes over the centre. What counts is the band, not the line: how often does the mirror end up
worse than before?
"""

from __future__ import annotations

import sys
from pathlib import Path

import numpy as np
from matplotlib.figure import Figure

import wearsim as ws
from wearsim.show.style import BEFORE, BLUE, RED, new_figure, plot_style
from wearsim.wear.accuracy import DEFAULT
from wearsim.wear.constants import prior
from wearsim.wear.initial_figure import start_figure
from wearsim.wear.predict import gauge_for
from wearsim.wear.radial.engine import RadialEngine
from wearsim.wear.state import start_state

DEMO = Path(__file__).parent / "demo" / "bench.toml"
DRAWS = 48


def answer() -> tuple[str, Figure]:
    bench = ws.load_bench(DEMO)
    programmes = {
        "overhanging, 6 min": ws.Spell(stroke="overhang", length=0.4, side_overhang=0.3, minutes=6),
        "W over the centre, 12 min": ws.Spell(stroke="w", length=0.3, side_sweep=0.25, minutes=12),
    }
    start = start_figure(bench)
    gauge = gauge_for(bench, start.radius)
    before = gauge.aperture.rms(gauge.error(start.height))
    glasses, constants = start.draws(DRAWS, seed=1), prior(bench).draws(DRAWS, seed=0)
    lines = [f"before: {before * 1e9:.0f} nm RMS"]
    with plot_style():
        figure = new_figure(7.0, 4.0)
        axes = figure.subplots()
        for (name, spell), colour, dash in zip(programmes.items(), (RED, BLUE), ("-.", "-"), strict=True):
            after = []
            for glass, known in zip(glasses, constants, strict=True):
                state = start_state(bench, start.radius, glass, DEFAULT)
                done = RadialEngine().run(bench, ws.Programme(spells=(spell,)), state, known).end
                after.append(gauge.aperture.rms(gauge.error(done.height)))
            share = np.mean(np.array(after) > before)
            lines.append(f"{name}: median {np.median(after) * 1e9:.0f} nm RMS, worse than before in {share:.0%}")
            axes.plot(np.sort(after) * 1e9, (np.arange(DRAWS) + 0.5) / DRAWS, dash, color=colour, label=name)
        axes.axvline(before * 1e9, **{**BEFORE, "label": "before"})
        axes.set(xlabel="RMS of the surface afterwards [nm]", ylabel="share of the draws below", xlim=(0, None))
        axes.legend(loc="lower right")
    return "\n".join(lines), figure


if __name__ == "__main__":
    words, picture = answer()
    print(words)
    if len(sys.argv) > 1:
        picture.savefig(sys.argv[1])
