"""Slips of the pen: a setting far outside what the other rows of its zone say."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from wearsim.kernels.arrays import Floats
from wearsim.knifeedge.readings import Readings

FACTOR = 15.0
"""How many times the usual scatter a setting must lie away (judgement; see :func:`slips`)."""
LEAST_FREEDOM = 6
"""Rows less one, times zones less one, below which the scatter is not known well enough to judge by."""
_SHARE, _AT_SHARE = 75.0, 1.1503
"""Percentile of distances that stands for the scatter, and where it lies for a normal one of sigma 1."""
_ROUNDS = 10


def slips(readings: Readings, shape: Floats, least: Floats) -> tuple[str, ...]:
    """A warning for every setting that looks like a slip of the pen: a decimal point, two digits exchanged.

    Rows of one orientation are compared: each less its own zero, each zone less its median over the rows, by
    medians throughout, so that a slip does not hide itself. The usual scatter is taken over all zones, in
    units of `shape`: the third quartile of the distances, brought to one sigma, which a quarter of slips leave
    as it is.

    A setting is warned of where it lies both :data:`FACTOR` times that scatter and `least` away. The factor is a
    judgement: of 3000 normally noisy sheets of each size from 2 to 20 rows and 3 to 12 zones, drawn by chance, one
    or two in a thousand have a setting farther out in the smallest size that is judged, four rows of three zones,
    and none in those of three rows and five zones or more. `least` keeps quiet about
    what would not matter. Nothing is left out of the reduction: only the person knows what was read.

    Parameters
    ----------
    readings : Readings
        The sheet.
    shape : ndarray, shape (n,)
        Sigma of one setting in each zone for a stated sigma of 1 [1].
    least : ndarray, shape (n,)
        Distance below which nothing is said [m].

    Returns
    -------
    tuple of str
        One line each, in the sheet's own unit.
    """
    return tuple(line for rows in _alike(readings) for line in _among(readings, rows, shape, least))


def _alike(readings: Readings) -> list[NDArray[np.int64]]:
    """Rows of one orientation each; a turn by half is none to a surface's second harmonic."""
    if readings.orientation is None:
        return [np.arange(readings.repeats)]
    twice = np.round(np.mod(2.0 * readings.orientation, 2.0 * np.pi) / (2.0 * np.pi), 9) % 1.0
    return [np.flatnonzero(twice == one) for one in np.unique(twice)]


def _among(readings: Readings, rows: NDArray[np.int64], shape: Floats, least: Floats) -> list[str]:
    freedom = (rows.size - 1) * (shape.size - 1)
    if freedom < LEAST_FREEDOM:
        return []
    away = _polished(readings.positions[rows])
    spread = np.sqrt(away.size / freedom) / _AT_SHARE
    usual = float(np.percentile(np.abs(away / shape), _SHARE)) * spread * shape
    far = np.abs(away) > np.maximum(FACTOR * usual, least)
    if rows.size == 2:  # the median lies half way: either may be the slip
        far = far.any(axis=0, keepdims=True)
    return [_line(readings, rows, row, zone, away) for row, zone in np.argwhere(far)]


def _line(readings: Readings, rows: NDArray[np.int64], row: int, zone: int, away: Floats) -> str:
    unit, name = readings.unit, readings.length_unit
    if rows.size == 2:
        which, distance = f"rows {rows[0] + 1} and {rows[1] + 1}", np.ptp(away[:, zone])
        said = f"lie {distance / unit:.3g} {name} apart, their zeros taken out"
    else:
        which, distance = f"row {rows[row] + 1}", abs(away[row, zone])
        said = f"{readings.positions[rows[row], zone] / unit:g} {name} lies {distance / unit:.3g} {name} from the other rows"
    return f"readings, {which}, zone {zone + 1}: {said}, far outside their usual scatter: a slip of the pen?"


def _polished(positions: Floats) -> Floats:
    """What is left of the rows when each row's and each zone's median is taken out, over and over [m]."""
    left = positions - np.median(positions, axis=1, keepdims=True)
    for _ in range(_ROUNDS):
        left = left - np.median(left, axis=0)
        left = left - np.median(left, axis=1, keepdims=True)
    return np.asarray(left, dtype=float)
