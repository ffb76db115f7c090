"""The radial engine's inner loops: offset basis, rates of wear and creep, adaptive stepping in time.

Physics sections 3, 4 and 6. ``w`` (n_r,) height of the glass, ``u`` (n_rho,) height of the pitch [m]. A *load case*
is one position of the load relative to the top piece's centre, in axes along and across the line of centres.
``path`` (n_e, M) is the path per second travelled at each offset in each load case [m/s], ``time`` (n_e, M) the
share of time [1]. Then

    dw/dt = -k sum path B,      du/dt = -1/(kappa tau) sum time C

with B, C the ring means of the pressure in the mirror's and in the lap's frame; in B, of its power where wear is not
linear in it.

Where the pieces turn against each other the speed differs from place to place: ``path`` (n_e, M J) then has it at the J
places of :mod:`wearsim.kernels.wear_law`. Everything but the pressures stays a sum over ``path``.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from wearsim.kernels._jit import borrowed, inlined, kernel
from wearsim.kernels.arrays import Floats, Ints, Singles
from wearsim.kernels.contact import balance
from wearsim.kernels.quadrature import Nodes, resample
from wearsim.kernels.wear_law import add_node_wear, node_speeds, node_wear, wear_at_places


class SpellContact(NamedTuple):
    """Everything that stays the same during a spell, as floats and arrays.

    ``centre`` is where the top piece's centre stands on the line of centres: the offset, or 0 for mirror on top. The
    last four are the resampling of the two profiles onto their fine tables.
    """

    scale: float  # radius of the mirror [m]
    stiffness: float  # foundation modulus kappa [Pa/m]
    force: float  # load [N]
    wear: float  # Preston coefficient k [1/Pa]
    exponent: float  # m of the pressure in the law of wear [1]
    usual: float  # pressure at which every exponent wears alike [Pa]
    power: np.ndarray  # (6,) polynomial of power_of_share; (0,) where m is 1
    creep: float  # 1 / (kappa tau) [m/(Pa s)]
    cases: np.ndarray  # (M, 2) load from the top piece's centre, along and across the line of centres [m]
    centre: np.ndarray  # (n_e,) [m]
    path: np.ndarray  # (n_e, M J) [m/s]
    time: np.ndarray  # (n_e, M) [1]
    glass_source: np.ndarray  # (cells + 1, 4)
    glass_weight: np.ndarray
    pitch_source: np.ndarray
    pitch_weight: np.ndarray


@inlined
def _add_pressures(x: Floats, y: Floats, share: Floats, height: Floats, d: float, bx: float, by: float, scale: float,
                   out: Floats) -> None:  # fmt: skip
    """Add ``scale`` times the mean compression of each node and its mirror image, times its share."""
    if by == 0.0:
        for k in range(x.size):
            out[k] += scale * share[k] * max(0.0, d + bx * x[k] + height[k])
    else:
        for k in range(x.size):
            base = d + bx * x[k] + height[k]
            side = by * y[k]
            out[k] += 0.5 * scale * share[k] * (max(0.0, base + side) + max(0.0, base - side))


@inlined
def _extent(x: Floats, y: Floats, height: Floats, out: Floats) -> None:
    """Least and largest x, largest y [m] and largest height [m] of an offset's nodes, ``out`` (4,)."""
    out[0], out[1], out[2], out[3] = np.inf, -np.inf, 0.0, -np.inf
    for k in range(x.size):
        out[0], out[1] = min(out[0], x[k]), max(out[1], x[k])
        out[2], out[3] = max(out[2], y[k]), max(out[3], height[k])


@inlined
def _add_ring_sums(start: Ints, first: int, count: int, values: Floats, out: Floats) -> None:
    shift = start[first]
    for j in range(count):
        total = 0.0
        for k in range(start[first + j] - shift, start[first + j + 1] - shift):
            total += values[k]
        out[j] += total


@inlined
def _largest(x: Floats, y: Floats, factor: Floats, height: Floats, d: float, bx: float, by: float) -> float:
    top = 0.0
    for k in range(x.size):
        g = factor[k] * (d + bx * x[k] + height[k] + abs(by * y[k]))
        top = g if g > top else top
    return top


@inlined
def _lifted(x: Floats, y: Floats, plain: Floats, height: Floats, d: float, bx: float, by: float) -> float:
    bare, whole = 0.0, 0.0
    for k in range(x.size):
        base = d + bx * x[k] + height[k]
        side = by * y[k]
        whole += 2.0 * plain[k]
        bare += (plain[k] if base + side <= 0.0 else 0.0) + (plain[k] if base - side <= 0.0 else 0.0)
    return bare / whole


