"""
Does it matter that a window is wide?
=====================================

A window of the mask is often taken for a single radius: its middle, or its root mean square. A perfect
paraboloid and the demo's mirror are read without any error through masks of three to eight windows, and the
readings are reduced as the windows they are and as single radii. How wrong is the resulting surface?
"""

from __future__ import annotations

import sys

import numpy as np
from matplotlib.figure import Figure

import wearsim as ws
from wearsim.bench.profile import read_profile
from wearsim.knifeedge.longitudinal import Zones, zone_readings
from wearsim.knifeedge.mask import design_mask
from wearsim.knifeedge.readings import Readings
from wearsim.knifeedge.reduction import reduce_readings
from wearsim.show.style import BLUE, new_figure, plot_style

WINDOWS = (3, 4, 5, 6, 8)
WAYS = {
    "as windows": lambda zones: zones,
    "middle of each": lambda zones: Zones.from_radii((zones.inner + zones.outer) / 2),
    "root mean square": lambda zones: Zones.from_radii(zones.middle),
}


def answer() -> tuple[str, Figure]:
    bench = ws.load_bench("raised-zone-300")
    profile = read_profile(bench.figure.profile, bench.mirror)
    surfaces = {"a perfect paraboloid": 0.0 * profile.error, "a raised zone": profile.error}
    lines = []
    with plot_style():
        figure = new_figure(8.0, 3.8)
        for axes, (name, error) in zip(figure.subplots(1, 2), surfaces.items(), strict=True):
            wrong = np.array([misread(bench, profile.radius, error, count) for count in WINDOWS]) * 1e9
            for values, way, dash in zip(wrong.T, WAYS, ("-", "--", ":"), strict=True):
                axes.plot(WINDOWS, values, "o", linestyle=dash, color=BLUE, label=way)
                lines.append(f"{name}, {way}: {values[0]:.1f} nm RMS with 3 windows, {values[-1]:.1f} with 8")
            axes.set(title=name, xlabel="windows", ylabel="RMS error [nm]", ylim=(-0.5, None))
            axes.legend()
    return "\n".join(lines), figure


def misread(bench: ws.Bench, radius: np.ndarray, error: np.ndarray, count: int) -> list[float]:
    """RMS difference between the surface that was read and the one that comes out, each way [m]."""
    mirror, wave = bench.mirror.geometry, bench.light.wavelength
    windows = design_mask(count, mirror, wave).zones
    read = zone_readings(windows, radius, error, mirror)
    clear = mirror.clear_aperture(radius)
    true, wrong = clear.level(error), []
    for way in WAYS.values():
        found = reduce_readings(Readings(way(windows), read[None, :], sigma=0.02e-3), mirror, wave)
        wrong.append(clear.rms(np.interp(radius, found.radius, found.figure_error) - true))
    return wrong


if __name__ == "__main__":
    words, picture = answer()
    print(words)
    if len(sys.argv) > 1:
        picture.savefig(sys.argv[1])
