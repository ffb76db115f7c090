"""Where the top piece tips off, on the planar engine's grids (physics section 2)."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from wearsim.errors import TipsOffError
from wearsim.kernels import planar_pieces as floor
from wearsim.kernels.planar_pieces import Floats, Glass, Pitch
from wearsim.wear.motion import Motion, nominal, poses_of, tips
from wearsim.wear.planar_grid import read_map

POSES = 64  # of a stroke, when the stroke as meant is looked through


def check_tipping(motion: Motion, mirror_radius: float, lap_radius: float, number: int) -> None:
    """Refuse a stroke that, as meant, carries the load outside the overlap of the two discs.

    Parameters
    ----------
    motion : Motion
    mirror_radius, lap_radius : float
        [m]
    number : int
        Of the spell, from 1.

    Raises
    ------
    TipsOffError
        With the offset at which it tips, and the largest of a smaller stroke of the same form that would not.
    """
    sweeps = int(np.ceil(2.0 * motion.stroke.strokes_per_sweep)) if motion.stroke.kind == "w" else 1
    moments = np.arange(POSES * sweeps).reshape(sweeps, POSES) / POSES

    def walked(scale: float) -> tuple[float, bool]:
        poses = poses_of(_shrunk(motion, scale), moments, nominal(sweeps), 1.0)
        tipped = tips(poses, mirror_radius, lap_radius)
        offset = np.hypot(poses[..., floor.CENTRE_X], poses[..., floor.CENTRE_Y])
        return float(offset[tipped].min() if tipped.any() else offset.max()), bool(tipped.any())

    offset, tipped = walked(1.0)
    if not tipped:
        return
    low, high = 0.0, 1.0
    for _ in range(40):
        middle = 0.5 * (low + high)
        low, high = (low, middle) if walked(middle)[1] else (middle, high)
    raise TipsOffError(number, offset, walked(low)[0])


def _shrunk(motion: Motion, scale: float) -> Motion:
    stroke = motion.stroke
    smaller = replace(
        stroke,
        length=stroke.length * scale,
        side_sweep=stroke.side_sweep * scale,
        side_overhang=stroke.side_overhang * scale,
    )
    return replace(motion, stroke=smaller)


def stands(pose: Floats, glass: Glass, pitch: Pitch) -> bool:
    """Whether a pose's load lies inside the hull of the cells where pitch faces glass.

    Parameters
    ----------
    pose : ndarray, shape (columns,)
        As :mod:`wearsim.kernels.planar` reads it.
    """
    j, i = np.nonzero(glass.area > 0.0)
    x, y = glass.across[i], glass.across[j]
    over_x, over_y = x - pose[floor.CENTRE_X], y - pose[floor.CENTRE_Y]
    under = np.hypot(over_x, over_y) <= pitch.radius
    if pitch.share.size > 1:
        cosine, sine = pose[floor.COSINE], pose[floor.SINE]
        there = read_map(
            pitch.share, pitch.across, cosine * over_x + sine * over_y, cosine * over_y - sine * over_x
        )
        under &= there > 0.0
    if np.count_nonzero(under) < 3:
        return False
    turn = np.sort(np.arctan2(y[under] - pose[floor.LOAD_Y], x[under] - pose[floor.LOAD_X]))
    # inside the hull, the cells stand in every half plane about the load
    return bool(np.diff(np.append(turn, turn[0] + 2.0 * np.pi)).max() < np.pi)