@inlined
def _look_up(table: Floats, cell: Ints, part: Floats, out: Floats) -> None:
    for k in range(out.size):
        c = cell[k]
        out[k] = table[c] + part[k] * (table[c + 1] - table[c])


@inlined
def _add_rings(start: Ints, first: int, count: int, values: Floats, height: Floats) -> None:
    """Add a ring's own height to all of its nodes."""
    shift = start[first]
    for j in range(count):
        for k in range(start[first + j] - shift, start[first + j + 1] - shift):
            height[k] += values[j]


@inlined
def _full_sums(x: Floats, y: Floats, area: Floats, height: Floats, out: Floats) -> None:
    a0, ax, axx, ayy, ah, ahx = 0.0, 0.0, 0.0, 0.0, 0.0, 0.0
    for k in range(x.size):
        a0 += area[k]
        ax += area[k] * x[k]
        axx += area[k] * x[k] * x[k]
        ayy += area[k] * y[k] * y[k]
        ah += area[k] * height[k]
        ahx += area[k] * x[k] * height[k]
    out[0], out[1], out[2], out[3], out[4], out[5] = 2 * a0, 2 * ax, 2 * axx, 2 * ayy, 2 * ah, 2 * ahx


@inlined
def _rows(i: int, nodes: Nodes, n_r: int, n_p: int) -> tuple[int, int, int, int, int, int]:
    """Where the nodes of offset i begin and end: of the area, of the glass's rings and of the lap's rings."""
    area, glass, pitch = nodes.area_start, nodes.glass_start, nodes.pitch_start
    return area[i], area[i + 1], glass[i * n_r], glass[(i + 1) * n_r], pitch[i * n_p], pitch[(i + 1) * n_p]


@inlined
def _fine_tables(w: Floats, u: Floats, contact: SpellContact, room: Floats) -> tuple[Floats, Floats]:
    """Both profiles on their fine even tables, in rows of ``room``."""
    glass, pitch = room[4, : contact.glass_source.shape[0]], room[5, : contact.pitch_source.shape[0]]
    resample(w, contact.glass_source, contact.glass_weight, glass)
    resample(u, contact.pitch_source, contact.pitch_weight, pitch)
    return glass, pitch


@inlined
def _heights(
    i: int, w: Floats, u: Floats, glass: Floats, pitch: Floats, nodes: Nodes, room: Floats
) -> tuple[Floats, Floats, Floats]:
    """Height w + u at the area nodes, at the nodes of the glass's and of the lap's rings, of offset i: rows of ``room``."""
    n_r, n_p = w.size, u.size
    s, t, gs, gt, ps, pt = _rows(i, nodes, n_r, n_p)
    height, other = room[0, : t - s], room[1, : t - s]
    _look_up(glass, nodes.area_glass[s:t], nodes.area_glass_part[s:t], height)
    _look_up(pitch, nodes.area_pitch[s:t], nodes.area_pitch_part[s:t], other)
    height += other
    on_glass, on_pitch = room[1, : gt - gs], room[2, : pt - ps]
    _look_up(pitch, nodes.glass_cell[gs:gt], nodes.glass_part[gs:gt], on_glass)
    _add_rings(nodes.glass_start, i * n_r, n_r, w, on_glass)
    _look_up(glass, nodes.pitch_cell[ps:pt], nodes.pitch_part[ps:pt], on_pitch)
    _add_rings(nodes.pitch_start, i * n_p, n_p, u, on_pitch)
    return height, on_glass, on_pitch


@inlined
def _balance_case(x: Floats, y: Floats, area: Floats, height: Floats, full: Floats, contact: SpellContact, fx: float,
                  fy: float, cold: bool, pose: Floats) -> tuple[int, float]:  # fmt: skip
    """Balance one load case; a warm start that misleads is followed by the cold one, which is the tried one."""
    kappa, force, scale = contact.stiffness, contact.force, contact.scale
    steps, left = balance(x, y, area, height, full, kappa, force, fx, fy, scale, cold, pose)
    if steps < 0 and not cold:
        steps, left = balance(x, y, area, height, full, kappa, force, fx, fy, scale, True, pose)
    return steps, left


