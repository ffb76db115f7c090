"""The path of a stroke, and where it spends its length and its time: weights over centre offset and load case.

Physics sections 5 and 6. :func:`pose_at` is the one place that knows the paths; both engines and the drawings come
by here. Every draw of a jittered stroke is walked once round its phase; each pose adds its path
and its time to the two nearest offset nodes (linearly, so that the mean offset is exact) and to the load cases
(:func:`case_weights`). Draws whose stroke would reach ``limit`` are left out and counted.

Paths are numbered 0 a line, 1 W, 2 oval; ``wearsim.bench.programme.STROKES`` says which stroke has which.
"""

from __future__ import annotations

import numpy as np

from wearsim.kernels._jit import inlined, kernel
from wearsim.kernels.arrays import Floats

# Poses of a stroke among which its largest offset is looked for: within 1e-4 of the length.
REACH_POSES = 256


@inlined
def _triangle(phase: float) -> tuple[float, float]:
    """Triangle wave of period 1 that starts at 0, rising, and its slope per unit of phase."""
    p = phase - np.floor(phase)
    if p < 0.25:
        return 4.0 * p, 4.0
    if p < 0.75:
        return 2.0 - 4.0 * p, -4.0
    return 4.0 * p - 4.0, 4.0


@inlined
def pose_at(kind: int, length: float, sweep: float, overhang: float, per_sweep: float, phase: float,
            sweep_phase: float, out: Floats) -> None:  # fmt: skip
    """Position and velocity of the top piece's centre: out = (x, y, dx, dy), per unit of stroke phase."""
    s, c = np.sin(2.0 * np.pi * phase), np.cos(2.0 * np.pi * phase)
    out[0] = 0.5 * length * s
    out[2] = np.pi * length * c
    out[1], out[3] = overhang, 0.0
    if kind == 1:
        value, slope = _triangle(sweep_phase + phase / (2.0 * per_sweep))
        out[1] += sweep * value
        out[3] = sweep * slope / (2.0 * per_sweep)
    elif kind == 2:
        out[1] += sweep * c
        out[3] = -2.0 * np.pi * sweep * s


@kernel
def follow_path(kind: int, length: Floats, sweep: Floats, overhang: float, per_sweep: float, moments: Floats,
                sweep_phase: float, out: Floats) -> None:  # fmt: skip
    """:func:`pose_at` of many strokes: ``length``, ``sweep`` (k,), ``moments`` (k, n) in strokes, ``out`` (k, n, 4)."""
    for i in range(moments.shape[0]):
        for j in range(moments.shape[1]):
            pose_at(kind, length[i], sweep[i], overhang, per_sweep, moments[i, j], sweep_phase, out[i, j])


