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
from numba import get_thread_id, prange
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
    gain: Floats  # edge gain g exp(-s/lambda), carried on beyond the rim [1]
    distance: Floats  # from the mirror's centre [m]
    inward: (
        Floats  # factor that draws the cell's middle to the middle of its glass, where the rim cuts it [1]
    )
    width: Floats  # of the cell's glass, along the radius [m]
    across: Floats  # (n,) coordinates of columns and of rows [m]
    radius: float  # of the outer rim [m]
    hole: float  # radius of the central hole [m]
    most: float  # edge gain g at the rim [1]
    fade: float  # its length lambda [m]
    reach: float  # the lap must reach to here for the edge effect [m]


class Pitch(NamedTuple):
    """What stays of the lap: arrays ``(m, m)`` in its own frame."""

    share: Floats  # share of the cell that is pitch, rim apart; (1, 1) for a whole lap [1]
    inward: Floats  # factor that draws a place at the rim or beyond back to half a cell inside it [1]
    across: Floats  # (m,) coordinates of columns and of rows [m]
    radius: float  # [m]
    stiffness: float  # of the pitch that is there: kappa / fraction [Pa/m]


class Work(NamedTuple):
    """Room to work in. What poses do is laid up by slots; what only one pose needs belongs to a thread."""

    worn: Floats  # (slots, n, n) [m]
    sunk: Floats  # (slots, m, m) [m]
    gap: Floats  # (threads, n, n) glass and pitch height together [m]
    stiff: Floats  # (threads, n, n) kappa E times the share of pitch between channels [Pa/m]
    held: Floats  # (threads, n, n) area of glass that faces pitch [m^2]
    peak: Floats  # (threads, n, n) largest pressure so far [Pa]
    ends: NDArray[np.int64]  # (threads, n, 2) first column, and one past the last, under the lap


class Row(NamedTuple):
    """Room for one row of cells."""

    at: NDArray[np.int32]
    right: Floats
    up: Floats
    height: Floats
    bearing: Floats


@kernel
def _row(longest: int) -> Row:
    return Row(
        np.empty(longest, np.int32),
        np.empty(longest),
        np.empty(longest),
        np.empty(longest),
        np.empty(longest),
    )


@kernel
def _columns(
    across: float,
    reach_own: float,
    gap_across: float,
    offset: float,
    reach_other: float,
    size: float,
    middle: float,
    count: int,
) -> Any:
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
def _places(
    column: float, row: float, cosine: float, sine: float, width: int, at: Any, right: Any, up: Any
) -> None:
    """Where a straight row of cells lies in the other grid: cell below and left, and the fractions beyond it.

    ``column``, ``row``: place of the first cell, in cells; the caller keeps all places inside the grid.
    """
    for i in range(at.size):
        across, along = column + cosine * i, row + sine * i
        left, low = np.int32(across), np.int32(along)
        at[i] = low * np.int32(width) + left
        right[i] = across - left
        up[i] = along - low


@kernel
def _read(flat: Floats, width: int, at: Any, right: Any, up: Any, into: Any) -> None:
    """Read a flattened grid at these places by bilinear interpolation."""
    for i in range(into.size):
        k = np.uint32(at[i])
        left, far = flat[k], flat[k + np.uint32(width)]
        below = left + right[i] * (flat[k + np.uint32(1)] - left)
        above = far + right[i] * (flat[k + np.uint32(width + 1)] - far)
        into[i] = below + up[i] * (above - below)


@kernel
def _cover(x: Any, y: float, cx: float, cy: float, radius: float, size: float, cover: Any) -> None:
    """Share of each cell of a row that the lap's disc covers: a ramp one cell wide at its rim."""
    ramp = 0.5 / (radius * size)
    level = 0.5 + ramp * radius * radius
    for i in range(cover.size):
        over_x, over_y = x[i] - cx, y - cy
        cover[i] = min(1.0, max(0.0, level - ramp * (over_x * over_x + over_y * over_y)))


