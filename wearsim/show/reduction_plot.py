"""The plot of a reduced sheet: the profile with its band above, each zone as the window it is below.

The lower panel stands on the same radii: a bar as wide as its window and as tall as the zone's aberration
in multiples of the tolerable, up for knife readings that are too long. The pale strip is what is tolerable.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from wearsim.knifeedge.report import Reduction, ZoneReport
from wearsim.show.lengths import MILLIMETRES, Unit, decimal, height_unit
from wearsim.show.style import BAND, BLUE, INK, QUIET, house, sheet

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

TOLERABLE = "#e9eef2"
LEAST_WIDTH = 0.012


def reduction_figure(reduction: Reduction, unit: Unit = MILLIMETRES) -> Figure:
    """Plot a reduced sheet.

    Parameters
    ----------
    reduction : Reduction
    unit : Unit
        Of radii.
    """
    with house():
        figure = sheet(8.5, 6.4)
        profile, zones = figure.subplots(2, 1, sharex=True, height_ratios=[3, 2])
        _profile(profile, reduction, unit)
        _zones(zones, reduction, unit)
        zones.set_xlabel(f"radius on the mirror [{unit.name}]")
        zones.set_xlim(0.0, 1.01 * float(reduction.radius[-1]) / unit.size)
    return figure


def headline(reduction: Reduction) -> str:
    """The figure in two lines."""
    high = height_unit(reduction.surface_pv)
    low, most = reduction.strehl_band
    return (
        f"surface RMS {high.number(reduction.surface_rms)} ± {high.text(reduction.surface_rms_sigma)}, "
        f"wavefront PV {reduction.wavefront_pv_waves:.2f} ± {reduction.wavefront_pv_waves_sigma:.2f} waves,\n"
        f"Strehl ratio {reduction.strehl:.2f} (90 %: {low:.2f} to {most:.2f}), "
        f"conic {decimal(reduction.conic_fit, 2)} ± {reduction.conic_sigma:.2f}"
    )


def _profile(axes: Axes, reduction: Reduction, unit: Unit) -> None:
    high = height_unit(reduction.surface_pv)
    radius = reduction.radius / unit.size
    low, top = reduction.band / high.size
    axes.axhline(0.0, color=INK, linewidth=0.6)
    axes.fill_between(radius, low, top, **BAND, label="90 % of what the readings allow")
    error = reduction.figure_error / high.size
    axes.plot(radius, error, color=BLUE, linewidth=2.0, label="figure error, high is up")
    for edge in (reduction.inner, reduction.outer):
        if 0.0 < edge < reduction.radius[-1]:
            axes.axvline(edge / unit.size, color=QUIET, linewidth=0.9, linestyle=":")
    inside = (reduction.radius >= reduction.inner) & (reduction.radius <= reduction.outer)
    reach = 1.15 * float(np.max(np.abs(np.stack([low, top])[:, inside])))
    axes.set_ylim(-reach, reach)
    axes.set_ylabel(f"surface above the target [{high.name}]")
    axes.legend(loc="best")
    axes.set_title(headline(reduction))


def _zones(axes: Axes, reduction: Reduction, unit: Unit) -> None:
    axes.axhspan(-1.0, 1.0, color=TOLERABLE, linewidth=0.0, zorder=0)
    axes.axhline(0.0, color=INK, linewidth=0.6)
    least = LEAST_WIDTH * float(reduction.radius[-1])
    for zone in reduction.zones:
        _zone(axes, zone, max(zone.outer - zone.inner, least), unit)
    tall = max(abs(zone.multiple) + 1.645 * zone.multiple_sigma for zone in reduction.zones)
    axes.set_ylim(-max(1.6, 1.15 * tall), max(1.6, 1.15 * tall))
    axes.set_ylabel("aberration,\nmultiples of tolerable")
    axes.set_title(
        "zones, their knife reading too long (up) or short; filled: more than the reading can mistake",
        fontsize=9.5,
    )


def _zone(axes: Axes, zone: ZoneReport, width: float, unit: Unit) -> None:
    middle = 0.5 * (zone.inner + zone.outer) / unit.size
    face = BLUE if zone.is_resolved else "white"
    axes.bar(middle, zone.multiple, width / unit.size, facecolor=face, edgecolor=INK, linewidth=0.8)
    give = 1.645 * zone.multiple_sigma
    ends = [zone.multiple - give, zone.multiple + give]
    axes.plot([middle, middle], ends, color="white", linewidth=3.0, solid_capstyle="butt")
    axes.plot([middle, middle], ends, color=INK, linewidth=1.4)
