"""
When is a smaller lap chosen?
=============================

A 20 in f/5 paraboloid with a raised zone of 250 nm at 0.7 of its radius, and two laps on the bench: one as large as the
mirror and one of 8 in. Mirror and zone were invented for wearsim. Before anything is known of the wear, the full lap alone
is as good as both: the extra precision of the small lap is lost in the uncertainty. Once the constants are known, the
small lap follows the full one in the same session, and halves what is left.
"""

from __future__ import annotations

import sys

import numpy as np
from matplotlib.figure import Figure

import wearsim as ws
from wearsim.bench.profile import Profile
from wearsim.bench.toml_io import bench_from_table
from wearsim.show.style import BLUE, INK, new_figure, plot_style
from wearsim.wear.accuracy import DEFAULT
from wearsim.wear.initial_figure import from_profile

MIRROR = {"diameter": "20 in", "radius_of_curvature": "200 in", "thickness": "2.5 in", "mass": "48 lb"}
LAPS = [{"name": "full", "diameter": "20 in", "mass": "12 kg"}, {"name": "small", "diameter": "8 in", "mass": "1.9 kg"}]
KNOWN = {
    "preston": 1.0, "stiffness": 1.0, "relaxation_time": 1.0, "edge_gain": 1.0, "stroke_length": 1.0,
    "overhang_bias": "0 in",
}  # fmt: skip


def answer() -> tuple[str, Figure]:
    lines = []
    with plot_style():
        figure = new_figure(7.5, 4.2)
        axes = figure.subplots()
        for what, spread, laps, dash in (
            ("constants not known, both laps", {}, LAPS, "-"),
            ("constants known, full lap", KNOWN, LAPS[:1], "--"),
            ("constants known, both laps", KNOWN, LAPS, "-."),
        ):
            table = {"mirror": MIRROR, "lap": laps, "figure": {"conic": -1.0}, "spread": spread}
            bench = bench_from_table(table)
            share = np.linspace(0.0, 1.0, 121)
            zone = 250e-9 * np.exp(-(((share - 0.7) / 0.12) ** 2))
            start = from_profile(bench, Profile(bench.mirror.radius * share, zone, None), DEFAULT)
            done = ws.propose(bench, minutes=60.0, start=start, draws=0)
            spells = [f"{one.minutes:g} min {one.lap or 'full'} lap, {one.stroke}" for one in done.programme.spells]
            lines.append(f"{what}: {'; '.join(spells)}; {done.expected_rms * 1e9:.0f} nm RMS")
            radius = done.outcome.radius * 1e3
            if not lines[1:]:
                axes.plot(radius, done.outcome.before * 1e9, ":", color=INK, label="before")
            axes.plot(radius, done.outcome.figure_error * 1e9, dash, color=BLUE, label=what)
        axes.set(xlabel="radius on the mirror [mm]", ylabel="figure error, most likely [nm]")
        axes.legend()
    return "\n".join(lines), figure


if __name__ == "__main__":
    words, picture = answer()
    print(words)
    if len(sys.argv) > 1:
        picture.savefig(sys.argv[1])