@kernel
def _hold(
    x: Any, y: float, cx: float, cy: float, radius: float, inward: Any, width: Any, area: Any, held: Any
) -> float:
    """Area of each cell's glass that the lap's disc covers, and the sum: the ramp is as wide as the cell's glass.

    So where the two rims run together, the cells that both cut count once and not twice.
    """
    total = 0.0
    for i in range(held.size):
        over_x, over_y = x[i] * inward[i] - cx, y * inward[i] - cy
        inside = radius * radius - over_x * over_x - over_y * over_y
        held[i] = area[i] * min(1.0, max(0.0, 0.5 + inside / (2.0 * radius * width[i])))
        total += held[i]
    return total


@kernel
def _stiffen(
    x: Any, away: float, cx: float, need: float, stiffness: float, gain: Any, distance: Any, stiff: Any
) -> None:
    """Stiffness kappa E of a row; the edge effect only where the lap reaches far enough beyond the rim."""
    for i in range(stiff.size):
        edge = gain[i] if away + cx * x[i] >= need * distance[i] else 0.0
        stiff[i] = stiffness * (1.0 + edge)


@kernel
def _add(one: Any, other: Any, into: Any) -> None:
    for i in range(into.size):
        into[i] = one[i] + other[i]


@kernel
def _multiply(one: Any, other: Any, into: Any) -> None:
    for i in range(into.size):
        into[i] = one[i] * other[i]


@kernel
def _lay(
    pose: Floats,
    w: Floats,
    u: Floats,
    glass: Glass,
    pitch: Pitch,
    gap: Any,
    stiff: Any,
    held: Any,
    ends: Any,
    row: Row,
) -> float:
    """Lay the lap on the glass: gap, stiffness and area held of every cell; returns the area under the lap [m^2]."""
    n, m = glass.across.size, pitch.across.size
    size, middle = glass.across[1] - glass.across[0], 0.5 * (m - 1)
    cx, cy, cosine, sine = pose[CENTRE_X], pose[CENTRE_Y], pose[COSINE], pose[SINE]
    need = (glass.reach**2 + cx * cx + cy * cy - pitch.radius**2) / (2.0 * glass.reach)
    covered = 0.0
    for j in range(n):
        y = glass.across[j]
        first, last = _columns(
            y,
            glass.radius + GHOSTS * size,
            y - cy,
            cx,
            pitch.radius + (GHOSTS + 1.0) * size,
            size,
            0.5 * (n - 1),
            n,
        )
        ends[j, 0], ends[j, 1], count = first, last, last - first
        if count == 0:
            continue
        at, right, up, height = row.at[:count], row.right[:count], row.up[:count], row.height[:count]
        x, left_x, left_y = glass.across[first:last], glass.across[first] - cx, y - cy
        _places(
            (cosine * left_x + sine * left_y) / size + middle,
            (cosine * left_y - sine * left_x) / size + middle,
            cosine,
            -sine,
            m,
            at,
            right,
            up,
        )
        covered += _hold(
            x,
            y,
            cx,
            cy,
            pitch.radius,
            glass.inward[j, first:last],
            glass.width[j, first:last],
            glass.area[j, first:last],
            held[j, first:last],
        )
        if glass.most > 0.0:
            _stiffen(
                x,
                cy * y,
                cx,
                need,
                pitch.stiffness,
                glass.gain[j, first:last],
                glass.distance[j, first:last],
                stiff[j, first:last],
            )
        else:
            stiff[j, first:last] = pitch.stiffness
        if pitch.share.size > 1:
            _read(pitch.share.ravel(), m, at, right, up, height)
            _multiply(stiff[j, first:last], height, stiff[j, first:last])
        _read(u.ravel(), m, at, right, up, height)
        _add(w[j, first:last], height, gap[j, first:last])
    return covered


@kernel
def _press_row(level: float, bx: float, least: float, across: Any, held: Any, gap: Any, stiff: Any) -> Any:
    """The sums of one row: k, kx, kxx, p, px, ps."""
    k0 = k1 = k2 = p0 = p1 = e0 = 0.0
    for i in range(gap.size):
        x = across[i]
        depth = level + bx * x + gap[i]
        k = stiff[i] * held[i] if depth > least else 0.0
        p, kx = k * depth, k * x
        k0 += k
        k1 += kx
        k2 += kx * x
        p0 += p
        p1 += p * x
        e0 += p * depth
    return k0, k1, k2, p0, p1, e0


