"""Radial grids of mirror and lap, finer towards the rim, and how profiles on them are resampled."""

from __future__ import annotations

from functools import cache, lru_cache

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]


def radial_grid(inner: float, outer: float, count: int, rim_share: float) -> Array:
    """Radii from ``inner`` to ``outer``, the last cells ``1 - rim_share`` times as wide as an even grid's.

    Parameters
    ----------
    inner, outer : float
        [m]
    count : int
        Number of radii.
    rim_share : float
        0 = even .. 1 = crowded at the rim [1].

    Returns
    -------
    (count,) ndarray
        [m]
    """
    t = np.linspace(0.0, 1.0, count)
    return inner + (outer - inner) * ((1.0 - rim_share) * t + rim_share * np.sin(0.5 * np.pi * t))


@lru_cache(maxsize=128)
def _table(radius: bytes, cells: int) -> tuple[NDArray[np.int32], Array]:
    nodes = np.frombuffer(radius)
    at = np.linspace(nodes[0], nodes[-1], cells + 1)
    first = np.clip(np.searchsorted(nodes, at, side="right") - 2, 0, nodes.size - 4)
    source = (first[:, None] + np.arange(4)).astype(np.int32)
    x = nodes[source]
    weight = np.ones_like(x)
    for j in range(4):
        for m in range(4):
            if m != j:
                weight[:, j] *= (at - x[:, m]) / (x[:, j] - x[:, m])
    return source, weight


def resampling(radius: Array, cells: int) -> tuple[NDArray[np.int32], Array]:
    """Which nodes, with which weights, make each value of the even table (local cubics through four nodes).

    Parameters
    ----------
    radius : (n,) ndarray
        Grid [m], at least four nodes.
    cells : int
        Cells of the table.

    Returns
    -------
    source : (cells + 1, 4) int32 ndarray
    weight : (cells + 1, 4) ndarray
    """
    return _table(np.ascontiguousarray(radius).tobytes(), cells)


@cache
def gauss_table(most: int = 64) -> Array:
    """Gauss-Legendre nodes and weights on 0..1 for 1 to ``most`` nodes, packed: rule n starts at n (n - 1) / 2.

    Returns
    -------
    (2, most (most + 1) / 2) ndarray
    """
    rules = [np.polynomial.legendre.leggauss(n) for n in range(1, most + 1)]
    nodes = np.concatenate([0.5 * (x + 1.0) for x, _ in rules])
    weights = np.concatenate([0.5 * w for _, w in rules])
    return np.vstack([nodes, weights])
