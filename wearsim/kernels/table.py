"""All quadrature nodes of a list of centre offsets, laid out flat, with the places where heights are looked up.

Profiles live on the project's graded grids. For look-up at arbitrary radii they are first resampled onto a fine
even table (:func:`resample`, local cubics), then read linearly; the cell and the fraction of every node are
computed once here and used at every time step.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from wearsim.kernels._jit import Floats, Ints, inlined, kernel
from wearsim.kernels.nodes import area_nodes, glass_nodes, pitch_nodes


class Nodes(NamedTuple):
    """Flat node tables; ``*_start`` (offset i, ring j) points at the first node of a ring or of an offset.

    Attributes
    ----------
    area_start : (n_e + 1,) int
    area_x, area_y, area_weight, area_plain : (N_a,) positions [m], weight with and without E [m^2]
    area_glass, area_pitch : (N_a,) int cells of the fine tables; ``*_part`` the fractions [1]
    glass_start : (n_e * n_r + 1,) int
    glass_x, glass_y, glass_share, glass_factor : (N_g,) positions [m], share of the ring times E, E
    pitch_start, pitch_x, ... : the same for the rings of the lap
    """

    area_start: np.ndarray
    area_x: np.ndarray
    area_y: np.ndarray
    area_weight: np.ndarray
    area_plain: np.ndarray
    area_glass: np.ndarray
    area_glass_part: np.ndarray
    area_pitch: np.ndarray
    area_pitch_part: np.ndarray
    glass_start: np.ndarray
    glass_x: np.ndarray
    glass_y: np.ndarray
    glass_share: np.ndarray
    glass_factor: np.ndarray
    glass_cell: np.ndarray
    glass_part: np.ndarray
    pitch_start: np.ndarray
    pitch_x: np.ndarray
    pitch_y: np.ndarray
    pitch_share: np.ndarray
    pitch_factor: np.ndarray
    pitch_cell: np.ndarray
    pitch_part: np.ndarray


@inlined
def locate(radius: Floats, low: float, step: float, cells: int, cell: Ints, part: Floats) -> None:
    """Cell and fraction of a radius in an even table that starts at ``low``; outside it is held at the ends."""
    for k in range(radius.size):
        t = min(max((radius[k] - low) / step, 0.0), cells - 1e-9)
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
    """Node tables for the given offsets.

    Parameters
    ----------
    offsets : (n_e,) float [m]
    glass_radius, pitch_radius : (n_r,), (n_rho,) float [m]
        Grids of the mirror and of the lap.
    a, hole, b : float [m]
    gain, decay : float
        Glass-edge effect [1], [m].
    counts : (3,) int
        Area nodes per mirror radius, area nodes per half turn, ring nodes per half turn.
    gauss : (2, M) float
        Packed Gauss-Legendre nodes and weights on 0..1.
    cells : int
        Cells of the fine tables.
    """
    n_e, n_r, n_p = offsets.size, glass_radius.size, pitch_radius.size
    cap_a = n_e * 64 * 120
    cap_g = n_e * n_r * 124
    cap_p = n_e * n_p * 124
    ax, ay, aw, ap = np.empty(cap_a), np.empty(cap_a), np.empty(cap_a), np.empty(cap_a)
    gx, gy, gs, gf = np.empty(cap_g), np.empty(cap_g), np.empty(cap_g), np.empty(cap_g)
    px, py, ps, pf = np.empty(cap_p), np.empty(cap_p), np.empty(cap_p), np.empty(cap_p)
    a_start = np.zeros(n_e + 1, np.int64)
    g_start = np.zeros(n_e * n_r + 1, np.int64)
    p_start = np.zeros(n_e * n_p + 1, np.int64)
    na, ng, nq = 0, 0, 0
    for i in range(n_e):
        e = offsets[i]
        na += area_nodes(
            a, hole, b, e, gain, decay, counts[0], counts[1], gauss, ax[na:], ay[na:], aw[na:], ap[na:]
        )
        a_start[i + 1] = na
        for j in range(n_r):
            ng += glass_nodes(
                glass_radius[j], a, b, e, gain, decay, counts[2], gauss, gx[ng:], gy[ng:], gs[ng:], gf[ng:]
            )
            g_start[i * n_r + j + 1] = ng
        for j in range(n_p):
            nq += pitch_nodes(
                pitch_radius[j], a, hole, b, e, gain, decay, counts[2], gauss,
                px[nq:], py[nq:], ps[nq:], pf[nq:],
            )  # fmt: skip
            p_start[i * n_p + j + 1] = nq
    ag, agp, al, alp = np.empty(na, np.int32), np.empty(na), np.empty(na, np.int32), np.empty(na)
    gc, gp, pc, pp = np.empty(ng, np.int32), np.empty(ng), np.empty(nq, np.int32), np.empty(nq)
    locate(np.hypot(ax[:na], ay[:na]), hole, (a - hole) / cells, cells, ag, agp)
    for i in range(n_e):
        s, t = a_start[i], a_start[i + 1]
        locate(np.hypot(ax[s:t] - offsets[i], ay[s:t]), 0.0, b / cells, cells, al[s:t], alp[s:t])
        s, t = g_start[i * n_r], g_start[(i + 1) * n_r]
        locate(np.hypot(gx[s:t] - offsets[i], gy[s:t]), 0.0, b / cells, cells, gc[s:t], gp[s:t])
    locate(np.hypot(px[:nq], py[:nq]), hole, (a - hole) / cells, cells, pc, pp)
    return Nodes(
        a_start, ax[:na].copy(), ay[:na].copy(), aw[:na].copy(), ap[:na].copy(), ag, agp, al, alp,
        g_start, gx[:ng].copy(), gy[:ng].copy(), gs[:ng].copy(), gf[:ng].copy(), gc, gp,
        p_start, px[:nq].copy(), py[:nq].copy(), ps[:nq].copy(), pf[:nq].copy(), pc, pp,
    )  # fmt: skip
