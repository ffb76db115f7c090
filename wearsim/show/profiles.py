"""Profiles of the surface before and after and of what is removed: as means over rings, and as the panels of plots.

``radial`` and ``high`` are the units of radii and of heights.
"""

from __future__ import annotations

import textwrap
from dataclasses import dataclass
from itertools import pairwise
from typing import TYPE_CHECKING, Any

import numpy as np

from wearsim.bench.mirror import Mirror
from wearsim.bench.units import LengthUnit
from wearsim.figure.aperture import annulus_nodes, spline_matrix
from wearsim.kernels.arrays import Floats
from wearsim.show.style import AFTER, BAND, BAND_BEFORE, BAND_REMOVED, BEFORE, INK, LEAST_REMOVED, LEFT_OUT, REMOVED
from wearsim.show.text import banded
from wearsim.wear.outcome import Outcome

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure, SubFigure


EDGES = (0.0, 0.2, 0.35, 0.5, 0.6, 0.7, 0.78, 0.85, 0.9, 0.94, 0.97, 1.0)
"""Edges of the rings of a table, as shares of the clear radius [1]."""


@dataclass(frozen=True)
class RingMeans:
    """Rings of a mirror, narrower towards the rim, where mirrors are lost, and the means over them.

    Parameters
    ----------
    edges : (z + 1,) ndarray
        Radii between the rings [m]; the last is the ring that is left out of the numbers, if there is one.
    clear : int
        Rings inside the clear aperture.
    matrix : (z, n) ndarray
        From a profile to its area means over the rings [1].
    """

    edges: Floats
    clear: int
    matrix: Floats

    def names(self, unit: LengthUnit) -> list[str]:
        """Every ring from edge to edge, a star before what is left out of the numbers."""
        return [
            f"{'*' * (i >= self.clear)}{unit.number(inner)}-{unit.number(outer)}"
            for i, (inner, outer) in enumerate(pairwise(self.edges))
        ]

    def cells(self, outcome: Outcome, high: LengthUnit) -> tuple[list[tuple[str, str]], ...]:
        """Means of the surface before, of what is removed and of the surface after, with their bands, in writing."""
        profiles, band = (outcome.before, outcome.removal, outcome.figure_error), outcome.band
        bands = (None, None, None) if band is None else (band.before, band.removal, band.figure_error)
        return tuple(
            banded(self.matrix @ profile, None if ends is None else self.matrix @ ends.T, high.number)
            for profile, ends in zip(profiles, bands, strict=True)
        )

    @property
    def note(self) -> str:
        """What the stars mean; empty where there are none."""
        return "* outside the clear aperture, not counted below. " if len(self.matrix) > self.clear else ""


def ring_means(mirror: Mirror, radius: Floats) -> RingMeans:
    """Rings for profiles on radii (n,) [m]."""
    edges = mirror.clear_radius * np.array(EDGES)
    edges = np.concatenate([[mirror.hole_radius], edges[edges > mirror.hole_radius * (1.0 + 1e-9)]])
    clear = edges.size - 1
    if mirror.rim_excluded > 0.0:
        edges = np.append(edges, mirror.radius)
    rows = []
    for inner, outer in pairwise(edges):
        nodes, weights = annulus_nodes(radius, float(inner), float(outer))
        rows.append(weights @ spline_matrix(radius, nodes))
    return RingMeans(edges, clear, np.array(rows))


POINTS = 400
LETTERS_AN_INCH = 8.0
"""Letters of a title per inch, at least."""
BAND_WORDS = "90% band"


def draw_profiles(
    figure: Figure | SubFigure, mirror: Mirror, outcome: Outcome, title: str, radial: LengthUnit, high: LengthUnit
) -> None:
    """The surface before and after, and the removal beneath it on the same radii."""
    surface, removal = figure.subplots(2, 1, sharex=True, height_ratios=[2.4, 1.0])
    draw_surface(surface, mirror, outcome, radial, high)
    surface.set_ylabel(f"surface above the target [{high.name}]")
    surface.legend(**legend_entries(surface), loc="lower center", bbox_to_anchor=(0.5, 1.0), ncols=3)
    surface.set_title(_broken(title, surface), pad=28)
    draw_removal(removal, mirror, outcome, radial, high)
    _removal_legend(removal)
    removal.set_ylabel(f"removed [{high.name}]")
    removal.set_xlabel(f"radius on the mirror [{radial.name}] (hatched: not counted)")


