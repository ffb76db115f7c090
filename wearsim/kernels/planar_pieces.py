"""What the planar kernels are handed: columns of their tables, and the arrays of the two pieces."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

# Columns of a pose, all in the mirror's frame: the lap's centre [m]; cosine and sine of the lap's angle; velocity
# of the lap over the glass at the mirror's centre [m/s] and its turning rate [rad/s]; where the load stands [m];
# how long it lasts [s].
CENTRE_X, CENTRE_Y, COSINE, SINE, SPEED_X, SPEED_Y, RATE, LOAD_X, LOAD_Y, TIME = range(10)
POSE_COLUMNS = 10
# Columns of a settlement: height [m] and two tilts [1], passes over the contact, status, area under the lap and in
# contact [m^2], largest relative imbalance left [1].
HEIGHT, TILT_X, TILT_Y, STEPS, STATUS, COVERED, TOUCHING, IMBALANCE = range(8)
SETTLEMENT_COLUMNS = 8

BALANCED, TIPPED, UNBALANCED = 0, 1, 2
MOST_STEPS = 1000  # against a fault of ours alone: the worst balance seen, far out on a deep figure, took 72
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