@inlined
def _weight(path: Floats, time: Floats) -> float:
    """Zero where an offset takes no part in either sum."""
    total = 0.0
    for m in range(path.size):
        total += abs(path[m]) + abs(time[m])
    return total


@inlined
def _room(contact: SpellContact, nodes: Nodes, n_r: int, n_p: int) -> Floats:
    """Rows long enough for the nodes of any one offset, and for the two fine tables."""
    longest = max(contact.glass_source.shape[0], contact.pitch_source.shape[0])
    for i in range(contact.time.shape[0]):
        s, t, gs, gt, ps, pt = _rows(i, nodes, n_r, n_p)
        longest = max(longest, t - s, gt - gs, pt - ps)
    return np.empty((9, longest))


@inlined
def offset_pressures(w: Floats, u: Floats, contact: SpellContact, nodes: Nodes, poses: Floats, cold: bool,
                     path: Floats, time: Floats, speeds: Singles, basis: Floats, pitch_basis: Floats,
                     survey: Floats) -> int:  # fmt: skip
    """Balance every offset and load case at the state (w, u); gather the ring means of the pressure.

    Parameters
    ----------
    poses : (n_e, M, 3) float
        Poses to start from unless ``cold``; the result on return.
    path, time : (n_e, M J), (n_e, M) float
        Weights of the two sums.
    speeds : (M, 2, N) float
        Of :func:`~wearsim.kernels.wear_law.node_speeds`, for ``path``; not read where each offset and case keeps a
        row of its own.
    basis : (G, n_r) or (1, n_r) float
        Ring means in the mirror's frame times ``path``. With G = n_e M J rows each offset, case and place keeps a
        row of its own; with one row they are summed.
    pitch_basis : (1, n_rho) float
        Ring means in the lap's frame times ``time``, summed [Pa].
    survey : (4,) float
        Out: largest pressure [Pa], share of the overlap lifted off (weighted by time), largest imbalance,
        Newton iterations. The first two only where ``survey[3] < 0`` on entry.

    Returns
    -------
    int
        0, or 1 + the index of the first offset whose balance was not found.
    """
    room, full = _room(contact, nodes, w.size, u.size), np.empty(6)
    return _offset_pressures(
        w, u, contact, nodes, poses, cold, path, time, speeds, basis, pitch_basis, survey, room, full
    )


@inlined
def _add_wear(i: int, m: int, d: float, bx: float, by: float, contact: SpellContact, nodes: Nodes, n_r: int,
              path: Floats, speeds: Singles, on_glass: Floats, extent: Floats, room: Floats,
              basis: Floats) -> None:  # fmt: skip
    """Add what one offset and load case wears: ``path`` (J,) of that case, ``on_glass`` w + u [m], ``extent`` (4,).

    To the sums of all cases at the nodes, in ``room``; where each case has rows of its own, to these rows of ``basis``.
    """
    gs, gt, places, rows = nodes.glass_start[i * n_r], nodes.glass_start[(i + 1) * n_r], path.size, basis.shape[0]
    gx, gy, share, out = nodes.glass_x[gs:gt], nodes.glass_y[gs:gt], nodes.glass_share[gs:gt], room[3, : gt - gs]
    first = (i * contact.time.shape[1] + m) * places if rows > 1 else 0
    if rows > 1:
        out[:] = 0.0
    if places == 1 and contact.exponent == 1.0:
        _add_pressures(gx, gy, share, on_glass, d, bx, by, contact.stiffness * path[0], out)
    else:
        most = max(d + max(bx * extent[0], bx * extent[1]) + abs(by) * extent[2] + extent[3], 1e-25)
        strength = contact.usual * (contact.stiffness * most / contact.usual) ** contact.exponent
        strength *= path[0] if places == 1 else 1.0
        if rows > 1:
            upper, lower = room[6, : gt - gs], room[7, : gt - gs]
            node_wear(gx, gy, on_glass, d, bx, by, most, contact.power, upper, lower)
            if places > 1:
                into, start = basis[first : first + places], nodes.glass_start
                wear_at_places(gx, gy, share, upper, lower, contact.scale, start, i * n_r, n_r, strength, path, into)
                return
            for k in range(out.size):
                out[k] = 0.5 * strength * share[k] * (upper[k] + lower[k])
        else:
            of_case = speeds[m if places > 1 else 0]
            even, odd = of_case[0, gs:gt], of_case[1, gs:gt]
            add_node_wear(gx, gy, on_glass, d, bx, by, most, contact.power, even, odd, strength, out)
    if rows > 1:
        _add_ring_sums(nodes.glass_start, i * n_r, n_r, out, basis[first])


