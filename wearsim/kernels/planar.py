"""The planar engine's ground floor: poses of two pieces, on a grid in each piece's own frame (physics sections 2-4).

The contact is summed over the glass's cells, where the pitch is read by bilinear interpolation at the turned
place; the pitch creeps over its own cells, where the glass is read the same way. Each grid is so updated cell
by cell from its own side: nothing is scattered, no sum depends on the number of threads, and a facet's edge
stays sharp in the frame that it belongs to. Cells up to a few beyond a rim, and in channels, are carried along
as if the piece went on there: they weigh nothing in the balance, and give the reading at the rim its far side.

All poses of one call share the state as it stood when the call began; the wear and creep that they do are
laid up in ``slots`` (pose ``i`` in slot ``i % slots``) and settled in the order of the slots. Threads take
slots, so that the result is the same to the bit for any number of them.
"""

from __future__ import annotations

from typing import Any, NamedTuple

import numpy as np
from numba import prange
from numpy.typing import NDArray

from wearsim.kernels._jit import kernel

Floats = NDArray[np.float64]

# columns of a pose, all in the mirror's frame: the lap's centre [m]; cosine and sine of the lap's angle; velocity of
# the lap over the glass at the mirror's centre [m/s] and its turning rate [rad/s]; where the load stands [m]; its time [s]
CENTRE_X, CENTRE_Y, COSINE, SINE, SPEED_X, SPEED_Y, RATE, LOAD_X, LOAD_Y, TIME = range(10)
POSE_COLUMNS = 10
# columns of a settlement: height [m] and two tilts [1], Newton steps, status, area under the lap and in contact [m^2],
# largest relative imbalance left [1]
HEIGHT, TILT_X, TILT_Y, STEPS, STATUS, COVERED, TOUCHING, IMBALANCE = range(8)
SETTLEMENT_COLUMNS = 8

BALANCED, TIPPED, UNBALANCED = 0, 1, 2
MOST_STEPS = 60
GHOSTS = 2.5  # cells beyond a rim that are carried along


class Glass(NamedTuple):
    """What stays of the mirror: arrays ``(n, n)`` in its own frame."""

    area: Floats  # area of glass in the cell [m^2]
    gain: Floats  # edge gain g exp(-s/lambda), mean over the cell's glass [1]
    distance: Floats  # from the mirror's centre [m]
    inward: Floats  # factor that draws a place beyond the rim back to half a cell inside it [1]
    across: Floats  # (n,) coordinates of columns and of rows [m]
    presence: Floats  # (bins,) share of glass against the distance from the centre, over `span` [1]
    fading: Floats  # (bins,) edge gain against the distance from the centre [1]
    span: float  # distance at which the two tables end [m]
    radius: float  # of the outer rim [m]
    reach: float  # the lap must reach to here for the edge effect [m]


class Pitch(NamedTuple):
    """What stays of the lap: arrays ``(m, m)`` in its own frame."""

    share: Floats  # share of the cell that is pitch, rim apart; (1, 1) for a whole lap [1]
    inward: Floats  # as the glass's [1]
    across: Floats  # (m,) coordinates of columns and of rows [m]
    radius: float  # [m]
    stiffness: float  # of the pitch that is there: kappa / fraction [Pa/m]


class Work(NamedTuple):
    """Room to work in; the first axis counts slots."""

    gap: Floats  # (slots, n, n) glass and pitch height together [m]
    stiff: Floats  # (slots, n, n) kappa E times the share of pitch [Pa/m]
    cover: Floats  # (slots, n, n) share of pitch [1]
    worn: Floats  # (slots, n, n) [m]
    sunk: Floats  # (slots, m, m) [m]
    peak: Floats  # (slots, n, n) largest pressure so far [Pa]
    ends: NDArray[np.int64]  # (slots, n, 2) first column, and one past the last, under the lap


@kernel
def _columns(across: float, reach_own: float, gap_across: float, offset: float, reach_other: float, size: float,
             middle: float, count: int) -> Any:
    """First column and one past the last inside both circles, on a row at ``across`` from the one's centre."""
    own = reach_own * reach_own - across * across
    other = reach_other * reach_other - gap_across * gap_across
    if own <= 0.0 or other <= 0.0:
        return 0, 0
    own, other = np.sqrt(own), np.sqrt(other)
    first = int(np.ceil(max(-own, offset - other) / size + middle))
    last = int(np.floor(min(own, offset + other) / size + middle)) + 1
    first, last = max(first, 0), min(last, count)
    return (first, last) if last > first else (0, 0)