@inlined
def case_weights(x: float, y: float, vx: float, vy: float, top_is_tool: bool, push: Floats, lead: float, angles: int,
                 out: Floats) -> None:  # fmt: skip
    """Weights of the load cases for one pose, ``out`` (M,) [1].

    The load is away from the top piece's centre by the hands' ``push`` (2,) along and across the stroke and by the
    ``lead`` along the motion [m]. Without a push its cases are out along the line of centres, in, and across, for both
    sides alike: the heading enters by the squares of its direction cosines, so that mean square leads are exact. With a
    push they are ``angles`` even angles from the line of centres, 0 to 180 degrees, for both sides alike, at each of the
    even distances from the nearest to the farthest that the load comes with its lead. Shares are linear in the distance
    and in the cosine of the angle, so that the load's mean place along the line of centres is exact. M = 1 without either.
    """
    out[:] = 0.0
    if out.size == 1:
        out[0] = 1.0
        return
    sign = 1.0 if top_is_tool else -1.0
    radius, speed = np.hypot(x, y), np.hypot(vx, vy)
    cx, cy = (sign * x / radius, sign * y / radius) if radius > 0.0 else (1.0, 0.0)
    hx, hy = (vx / speed, vy / speed) if speed > 0.0 else (cx, cy)
    if angles == 0:
        along, across = hx * cx + hy * cy, hy * cx - hx * cy
        out[0 if along > 0.0 else 1], out[2] = along * along, across * across
        return
    px, py, middle = push[0] + lead * hx, push[1] + lead * hy, np.hypot(push[0], push[1])
    apart, nearest, rings = np.hypot(px, py), abs(middle - lead), out.size // angles
    outward = (apart - nearest) / (middle + lead - nearest) * (rings - 1) if rings > 1 else 0.0
    outward = min(max(outward, 0.0), rings - 1.0)
    ring = min(int(outward), max(rings - 2, 0))
    c = min(1.0, max(-1.0, (px * cx + py * cy) / apart)) if apart > 0.0 else 1.0
    step = np.pi / (angles - 1)
    first = min(int(np.arccos(c) / step), angles - 2)
    c0, c1 = np.cos(first * step), np.cos((first + 1) * step)
    turned = min(1.0, max(0.0, (c0 - c) / (c0 - c1)))
    for r in range(min(rings, 2)):
        share = outward - ring if r > 0 else 1.0 - (outward - ring)
        at = (ring + r) * angles + first
        out[at], out[at + 1] = share * (1.0 - turned), share * turned


@kernel
def reach_bound(kind: int, length: float, sweep: float, overhang: float, shift_x: float, shift_y: float) -> float:
    """Offset [m] that a stroke, its centre shifted by (shift_x, shift_y) [m], never goes beyond."""
    side = abs(overhang + shift_y) + (sweep if kind > 0 else 0.0)
    return float(np.hypot(0.5 * length + abs(shift_x), side))


@inlined
def reach(kind: int, length: float, sweep: float, overhang: float, per_sweep: float, shift_x: float,
          shift_y: float, sweep_phase: float) -> float:  # fmt: skip
    """Largest centre offset [m] of one stroke that begins at ``sweep_phase`` of the side sweep.

    A W stroke is seldom at its end and at its side at once, so this is less than :func:`reach_bound`.
    """
    if kind == 0:
        return reach_bound(kind, length, sweep, overhang, shift_x, shift_y)
    pose = np.empty(4)
    most = 0.0
    for i in range(REACH_POSES):
        pose_at(kind, length, sweep, overhang, per_sweep, i / REACH_POSES, sweep_phase, pose)
        most = max(most, np.hypot(pose[0] + shift_x, pose[1] + shift_y))
    return most


@kernel
def _tips(kind: int, length: float, sweep: float, overhang: float, per_sweep: float, shift_x: float,
          shift_y: float, sweep_phase: float, limit: float) -> bool:  # fmt: skip
    if reach_bound(kind, length, sweep, overhang, shift_x, shift_y) < limit:
        return False
    return reach(kind, length, sweep, overhang, per_sweep, shift_x, shift_y, sweep_phase) >= limit


@inlined
def _lap_at_centre(x: float, y: float, vx: float, vy: float, spin: float) -> tuple[float, float]:
    """Velocity [m/s] of the lap's own pitch, carried on to the mirror's centre, along the line of centres and across it.

    The top piece's centre is at (x, y) [m] from the bottom one's and moves with (vx, vy) [m/s]; the lap turns at ``spin``
    [rad/s]. It is (de/dt, e (dphi/dt - spin)) for either piece on top (physics section 3).
    """
    vx, vy = vx + spin * y, vy - spin * x
    e = np.hypot(x, y)
    cx, cy = (x / e, y / e) if e > 0.0 else (1.0, 0.0)
    return vx * cx + vy * cy, vy * cx - vx * cy


