"""Quadrature nodes of the overlap of mirror and lap at a given centre offset, in polar coordinates.

The mirror's centre is the origin, the lap's centre stands at (e, 0); everything is symmetric about the x axis,
so only y >= 0 is kept. Three sets of nodes: *area* nodes for the balance of force and moments, *glass* nodes on
rings of the mirror's grid, *pitch* nodes on rings of the lap's grid.

A ring of radius r about the mirror's centre is covered for |theta| < arccos((r^2 + e^2 - b^2) / (2 r e)). As a
function of r that half angle starts like a square root at r = |b - e|; the radial panels end there and take
r = end + width t^2, which removes the root, so that Gauss-Legendre nodes in t converge fast.

The glass-edge effect E = 1 + g exp(-s/lambda) acts where the lap reaches lambda beyond the rim at that azimuth,
|theta| < theta_E (physics section 2); arcs are split there.

Symbols: a, hole, b radii of mirror, hole, lap; e offset; gain, decay = g, lambda; all lengths [m].
"""

from __future__ import annotations

import numpy as np

from wearsim.kernels._jit import Floats, inlined


@inlined
def half_arc(r: float, e: float, b: float) -> float:
    """Half angle [rad] over which the ring of radius r lies inside a disc of radius b centred at distance e."""
    if r + e <= b:
        return np.pi
    if abs(r - e) >= b:
        return 0.0
    return float(np.arccos(min(1.0, max(-1.0, (r * r + e * e - b * b) / (2.0 * r * e)))))


@inlined
def edge_azimuth(a: float, b: float, e: float, gain: float, decay: float) -> float:
    """Half angle [rad] within which the glass-edge effect acts; 0 where it does not."""
    if gain == 0.0:
        return 0.0
    return half_arc(a + decay, e, b)


@inlined
def _fill_arc(
    lo: float, hi: float, count: int, gauss: Floats, angle: Floats, weight: Floats, start: int
) -> int:
    """Gauss-Legendre nodes on an arc; midpoints on a whole half circle, where they converge faster."""
    width = hi - lo
    if width > 3.14159265358979:
        for j in range(count):
            angle[start + j] = lo + width * (j + 0.5) / count
            weight[start + j] = width / count
    else:
        first = count * (count - 1) // 2
        for j in range(count):
            angle[start + j] = lo + width * gauss[0, first + j]
            weight[start + j] = width * gauss[1, first + j]
    return start + count


@inlined
def _arc_count(width: float, radius: float, scale: float, per_turn: int, least: int) -> int:
    """Nodes of an arc: in step with its length, on short radii with its angle too; ``scale`` the smaller disc."""
    return min(60, max(least, int(np.ceil(per_turn * width / np.pi * (0.35 + 0.65 * radius / scale)))))


@inlined
def ring_nodes(r: float, lo: float, hi: float, split: float, per_turn: int, least: int, scale: float,
               gauss: Floats, angle: Floats, weight: Floats) -> int:  # fmt: skip
    """Nodes of the arc lo..hi of one ring, split at ``split`` if that lies inside; returns how many."""
    if hi <= lo:
        return 0
    if lo < split < hi:
        n = _fill_arc(lo, split, _arc_count(split - lo, r, scale, per_turn, least), gauss, angle, weight, 0)
        return _fill_arc(
            split, hi, _arc_count(hi - split, r, scale, per_turn, least), gauss, angle, weight, n
        )
    return _fill_arc(lo, hi, _arc_count(hi - lo, r, scale, per_turn, least), gauss, angle, weight, 0)


@inlined
def radial_panels(a: float, hole: float, b: float, e: float, rim: float, edges: Floats) -> int:
    """Ends of the radial panels of the overlap, ascending, in ``edges``; ``rim`` = width of the rim layer."""
    lo, hi = max(hole, e - b), min(a, e + b)
    if hi <= lo:
        return 0
    edges[0] = lo
    n = 1
    first, second = abs(b - e), a - rim
    if rim <= 0.0:
        second = lo
    for value in (min(first, second), max(first, second)):
        if value > edges[n - 1] * (1 + 1e-9) + 1e-12 and value < hi * (1 - 1e-9):
            edges[n] = value
            n += 1
    edges[n] = hi
    return n


