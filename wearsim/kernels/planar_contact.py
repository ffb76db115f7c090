"""The contact of one pose: the lap laid on the glass, and the height and tilt at which it carries its load.

The pitch is an elastic foundation that can only push (physics section 2). Height ``d`` and tilt ``b`` minimise the
convex energy ``sum k s^2 / 2 - F d - F x_F . b`` over the pressed cells, ``s = d + b.x + gap``.
"""

from __future__ import annotations

from typing import Any

import numpy as np

from wearsim.kernels import planar_grid as grid
from wearsim.kernels._jit import kernel
from wearsim.kernels.arrays import Floats
from wearsim.kernels.planar_grid import GlassGrid, PitchGrid, Row


@kernel
def lay_lap(pose: Floats, w: Floats, u: Floats, glass: GlassGrid, pitch: PitchGrid, gap: Any, stiff: Any, held: Any,
            ends: Any, row: Row) -> float:  # fmt: skip
    """Lay the lap on the glass: gap, stiffness and area held, cell by cell; returns the area held [m^2]."""
    n, m = glass.across.size, pitch.across.size
    size, middle = glass.across[1] - glass.across[0], 0.5 * (m - 1)
    cx, cy, cosine, sine = pose[grid.CENTRE_X], pose[grid.CENTRE_Y], pose[grid.COSINE], pose[grid.SINE]
    need = (glass.reach**2 + cx * cx + cy * cy - pitch.radius**2) / (2.0 * glass.reach)
    covered = 0.0
    for j in range(n):
        y = glass.across[j]
        reach_own, reach_other = glass.radius + grid.GHOSTS * size, pitch.radius + (grid.GHOSTS + 1.0) * size
        first, last = grid.columns_under(y, reach_own, y - cy, cx, reach_other, size, 0.5 * (n - 1), n)
        ends[j, 0], ends[j, 1], count = first, last, last - first
        if count == 0:
            continue
        at, right, up, height = row.at[:count], row.right[:count], row.up[:count], row.height[:count]
        x, left_x, left_y = glass.across[first:last], glass.across[first] - cx, y - cy
        column, up_row = cosine * left_x + sine * left_y, cosine * left_y - sine * left_x
        grid.places_of_row(column / size + middle, up_row / size + middle, cosine, -sine, m, at, right, up)
        inward, width, area = glass.inward[j, first:last], glass.width[j, first:last], glass.area[j, first:last]
        covered += grid.hold_row(x, y, cx, cy, pitch.radius, inward, width, area, held[j, first:last])
        if glass.most > 0.0:
            gain, distance = glass.gain[j, first:last], glass.distance[j, first:last]
            grid.stiffen_row(x, cy * y, cx, need, pitch.stiffness, gain, distance, stiff[j, first:last])
        else:
            stiff[j, first:last] = pitch.stiffness
        if pitch.share.size > 1:
            grid.read_row(pitch.share.ravel(), m, at, right, up, height)
            grid.multiply_row(stiff[j, first:last], height, stiff[j, first:last])
        grid.read_row(u.ravel(), m, at, right, up, height)
        grid.add_row(w[j, first:last], height, gap[j, first:last])
    return covered


@kernel
def pressure_sums(d: float, bx: float, by: float, least: float, across: Floats, held: Any, gap: Any, stiff: Any,
                  ends: Any, sums: Floats) -> None:  # fmt: skip
    """Stiffness and pressure over the cells that are pressed deeper than ``least``, with their moments and energy.

    ``sums``: k, kx, ky, kxx, kxy, kyy, p, px, py, ps (twice the energy); p = k s with s = d + b.x + gap.
    """
    sums[:] = 0.0
    for j in range(across.size):
        y, first, last = across[j], ends[j, 0], ends[j, 1]
        if last == first:
            continue
        x, held_row, deep, hard = across[first:last], held[j, first:last], gap[j, first:last], stiff[j, first:last]
        k0, k1, k2, p0, p1, e0 = grid.pressure_row(d + by * y, bx, least, x, held_row, deep, hard)
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
    return float(max(abs(force - sums[6]), moment) / force)


@kernel
def balance(out: Floats, force: float, fx: float, fy: float, length: float, tolerance: float, across: Floats,
            held: Any, gap: Any, stiff: Any, ends: Any, sums: Floats, step: Floats) -> None:  # fmt: skip
    """Find height and tilt by Newton's method, from those in ``out`` if they touch, else from full contact."""
    d, bx, by = out[grid.HEIGHT], out[grid.TILT_X], out[grid.TILT_Y]
    pressure_sums(d, bx, by, 0.0, across, held, gap, stiff, ends, sums)
    steps, status, left = 1, grid.UNBALANCED, _imbalance(sums, force, fx, fy, length)
    if sums[6] <= 0.0 or left > 1e3:
        pressure_sums(0.0, 0.0, 0.0, -np.inf, across, held, gap, stiff, ends, sums)
        _newton_step(sums, force, fx, fy, length, step)
        d, bx, by = step[0], step[1], step[2]
        pressure_sums(d, bx, by, 0.0, across, held, gap, stiff, ends, sums)
        steps, left = steps + 2, _imbalance(sums, force, fx, fy, length)
    while left > tolerance and steps < grid.MOST_STEPS:
        _newton_step(sums, force, fx, fy, length, step)
        energy = 0.5 * sums[9] - force * d - fx * bx - fy * by
        slope = -step[0] * (force - sums[6]) - step[1] * (fx - sums[7]) - step[2] * (fy - sums[8])
        part, before = 1.0, left
        while True:
            td, tx, ty = d + part * step[0], bx + part * step[1], by + part * step[2]
            pressure_sums(td, tx, ty, 0.0, across, held, gap, stiff, ends, sums)
            steps, left = steps + 1, _imbalance(sums, force, fx, fy, length)
            lower = 0.5 * sums[9] - force * td - fx * tx - fy * ty
            if lower <= energy + 1e-4 * part * slope or left < 0.5 * before:
                break
            if part < 1e-8 or steps >= grid.MOST_STEPS:
                break
            part *= 0.5
        d, bx, by = td, tx, ty
    if left <= tolerance:
        status = grid.BALANCED
    out[grid.HEIGHT], out[grid.TILT_X], out[grid.TILT_Y] = d, bx, by
    out[grid.STEPS], out[grid.STATUS], out[grid.IMBALANCE] = steps, status, left