@kernel
def _bilinear(field: Floats, width: int, column: float, row: float) -> float:
    """Read a flattened grid between its cells; the caller keeps the place inside."""
    left, low = np.int32(column), np.int32(row)
    right, up = column - left, row - low
    at = low * np.int32(width) + left
    below = field[at] + right * (field[at + 1] - field[at])
    above = field[at + width] + right * (field[at + width + 1] - field[at + width])
    return below + up * (above - below)


@kernel
def _lay(pose: Floats, w: Floats, u: Floats, glass: Glass, pitch: Pitch, gap: Any, stiff: Any, cover: Any,
         ends: Any) -> float:
    """Lay the lap on the glass: gap, stiffness and cover of every cell; returns the area under the lap [m^2]."""
    n, m = glass.across.size, pitch.across.size
    size = glass.across[1] - glass.across[0]
    cx, cy, cosine, sine = pose[CENTRE_X], pose[CENTRE_Y], pose[COSINE], pose[SINE]
    middle, ramp = 0.5 * (m - 1), 0.5 / (pitch.radius * size)
    level = 0.5 + ramp * pitch.radius * pitch.radius
    need = (glass.reach**2 + cx * cx + cy * cy - pitch.radius**2) / (2.0 * glass.reach)
    flat_u, flat_share, whole = u.ravel(), pitch.share.ravel(), pitch.share.size == 1
    covered = 0.0
    for j in range(n):
        y = glass.across[j]
        first, last = _columns(y, glass.radius + GHOSTS * size, y - cy, cx, pitch.radius + (GHOSTS + 1.0) * size,
                               size, 0.5 * (n - 1), n)
        ends[j, 0], ends[j, 1] = first, last
        for i in range(first, last):
            x, inward = glass.across[i], glass.inward[j, i]
            over_x, over_y = x * inward - cx, y * inward - cy
            share = min(1.0, max(0.0, level - ramp * (over_x * over_x + over_y * over_y)))
            column = (cosine * (x - cx) + sine * (y - cy)) / size + middle
            row = (cosine * (y - cy) - sine * (x - cx)) / size + middle
            if not whole:
                share *= _bilinear(flat_share, m, column, row)
            gap[j, i] = w[j, i] + _bilinear(flat_u, m, column, row)
            edge = glass.gain[j, i] if cx * x + cy * y >= need * glass.distance[j, i] else 0.0
            cover[j, i] = share
            stiff[j, i] = pitch.stiffness * (1.0 + edge) * share
            covered += share * glass.area[j, i]
    return covered


@kernel
def _press(d: float, bx: float, by: float, least: float, across: Floats, area: Floats, gap: Any, stiff: Any, ends: Any,
           sums: Floats) -> None:
    """Stiffness and pressure over the cells that are pressed deeper than ``least``, with their moments and energy.

    ``sums``: k, kx, ky, kxx, kxy, kyy, p, px, py, ps (twice the energy); p = k s with s = d + b.x + gap.
    """
    sums[:] = 0.0
    for j in range(across.size):
        y = across[j]
        level = d + by * y
        k0 = k1 = k2 = p0 = p1 = e0 = 0.0
        for i in range(ends[j, 0], ends[j, 1]):
            x = across[i]
            depth = level + bx * x + gap[j, i]
            k = stiff[j, i] * area[j, i] if depth > least else 0.0
            p, kx = k * depth, k * x
            k0 += k
            k1 += kx
            k2 += kx * x
            p0 += p
            p1 += p * x
            e0 += p * depth
        sums[0] += k0
        sums[1] += k1
        sums[2] += k0 * y
        sums[3] += k2
        sums[4] += k1 * y
        sums[5] += k0 * y * y
        sums[6] += p0
        sums[7] += p1
        sums[8] += p0 * y
        sums[9] += e0


