"""Contact, wear and flow of the independent glass: one pose after the other, on rings that are cut into arcs.

Written apart from wearsim's engines, from docs/theory/physics.md alone, and sharing no code with them. Glass and pitch are
rings. At every pose each ring of the glass is cut into arcs of equal width, the last one ending exactly where the lap's rim
crosses the ring; the pressure is taken at the middle of each arc (the midpoint rule). The settlement and the two tilts are
found by Newton's method, its steps shortened by the secant rule. The flow of the pitch is summed in the same way on the
rings of the lap.

Frame of a pose: origin at the mirror's centre, x towards the lap's centre. SI units.
"""

from __future__ import annotations

from typing import NamedTuple

import numba
import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
TABLE = 300
"""Cells of the even tables in which the heights are looked up."""
X, Y, AREA, GAP, BED, WIDTH = range(6)
"""Columns of the nodes: place, area of one arc, gap without settlement, stiffness per area, width of the arc [rad]."""
kernel = numba.njit(cache=True, error_model="numpy")


class Pieces(NamedTuple):
    """What stays the same during a spell, in SI units.

    Parameters
    ----------
    arcs : int
        Arcs in half a turn.
    lead, push_x, push_y : float
        Friction lead, and place of the hands from the top piece's centre, along and across the stroke [m].
    walk, spin : float
        Turning of the stroke's direction, and of the top piece, against the bottom piece [rad/s].
    pressure_power, speed_power : float
        Exponents of the wear law.
    mean_pressure, mean_speed : float
        Where the law equals Preston's [Pa], [m/s].
    """

    arcs: int
    mirror_radius: float
    hole_radius: float
    lap_radius: float
    stiffness: float
    relaxation_time: float
    edge_gain: float
    edge_length: float
    tool_on_top: bool
    lead: float
    push_x: float
    push_y: float
    walk: float
    spin: float
    pressure_power: float
    speed_power: float
    mean_pressure: float
    mean_speed: float


class Rings(NamedTuple):
    """Rings of one piece: middle radii [m], and half the difference of their squared bounds [m^2]."""

    middle: Floats
    area: Floats


def rings(inner: float, outer: float, count: int) -> Rings:
    """Rings that become narrower towards the rim."""
    bounds = outer - (outer - inner) * (1.0 - np.linspace(0.0, 1.0, count + 1)) ** 1.4
    return Rings(0.5 * (bounds[1:] + bounds[:-1]), 0.5 * np.diff(bounds**2))


@kernel
def covered(radius: float, offset: float, disc: float) -> float:
    """Half angle of a circle that lies within a disc whose centre is ``offset`` away [rad]."""
    if radius + offset <= disc:
        return np.pi
    if abs(radius - offset) >= disc:
        return 0.0
    return np.arccos((radius**2 + offset**2 - disc**2) / (2.0 * radius * offset))


@kernel
def fill_table(middle: Floats, values: Floats, inner: float, outer: float, table: Floats) -> None:
    """Values at even radii, linear between the rings and beyond the last."""
    ring = 0
    for i in range(table.size):
        at = inner + (outer - inner) * i / (table.size - 1)
        while ring < middle.size - 2 and middle[ring + 1] < at:
            ring += 1
        share = (at - middle[ring]) / (middle[ring + 1] - middle[ring])
        table[i] = values[ring] + share * (values[ring + 1] - values[ring])


@kernel
def look_up(table: Floats, inner: float, outer: float, radius: float) -> float:
    """Value at a radius, from an even table."""
    place = (radius - inner) / (outer - inner) * (table.size - 1)
    low = min(max(int(place), 0), table.size - 2)
    return table[low] + min(max(place - low, 0.0), 1.0) * (table[low + 1] - table[low])


@kernel
def edge_angle(pieces: Pieces, offset: float) -> float:
    """Half angle within which the lap reaches an edge length beyond the glass [rad]."""
    return covered(pieces.mirror_radius + pieces.edge_length, offset, pieces.lap_radius)


