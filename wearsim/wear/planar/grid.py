"""The two grids of the planar engine: areas and rims, heights at the start, and where a lap has pitch.

Facets between channels, rings and stars are masks in the lap's own frame.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray

from wearsim.errors import InputError
from wearsim.kernels.arrays import Floats
from wearsim.kernels.planar_grid import GlassGrid, PitchGrid

MARGIN = 6  # cells round either piece, so that a reading beyond its rim stays on the grid
SAMPLES = 16  # to each side of a cell, where the area of its part is counted

Mask = Callable[[Floats, Floats], NDArray[np.bool_]]


def across_glass(radius: float, cells: int) -> Floats:
    """Coordinates of the mirror's columns (and rows): `cells` over the diameter, and a margin [m]."""
    return _centred(cells + 2 * MARGIN, 2.0 * radius / cells)


def across_lap(radius: float, glass_across: Floats) -> Floats:
    """Coordinates of the lap's columns: size and parity of the glass's, so that the grids can coincide [m]."""
    size = float(glass_across[1] - glass_across[0])
    count = int(np.ceil(2.0 * radius / size - 1e-9)) + 2 * MARGIN
    return _centred(count + (count - glass_across.size) % 2, size)


def _centred(count: int, size: float) -> Floats:
    return np.asarray((np.arange(count) - 0.5 * (count - 1)) * size, dtype=np.float64)


def cell_of(piece: GlassGrid | PitchGrid) -> float:
    """Size of a grid's cells [m]."""
    return float(piece.across[1] - piece.across[0])


