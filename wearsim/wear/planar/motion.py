"""How the pieces move: strokes, walking, turning in the hands, as poses for the planar engine (physics section 5).

The bottom piece stands still on the barrel. The worker walks round it, so the stroke's direction turns with the
worker; the top piece turns in the worker's hands the other way. Poses are given in the mirror's frame, from
differences of angles alone, so that turning both pieces and the worker together changes nothing. And where the top
piece tips off (physics section 2).
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from wearsim.bench.programme import Stroke
from wearsim.errors import TipsOffError
from wearsim.kernels import planar_grid as grid
from wearsim.kernels.arrays import Floats
from wearsim.kernels.planar_grid import GlassGrid, PitchGrid
from wearsim.wear.planar.grid import read_map
from wearsim.wear.radial.tipping import surrounds
from wearsim.wear.strokes import path_of

GOLDEN = 0.5 * (np.sqrt(5.0) - 1.0)


@dataclass(frozen=True)
class Motion:
    """One spell's motion, SI; angles in the barrel's frame, counted as the stroke's first moment finds them."""

    on_top: str
    stroke: Stroke
    walk: float = 0.0  # rate at which the worker walks round [rad/s]
    hand_turn: float = 0.0  # rate at which the hands turn the top piece the other way [rad/s]
    mirror_angle: float = 0.0  # at the start, as are the lap's and the direction of the stroke [rad]
    lap_angle: float = 0.0
    heading: float = 0.0
    push_offset: tuple[float, float] = (0.0, 0.0)  # from the top piece's centre, along the stroke and across it [m]
    lead: float = 0.0  # of friction [m]
    spin_top: float = 0.0  # rates at which a piece also spins [rad/s]
    spin_bottom: float = 0.0
    strokes_before: int = 0  # since the pieces came together: where the poses' golden places go on

    @property
    def rates(self) -> tuple[float, float]:
        """Turning rates of the mirror and of the lap in the barrel's frame [rad/s]."""
        top, bottom = self.walk - self.hand_turn + self.spin_top, self.spin_bottom
        return (bottom, top) if self.on_top == "tool" else (top, bottom)

    def after(self, seconds: float) -> tuple[float, float, float]:
        """Mirror's angle, lap's angle and heading after this time [rad]."""
        mirror, lap = self.rates
        turned = self.mirror_angle + mirror * seconds, self.lap_angle + lap * seconds
        return *turned, self.heading + self.walk * seconds


AS_MEANT = np.array([[1.0, 1.0, 0.0, 0.0]])
"""What hands make of a stroke that is as meant: factors on length and sweep [1], shifts along and across [m]."""


def drawn_strokes(deviates: Floats, length_jitter: float, centre_jitter: float) -> Floats:
    """What hands make of some strokes, as :data:`AS_MEANT` has it, from standard normal deviates ``(k, 4)``.

    A length below zero counts as zero.
    """
    factors = np.maximum(0.0, 1.0 + length_jitter * deviates[:, :2])
    return np.concatenate([factors, centre_jitter * deviates[:, 2:]], axis=1)


def moments_of(first: int, count: int, poses: int, part: float = 1.0, before: int = 0) -> Floats:
    """Moments of the poses ``(count, poses)``, in strokes.

    Every stroke's poses begin a golden share of their spacing later than the last one's, so that the poses of
    many strokes fill the path evenly instead of printing rings.
    """
    begin = np.mod((before + first + np.arange(count)) * GOLDEN, 1.0)
    return np.asarray(first + np.arange(count)[:, None] + part * (np.arange(poses)[None, :] + begin[:, None]) / poses)


def poses_of(motion: Motion, strokes: Floats, seconds: float, made: Floats = AS_MEANT) -> Floats:
    """Poses in the mirror's frame, ``(k, poses, columns)`` as :mod:`wearsim.kernels.planar_wear` reads them.

    Parameters
    ----------
    strokes : ndarray, shape (k, poses)
        Moments in strokes [1].
    seconds : float
        Time that a pose stands for [s].
    made : ndarray, shape (k, 4) or (1, 4)
        What hands make of the strokes, as :data:`AS_MEANT` has it.
    """
    time = strokes / motion.stroke.frequency
    x, y, vx, vy = path_of(motion.stroke, strokes, made[:, 0], made[:, 1])
    x, y = x + made[:, 2:3], y + made[:, 3:]
    tool = motion.on_top == "tool"
    sign = 1.0 if tool else -1.0
    mirror_rate, lap_rate = motion.rates
    heading = (motion.heading - motion.mirror_angle) + (motion.walk - mirror_rate) * time
    turned = (motion.lap_angle - motion.mirror_angle) + (lap_rate - mirror_rate) * time
    # velocity of the top piece's centre, its walking included, in the stroke's directions
    vx, vy = vx - motion.walk * y, vy + motion.walk * x
    # friction leads along its motion over the piece below
    over = vx + motion.spin_bottom * y, vy - motion.spin_bottom * x
    speed = np.hypot(*over)
    lead_x, lead_y = (motion.lead * np.divide(v, speed, out=np.zeros_like(v), where=speed > 0.0) for v in over)
    load_x = motion.push_offset[0] + lead_x + (x if tool else 0.0)
    load_y = motion.push_offset[1] + lead_y + (y if tool else 0.0)
    centre_x, centre_y = _turned(sign * x, sign * y, heading)
    speed_x, speed_y = _turned(sign * vx, sign * vy, heading)
    out = np.empty((*strokes.shape, grid.POSE_COLUMNS))
    out[..., grid.CENTRE_X], out[..., grid.CENTRE_Y] = centre_x, centre_y
    out[..., grid.COSINE], out[..., grid.SINE] = np.cos(turned), np.sin(turned)
    out[..., grid.SPEED_X], out[..., grid.SPEED_Y] = speed_x + lap_rate * centre_y, speed_y - lap_rate * centre_x
    out[..., grid.RATE] = lap_rate - mirror_rate
    out[..., grid.LOAD_X], out[..., grid.LOAD_Y] = _turned(load_x, load_y, heading)
    out[..., grid.TIME] = seconds
    return out