@kernel
def _newton_step(sums: Floats, force: float, fx: float, fy: float, length: float, step: Floats) -> None:
    """Solve the 3 x 3 system of force and moments for the change of height and tilt, lengths made even first."""
    a, b, c = sums[0], sums[1] / length, sums[2] / length
    e, f, g = sums[3] / length**2, sums[4] / length**2, sums[5] / length**2
    little = 1e-13 * (a + e + g)
    a, e, g = a + little, e + little, g + little
    r0, r1, r2 = force - sums[6], (fx - sums[7]) / length, (fy - sums[8]) / length
    # elimination in the order height, tilt, tilt: the matrix is positive definite
    e1, f1, g1 = e - b * b / a, f - b * c / a, g - c * c / a
    q1, q2 = r1 - b * r0 / a, r2 - c * r0 / a
    z2 = (q2 - f1 * q1 / e1) / (g1 - f1 * f1 / e1)
    z1 = (q1 - f1 * z2) / e1
    step[0] = (r0 - b * z1 - c * z2) / a
    step[1], step[2] = z1 / length, z2 / length


@kernel
def _imbalance(sums: Floats, force: float, fx: float, fy: float, length: float) -> float:
    """Largest of the relative imbalances of force and of both moments."""
    moment = max(abs(fx - sums[7]), abs(fy - sums[8])) / length
    return max(abs(force - sums[6]), moment) / force


@kernel
def _settle(out: Floats, force: float, fx: float, fy: float, length: float, tolerance: float, across: Floats,
            area: Floats, gap: Any, stiff: Any, ends: Any, sums: Floats, step: Floats) -> None:
    """Find height and tilt: Newton's method on the convex energy, from ``out`` if it touches, else from full contact."""
    d, bx, by = out[HEIGHT], out[TILT_X], out[TILT_Y]
    _press(d, bx, by, 0.0, across, area, gap, stiff, ends, sums)
    steps, status, left = 1, UNBALANCED, _imbalance(sums, force, fx, fy, length)
    if sums[6] <= 0.0 or left > 1e3:
        _press(0.0, 0.0, 0.0, -np.inf, across, area, gap, stiff, ends, sums)
        _newton_step(sums, force, fx, fy, length, step)
        d, bx, by = step[0], step[1], step[2]
        _press(d, bx, by, 0.0, across, area, gap, stiff, ends, sums)
        steps, left = steps + 2, _imbalance(sums, force, fx, fy, length)
    while left > tolerance and steps < MOST_STEPS:
        _newton_step(sums, force, fx, fy, length, step)
        energy = 0.5 * sums[9] - force * d - fx * bx - fy * by
        slope = -step[0] * (force - sums[6]) - step[1] * (fx - sums[7]) - step[2] * (fy - sums[8])
        part, before = 1.0, left
        while True:
            td, tx, ty = d + part * step[0], bx + part * step[1], by + part * step[2]
            _press(td, tx, ty, 0.0, across, area, gap, stiff, ends, sums)
            steps, left = steps + 1, _imbalance(sums, force, fx, fy, length)
            lower = 0.5 * sums[9] - force * td - fx * tx - fy * ty
            if lower <= energy + 1e-4 * part * slope or left < 0.5 * before or part < 1e-8 or steps >= MOST_STEPS:
                break
            part *= 0.5
        d, bx, by = td, tx, ty
    if left <= tolerance:
        status = BALANCED
    out[HEIGHT], out[TILT_X], out[TILT_Y] = d, bx, by
    out[STEPS], out[STATUS], out[IMBALANCE] = steps, status, left


@kernel
def _wear(pose: Floats, out: Floats, preston: float, glass: Glass, gap: Any, stiff: Any, cover: Any, ends: Any,
          worn: Any, peak: Any) -> float:
    """Wear of every cell (physics section 3) and its largest pressure; returns the area in contact [m^2]."""
    d, bx, by = out[HEIGHT], out[TILT_X], out[TILT_Y]
    share, rate, touching = preston * pose[TIME], pose[RATE], 0.0
    for j in range(glass.across.size):
        y = glass.across[j]
        level, along = d + by * y, pose[SPEED_X] - rate * y
        for i in range(ends[j, 0], ends[j, 1]):
            x = glass.across[i]
            depth = max(0.0, level + bx * x + gap[j, i])
            pressure, across = stiff[j, i] * depth, pose[SPEED_Y] + rate * x
            worn[j, i] += share * pressure * np.sqrt(along * along + across * across)
            touched = cover[j, i] * glass.area[j, i]
            touching += touched if depth > 0.0 else 0.0
            inside = pressure if touched > 0.0 else 0.0
            peak[j, i] = max(peak[j, i], inside)
    return touching