def _broken(title: str, axes: Axes) -> str:
    """A title in lines that the panel has room for, whatever the units of its numbers."""
    inches = axes.get_subplotspec().get_gridspec().figure.bbox.width / axes.figure.dpi  # type: ignore[union-attr]
    return "\n".join(textwrap.fill(line, max(20, int(LETTERS_AN_INCH * inches))) for line in title.split("\n"))


def draw_surface(axes: Axes, mirror: Mirror, outcome: Outcome, radial: LengthUnit, high: LengthUnit) -> None:
    """Figure error before and after, with their bands."""
    r = outcome.radius / radial.size
    if outcome.band is not None:
        axes.fill_between(r, *outcome.band.figure_error / high.size, label=f"after, {BAND_WORDS}", **BAND)
        if outcome.band.before is not None:
            axes.fill_between(r, *outcome.band.before / high.size, label=f"before, {BAND_WORDS}", **BAND_BEFORE)
    fine, spline = _fine(outcome.radius)
    axes.plot(fine / radial.size, spline @ outcome.before / high.size, label="before", **BEFORE)
    axes.plot(fine / radial.size, spline @ outcome.figure_error / high.size, label="after", **AFTER)
    axes.axhline(0.0, color=INK, linewidth=0.8)
    draw_left_out(axes, mirror, radial)
    axes.set_xlim(0.0, mirror.radius / radial.size)


def draw_removal(axes: Axes, mirror: Mirror, outcome: Outcome, radial: LengthUnit, high: LengthUnit) -> None:
    """Glass removed, hanging down from the surface it is taken from, with its band."""
    fine, spline = _fine(outcome.radius)
    if outcome.band is not None and outcome.band.removal is not None:
        r, (least, most) = outcome.radius / radial.size, outcome.band.removal / high.size
        axes.fill_between(r, least, most, label=f"removed, {BAND_WORDS}", **BAND_REMOVED)
        axes.plot(r, least, **LEAST_REMOVED)  # else the removal would hide it
    axes.fill_between(fine / radial.size, 0.0, spline @ outcome.removal / high.size, label="removed", **REMOVED)
    axes.set_ylim(max(deepest_removal(outcome) / high.size * 1.12, 1.0), 0.0)
    draw_left_out(axes, mirror, radial)
    axes.set_xlim(0.0, mirror.radius / radial.size)


def deepest_removal(outcome: Outcome) -> float:
    """Largest removal, or upper end of its band [m]."""
    band = outcome.band
    return float(np.max(outcome.removal if band is None or band.removal is None else band.removal[1]))


def _fine(radius: Floats) -> tuple[Floats, Floats]:
    """Radii close enough to draw a smooth line, and the spline that takes a profile there."""
    fine = np.linspace(radius[0], radius[-1], POINTS)
    return fine, spline_matrix(radius, fine)


def legend_entries(axes: Axes) -> dict[str, Any]:
    """What a legend is made with: before, after, then the bands, which share an entry where there are two."""
    from matplotlib.legend_handler import HandlerTuple

    found: dict[str, Any] = dict(zip(*reversed(axes.get_legend_handles_labels()), strict=True))
    bands = [found.pop(f"{when}, {BAND_WORDS}", None) for when in ("before", "after")]
    if all(bands):
        found[f"before, after: {BAND_WORDS}"] = tuple(bands)
    elif bands[1]:
        found[f"after, {BAND_WORDS}"] = bands[1]
    return {"handles": list(found.values()), "labels": list(found), "handler_map": {tuple: HandlerTuple(ndivide=None)}}


def _removal_legend(axes: Axes) -> None:
    """Above the removal, where its band is drawn: what is which."""
    handles, labels = axes.get_legend_handles_labels()
    if len(labels) > 1:
        axes.legend(handles[::-1], labels[::-1], loc="lower center", bbox_to_anchor=(0.5, 1.0), ncols=2, borderpad=0.1)


def draw_left_out(axes: Axes, mirror: Mirror, radial: LengthUnit) -> None:
    """Hatch what no number counts: the hole, and the ring at the rim."""
    for inner, outer in ((0.0, mirror.hole_radius), (mirror.clear_radius, mirror.radius)):
        if outer > inner:
            axes.axvspan(inner / radial.size, outer / radial.size, **LEFT_OUT)
