"""
Which of two programmes is safer?
=================================

Six minutes on the demo's raised zone, tool on top, two ways: a straight third of the diameter over the centre, and a stroke
of 0.30 D that runs 0.12 D off centre. How often does the mirror end up worse than before? The RMS alone misleads: it hardly
sees the rim, so the edge is shown beside it. How hard the rim is pressed is a judgement, and long overhung work turns an
edge in every workshop; believe the end of the band.
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
        "straight": ws.Spell(stroke="straight", length=0.33, minutes=6),
        "overhang": ws.Spell(stroke="overhang", length=0.3, side_overhang=0.12, minutes=6),
    }
    start = start_figure(bench)
    gauge = gauge_for(bench, start.radius)
    before = gauge.aperture.rms(gauge.error(start.height))
    glasses, constants = start.draws(DRAWS, seed=1), prior(bench).draws(DRAWS, seed=0)
    lines, share = [f"before: {before * 1e9:.0f} nm RMS"], (np.arange(DRAWS) + 0.5) / DRAWS
    with plot_style():
        figure = new_figure(8.0, 4.0)
        left, right = figure.subplots(1, 2, sharey=True)
        for (name, spell), colour, dash in zip(programmes.items(), (BLUE, RED), ("-", "-."), strict=True):
            after, roll = [], []
            for glass, known in zip(glasses, constants, strict=True):
                state = start_state(bench, start.radius, glass, DEFAULT)
                error = gauge.error(RadialEngine().run(bench, ws.Programme(spells=(spell,)), state, known).end.height)
                after.append(gauge.aperture.rms(error))
                roll.append(gauge.edge_roll(error) - gauge.edge_roll(gauge.error(glass)))
            worse, low = np.mean(np.array(after) > before), np.percentile(roll, 5) * 1e9
            lines.append(
                f"{name}: median {np.median(after) * 1e9:.0f} nm RMS, worse than before in {worse:.0%}; "
                f"edge roll changed by {low:+.0f} nm or worse in 5%"
            )
            left.plot(np.sort(after) * 1e9, share, dash, color=colour, label=name)
            right.plot(np.sort(roll) * 1e9, share, dash, color=colour, label=name)
        left.axvline(before * 1e9, **{**BEFORE, "label": "before"})
        left.set(xlabel="RMS of the surface afterwards [nm]", ylabel="share of the draws below", xlim=(0, None))
        right.axvline(0.0, **{**BEFORE, "label": "as before"})
        right.set(xlabel="change of edge roll [nm], negative = down")
        right.legend(loc="upper left")
    return "\n".join(lines), figure


if __name__ == "__main__":
    words, picture = answer()
    print(words)
    if len(sys.argv) > 1:
        picture.savefig(sys.argv[1])