@kernel
def _press(
    d: float,
    bx: float,
    by: float,
    least: float,
    across: Floats,
    held: Any,
    gap: Any,
    stiff: Any,
    ends: Any,
    sums: Floats,
) -> None:
    """Stiffness and pressure over the cells that are pressed deeper than ``least``, with their moments and energy.

    ``sums``: k, kx, ky, kxx, kxy, kyy, p, px, py, ps (twice the energy); p = k s with s = d + b.x + gap.
    """
    sums[:] = 0.0
    for j in range(across.size):
        y, first, last = across[j], ends[j, 0], ends[j, 1]
        if last == first:
            continue
        k0, k1, k2, p0, p1, e0 = _press_row(
            d + by * y,
            bx,
            least,
            across[first:last],
            held[j, first:last],
            gap[j, first:last],
            stiff[j, first:last],
        )
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
def _settle(
    out: Floats,
    force: float,
    fx: float,
    fy: float,
    length: float,
    tolerance: float,
    across: Floats,
    held: Any,
    gap: Any,
    stiff: Any,
    ends: Any,
    sums: Floats,
    step: Floats,
) -> None:
    """Find height and tilt: Newton's method on the convex energy, from ``out`` if it touches, else from full contact."""
    d, bx, by = out[HEIGHT], out[TILT_X], out[TILT_Y]
    _press(d, bx, by, 0.0, across, held, gap, stiff, ends, sums)
    steps, status, left = 1, UNBALANCED, _imbalance(sums, force, fx, fy, length)
    if sums[6] <= 0.0 or left > 1e3:
        _press(0.0, 0.0, 0.0, -np.inf, across, held, gap, stiff, ends, sums)
        _newton_step(sums, force, fx, fy, length, step)
        d, bx, by = step[0], step[1], step[2]
        _press(d, bx, by, 0.0, across, held, gap, stiff, ends, sums)
        steps, left = steps + 2, _imbalance(sums, force, fx, fy, length)
    while left > tolerance and steps < MOST_STEPS:
        _newton_step(sums, force, fx, fy, length, step)
        energy = 0.5 * sums[9] - force * d - fx * bx - fy * by
        slope = -step[0] * (force - sums[6]) - step[1] * (fx - sums[7]) - step[2] * (fy - sums[8])
        part, before = 1.0, left
        while True:
            td, tx, ty = d + part * step[0], bx + part * step[1], by + part * step[2]
            _press(td, tx, ty, 0.0, across, held, gap, stiff, ends, sums)
            steps, left = steps + 1, _imbalance(sums, force, fx, fy, length)
            lower = 0.5 * sums[9] - force * td - fx * tx - fy * ty
            if (
                lower <= energy + 1e-4 * part * slope
                or left < 0.5 * before
                or part < 1e-8
                or steps >= MOST_STEPS
            ):
                break
            part *= 0.5
        d, bx, by = td, tx, ty
    if left <= tolerance:
        status = BALANCED
    out[HEIGHT], out[TILT_X], out[TILT_Y] = d, bx, by
    out[STEPS], out[STATUS], out[IMBALANCE] = steps, status, left


@kernel
def _wear_row(
    level: float,
    bx: float,
    along: float,
    side: float,
    rate: float,
    share: float,
    x: Any,
    gap: Any,
    stiff: Any,
    cover: Any,
    worn: Any,
) -> None:
    for i in range(worn.size):
        pressure = stiff[i] * cover[i] * max(0.0, level + bx * x[i] + gap[i])
        across = side + rate * x[i]
        worn[i] += share * pressure * np.sqrt(along * along + across * across)


@kernel
def _touch_row(
    level: float, bx: float, half: float, x: Any, gap: Any, stiff: Any, held: Any, peak: Any
) -> float:
    """Raise the row's peaks to the pressure, in cells at least half of which is held; returns the area in contact."""
    touching = 0.0
    for i in range(peak.size):
        depth, touched = level + bx * x[i] + gap[i], held[i]
        touching += touched if depth > 0.0 else 0.0
        pressure = stiff[i] * depth if touched >= half else 0.0
        peak[i] = pressure if pressure > peak[i] else peak[i]
    return touching