@kernel
def cut_glass(pieces: Pieces, offset: float, glass: Rings, w: Floats, pitch: Floats, softness: Floats,
              nodes: Floats, first: NDArray[np.int64]) -> None:  # fmt: skip
    """Fill the nodes on one side of the line of centres; ring i has those from ``first[i]`` to ``first[i + 1]``."""
    step, edge, n = np.pi / pieces.arcs, edge_angle(pieces, offset), 0
    for i in range(glass.middle.size):
        first[i] = n
        r = glass.middle[i]
        end = covered(r, offset, pieces.lap_radius)
        near = pieces.edge_gain * np.exp((r - pieces.mirror_radius) / pieces.edge_length)
        low = 0.0
        while low < end - 1e-12:
            high = min(low + step, end)
            angle, width = 0.5 * (low + high), high - low
            x, y = r * np.cos(angle), r * np.sin(angle)
            rho = np.hypot(x - offset, y)
            pressed = min(max((edge - low) / width, 0.0), 1.0)
            bed = look_up(softness, 0.0, pieces.lap_radius, rho) * (1.0 + near * pressed)
            nodes[n, X], nodes[n, Y], nodes[n, WIDTH], nodes[n, AREA] = x, y, width, glass.area[i] * width
            nodes[n, GAP] = w[i] + look_up(pitch, 0.0, pieces.lap_radius, rho)
            nodes[n, BED] = pieces.stiffness * bed
            n, low = n + 1, high
    first[glass.middle.size] = n


@kernel
def sum_up(nodes: Floats, count: int, scale: float, pose: Floats, force: Floats, rise: Floats) -> None:
    """Force and moments over ``scale`` of the pressure at a settlement and tilt, and their derivative."""
    force[:] = 0.0
    rise[:] = 0.0
    for n in range(count):
        x, y = nodes[n, X] / scale, nodes[n, Y] / scale
        bed = nodes[n, BED] * nodes[n, AREA]
        for side in (y, -y):
            gap = nodes[n, GAP] + pose[0] + pose[1] * x + pose[2] * side
            if gap > 0.0:
                force[0] += bed * gap
                force[1] += bed * gap * x
                force[2] += bed * gap * side
                rise[0, 0] += bed
                rise[0, 1] += bed * x
                rise[0, 2] += bed * side
                rise[1, 1] += bed * x * x
                rise[1, 2] += bed * x * side
                rise[2, 2] += bed * side * side
    rise[1, 0], rise[2, 0], rise[2, 1] = rise[0, 1], rise[0, 2], rise[1, 2]


@kernel
def touch_all(nodes: Floats, count: int, load: float, pose: Floats) -> float:
    """Set the pose so that every node touches; returns the stiffness of all [N/m]."""
    low, bed = np.inf, 0.0
    for n in range(count):
        low = min(low, nodes[n, GAP])
        bed += 2.0 * nodes[n, BED] * nodes[n, AREA]
    pose[0], pose[1], pose[2] = load / bed - low, 0.0, 0.0
    return bed


@kernel
def solve(matrix: Floats, right: Floats, out: Floats) -> None:
    """Solve three equations by Cramer's rule."""
    for i in range(3):
        j, k = (i + 1) % 3, (i + 2) % 3
        minors = matrix[:, j], matrix[:, k]
        out[i] = 0.0
        for row in range(3):
            p, q = (row + 1) % 3, (row + 2) % 3
            out[i] += right[row] * (minors[0][p] * minors[1][q] - minors[0][q] * minors[1][p])
    whole = 0.0
    for row in range(3):
        p, q = (row + 1) % 3, (row + 2) % 3
        whole += matrix[row, 0] * (matrix[p, 1] * matrix[q, 2] - matrix[q, 1] * matrix[p, 2])
    for i in range(3):
        out[i] /= whole


