"""Wear and creep of the planar engine: poses of two pieces, each on a grid in its own frame (physics sections 2-4).

The contact is summed over the glass's cells, where the pitch is read by bilinear interpolation at the turned
place; the pitch creeps over its own cells, where the glass is read the same way. Each grid is so updated cell
by cell from its own side: nothing is scattered, no sum depends on the number of threads, and a facet's edge
stays sharp in the frame that it belongs to. Cells up to a few beyond a rim, and in channels, are carried along
as if the piece went on there: they weigh nothing in the balance, and give the reading at the rim its far side.

All poses of one call share the state as it stood when the call began; the wear and creep that they do are
laid up in ``slots`` (pose ``i`` in slot ``i % slots``) and taken off in the order of the slots. Threads take
slots, so that the result is the same to the bit for any number of them.
"""

from __future__ import annotations

from typing import Any

import numpy as np
from numba import get_thread_id, prange  # type: ignore[attr-defined]

from wearsim.kernels import planar_grid as grid
from wearsim.kernels._jit import kernel
from wearsim.kernels.arrays import Floats
from wearsim.kernels.planar_contact import balance, lay_lap
from wearsim.kernels.planar_grid import GlassGrid, PitchGrid, Row, Work


@kernel
def _wear(pose: Floats, out: Floats, law: Floats, glass: GlassGrid, pitch: PitchGrid, gap: Any, stiff: Any, held: Any,
          ends: Any, worn: Any, peak: Any, row: Row) -> float:  # fmt: skip
    """Wear of every cell (physics section 3) and its largest pressure; returns the area in contact [m^2]."""
    d, bx, by = out[grid.HEIGHT], out[grid.TILT_X], out[grid.TILT_Y]
    share, rate, touching = law[0] * pose[grid.TIME], pose[grid.RATE], 0.0
    is_linear = law[1] == 1.0 and law[2] == 1.0
    size = glass.across[1] - glass.across[0]
    for j in range(glass.across.size):
        y, first, last = glass.across[j], ends[j, 0], ends[j, 1]
        if last == first:
            continue
        x, deep, hard = glass.across[first:last], gap[j, first:last], stiff[j, first:last]
        cover = row.bearing[: last - first]
        grid.cover_row(x, y, pose[grid.CENTRE_X], pose[grid.CENTRE_Y], pitch.radius, size, cover)
        along, side = pose[grid.SPEED_X] - rate * y, pose[grid.SPEED_Y]
        level, into = d + by * y, worn[j, first:last]
        if is_linear:
            grid.wear_row(level, bx, along, side, rate, share, x, deep, hard, cover, into)
        else:
            grid.wear_row_by_powers(level, bx, along, side, rate, share, law[1], law[2], x, deep, hard, cover, into)
        tops = peak[j, first:last]
        touching += grid.touch_row(d + by * y, bx, 0.5 * size * size, x, deep, hard, held[j, first:last], tops)
    return touching


@kernel
def _creep(pose: Floats, out: Floats, relaxation: float, w: Floats, u: Floats, glass: GlassGrid, pitch: PitchGrid,
           sunk: Any, row: Row) -> None:  # fmt: skip
    """Sinking of every cell of the lap under the glass (physics section 4); a facet sinks by E s / tau."""
    n, m = glass.across.size, pitch.across.size
    size, middle = glass.across[1] - glass.across[0], 0.5 * (n - 1)
    cx, cy, cosine, sine = pose[grid.CENTRE_X], pose[grid.CENTRE_Y], pose[grid.COSINE], pose[grid.SINE]
    away_x, away_y = cosine * cx + sine * cy, cosine * cy - sine * cx  # the lap's centre, in the lap's directions
    need = (glass.reach**2 + cx * cx + cy * cy - pitch.radius**2) / (2.0 * glass.reach)
    for j in range(m):
        q = pitch.across[j]
        own, other = pitch.radius + grid.GHOSTS * size, glass.radius + (grid.GHOSTS + 1.0) * size
        first, last = grid.columns_under(q, own, q + away_y, -away_x, other, size, 0.5 * (m - 1), m)
        count = last - first
        if count == 0:
            continue
        at, right, up, height = row.at[:count], row.right[:count], row.up[:count], row.height[:count]
        start_x = cosine * pitch.across[first] - sine * q
        start_y = sine * pitch.across[first] + cosine * q
        x, y = cx + start_x, cy + start_y
        grid.places_of_row(x / size + middle, y / size + middle, cosine, sine, n, at, right, up)
        grid.read_row(w.ravel(), n, at, right, up, height)
        inward, bearing = pitch.inward[j, first:last], row.bearing[:count]
        grid.bear_row(glass, size, start_x, start_y, cosine, sine, cx, cy, need, inward, bearing)
        level = out[grid.HEIGHT] + out[grid.TILT_X] * x + out[grid.TILT_Y] * y
        slope = (out[grid.TILT_X] * cosine + out[grid.TILT_Y] * sine) * size
        grid.sink_row(
            level, slope, pose[grid.TIME] / relaxation, height, u[j, first:last], bearing, sunk[j, first:last]
        )


