"""
What is misread where a window is taken for a radius?
=====================================================

What each zone is misread by where its window is taken for one radius.
"""

import sys
from typing import Any

import wearsim as ws
from wearsim.figure.spline import ProfileSpline
from wearsim.knifeedge.longitudinal import knife_aberration, tolerable_aberration, zone_readings
from wearsim.show.style import BLUE, QUIET, new_figure, plot_style

SINGLE_RADIUS = {
    "middle": lambda zones: (zones.inner + zones.outer) / 2,
    "root mean square": lambda zones: zones.middle,
    "mean of the two": lambda zones: ((zones.inner + zones.outer) / 2 + zones.middle) / 2,
}


def single_radius_errors(count: int, raised: bool) -> tuple[Any, dict[str, Any], Any]:
    """Radii [m], errors of each single-radius way [m] and what is tolerable [m], in each of so many windows.

    The knife position at the single radius less the reading through the window, on the worked 300 mm f/5
    mirror with its raised zone, or on a perfect paraboloid; moving source.
    """
    bench = ws.load_bench("raised-zone-300")
    mirror, wave = bench.mirror.geometry, bench.light.wavelength
    profile = ws.read_profile(bench.figure.profile, bench.mirror)
    error = profile.error if raised else 0.0 * profile.error
    zones = ws.design_mask(count, mirror, wave).zones
    read = zone_readings(zones, profile.radius, error, mirror)
    spline = ProfileSpline(profile.radius, error)
    wrong = {
        name: knife_aberration(at, spline.height(at), spline.slope(at), mirror) - read
        for name, at in ((name, way(zones)) for name, way in SINGLE_RADIUS.items())
    }
    return zones.middle, wrong, tolerable_aberration(zones.middle, mirror, wave)


with plot_style():
    figure = new_figure(8.5, 5.6)
    plots = figure.subplots(2, 2, sharey="row")
    for row, raised, surface in zip(plots, (False, True), ("perfect", "a raised zone"), strict=True):
        for axes, count in zip(row, (5, 8), strict=True):
            at, wrong, tolerable = single_radius_errors(count, raised)
            for (name, values), mark in zip(wrong.items(), ("o-", "s--", "^:"), strict=True):
                axes.plot(at * 1e3, values / tolerable, mark, color=BLUE, label=name)
            axes.axhline(0.0, color=QUIET, linewidth=0.8)
            axes.set(title=f"{surface}, {count} windows", xlabel="zone [mm]")
        row[0].set_ylabel("error, times tolerance")
    plots[0, 0].legend()

if len(sys.argv) > 1:
    figure.savefig(sys.argv[1])