@inlined
def _offset_pressures(w: Floats, u: Floats, contact: SpellContact, nodes: Nodes, poses: Floats, cold: bool,
                      path: Floats, time: Floats, speeds: Singles, basis: Floats, pitch_basis: Floats,
                      survey: Floats, room: Floats, full: Floats) -> int:  # fmt: skip
    """:func:`offset_pressures` in room that is there already: (9, longest row) and (6,)."""
    extent = np.empty(4)
    w, u, poses, path, time = borrowed(w), borrowed(u), borrowed(poses), borrowed(path), borrowed(time)
    contact, nodes, room, full = borrowed(contact), borrowed(nodes), borrowed(room), borrowed(full)
    basis, pitch_basis, survey, speeds = borrowed(basis), borrowed(pitch_basis), borrowed(survey), borrowed(speeds)
    n_e, cases = contact.time.shape
    places = path.shape[1] // cases
    n_r, n_p = w.size, u.size
    kappa = contact.stiffness
    is_surveyed = survey[3] < 0.0
    survey[:] = 0.0
    glass, pitch = _fine_tables(w, u, contact, room)
    basis[:] = 0.0
    pitch_basis[:] = 0.0
    for i in range(n_e):
        if _weight(path[i], time[i]) == 0.0:
            continue
        s, t, gs, gt, ps, pt = _rows(i, nodes, n_r, n_p)
        height, on_glass, on_pitch = _heights(i, w, u, glass, pitch, nodes, room)
        x, y, area = nodes.area_x[s:t], nodes.area_y[s:t], nodes.area_weight[s:t]
        _full_sums(x, y, area, height, full)
        worn, pressed = room[3, : gt - gs], room[8, : pt - ps]
        worn[:], pressed[:] = 0.0, 0.0
        _extent(nodes.glass_x[gs:gt], nodes.glass_y[gs:gt], on_glass, extent)
        for m in range(cases):
            of_case = path[i, m * places : (m + 1) * places]
            wears = of_case[places - 1] != 0.0
            if not wears and time[i, m] == 0.0:
                continue
            pose = poses[i, m]
            fx, fy = contact.centre[i] + contact.cases[m, 0], contact.cases[m, 1]
            steps, left = _balance_case(x, y, area, height, full, contact, fx, fy, cold, pose)
            survey[2] = max(survey[2], left)
            survey[3] += abs(steps)
            if steps < 0:
                return i + 1
            d, bx, by = pose[0], pose[1], pose[2]
            if wears:
                _add_wear(i, m, d, bx, by, contact, nodes, n_r, of_case, speeds, on_glass, extent, room, basis)
            if time[i, m] != 0.0:
                px, py, share = nodes.pitch_x[ps:pt], nodes.pitch_y[ps:pt], nodes.pitch_share[ps:pt]
                _add_pressures(px, py, share, on_pitch, d, bx, by, kappa * time[i, m], pressed)
            if is_surveyed:
                gy, factor, plain = nodes.glass_y[gs:gt], nodes.glass_factor[gs:gt], nodes.area_plain[s:t]
                top = kappa * _largest(nodes.glass_x[gs:gt], gy, factor, on_glass, d, bx, by)
                survey[0] = max(survey[0], top)
                survey[1] += time[i, m] * _lifted(x, y, plain, height, d, bx, by)
        if basis.shape[0] == 1:
            _add_ring_sums(nodes.glass_start, i * n_r, n_r, worn, basis[0])
        _add_ring_sums(nodes.pitch_start, i * n_p, n_p, pressed, pitch_basis[0])
    return 0


@inlined
def rates(w: Floats, u: Floats, contact: SpellContact, nodes: Nodes, speeds: Singles, poses: Floats, cold: bool,
          dw: Floats, du: Floats, survey: Floats) -> int:  # fmt: skip
    """dw/dt (n_r,) and du/dt (n_rho,) [m/s] at the state (w, u); returns 0 or the failing offset + 1.

    ``speeds``: of :func:`~wearsim.kernels.wear_law.node_speeds`.
    """
    basis, pitch_basis = dw.reshape(1, dw.size), du.reshape(1, du.size)
    status = offset_pressures(
        w, u, contact, nodes, poses, cold, contact.path, contact.time, speeds, basis, pitch_basis, survey
    )
    dw *= -contact.wear
    du *= -contact.creep
    return status