def annulus(across: Floats, inner: float, outer: float) -> Floats:
    """Share of every cell that lies between two radii [m], their rims included ``(n, n)`` [1].

    Counted as in :func:`part_of_cells`, but only in cells that a rim can cut.
    """
    size, distance = across[1] - across[0], np.hypot(across, across[:, None])
    share = ((distance < outer) & (distance > inner)).astype(np.float64)
    rows, columns = np.nonzero((np.abs(distance - outer) < size) | (np.abs(distance - inner) < size))
    fine = _within_cell(size, SAMPLES)
    for cut in np.array_split(np.arange(rows.size), 1 + rows.size // across.size):
        x, y = across[columns[cut], None, None] + fine, across[rows[cut], None, None] + fine[:, None]
        square = x**2 + y**2
        share[rows[cut], columns[cut]] = ((square <= outer**2) & (square >= inner**2)).mean(axis=(1, 2))
    return share


def part_of_cells(across: Floats, inside: Mask, samples: int = SAMPLES) -> Floats:
    """Share of every cell where ``inside(x, y)`` holds, counted on a fine grid: ``(n, n)`` [1]."""
    fine = _within_cell(across[1] - across[0], samples)
    columns = (across[:, None] + fine).ravel()
    share = np.empty((across.size, across.size))
    for j, y in enumerate(across):
        hit = inside(columns[None, :], (y + fine)[:, None])
        share[j] = hit.reshape(samples, across.size, samples).mean(axis=(0, 2))
    return share


def _within_cell(size: float, samples: int) -> Floats:
    """Places across a cell of this size, from its middle, at which its part is counted [m]."""
    return np.asarray(((np.arange(samples) + 0.5) / samples - 0.5) * size)


def glass_of(radius: float, hole: float, across: Floats, edge_gain: float, edge_length: float) -> GlassGrid:
    """Lay out what stays of the mirror, its columns and rows at ``across`` (n,) [m] (physics section 2).

    Parameters
    ----------
    radius, hole : float
        Of the outer rim and of the central hole [m].
    edge_gain, edge_length : float
        Gain g of the glass-edge effect [1], and its length lambda [m].
    """
    size = float(across[1] - across[0])
    area = annulus(across, hole, radius) * size**2
    distance = np.hypot(across[None, :], across[:, None])
    # carried on beyond the rim, as heights are, so that a reading at the rim sees a smooth field
    gain = edge_gain * np.exp(-np.maximum(radius - distance, -edge_length) / edge_length)
    width = np.clip(radius - distance + 0.5 * size, 1e-3 * size, size)
    inward = np.minimum(1.0, (radius - 0.5 * width) / np.maximum(distance, size))
    # floats, whatever came: a number of another type would compile every kernel again
    numbers = [float(value) for value in (radius, hole, edge_gain, edge_length, radius + edge_length)]
    return GlassGrid(area, gain, distance, inward, width, across, *numbers)


def pitch_of(radius: float, across: Floats, stiffness: float, mask: Mask | None = None) -> PitchGrid:
    """Lay out what stays of the lap, its columns and rows at ``across`` (m,) [m].

    Facets carry ``stiffness / fraction``, so that the mean is the whole lap's.

    Parameters
    ----------
    stiffness : float
        Foundation modulus per nominal area [Pa/m].
    mask : callable, optional
        ``mask(x, y)`` true where there is pitch, in the lap's frame [m]; a whole lap without.

    Raises
    ------
    InputError
        If the mask leaves no pitch.
    """
    size = float(across[1] - across[0])
    distance = np.hypot(across[None, :], across[:, None])
    inward = np.minimum(1.0, (radius - 0.5 * size) / np.maximum(distance, size))
    if mask is None:
        return PitchGrid(np.ones((1, 1)), inward, across, float(radius), float(stiffness))
    share = part_of_cells(across, mask)
    fraction = pitch_fraction(share, radius, across)
    if fraction <= 0.0:
        raise InputError("the channels leave no pitch on the lap", key="lap.channel")
    return PitchGrid(share, inward, across, float(radius), float(stiffness / fraction))


def pitch_fraction(share: Floats, radius: float, across: Floats) -> float:
    """Share of the lap's disc that is pitch [1]."""
    disc = annulus(across, 0.0, radius)
    return float(np.sum(share * disc) / np.sum(disc))


def round_map(radius: Floats, height: Floats, piece: GlassGrid | PitchGrid) -> Floats:
    """A round surface on a piece's grid, carried on three cells beyond its rims ``(n, n)`` [m].

    By a cubic spline through ``height`` at increasing ``radius``, (k,) each [m], which also carries it on.
    """
    # slow to import; the radial engine never comes by here
    from scipy.interpolate import CubicSpline

    ends = ((1, 0.0), "not-a-knot") if radius[0] == 0.0 else "not-a-knot"
    hole, beyond = piece.hole if isinstance(piece, GlassGrid) else 0.0, 3.0 * cell_of(piece)
    distance = np.hypot(piece.across[None, :], piece.across[:, None])
    spline = CubicSpline(radius, height, bc_type=ends)
    return np.asarray(spline(np.clip(distance, max(0.0, hole - beyond), piece.radius + beyond)), dtype=np.float64)


def used_cells(glass: GlassGrid) -> NDArray[np.bool_]:
    """Cells more than half full of glass: what a measured map is believed in ``(n, n)``."""
    return np.asarray(glass.area > 0.5 * cell_of(glass) ** 2)


def carry_on(height: Floats, glass: GlassGrid) -> Floats:
    """Carry a measured map ``(n, n)`` [m] on beyond the glass's rims, straight along the radius.

    Values in cells less than half full of glass are not used.
    """
    size = cell_of(glass)
    out = np.where(used_cells(glass), height, 0.0)
    for rim, sign in ((glass.radius, 1.0), (glass.hole, -1.0)):
        base = rim - sign * 1.6 * size
        lost = ~used_cells(glass) & (sign * (glass.distance - base) > 0.0) & (glass.distance < rim + 5 * size)
        if rim > 0.0 and lost.any():
            y, x = glass.across[np.nonzero(lost)[0]], glass.across[np.nonzero(lost)[1]]
            distance = np.maximum(glass.distance[lost], 1e-9 * size)
            step = np.minimum(np.abs(distance - base), 3.0 * size)
            one = read_map(out, glass.across, x * base / distance, y * base / distance)
            inner = base - sign * step
            two = read_map(out, glass.across, x * inner / distance, y * inner / distance)
            out[lost] = 2.0 * one - two
    return out


def pressed_lap(w: Floats, glass: GlassGrid, pitch: PitchGrid) -> Floats:
    """Pitch that has taken the glass's shape: -w; beyond the glass the value at its nearest edge (section 4)."""
    size = cell_of(glass)
    x, y = np.broadcast_arrays(pitch.across[None, :], pitch.across[:, None])
    distance = np.hypot(x, y)
    # a lap no larger than the glass has no pitch beyond it: there the surface is only carried on
    most = glass.radius if pitch.radius > glass.radius + 0.01 * size else glass.radius + 3.0 * size
    factor = np.clip(distance, glass.hole, most) / np.maximum(distance, 1e-9 * size)
    return -read_map(w, glass.across, x * factor, y * factor)


def read_map(field: Floats, across: Floats, x: Floats, y: Floats) -> Floats:
    """Read a square map at any places by bilinear interpolation."""
    size, last = across[1] - across[0], across.size - 2
    column, row = (x - across[0]) / size, (y - across[0]) / size
    i = np.clip(np.floor(column + 1e-9).astype(int), 0, last)
    j = np.clip(np.floor(row + 1e-9).astype(int), 0, last)
    right, up = np.clip(column - i, 0.0, 1.0), np.clip(row - j, 0.0, 1.0)
    below = field[j, i] * (1.0 - right) + field[j, i + 1] * right
    above = field[j + 1, i] * (1.0 - right) + field[j + 1, i + 1] * right
    return np.asarray(below * (1.0 - up) + above * up)


def ring_mean(field: Floats, across: Floats, radius: Floats, azimuths: int = 720) -> Floats:
    """Mean of a map over the circles of these radii ``(k,)``."""
    angle = 2.0 * np.pi * (np.arange(azimuths) + 0.5) / azimuths
    values = read_map(field, across, radius[:, None] * np.cos(angle), radius[:, None] * np.sin(angle))
    return np.asarray(values.mean(axis=1))


def facets(shape: str, facet: float, channel: float, offset: tuple[float, float] = (0.0, 0.0)) -> Mask | None:
    """Facets of a lap, or None for a whole one: their width across flats, that of the channels between them [m].

    The middle of a facet lies at ``offset`` from the lap's centre [m].

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