@kernel
def _walk_slot(slot: int, thread: int, poses: Floats, balances: Floats, w: Floats, u: Floats, glass: GlassGrid,
               pitch: PitchGrid, work: Work, force: float, law: Floats, relaxation: float,
               tolerance: float) -> None:  # fmt: skip
    """Walk every pose of one slot."""
    gap, stiff, held, ends = work.gap[thread], work.stiff[thread], work.held[thread], work.ends[thread]
    sums, step, row = np.empty(10), np.empty(3), grid.room_for_row(max(w.shape[0], u.shape[0]))
    for i in range(slot, poses.shape[0], work.worn.shape[0]):
        pose, out = poses[i], balances[i]
        out[grid.COVERED] = lay_lap(pose, w, u, glass, pitch, gap, stiff, held, ends, row)
        fx, fy = force * pose[grid.LOAD_X], force * pose[grid.LOAD_Y]
        balance(out, force, fx, fy, glass.radius, tolerance, glass.across, held, gap, stiff, ends, sums, step)
        if out[grid.STATUS] == grid.BALANCED:
            worn, peak = work.worn[slot], work.peak[thread]
            out[grid.TOUCHING] = _wear(pose, out, law, glass, pitch, gap, stiff, held, ends, worn, peak, row)
            _creep(pose, out, relaxation, w, u, glass, pitch, work.sunk[slot], row)


@kernel
def _take_off(total: Any, laid: Any, row: int) -> None:
    """Take off what the slots laid up on one row, in the order of the slots, and clear it."""
    for slot in range(laid.shape[0]):
        for i in range(total.shape[1]):
            total[row, i] -= laid[slot, row, i]
            laid[slot, row, i] = 0.0


@kernel(parallel=True)
def walk(poses: Floats, balances: Floats, w: Floats, u: Floats, glass: GlassGrid, pitch: PitchGrid, work: Work, force: float,
         law: Floats, relaxation: float, tolerance: float) -> None:  # fmt: skip
    """Walk a spell's poses: ``poses`` (updates, poses, columns); the state ``w``, ``u`` changes after each update.

    ``balances`` (updates, poses, columns): the guess for the first update comes in, every pose's balance goes out.
    ``law`` (3,): coefficient of wear, exponents of pressure and of speed (physics section 3), SI.
    """
    slots, n, m = work.worn.shape[0], w.shape[0], u.shape[0]
    for update in range(poses.shape[0]):
        if update > 0:  # the same pose of the stroke before is the best guess
            balances[update, :, : grid.STEPS] = balances[update - 1, :, : grid.STEPS]
        for slot in prange(slots):
            thread, now, found = get_thread_id(), poses[update], balances[update]
            _walk_slot(slot, thread, now, found, w, u, glass, pitch, work, force, law, relaxation, tolerance)
        for row in prange(n + m):  # one round for both: each costs the threads a waking
            if row < n:
                _take_off(w, work.worn, row)
            else:
                _take_off(u, work.sunk, row - n)