@inlined
def _error(h: float, k1w: Floats, k2w: Floats, k3w: Floats, k4w: Floats, k1u: Floats, k2u: Floats,
           k3u: Floats, k4u: Floats, small_w: float, small_u: float) -> float:  # fmt: skip
    """Largest difference between the third and second order results, in units of what is allowed."""
    worst = 0.0
    for i in range(k1w.size):
        e = h * (-5.0 / 72.0 * k1w[i] + k2w[i] / 12.0 + k3w[i] / 9.0 - 0.125 * k4w[i])
        worst = max(worst, abs(e) / small_w)
    for i in range(k1u.size):
        e = h * (-5.0 / 72.0 * k1u[i] + k2u[i] / 12.0 + k3u[i] / 9.0 - 0.125 * k4u[i])
        worst = max(worst, abs(e) / small_u)
    return worst


@inlined
def _stage(stage: int, h: float, y: Floats, k: Floats) -> Floats:
    """Where a stage of a step looks: the state moved by the rates found so far."""
    moved = y.copy()
    if stage == 1:
        moved += 0.5 * h * k[0]
    elif stage == 2:
        moved += 0.75 * h * k[1]
    else:
        moved += h * (2.0 / 9.0 * k[0] + 1.0 / 3.0 * k[1] + 4.0 / 9.0 * k[2])
    return moved


@kernel
def evolve(w: Floats, u: Floats, contact: SpellContact, nodes: Nodes, poses: Floats, duration: float, steps: int,
           small_w: float, small_u: float, first_step: float, report: Floats) -> int:  # fmt: skip
    """Wear and creep together over ``duration`` seconds, in place.

    The explicit third-order pair of Bogacki and Shampine, Appl. Math. Lett. 2 (1989) 321, with the second-order
    member as error estimate [memory].

    Parameters
    ----------
    w, u : (n_r,), (n_rho,) float [m]
        Changed in place.
    steps : int
        0 for error control; otherwise that many equal steps.
    small_w, small_u : float [m]
        Error allowed in a step.
    first_step : float [s]
    report : (6,) float
        Out: largest pressure [Pa], lift-off share (mean over time), largest imbalance, steps, evaluations,
        Newton iterations.

    Returns
    -------
    int
        0; 1 + index of the offset whose balance failed; -1 when the step became hopelessly small.
    """
    n_r, n_p = w.size, u.size
    kw, ku = np.empty((4, n_r)), np.empty((4, n_p))
    survey = np.empty(4)
    cold, warm = bool(1), bool(0)  # True and False would be types of their own, all below compiled for each
    report[:] = 0.0
    survey[3] = -1.0
    speeds = node_speeds(contact.path, contact.time.shape[1], contact.scale, nodes)
    status = rates(w, u, contact, nodes, speeds, poses, cold, kw[0], ku[0], survey)
    if status != 0:
        report[2] = survey[2]
        return status
    report[4] += 1
    h = duration / steps if steps > 0 else min(first_step, duration)
    t = 0.0
    share = survey[1]
    report[0], report[2], report[5] = survey[0], survey[2], survey[3]
    while t < duration * (1 - 1e-12):
        h = min(h, duration - t)
        for stage in range(1, 4):
            yw, yu = _stage(stage, h, w, kw), _stage(stage, h, u, ku)
            survey[3] = -1.0 if stage == 3 else 0.0
            status = rates(yw, yu, contact, nodes, speeds, poses, warm, kw[stage], ku[stage], survey)
            if status != 0:
                report[2] = survey[2]
                return status
            report[4] += 1
            report[2] = max(report[2], survey[2])
            report[5] += survey[3]
        worst = _error(h, kw[0], kw[1], kw[2], kw[3], ku[0], ku[1], ku[2], ku[3], small_w, small_u)
        if steps > 0 or worst <= 1.0:
            t += h
            w[:] = yw
            u[:] = yu
            kw[0] = kw[3]
            ku[0] = ku[3]
            report[1] += 0.5 * h * (share + survey[1])
            share = survey[1]
            report[0] = max(report[0], survey[0])
            report[3] += 1
        if steps == 0:
            h *= min(2.5, max(0.2, 0.9 * (1.0 / max(worst, 1e-6)) ** (1.0 / 3.0)))
            if h < 1e-9 * duration:
                return -1
    report[1] /= duration
    return 0
