"""The grids of the planar kernels: columns of their tables, arrays of the two pieces, and what is done to a row of cells.

The loops over a row are short enough to run on vectors. Each writes one array; a loop that also reads at scattered
places writes nothing else. That is what lets the compiler see that no store disturbs a load.
"""

from __future__ import annotations

from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from wearsim.kernels._jit import kernel
from wearsim.kernels.arrays import Floats

# Columns of a pose, all in the mirror's frame: the lap's centre [m]; cosine and sine of the lap's angle; velocity
# of the lap over the glass at the mirror's centre [m/s] and its turning rate [rad/s]; where the load stands [m];
# how long it lasts [s].
CENTRE_X, CENTRE_Y, COSINE, SINE, SPEED_X, SPEED_Y, RATE, LOAD_X, LOAD_Y, TIME = range(10)
POSE_COLUMNS = 10
# Columns of a balance: height [m] and two tilts [1], passes over the contact, status, area under the lap and in
# contact [m^2], largest relative imbalance left [1].
HEIGHT, TILT_X, TILT_Y, STEPS, STATUS, COVERED, TOUCHING, IMBALANCE = range(8)
BALANCE_COLUMNS = 8

BALANCED, UNBALANCED = 0, 1
MOST_STEPS = 1000  # against a fault of ours alone: the worst balance seen, far out on a deep figure, took 72
GHOSTS = 2.5  # cells beyond a rim that are carried along


class GlassGrid(NamedTuple):
    """What stays of the mirror: arrays ``(n, n)`` in its own frame."""

    area: Floats  # area of glass in the cell [m^2]
    gain: Floats  # edge gain g exp(-s/lambda), carried on beyond the rim [1]
    distance: Floats  # from the mirror's centre [m]
    inward: Floats  # factor that draws the cell's middle to the middle of its glass, where the rim cuts it [1]
    width: Floats  # of the cell's glass, along the radius [m]
    across: Floats  # (n,) coordinates of columns and of rows [m]
    radius: float  # of the outer rim [m]
    hole: float  # radius of the central hole [m]
    most: float  # edge gain g at the rim [1]
    fade: float  # its length lambda [m]
    reach: float  # the lap must reach to here for the edge effect [m]


class PitchGrid(NamedTuple):
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
def room_for_row(longest: int) -> Row:
    """Room for rows of up to ``longest`` cells, not yet filled: taken once a thread and not once a row."""
    return Row(np.empty(longest, np.int32), np.empty(longest), np.empty(longest), np.empty(longest), np.empty(longest))


