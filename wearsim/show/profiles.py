"""The panels that plots of outcomes are made of: the surface before and after, and what is removed."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

from wearsim.bench.mirror import Mirror
from wearsim.figure.aperture import spline_matrix
from wearsim.show.lengths import Unit
from wearsim.show.style import AFTER, BAND, BEFORE, INK, LEFT_OUT, REMOVED
from wearsim.wear.grid import Array
from wearsim.wear.outcome import Outcome

if TYPE_CHECKING:
    from matplotlib.axes import Axes

POINTS = 400


def draw_surface(axes: Axes, mirror: Mirror, outcome: Outcome, radial: Unit, high: Unit) -> None:
    """Figure error before and after, with its band.

    Parameters
    ----------
    axes : Axes
    mirror : Mirror
    outcome : Outcome
    radial, high : Unit
        Of radii and of heights.
    """
    r = outcome.radius / radial.size
    if outcome.band is not None:
        low, top = outcome.band.figure_error / high.size
        axes.fill_between(r, low, top, label="after, 5th to 95th percentile", **BAND)
    fine, spline = _fine(outcome.radius)
    axes.plot(fine / radial.size, spline @ outcome.before / high.size, label="before", **BEFORE)
    axes.plot(fine / radial.size, spline @ outcome.figure_error / high.size, label="after", **AFTER)
    axes.axhline(0.0, color=INK, linewidth=0.8)
    draw_left_out(axes, mirror, radial)
    axes.set_xlim(0.0, mirror.radius / radial.size)


def draw_removal(axes: Axes, mirror: Mirror, removal: Array, radius: Array, radial: Unit, high: Unit) -> None:
    """Glass removed, hanging down from the surface it is taken from.

    Parameters
    ----------
    axes : Axes
    mirror : Mirror
    removal, radius : (n,) ndarray
        [m]
    radial, high : Unit
        Of radii and of heights.
    """
    fine, spline = _fine(radius)
    axes.fill_between(fine / radial.size, 0.0, spline @ removal / high.size, **REMOVED)
    axes.set_ylim(max(float(np.max(removal)) / high.size * 1.12, 1.0), 0.0)
    draw_left_out(axes, mirror, radial)
    axes.set_xlim(0.0, mirror.radius / radial.size)


def _fine(radius: Array) -> tuple[Array, Array]:
    """Radii close enough to draw a smooth line, and the spline that takes a profile there."""
    fine = np.linspace(radius[0], radius[-1], POINTS)
    return fine, spline_matrix(radius, fine)


def ordered(axes: Axes) -> dict[str, Any]:
    """Handles and labels for a legend: before, after, then the band."""
    found = dict(zip(*reversed(axes.get_legend_handles_labels()), strict=True))
    labels = sorted(found, key=lambda label: (len(label) > len("before"), label == "after"))
    return {"handles": [found[label] for label in labels], "labels": labels}


def draw_left_out(axes: Axes, mirror: Mirror, radial: Unit) -> None:
    """Hatch what no number counts: the hole, and the ring at the rim."""
    for inner, outer in ((0.0, mirror.hole_radius), (mirror.clear_radius, mirror.radius)):
        if outer > inner:
            axes.axvspan(inner / radial.size, outer / radial.size, **LEFT_OUT)