@kernel
def approach(nodes: Floats, count: int, scale: float, target: Floats, bed: float, pose: Floats) -> bool:
    """Newton's method from ``pose``, which is changed; whether it met ``target``. ``bed`` is the whole stiffness [N/m]."""
    force, rise, start, step = np.empty(3), np.empty((3, 3)), np.empty(3), np.empty(3)
    sum_up(nodes, count, scale, pose, force, rise)
    for _ in range(60):
        rest = force - target
        if np.abs(rest).max() < 1e-8 * target[0]:
            return True
        for i in range(3):
            rise[i, i] += 1e-9 * bed
        solve(rise, rest, step)
        slope, size = -(rest * step).sum(), 1.0
        start[:] = pose
        for _ in range(40):
            pose[:] = start - size * step
            sum_up(nodes, count, scale, pose, force, rise)
            then = -((force - target) * step).sum()
            if then <= -0.3 * slope:
                break
            size *= max(slope / (slope - then), 0.1)
    return False


@kernel
def balance(nodes: Floats, count: int, scale: float, target: Floats, pose: Floats) -> bool:
    """Settlement and tilt that carry the load where it acts; ``pose`` holds the first guess. Whether it was found."""
    cold = np.empty(3)
    bed = touch_all(nodes, count, target[0], cold)
    if approach(nodes, count, scale, target, bed, pose):
        return True
    pose[:] = cold
    return approach(nodes, count, scale, target, bed, pose)


@kernel
def wear_off(pieces: Pieces, nodes: Floats, first: NDArray[np.int64], pose: Floats, motion: Floats, amount: float,
             w: Floats) -> None:  # fmt: skip
    """Take off what one pose wears.

    ``motion`` is the top piece's centre (x) and its velocity (x, y) [m], [m/s]; ``amount`` is k dt [s/Pa].
    """
    speed = np.hypot(motion[1], motion[2])
    is_preston = pieces.pressure_power == 1.0 and pieces.speed_power == 1.0
    for i in range(w.size):
        total = 0.0
        for n in range(first[i], first[i + 1]):
            x = nodes[n, X] / pieces.mirror_radius
            for side in (nodes[n, Y], -nodes[n, Y]):
                gap = nodes[n, GAP] + pose[0] + pose[1] * x + pose[2] * side / pieces.mirror_radius
                if gap <= 0.0:
                    continue
                pressure = nodes[n, BED] * gap
                if pieces.spin != 0.0:
                    speed = np.hypot(
                        motion[1] - pieces.spin * side, motion[2] + pieces.spin * (nodes[n, X] - motion[0])
                    )
                if is_preston:
                    total += nodes[n, WIDTH] * pressure * speed
                else:
                    shares = pressure / pieces.mean_pressure, speed / pieces.mean_speed
                    rate = shares[0] ** pieces.pressure_power * shares[1] ** pieces.speed_power
                    total += nodes[n, WIDTH] * rate * pieces.mean_pressure * pieces.mean_speed
        w[i] -= amount * total / (2.0 * np.pi)


@kernel
def sink(pieces: Pieces, offset: float, lap: Rings, glass: Floats, pose: Floats, seconds: float, u: Floats) -> None:
    """Let the pitch sink under one pose, ring by ring of the lap; ``glass`` is the table of the glass's height."""
    step, edge, a = np.pi / pieces.arcs, np.cos(edge_angle(pieces, offset)), pieces.mirror_radius
    for m in range(u.size):
        rho, total = lap.middle[m], 0.0
        low, end = covered(rho, offset, pieces.hole_radius), covered(rho, offset, a)
        while low < end - 1e-12:
            high = min(low + step, end)
            angle = 0.5 * (low + high)
            x, y = offset - rho * np.cos(angle), rho * np.sin(angle)
            r = np.hypot(x, y)
            gain = 1.0
            if x > edge * r:
                gain += pieces.edge_gain * np.exp((r - a) / pieces.edge_length)
            gap = look_up(glass, pieces.hole_radius, a, r) + u[m] + pose[0] + pose[1] * x / a
            tilt = pose[2] * y / a
            total += (high - low) * gain * (max(0.0, gap + tilt) + max(0.0, gap - tilt))
            low = high
        u[m] -= seconds / pieces.relaxation_time * total / (2.0 * np.pi)