@kernel
def columns_under(across: float, reach_own: float, gap_across: float, offset: float, reach_other: float,
                  size: float, middle: float, count: int) -> Any:  # fmt: skip
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
def places_of_row(
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
def read_row(flat: Floats, width: int, at: Any, right: Any, up: Any, into: Any) -> None:
    """Read a flattened grid at these places by bilinear interpolation."""
    for i in range(into.size):
        k = np.uint32(at[i])
        left, far = flat[k], flat[k + np.uint32(width)]
        below = left + right[i] * (flat[k + np.uint32(1)] - left)
        above = far + right[i] * (flat[k + np.uint32(width + 1)] - far)
        into[i] = below + up[i] * (above - below)


@kernel
def cover_row(x: Any, y: float, cx: float, cy: float, radius: float, size: float, cover: Any) -> None:
    """Share of each cell of a row that the lap's disc covers: a ramp one cell wide at its rim."""
    ramp = 0.5 / (radius * size)
    level = 0.5 + ramp * radius * radius
    for i in range(cover.size):
        over_x, over_y = x[i] - cx, y - cy
        cover[i] = min(1.0, max(0.0, level - ramp * (over_x * over_x + over_y * over_y)))


@kernel
def hold_row(
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
def stiffen_row(
    x: Any, away: float, cx: float, need: float, stiffness: float, gain: Any, distance: Any, stiff: Any
) -> None:
    """Stiffness kappa E of a row; the edge effect only where the lap reaches far enough beyond the rim."""
    for i in range(stiff.size):
        edge = gain[i] if away + cx * x[i] >= need * distance[i] else 0.0
        stiff[i] = stiffness * (1.0 + edge)


@kernel
def add_row(one: Any, other: Any, into: Any) -> None:
    """``into = one + other``: gap of a row from its two heights, each shape (cells,) [m]."""
    for i in range(into.size):
        into[i] = one[i] + other[i]


@kernel
def multiply_row(one: Any, other: Any, into: Any) -> None:
    """``into = one * other``, each shape (cells,): stiffness of a row over the pitch that holds it."""
    for i in range(into.size):
        into[i] = one[i] * other[i]


@kernel
def pressure_row(level: float, bx: float, least: float, across: Any, held: Any, gap: Any, stiff: Any) -> Any:
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
def wear_row(level: float, bx: float, along: float, side: float, rate: float, share: float, x: Any, gap: Any,
              stiff: Any, cover: Any, worn: Any) -> None:  # fmt: skip
    """Add to a row what wears in one pose: share x pressure x speed (Preston's law, physics section 3).

    The pressure is ``stiff cover max(0, level + bx x + gap)`` [Pa]; the speed has the parts ``along`` and
    ``side + rate x`` [m/s]; ``share`` is Preston's coefficient times the time of the pose [s/Pa]. ``worn`` is
    raised in place, shape (cells,) [m].
    """
    for i in range(worn.size):
        pressure = stiff[i] * cover[i] * max(0.0, level + bx * x[i] + gap[i])
        across = side + rate * x[i]
        worn[i] += share * pressure * np.sqrt(along * along + across * across)


@kernel
def wear_row_by_powers(level: float, bx: float, along: float, side: float, rate: float, share: float, m: float, n: float,
                       x: Any, gap: Any, stiff: Any, cover: Any, worn: Any) -> None:  # fmt: skip
    """:func:`wear_row` with the pressure to the power ``m`` and the speed to the power ``n``; so is ``share``'s unit."""
    for i in range(worn.size):
        depth = level + bx * x[i] + gap[i]
        if depth > 0.0:
            across = side + rate * x[i]
            speed = np.sqrt(along * along + across * across)
            worn[i] += share * cover[i] * (stiff[i] * depth) ** m * speed**n


@kernel
def touch_row(level: float, bx: float, half: float, x: Any, gap: Any, stiff: Any, held: Any, peak: Any) -> float:
    """Raise a row's peaks to the pressure, in cells at least half held; returns the area in contact."""
    touching = 0.0
    for i in range(peak.size):
        depth, touched = level + bx * x[i] + gap[i], held[i]
        touching += touched if depth > 0.0 else 0.0
        pressure = stiff[i] * depth if touched >= half else 0.0
        peak[i] = pressure if pressure > peak[i] else peak[i]
    return touching


@kernel
def bear_row(glass: GlassGrid, size: float, start_x: float, start_y: float, cosine: float, sine: float, cx: float,
             cy: float, need: float, inward: Any, into: Any) -> None:  # fmt: skip
    """Share of glass times its edge gain, E, over a row of the lap's cells; ``start``: the first from its centre.

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
def sink_row(level: float, slope: float, share: float, height: Any, u: Any, bearing: Any, sunk: Any) -> None:
    """Add to a row of the lap what its pitch gives way in one pose (creep, physics section 4).

    The lap is pressed by ``level + slope i + height + u`` where that is positive [m], i counting the row's cells;
    ``bearing`` is the share of glass above with its edge gain, ``share`` the time of the pose over the relaxation time.
    ``sunk`` is raised in place, shape (cells,) [m].
    """
    for i in range(sunk.size):
        sunk[i] += share * bearing[i] * max(0.0, level + slope * i + height[i] + u[i])
