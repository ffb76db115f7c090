"""At which centre offset the top piece tips off.

It stays up while the load stands inside the hull of the contact region (physics section 2): the foundation
can then always be pressed into a balance. The hull of the overlap of two discs, less a central hole, is the hull
of those points of the overlap's outline that are not over the hole, and of the corners where the hole cuts it.
"""

from __future__ import annotations

from functools import lru_cache

import numpy as np

from wearsim.kernels.arrays import Floats
from wearsim.kernels.quadrature import area_nodes
from wearsim.wear.radial.path_weights import LoadCases
from wearsim.wear.state import gauss_table

# Points of each circle: the hull then lies within 1e-4 of the radius, and its corners are exact.
_OUTLINE = 240
# How far inside the last offset that can be balanced the last one used lies.
INSIDE = 0.998


def _outline(a: float, hole: float, b: float, e: float) -> Floats:
    """Points of the overlap's outline outside the hole, with all corners [m]; shape (n, 2)."""
    turn = np.linspace(-np.pi, np.pi, _OUTLINE, endpoint=False)
    on_a = a * np.column_stack([np.cos(turn), np.sin(turn)])
    on_b = b * np.column_stack([np.cos(turn), np.sin(turn)]) + [e, 0.0]
    near = 1e-12 * a
    points = [
        on_a[np.hypot(on_a[:, 0] - e, on_a[:, 1]) <= b + near],
        on_b[(np.hypot(on_b[:, 0], on_b[:, 1]) <= a + near) & (np.hypot(on_b[:, 0], on_b[:, 1]) >= hole - near)],
    ]
    for radius in (a, hole):
        if e > 0.0 and radius > 0.0:
            x = (e * e + radius * radius - b * b) / (2.0 * e)
            if abs(x) < radius:
                y = np.sqrt(radius * radius - x * x)
                points.append(np.array([[x, y], [x, -y]]))
    ends = [p for p in (a, e + b) if abs(p - e) <= b + near and hole <= p <= a + near]
    points.append(np.array([[p, 0.0] for p in ends]).reshape(-1, 2))
    return np.vstack(points)


def surrounds(points: Floats, load: Floats) -> bool:
    """Whether ``load`` (2,) lies strictly inside the hull of ``points`` (n, 2)."""
    apart = points - load
    turn = np.sort(np.arctan2(apart[:, 1], apart[:, 0]))
    gaps = np.diff(np.append(turn, turn[0] + 2.0 * np.pi))
    return bool(gaps.max() < np.pi)


@lru_cache(maxsize=64)
def tip_offset(a: float, hole: float, b: float, top_is_tool: bool, cases: LoadCases) -> float:
    """Smallest centre offset at which the top piece tips off; ``a, hole, b`` radii of mirror, hole and lap [m]."""

    def is_held_up(e: float) -> bool:
        centre = np.array([e if top_is_tool else 0.0, 0.0])
        points = _outline(a, hole, b, e)
        return len(points) >= 3 and all(surrounds(points, centre + q) for q in cases.position)

    low, high = 0.0, a + b
    for e in np.linspace(0.0, a + b, 101):
        if not is_held_up(float(e)):
            high = float(e)
            break
        low = float(e)
    if high == 0.0:
        return 0.0
    for _ in range(40):
        middle = 0.5 * (low + high)
        low, high = (middle, high) if is_held_up(middle) else (low, middle)
    return low


@lru_cache(maxsize=64)
def balanced_offset(
    a: float, hole: float, b: float, top_is_tool: bool, cases: LoadCases, gain: float, decay: float,
    counts: tuple[int, int],
) -> float:  # fmt: skip
    """Largest centre offset at which the nodes of the contact can still balance the load [m].

    Close to tipping the contact is a sliver at the hull's edge. Where it is thinner than the outermost nodes are
    near to that edge, no pressures on the nodes balance; it is a per cent or so short of tipping.

    Parameters
    ----------
    a, hole, b : float
        Radii of the mirror, its hole and the lap [m].
    gain, decay : float
        Glass-edge effect [1], [m].
    counts : (int, int)
        Area nodes per radius and per half turn.
    """

    def is_balanced(e: float) -> bool:
        x, y, area, plain = (np.empty(64 * 120) for _ in range(4))
        n = area_nodes(a, hole, b, e, gain, decay, *counts, gauss_table(), x, y, area, plain)
        points = np.column_stack([np.tile(x[:n], 2), np.concatenate([y[:n], -y[:n]])])
        centre = np.array([e if top_is_tool else 0.0, 0.0])
        return n > 0 and all(surrounds(points, centre + q) for q in cases.position)

    low, high = 0.0, tip_offset(a, hole, b, top_is_tool, cases)
    for _ in range(20):
        middle = 0.5 * (low + high)
        low, high = (middle, high) if is_balanced(middle) else (low, middle)
    return INSIDE * low
