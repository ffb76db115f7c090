"""Quadrature nodes of the overlap of mirror and lap at given centre offsets, in polar coordinates, laid out flat.

The mirror's centre is the origin, the lap's centre is at (e, 0); everything is symmetric about the x axis,
so only y >= 0 is kept. Three sets of nodes: *area* nodes for the balance of force and moments, *glass* nodes on
rings of the mirror's grid, *pitch* nodes on rings of the lap's grid.

A ring of radius r about the mirror's centre is covered for |theta| < arccos((r^2 + e^2 - b^2) / (2 r e)). As a
function of r that half angle starts like a square root at r = |b - e|; the radial panels end there and take
r = end + width t^2, which removes the root, so that Gauss-Legendre nodes in t converge fast.

The glass-edge effect E = 1 + g exp(-s/lambda) acts where the lap reaches lambda beyond the rim at that azimuth,
|theta| < theta_E (physics section 2); arcs are split there.

Profiles live on graded grids. For look-up at arbitrary radii they are first resampled onto a fine even table
(:func:`resample`, local cubics), then read linearly; the cell and the fraction of every node are computed once here
and used at every time step.

Symbols: a, hole, b radii of mirror, hole, lap; e offset; gain, decay = g, lambda; all lengths [m].
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from wearsim.kernels._jit import inlined, kernel
from wearsim.kernels.arrays import Floats, Ints


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
def _fill_arc(lo: float, hi: float, count: int, gauss: Floats, angle: Floats, weight: Floats, start: int) -> int:
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
        return _fill_arc(split, hi, _arc_count(hi - split, r, scale, per_turn, least), gauss, angle, weight, n)
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
        # nodes crowd at the rim too: near tipping the whole load is there
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
    along, across = np.cos(theta_e), np.sin(theta_e)
    for j in range(m):
        x[j] = e + rho * np.cos(angle[j])
        y[j] = rho * np.sin(angle[j])
        factor[j] = 1.0
        if theta_e >= np.pi or x[j] * across > y[j] * along:  # within theta_e, both angles in the upper half
            radius = np.sqrt(x[j] * x[j] + y[j] * y[j])
            factor[j] += gain * np.exp(-max(0.0, a - radius) / decay)
        share[j] = weight[j] / np.pi * factor[j]
    return m


class Nodes(NamedTuple):
    """Flat node tables; ``*_start`` (offset i, ring j) points at the first node of a ring or of an offset.

    ``x, y`` are positions [m], ``area_weight`` and ``area_plain`` the weight with and without E [m^2], ``share`` that of
    the ring times E, ``factor`` E. ``area_glass``, ``area_pitch`` and ``cell`` are cells of the fine tables, with the
    fraction in ``part``.
    """

    area_start: np.ndarray  # (n_e + 1,) int
    area_x: np.ndarray
    area_y: np.ndarray
    area_weight: np.ndarray
    area_plain: np.ndarray
    area_glass: np.ndarray
    area_glass_part: np.ndarray
    area_pitch: np.ndarray
    area_pitch_part: np.ndarray
    glass_start: np.ndarray  # (n_e * n_r + 1,) int
    glass_x: np.ndarray
    glass_y: np.ndarray
    glass_share: np.ndarray
    glass_factor: np.ndarray
    glass_cell: np.ndarray
    glass_part: np.ndarray
    pitch_start: np.ndarray  # (n_e * n_rho + 1,) int
    pitch_x: np.ndarray
    pitch_y: np.ndarray
    pitch_share: np.ndarray
    pitch_factor: np.ndarray
    pitch_cell: np.ndarray
    pitch_part: np.ndarray


@inlined
def locate(x: Floats, y: Floats, e: float, low: float, step: float, cells: int, cell: Ints, part: Floats) -> None:
    """Cell and fraction of radii about (e, 0) in an even table that starts at ``low``; outside it is held at the ends."""
    for k in range(x.size):
        radius = np.sqrt((x[k] - e) * (x[k] - e) + y[k] * y[k])
        t = min(max((radius - low) / step, 0.0), cells - 1e-9)
        c = int(t)
        cell[k] = c
        part[k] = t - c


@inlined
def resample(values: Floats, source: Ints, weight: Floats, out: Floats) -> None:
    """``out[k] = sum_m weight[k, m] values[source[k, m]]``: a profile onto its fine even table."""
    for k in range(out.size):
        out[k] = (
            weight[k, 0] * values[source[k, 0]]
            + weight[k, 1] * values[source[k, 1]]
            + weight[k, 2] * values[source[k, 2]]
            + weight[k, 3] * values[source[k, 3]]
        )


@kernel
def build(offsets: Floats, glass_radius: Floats, pitch_radius: Floats, a: float, hole: float, b: float,
          gain: float, decay: float, counts: Ints, gauss: Floats, cells: int) -> Nodes:  # fmt: skip
    """Node tables for the given offsets (n_e,) and grids of the mirror (n_r,) and of the lap (n_rho,).

    Parameters
    ----------
    counts : (3,) int
        Area nodes per mirror radius, area nodes per half turn, ring nodes per half turn.
    gauss : (2, M) float
        Packed Gauss-Legendre nodes and weights on 0..1.
    cells : int
        Of the fine tables.
    """
    n_e, n_r, n_p = offsets.size, glass_radius.size, pitch_radius.size
    cap_a, cap_g, cap_p = n_e * 64 * 120, n_e * n_r * 124, n_e * n_p * 124
    ax, ay, aw, ap = np.empty(cap_a), np.empty(cap_a), np.empty(cap_a), np.empty(cap_a)
    gx, gy, gs, gf = np.empty(cap_g), np.empty(cap_g), np.empty(cap_g), np.empty(cap_g)
    px, py, ps, pf = np.empty(cap_p), np.empty(cap_p), np.empty(cap_p), np.empty(cap_p)
    a_start, g_start, p_start = (
        np.zeros(n_e + 1, np.int64), np.zeros(n_e * n_r + 1, np.int64), np.zeros(n_e * n_p + 1, np.int64),
    )  # fmt: skip
    na, ng, nq = 0, 0, 0
    for i in range(n_e):
        e = offsets[i]
        na += area_nodes(a, hole, b, e, gain, decay, counts[0], counts[1], gauss, ax[na:], ay[na:], aw[na:], ap[na:])
        a_start[i + 1] = na
        for j in range(n_r):
            r = glass_radius[j]
            ng += glass_nodes(r, a, b, e, gain, decay, counts[2], gauss, gx[ng:], gy[ng:], gs[ng:], gf[ng:])
            g_start[i * n_r + j + 1] = ng
        for j in range(n_p):
            r = pitch_radius[j]
            nq += pitch_nodes(r, a, hole, b, e, gain, decay, counts[2], gauss, px[nq:], py[nq:], ps[nq:], pf[nq:])
            p_start[i * n_p + j + 1] = nq
    ag, agp, al, alp = np.empty(na, np.int32), np.empty(na), np.empty(na, np.int32), np.empty(na)
    gc, gp, pc, pp = np.empty(ng, np.int32), np.empty(ng), np.empty(nq, np.int32), np.empty(nq)
    locate(ax[:na], ay[:na], 0.0, hole, (a - hole) / cells, cells, ag, agp)
    for i in range(n_e):
        s, t = a_start[i], a_start[i + 1]
        locate(ax[s:t], ay[s:t], offsets[i], 0.0, b / cells, cells, al[s:t], alp[s:t])
        s, t = g_start[i * n_r], g_start[(i + 1) * n_r]
        locate(gx[s:t], gy[s:t], offsets[i], 0.0, b / cells, cells, gc[s:t], gp[s:t])
    locate(px[:nq], py[:nq], 0.0, hole, (a - hole) / cells, cells, pc, pp)
    return Nodes(
        a_start, ax[:na].copy(), ay[:na].copy(), aw[:na].copy(), ap[:na].copy(), ag, agp, al, alp,
        g_start, gx[:ng].copy(), gy[:ng].copy(), gs[:ng].copy(), gf[:ng].copy(), gc, gp,
        p_start, px[:nq].copy(), py[:nq].copy(), ps[:nq].copy(), pf[:nq].copy(), pc, pp,
    )  # fmt: skip
