"""Profiles as means over zones of radius, narrower towards the rim, where mirrors are lost."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from wearsim.bench.mirror import Mirror
from wearsim.figure.aperture import ring_nodes, spline_matrix
from wearsim.wear.grid import Array

EDGES = (0.0, 0.2, 0.35, 0.5, 0.6, 0.7, 0.78, 0.85, 0.9, 0.94, 0.97, 1.0)
"""Of the clear radius [1]."""


@dataclass(frozen=True)
class Zones:
    """Zones of a mirror and the means over them.

    Parameters
    ----------
    edges : (z + 1,) ndarray
        Radii between the zones [m]; the last zone is the ring that is left out of the numbers, if there is one.
    clear : int
        Zones inside the clear aperture.
    matrix : (z, n) ndarray
        From a profile to its area means over the zones [1].
    """

    edges: Array
    clear: int
    matrix: Array


def zones_of(mirror: Mirror, radius: Array) -> Zones:
    """Zones for profiles on one grid.

    Parameters
    ----------
    mirror : Mirror
    radius : (n,) ndarray
        [m]
    """
    edges = mirror.clear_radius * np.array(EDGES)
    edges = np.concatenate([[mirror.hole_radius], edges[edges > mirror.hole_radius * (1.0 + 1e-9)]])
    clear = edges.size - 1
    if mirror.rim_excluded > 0.0:
        edges = np.append(edges, mirror.radius)
    rows = []
    for inner, outer in pairwise(edges):
        nodes, weights = ring_nodes(radius, float(inner), float(outer))
        rows.append(weights @ spline_matrix(radius, nodes))
    return Zones(edges, clear, np.array(rows))