def _turned(x: Floats, y: Floats, angle: Floats) -> tuple[Floats, Floats]:
    return np.cos(angle) * x - np.sin(angle) * y, np.sin(angle) * x + np.cos(angle) * y


def offsets_of(poses: Floats) -> Floats:
    """Distance of the pieces' centres, pose by pose [m]."""
    return np.asarray(np.hypot(poses[..., grid.CENTRE_X], poses[..., grid.CENTRE_Y]))


def tips(poses: Floats, mirror_radius: float, lap_radius: float) -> NDArray[np.bool_]:
    """Whether the load stands outside the overlap of the two discs, pose by pose (physics section 2)."""
    x, y = poses[..., grid.LOAD_X], poses[..., grid.LOAD_Y]
    beyond_lap = np.hypot(x - poses[..., grid.CENTRE_X], y - poses[..., grid.CENTRE_Y]) >= lap_radius
    return np.asarray((np.hypot(x, y) >= mirror_radius) | beyond_lap)


def pressing_pose(turned: float, seconds: float) -> Floats:
    """At rest, centre over centre, the lap turned against the mirror by `turned` [rad]: ``(columns,)``."""
    pose = np.zeros(grid.POSE_COLUMNS)
    pose[grid.COSINE], pose[grid.SINE], pose[grid.TIME] = np.cos(turned), np.sin(turned), seconds
    return pose


POSES = 64  # of a stroke, when the stroke as meant is looked through


def check_tipping(motion: Motion, mirror_radius: float, lap_radius: float, number: int) -> None:
    """Refuse a spell's stroke that, as meant, carries the load outside the overlap of the two discs.

    Raises
    ------
    TipsOffError
        With the offset at which it tips, and the largest of a smaller stroke of the same form that would not.
    """
    sweeps = int(np.ceil(2.0 * motion.stroke.strokes_per_sweep)) if motion.stroke.is_swept else 1
    moments = np.arange(POSES * sweeps).reshape(sweeps, POSES) / POSES

    def offset_at(scale: float) -> tuple[float, bool]:
        poses = poses_of(_shrunk(motion, scale), moments, 1.0)
        tipped = tips(poses, mirror_radius, lap_radius)
        offset = offsets_of(poses)
        return float(offset[tipped].min() if tipped.any() else offset.max()), bool(tipped.any())

    offset, tipped = offset_at(1.0)
    if not tipped:
        return
    low, high = 0.0, 1.0
    for _ in range(40):
        middle = 0.5 * (low + high)
        low, high = (low, middle) if offset_at(middle)[1] else (middle, high)
    raise TipsOffError(number, offset, offset_at(low)[0])


def _shrunk(motion: Motion, scale: float) -> Motion:
    sizes = ("length", "side_sweep", "side_overhang")
    smaller = {name: scale * getattr(motion.stroke, name) for name in sizes}
    return replace(motion, stroke=replace(motion.stroke, **smaller))


def is_supported(pose: Floats, glass: GlassGrid, pitch: PitchGrid) -> bool:
    """Whether a pose's load lies inside the hull of the cells where pitch faces glass."""
    j, i = np.nonzero(glass.area > 0.0)
    x, y = glass.across[i], glass.across[j]
    over_x, over_y = x - pose[grid.CENTRE_X], y - pose[grid.CENTRE_Y]
    under = np.hypot(over_x, over_y) <= pitch.radius
    if pitch.share.size > 1:
        cosine, sine = pose[grid.COSINE], pose[grid.SINE]
        there = read_map(pitch.share, pitch.across, cosine * over_x + sine * over_y, cosine * over_y - sine * over_x)
        under &= there > 0.0
    load = pose[[grid.LOAD_X, grid.LOAD_Y]]
    return int(under.sum()) >= 3 and surrounds(np.column_stack([x[under], y[under]]), load)
