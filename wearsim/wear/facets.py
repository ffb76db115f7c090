"""Where a lap has pitch: facets between channels, rings and stars, as masks in the lap's own frame."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from wearsim.errors import InputError
from wearsim.kernels.planar_pieces import Floats
from wearsim.wear.planar_grid import Mask


def facets(shape: str, facet: float, channel: float, offset: tuple[float, float] = (0.0, 0.0)) -> Mask | None:
    """Facets of a lap, or None for a whole one.

    Parameters
    ----------
    shape : {"square", "hexagonal", "none"}
    facet : float
        Width of a facet across its flats [m].
    channel : float
        Width of a channel [m].
    offset : (float, float)
        Where the middle of a facet lies, from the lap's centre [m].

    Raises
    ------
    InputError
        If the shape is not one of these.
    """
    if shape == "none" or (channel == 0.0 and shape in ("square", "hexagonal")):
        return None
    if shape == "square":
        return lambda x, y: _square(x - offset[0], y - offset[1], facet, channel)
    if shape == "hexagonal":
        return lambda x, y: _hexagonal(x - offset[0], y - offset[1], facet, channel)
    raise InputError(
        "unknown shape of facets", key="lap.facet_shape", value=shape, expected="square, hexagonal or none"
    )


def _square(x: Floats, y: Floats, facet: float, channel: float) -> NDArray[np.bool_]:
    period = facet + channel
    inside = [np.abs(np.mod(z + period / 2, period) - period / 2) < facet / 2 for z in (x, y)]
    return np.asarray(inside[0] & inside[1])


def _hexagonal(x: Floats, y: Floats, facet: float, channel: float) -> NDArray[np.bool_]:
    """Hexagons on a triangular lattice, one in the middle of the origin."""
    period = facet + channel
    row = y / (period * np.sqrt(0.75))
    column = x / period - 0.5 * row
    nearest = np.full(np.broadcast(x, y).shape, np.inf)
    for up in (0, 1):
        for right in (0, 1):
            j, i = np.floor(row) + up, np.floor(column) + right
            dx, dy = x - period * (i + 0.5 * j), y - period * np.sqrt(0.75) * j
            flats = [np.abs(dx * np.cos(angle) + dy * np.sin(angle)) for angle in np.pi / 3.0 * np.arange(3)]
            nearest = np.minimum(nearest, np.maximum.reduce(flats))
    return np.asarray(nearest < facet / 2)


def ring(inner: float, outer: float) -> Mask:
    """Pitch between two radii [m] only: a ring lap."""
    return lambda x, y: np.asarray((np.hypot(x, y) >= inner) & (np.hypot(x, y) <= outer))


def star(points: int, inner: float, outer: float) -> Mask:
    """Pitch out to a radius that runs straight from ``inner`` between the points to ``outer`` at them [m]."""

    def mask(x: Floats, y: Floats) -> NDArray[np.bool_]:
        turned = np.mod(np.arctan2(y, x) * points / (2.0 * np.pi) + 0.5, 1.0) - 0.5
        return np.asarray(np.hypot(x, y) <= outer - (outer - inner) * 2.0 * np.abs(turned))

    return mask


def both(one: Mask | None, other: Mask | None) -> Mask | None:
    """Pitch where both masks have it."""
    if one is None or other is None:
        return one or other
    return lambda x, y: np.asarray(one(x, y) & other(x, y))