@kernel
def _wear(
    pose: Floats,
    out: Floats,
    preston: float,
    glass: Glass,
    pitch: Pitch,
    gap: Any,
    stiff: Any,
    held: Any,
    ends: Any,
    worn: Any,
    peak: Any,
    row: Row,
) -> float:
    """Wear of every cell (physics section 3) and its largest pressure; returns the area in contact [m^2]."""
    d, bx, by = out[HEIGHT], out[TILT_X], out[TILT_Y]
    share, rate, touching = preston * pose[TIME], pose[RATE], 0.0
    size = glass.across[1] - glass.across[0]
    for j in range(glass.across.size):
        y, first, last = glass.across[j], ends[j, 0], ends[j, 1]
        if last == first:
            continue
        x, deep, hard = glass.across[first:last], gap[j, first:last], stiff[j, first:last]
        cover = row.bearing[: last - first]
        _cover(x, y, pose[CENTRE_X], pose[CENTRE_Y], pitch.radius, size, cover)
        _wear_row(
            d + by * y,
            bx,
            pose[SPEED_X] - rate * y,
            pose[SPEED_Y],
            rate,
            share,
            x,
            deep,
            hard,
            cover,
            worn[j, first:last],
        )
        touching += _touch_row(
            d + by * y, bx, 0.5 * size * size, x, deep, hard, held[j, first:last], peak[j, first:last]
        )
    return touching


@kernel
def _bear(
    glass: Glass,
    size: float,
    start_x: float,
    start_y: float,
    cosine: float,
    sine: float,
    cx: float,
    cy: float,
    need: float,
    inward: Any,
    into: Any,
) -> None:
    """Share of glass times its edge gain, E, over a row of the lap's cells that begins at ``start`` from its centre.

    With the pieces centre over centre, cells at the lap's rim ask half a cell inside it: a rim that lies on the
    glass's own is pressed whole. exp(-t) is the 16th power of its series at t/16 up to the
    fourth order: 2e-4 of itself at t = 4, 3e-7 in all beyond t = 16. It goes on rising to t = -1 beyond the rim.
    """
    ramp, hole = 0.5 / (glass.radius * size), glass.hole
    level = 0.5 + ramp * glass.radius**2
    hole_ramp = 0.5 / (hole * size) if hole > 0.0 else 0.0
    together = cx * cx + cy * cy < 0.25 * size * size
    hole_level = 0.5 - hole_ramp * hole * hole if hole > 0.0 else 1.0
    for i in range(into.size):
        drawn = inward[i] if together else 1.0
        x = cx + drawn * (start_x + cosine * (i * size))
        y = cy + drawn * (start_y + sine * (i * size))
        square = x * x + y * y
        distance = np.sqrt(square)
        z = -min(1.0, max(-0.0625, (glass.radius - distance) / (16.0 * glass.fade)))
        power = 1.0 + z * (1.0 + z * (0.5 + z * (1.0 / 6.0 + z * (1.0 / 24.0))))
        power *= power
        power *= power
        power *= power
        edge = glass.most * (power * power) if cx * x + cy * y >= need * distance else 0.0
        presence = min(1.0, max(0.0, min(level - ramp * square, hole_level + hole_ramp * square)))
        into[i] = presence * (1.0 + edge)


@kernel
def _sink_row(level: float, slope: float, share: float, height: Any, u: Any, bearing: Any, sunk: Any) -> None:
    for i in range(sunk.size):
        sunk[i] += share * bearing[i] * max(0.0, level + slope * i + height[i] + u[i])


