"""
How many readings are enough?
=============================

The demo's mirror read through five, eight and eleven windows, once and up to sixteen times each, with hands
that set the knife to a tenth of a millimetre. How well is its surface known then?
"""

from __future__ import annotations

import sys

import numpy as np
from matplotlib.figure import Figure
from matplotlib.ticker import NullFormatter

import wearsim as ws
from wearsim.bench.profile import read_profile
from wearsim.knifeedge.longitudinal import zone_readings
from wearsim.knifeedge.mask import design_mask
from wearsim.knifeedge.readings import Readings
from wearsim.knifeedge.reduction import reduce_readings
from wearsim.knifeedge.setting_noise import STATED_AT
from wearsim.show.style import BLUE, new_figure, plot_style

SETTING = 0.1e-3  # of one setting at 0.35 of the radius [m]
REPEATS = (1, 2, 4, 8, 16)
NANOMETRES = (1, 2, 5, 10, 20)


def answer() -> tuple[str, Figure]:
    bench = ws.load_bench("raised-zone-300")
    mirror, wave = bench.mirror, bench.light.wavelength
    profile, rng = read_profile(bench.figure.profile, mirror), np.random.default_rng(7)
    lines = []
    with plot_style():
        figure = new_figure(7.0, 4.0)
        axes = figure.subplots()
        for windows, dash in ((5, ":"), (8, "--"), (11, "-")):
            zones = design_mask(windows, mirror.geometry, wave).zones
            true = zone_readings(zones, profile.radius, profile.error, mirror.geometry)
            spread = SETTING * STATED_AT * mirror.radius / zones.middle
            known = []
            for repeats in REPEATS:
                rows = true + spread * rng.standard_normal((repeats, windows))
                reduced = reduce_readings(Readings(zones, rows, sigma=SETTING), mirror.geometry, wave)
                inside = reduced.radius <= mirror.clear_radius
                weight = reduced.radius[inside] / reduced.radius[inside].sum()
                known.append(float(np.sqrt(weight @ reduced.sigma[inside] ** 2)))
            axes.loglog(REPEATS, np.array(known) * 1e9, "o", linestyle=dash, color=BLUE, label=f"{windows} windows")
            lines.append(f"{windows} windows: {known[0] * 1e9:.0f} nm from one row, {known[-1] * 1e9:.0f} nm from 16")
        axes.set(xlabel="readings of every window", ylabel="uncertainty of the surface, RMS [nm]")
        axes.set_xticks(REPEATS, [str(n) for n in REPEATS])
        axes.set_yticks(NANOMETRES, [str(n) for n in NANOMETRES])
        axes.yaxis.set_minor_formatter(NullFormatter())
        axes.legend()
    return "\n".join(lines), figure


if __name__ == "__main__":
    words, picture = answer()
    print(words)
    if len(sys.argv) > 1:
        picture.savefig(sys.argv[1])