@kernel
def path_weights(kind: int, length: float, sweep: float, overhang: float, per_sweep: float, frequency: float,
                 jitter: Floats, draws: Floats, phases: int, limit: float, top_is_tool: bool, nodes: Floats,
                 push: Floats, lead: float, angles: int, turning: Floats, turned: Floats, exponent: float, path: Floats,
                 time: Floats) -> tuple[float, float]:  # fmt: skip
    """Add up path and time of a stroke over its draws and phases; returns the share of the draws left out, mean speed.

    Parameters
    ----------
    frequency : float
        [Hz]
    jitter : (2,) float
        Spread of length and sweep [1], of the centre [m].
    draws : (n, 6) float
        Standard normal deviates for length, sweep, centre x, centre y; the phase 0..1 of the side sweep at which
        the stroke begins; where between two poses 0..1 its first pose lies.
    phases : int
        Poses per stroke, evenly spaced.
    limit : float [m]
        Draws whose stroke reaches this offset are left out.
    nodes : (n_e,) float [m]
        Offsets, ascending.
    push, lead, angles : (2,) float [m], float [m], int
        See :func:`case_weights`.
    turning : (2,) float
        Rates at which the top and the bottom piece turn [rad/s].
    turned : (J, 2) float
        What turning against each other adds to the lap's velocity at J places of the glass, along and across the line
        of centres [m/s]; one row of zeros where the pieces do not turn against each other.
    exponent : float
        n of the speed in the law of wear [1].
    path : (n_e, M J) float
        Out: mean speed to the n at the J places, times the share of time at each offset [(m/s)^n].
    time : (n_e, M) float
        Out: share of time [1].

    Returns
    -------
    left_out : float
        [1]
    speed : float
        Mean speed of the top piece's centre over the bottom piece [m/s].
    """
    pose = np.empty(4)
    places = turned.shape[0]
    cases, speeds = np.empty(time.shape[1]), np.empty(places)
    path[:] = 0.0
    time[:] = 0.0
    spin = turning[0] if top_is_tool else turning[1]
    kept, travelled = 0, 0.0
    for i in range(draws.shape[0]):
        long = max(0.0, length * (1.0 + jitter[0] * draws[i, 0]))
        wide = max(0.0, sweep * (1.0 + jitter[0] * draws[i, 1]))
        sx, sy = jitter[1] * draws[i, 2], jitter[1] * draws[i, 3]
        if _tips(kind, long, wide, overhang, per_sweep, sx, sy, draws[i, 4], limit):
            continue
        kept += 1
        for j in range(phases):
            phase = (j + draws[i, 5]) / phases
            pose_at(kind, long, wide, overhang, per_sweep, phase, draws[i, 4], pose)
            x, y = pose[0] + sx, pose[1] + sy
            vx, vy = pose[2] * frequency, pose[3] * frequency
            over_x, over_y = vx + turning[1] * y, vy - turning[1] * x
            travelled += np.hypot(over_x, over_y)
            case_weights(x, y, over_x, over_y, top_is_tool, push, lead, angles, cases)
            along, across = _lap_at_centre(x, y, vx, vy, spin)
            for q in range(places):
                speeds[q] = np.hypot(along + turned[q, 0], across + turned[q, 1])
            if exponent != 1.0:
                speeds[:] = speeds**exponent
            e = np.hypot(x, y)
            n = np.searchsorted(nodes, e)
            n = min(max(n, 1), nodes.size - 1)
            part = min(1.0, max(0.0, (e - nodes[n - 1]) / (nodes[n] - nodes[n - 1])))
            for m in range(cases.size):
                if cases[m] != 0.0:
                    time[n - 1, m] += (1.0 - part) * cases[m]
                    time[n, m] += part * cases[m]
                    for q in range(places):
                        path[n - 1, m * places + q] += (1.0 - part) * cases[m] * speeds[q]
                        path[n, m * places + q] += part * cases[m] * speeds[q]
    if kept > 0:
        path /= kept * phases
        time /= kept * phases
    return float(1.0 - kept / draws.shape[0]), float(travelled / max(1, kept * phases))
