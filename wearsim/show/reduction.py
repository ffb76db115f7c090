"""The plot of a reduced sheet: the profile with its band above, each zone as the window it is below.

The lower panel stands on the same radii: a bar as wide as its window and as tall as the zone's aberration
in multiples of the tolerable, up for knife readings that are too long. The pale strip is what is tolerable.
"""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np

from wearsim.knifeedge.report import Reduction
from wearsim.show.paper import ACCENT, BAND, GLASS, INK, PALE, plain, sheet, write


def draw_reduction(reduction: Reduction, path: str | Path, title: str = "") -> Path:
    """Draw a reduced sheet.

    Parameters
    ----------
    reduction : Reduction
        What to draw.
    path : str or Path
        PNG, PDF or SVG.
    title : str
        Above the plot.

    Returns
    -------
    Path

    Raises
    ------
    InputError
        Another ending, or a place that cannot be written.
    """
    figure = sheet(7.2, 5.6, layout="constrained")
    profile, zones = figure.subplots(2, 1, sharex=True, height_ratios=[3, 2])
    _profile(profile, reduction)
    _zones(zones, reduction)
    zones.set_xlabel("radius on the glass [mm]", fontsize=9)
    zones.set_xlim(0.0, float(reduction.radius[-1]) * 1e3 * 1.01)
    figure.suptitle(title or _heading(reduction), fontsize=10, x=0.02, ha="left")
    return write(figure, path)


def _heading(reduction: Reduction) -> str:
    rms, sigma = reduction.surface_rms * 1e9, reduction.surface_rms_sigma * 1e9
    low, high = reduction.strehl_band
    return (
        f"surface RMS {rms:.0f} ± {sigma:.0f} nm, wavefront PV {reduction.wavefront_pv_waves:.2f} waves, "
        f"conic {reduction.conic_fit:.2f} ± {reduction.conic_sigma:.2f},\n"
        f"Strehl ratio {reduction.strehl:.2f} (90 %: {low:.2f} to {high:.2f})"
    )


def _profile(axes: Any, reduction: Reduction) -> None:
    radius, error = reduction.radius * 1e3, reduction.figure_error * 1e9
    low, high = reduction.band * 1e9
    axes.axhline(0.0, color=INK, lw=0.6)
    axes.fill_between(radius, low, high, color=BAND, lw=0, label="90 % of what the readings allow")
    axes.plot(radius, error, color=ACCENT, lw=1.8, label="figure error, high is up")
    for edge in (reduction.inner, reduction.outer):
        if 0.0 < edge < reduction.radius[-1]:
            axes.axvline(edge * 1e3, color=INK, lw=0.8, ls=":")
    inside = (reduction.radius >= reduction.inner) & (reduction.radius <= reduction.outer)
    reach = 1.15 * float(np.max(np.abs(np.stack([low, high])[:, inside])))
    axes.set_ylim(-reach, reach)
    axes.set_ylabel("surface [nm]", fontsize=9)
    axes.legend(fontsize=8, frameon=False, loc="best")
    plain(axes)


def _zones(axes: Any, reduction: Reduction) -> None:
    multiples = np.array([zone.multiple for zone in reduction.zones])
    spread = 1.645 * np.array([zone.multiple_sigma for zone in reduction.zones])
    axes.axhspan(-1.0, 1.0, color=PALE, lw=0)
    axes.axhline(0.0, color=INK, lw=0.6)
    least = 0.012 * float(reduction.radius[-1])
    for zone, multiple, give in zip(reduction.zones, multiples, spread, strict=True):
        width = max(zone.outer - zone.inner, least)
        left = (zone.inner + zone.outer - width) / 2.0
        axes.bar(
            left * 1e3,
            multiple,
            width * 1e3,
            align="edge",
            facecolor=ACCENT if zone.is_resolved else GLASS,
            edgecolor=INK,
            lw=0.8,
        )
        middle = (left + width / 2.0) * 1e3
        axes.plot([middle, middle], [multiple - give, multiple + give], color=INK, lw=1.2)
    reach = max(1.6, 1.15 * float(np.max(np.abs(multiples) + spread)))
    axes.set_ylim(-reach, reach)
    axes.set_ylabel("zone's aberration,\nmultiples of tolerable", fontsize=9)
    axes.text(
        0.005,
        0.02,
        "dark: larger than the reading can mistake",
        transform=axes.transAxes,
        fontsize=7.5,
        color=INK,
    )
    plain(axes)