@kernel
def _creep(
    pose: Floats,
    out: Floats,
    relaxation: float,
    w: Floats,
    u: Floats,
    glass: Glass,
    pitch: Pitch,
    sunk: Any,
    row: Row,
) -> None:
    """Sinking of every cell of the lap under the glass (physics section 4); a facet sinks by E s / tau."""
    n, m = glass.across.size, pitch.across.size
    size, middle = glass.across[1] - glass.across[0], 0.5 * (n - 1)
    cx, cy, cosine, sine = pose[CENTRE_X], pose[CENTRE_Y], pose[COSINE], pose[SINE]
    away_x, away_y = (
        cosine * cx + sine * cy,
        cosine * cy - sine * cx,
    )  # the lap's centre, in the lap's directions
    need = (glass.reach**2 + cx * cx + cy * cy - pitch.radius**2) / (2.0 * glass.reach)
    for j in range(m):
        q = pitch.across[j]
        first, last = _columns(
            q,
            pitch.radius + GHOSTS * size,
            q + away_y,
            -away_x,
            glass.radius + (GHOSTS + 1.0) * size,
            size,
            0.5 * (m - 1),
            m,
        )
        count = last - first
        if count == 0:
            continue
        at, right, up, height = row.at[:count], row.right[:count], row.up[:count], row.height[:count]
        start_x = cosine * pitch.across[first] - sine * q
        start_y = sine * pitch.across[first] + cosine * q
        x, y = cx + start_x, cy + start_y
        _places(x / size + middle, y / size + middle, cosine, sine, n, at, right, up)
        _read(w.ravel(), n, at, right, up, height)
        _bear(
            glass,
            size,
            start_x,
            start_y,
            cosine,
            sine,
            cx,
            cy,
            need,
            pitch.inward[j, first:last],
            row.bearing[:count],
        )
        _sink_row(
            out[HEIGHT] + out[TILT_X] * x + out[TILT_Y] * y,
            (out[TILT_X] * cosine + out[TILT_Y] * sine) * size,
            pose[TIME] / relaxation,
            height,
            u[j, first:last],
            row.bearing[:count],
            sunk[j, first:last],
        )


@kernel
def _walk_slot(
    slot: int,
    thread: int,
    poses: Floats,
    settled: Floats,
    w: Floats,
    u: Floats,
    glass: Glass,
    pitch: Pitch,
    work: Work,
    force: float,
    preston: float,
    relaxation: float,
    tolerance: float,
) -> None:
    """Walk every pose of one slot."""
    gap, stiff, held, ends = work.gap[thread], work.stiff[thread], work.held[thread], work.ends[thread]
    sums, step, row = np.empty(10), np.empty(3), _row(max(w.shape[0], u.shape[0]))
    for i in range(slot, poses.shape[0], work.worn.shape[0]):
        pose, out = poses[i], settled[i]
        out[COVERED] = _lay(pose, w, u, glass, pitch, gap, stiff, held, ends, row)
        _settle(
            out,
            force,
            force * pose[LOAD_X],
            force * pose[LOAD_Y],
            glass.radius,
            tolerance,
            glass.across,
            held,
            gap,
            stiff,
            ends,
            sums,
            step,
        )
        if out[STATUS] == BALANCED:
            out[TOUCHING] = _wear(
                pose,
                out,
                preston,
                glass,
                pitch,
                gap,
                stiff,
                held,
                ends,
                work.worn[slot],
                work.peak[thread],
                row,
            )
            _creep(pose, out, relaxation, w, u, glass, pitch, work.sunk[slot], row)


@kernel
def _gather(total: Any, laid: Any, row: int) -> None:
    """Take off what the slots laid up on one row, in the order of the slots, and clear it."""
    for slot in range(laid.shape[0]):
        for i in range(total.shape[1]):
            total[row, i] -= laid[slot, row, i]
            laid[slot, row, i] = 0.0


@kernel(parallel=True)
def walk(
    poses: Floats,
    settled: Floats,
    w: Floats,
    u: Floats,
    glass: Glass,
    pitch: Pitch,
    work: Work,
    force: float,
    preston: float,
    relaxation: float,
    tolerance: float,
) -> None:
    """Walk a spell's poses: ``poses`` (updates, poses, columns); the state ``w``, ``u`` changes after each update.

    ``settled`` (updates, poses, columns): the guess for the first update comes in, the settlements come out.
    """
    slots, n, m = work.worn.shape[0], w.shape[0], u.shape[0]
    for update in range(poses.shape[0]):
        if update > 0:  # the same pose of the stroke before is the best guess
            settled[update, :, :STEPS] = settled[update - 1, :, :STEPS]
        for slot in prange(slots):
            _walk_slot(
                slot,
                get_thread_id(),
                poses[update],
                settled[update],
                w,
                u,
                glass,
                pitch,
                work,
                force,
                preston,
                relaxation,
                tolerance,
            )
        for row in prange(n):
            _gather(w, work.worn, row)
        for row in prange(m):
            _gather(u, work.sunk, row)