@kernel
def _creep(pose: Floats, out: Floats, relaxation: float, w: Floats, u: Floats, glass: Glass, pitch: Pitch,
           sunk: Any) -> None:
    """Sinking of every cell of the lap under the glass (physics section 4); a facet sinks by E s / tau."""
    n, m = glass.across.size, pitch.across.size
    size = glass.across[1] - glass.across[0]
    cx, cy, cosine, sine = pose[CENTRE_X], pose[CENTRE_Y], pose[COSINE], pose[SINE]
    away_x, away_y = cosine * cx + sine * cy, cosine * cy - sine * cx  # the lap's centre, in the lap's directions
    middle, bins = 0.5 * (n - 1), (glass.presence.size - 1) / glass.span
    need = (glass.reach**2 + cx * cx + cy * cy - pitch.radius**2) / (2.0 * glass.reach)
    share, flat = pose[TIME] / relaxation, w.ravel()
    for j in range(m):
        q = pitch.across[j]
        first, last = _columns(q, pitch.radius + GHOSTS * size, q + away_y, -away_x, glass.radius + (GHOSTS + 1.0) * size,
                               size, 0.5 * (m - 1), m)
        for i in range(first, last):
            p, inward = pitch.across[i], pitch.inward[j, i]
            turned_x, turned_y = cosine * p - sine * q, sine * p + cosine * q
            x, y = cx + turned_x, cy + turned_y
            in_x, in_y = cx + inward * turned_x, cy + inward * turned_y
            distance = np.sqrt(in_x * in_x + in_y * in_y)
            at = np.int32(min(distance, glass.span) * bins + 0.5)
            edge = glass.fading[at] if cx * in_x + cy * in_y >= need * distance else 0.0
            height = _bilinear(flat, n, x / size + middle, y / size + middle)
            depth = max(0.0, out[HEIGHT] + out[TILT_X] * x + out[TILT_Y] * y + height + u[j, i])
            sunk[j, i] += share * glass.presence[at] * (1.0 + edge) * depth


@kernel
def _walk_slot(slot: int, slots: int, poses: Floats, settled: Floats, w: Floats, u: Floats, glass: Glass, pitch: Pitch,
               work: Work, force: float, preston: float, relaxation: float, tolerance: float) -> None:
    """Walk every pose of one slot."""
    gap, stiff, cover, ends = work.gap[slot], work.stiff[slot], work.cover[slot], work.ends[slot]
    sums, step = np.empty(10), np.empty(3)
    for i in range(slot, poses.shape[0], slots):
        pose, out = poses[i], settled[i]
        out[COVERED] = _lay(pose, w, u, glass, pitch, gap, stiff, cover, ends)
        length = glass.radius
        _settle(out, force, force * pose[LOAD_X], force * pose[LOAD_Y], length, tolerance, glass.across, glass.area,
                gap, stiff, ends, sums, step)
        if out[STATUS] == BALANCED:
            out[TOUCHING] = _wear(pose, out, preston, glass, gap, stiff, cover, ends, work.worn[slot], work.peak[slot])
            _creep(pose, out, relaxation, w, u, glass, pitch, work.sunk[slot])


@kernel
def _gather(total: Any, laid: Any, row: int) -> None:
    """Take off what the slots laid up on one row, in the order of the slots, and clear it."""
    for slot in range(laid.shape[0]):
        for i in range(total.shape[1]):
            total[row, i] -= laid[slot, row, i]
            laid[slot, row, i] = 0.0


@kernel(parallel=True)
def walk(poses: Floats, settled: Floats, w: Floats, u: Floats, glass: Glass, pitch: Pitch, work: Work, force: float,
         preston: float, relaxation: float, tolerance: float) -> None:
    """Walk a spell's poses: ``poses`` (updates, poses, columns); the state ``w``, ``u`` changes after each update."""
    slots, n, m = work.worn.shape[0], w.shape[0], u.shape[0]
    for update in range(poses.shape[0]):
        for slot in prange(slots):
            _walk_slot(slot, slots, poses[update], settled[update], w, u, glass, pitch, work, force, preston,
                       relaxation, tolerance)
        for row in prange(n):
            _gather(w, work.worn, row)
        for row in prange(m):
            _gather(u, work.sunk, row)