@kernel
def place_load(pieces: Pieces, row: Floats, motion: Floats, target: Floats) -> tuple[float, float, float]:
    """The frame of one row of ``poses`` (:func:`work`): offset of the centres, and the direction to the lap's centre.

    Fills ``motion`` with the top piece's centre (x) and velocity, ``target`` with force and moments over the radius.
    """
    x, y, load, a = row[0], row[1], row[4], pieces.mirror_radius
    vx, vy = row[2] - pieces.walk * y, row[3] + pieces.walk * x
    offset, speed = np.hypot(x, y), np.hypot(vx, vy)
    sign = 1.0 if pieces.tool_on_top else -1.0
    cx, cy = (sign * x / offset, sign * y / offset) if offset > 0.0 else (1.0, 0.0)
    lead = pieces.lead / speed if speed > 0.0 else 0.0
    at_x, at_y = pieces.push_x + lead * vx, pieces.push_y + lead * vy
    motion[0] = offset if pieces.tool_on_top else 0.0
    motion[1], motion[2] = vx * cx + vy * cy, vy * cx - vx * cy
    target[0], target[1] = load, load * (motion[0] + at_x * cx + at_y * cy) / a
    target[2] = load * (at_y * cx - at_x * cy) / a
    return offset, cx, cy


@kernel
def work(pieces: Pieces, glass: Rings, lap: Rings, softness: Floats, poses: Floats, per_stroke: int, w: Floats,
         u: Floats) -> int:  # fmt: skip
    """Work all poses in turn; ``w`` and ``u`` are changed.

    Parameters
    ----------
    softness : (TABLE + 1,) float
        Stiffness of the pitch over its nominal one at even radii of the lap [1].
    poses : (n, 7) float
        Top piece's centre from the bottom piece's along and across the stroke [m], its velocity [m/s], load [N], duration
        [s], Preston coefficient [1/Pa].
    per_stroke : int
        Poses after which the tables of heights are made again.
    w, u : (rings,) float
        Heights of glass and pitch [m].

    Returns
    -------
    int
        Number of the pose whose balance was not found; -1 where all were.
    """
    nodes, first = np.empty((glass.middle.size * (pieces.arcs + 2), 6)), np.empty(w.size + 1, dtype=np.int64)
    glass_table, pitch_table = np.empty(TABLE + 1), np.empty(TABLE + 1)
    pose, tilt, target, motion, a = np.zeros(3), np.zeros(3), np.empty(3), np.empty(3), pieces.mirror_radius
    for n in range(poses.shape[0]):
        if n % per_stroke == 0:
            fill_table(glass.middle, w, pieces.hole_radius, a, glass_table)
            fill_table(lap.middle, u, 0.0, pieces.lap_radius, pitch_table)
        offset, cx, cy = place_load(pieces, poses[n], motion, target)
        cut_glass(pieces, offset, glass, w, pitch_table, softness, nodes, first)
        pose[0], pose[1], pose[2] = tilt[0], tilt[1] * cx + tilt[2] * cy, tilt[2] * cx - tilt[1] * cy
        if not balance(nodes, first[w.size], a, target, pose):
            return n
        tilt[0], tilt[1], tilt[2] = pose[0], pose[1] * cx - pose[2] * cy, pose[1] * cy + pose[2] * cx
        wear_off(pieces, nodes, first, pose, motion, poses[n, 5] * poses[n, 6], w)
        sink(pieces, offset, lap, glass_table, pose, poses[n, 5], u)
    return -1