@inlined
def area_nodes(a: float, hole: float, b: float, e: float, gain: float, decay: float, per_radius: int,
               per_turn: int, gauss: Floats, x: Floats, y: Floats, area: Floats, plain: Floats) -> int:  # fmt: skip
    """Area nodes: positions, weight times E, bare weight [m^2] of the upper half; returns how many."""
    scale = min(a, b)
    edges = np.empty(6)
    angle, weight = np.empty(128), np.empty(128)
    theta_e = edge_azimuth(a, b, e, gain, decay)
    panels = radial_panels(a, hole, b, e, 3.0 * decay if theta_e > 0.0 else 0.0, edges)
    # where the hole cuts the overlap near tipping, the load stands on its two corners
    least = 12 if hole > 0.0 and hole + e > b else 4
    n = 0
    for panel in range(panels):
        p, q = edges[panel], edges[panel + 1]
        left = e > 0.0 and (abs(p - abs(b - e)) < 1e-9 * a or (p == hole and hole + e > b))
        # nodes crowd at the rim too: near tipping the whole load stands there
        right = e > 0.0 and (abs(q - (e + b)) < 1e-9 * a or abs(q - a) < 1e-9 * a)
        count = min(60, max(5, int(np.ceil(per_radius * (q - p) / scale)) + 2))
        first = count * (count - 1) // 2
        for i in range(count):
            t, wt = gauss[0, first + i], gauss[1, first + i]
            s, ds = t, 1.0
            if left and right:
                s, ds = t * t * (3.0 - 2.0 * t), 6.0 * t * (1.0 - t)
            elif left:
                s, ds = t * t, 2.0 * t
            elif right:
                s, ds = t * (2.0 - t), 2.0 * (1.0 - t)
            r = p + (q - p) * s
            edge = gain * np.exp(-(a - r) / decay) if theta_e > 0.0 else 0.0
            split = theta_e if a - r < 3.0 * decay else 0.0
            m = ring_nodes(r, 0.0, half_arc(r, e, b), split, per_turn, least, scale, gauss, angle, weight)
            for j in range(m):
                x[n] = r * np.cos(angle[j])
                y[n] = r * np.sin(angle[j])
                plain[n] = weight[j] * wt * ds * (q - p) * r
                area[n] = plain[n] * (1.0 + (edge if angle[j] < theta_e else 0.0))
                n += 1
    return n


@inlined
def glass_nodes(r: float, a: float, b: float, e: float, gain: float, decay: float, per_turn: int,
                gauss: Floats, x: Floats, y: Floats, share: Floats, factor: Floats) -> int:  # fmt: skip
    """Nodes of one ring of the glass: positions, weight/pi times E, E; returns how many."""
    angle, weight = np.empty(128), np.empty(128)
    theta_e = edge_azimuth(a, b, e, gain, decay)
    edge = gain * np.exp(-(a - r) / decay) if theta_e > 0.0 else 0.0
    split = theta_e if edge > 1e-3 else 0.0
    m = ring_nodes(r, 0.0, half_arc(r, e, b), split, per_turn, 4, min(a, b), gauss, angle, weight)
    for j in range(m):
        x[j] = r * np.cos(angle[j])
        y[j] = r * np.sin(angle[j])
        factor[j] = 1.0 + (edge if angle[j] < theta_e else 0.0)
        share[j] = weight[j] / np.pi * factor[j]
    return m


@inlined
def pitch_nodes(rho: float, a: float, hole: float, b: float, e: float, gain: float, decay: float,
                per_turn: int, gauss: Floats, x: Floats, y: Floats, share: Floats, factor: Floats) -> int:  # fmt: skip
    """Nodes of one ring of the lap: positions in the mirror's frame, weight/pi times E, E; returns how many."""
    angle, weight = np.empty(128), np.empty(128)
    theta_e = edge_azimuth(a, b, e, gain, decay)
    outside = np.pi - half_arc(rho, e, a)
    inside = np.pi - half_arc(rho, e, hole) if hole > 0.0 else np.pi
    split = 0.0
    if 0.0 < theta_e < np.pi:  # where the ray at theta_E cuts this ring, measured about the lap's centre
        reach = rho * rho - (e * np.sin(theta_e)) ** 2
        if reach > 0.0:
            cut = e * np.cos(theta_e) + np.sqrt(reach)
            if cut <= a:
                split = np.arctan2(cut * np.sin(theta_e), cut * np.cos(theta_e) - e)
    m = ring_nodes(rho, outside, inside, split, per_turn, 4, min(a, b), gauss, angle, weight)
    for j in range(m):
        x[j] = e + rho * np.cos(angle[j])
        y[j] = rho * np.sin(angle[j])
        radius = np.hypot(x[j], y[j])
        azimuth = np.arctan2(y[j], x[j])
        factor[j] = 1.0
        if theta_e > 0.0 and azimuth < theta_e:
            factor[j] += gain * np.exp(-max(0.0, a - radius) / decay)
        share[j] = weight[j] / np.pi * factor[j]
    return m
