"""Poses against motion written out in the barrel's frame."""

from dataclasses import replace

import numpy as np
import pytest

from wearsim.kernels import planar_grid as grid
from wearsim.wear.planar.motion import drawn_strokes, moments_of, poses_of, tips
from wearsim.wear.strokes import path_of

KINDS = [("straight", 0.2, 0.0, 0.0), ("overhang", 0.1, 0.0, 0.05), ("w", 0.15, 0.06, 0.01), ("oval", 0.12, 0.05, 0.02)]


def _turn(angle):
    return np.array([[np.cos(angle), -np.sin(angle)], [np.sin(angle), np.cos(angle)]])


def _barrel(path, time):
    """Centre and angle of mirror and lap on the barrel at one time, from the stroke's formulas (physics section 5)."""
    s = path.stroke
    phase = 2.0 * np.pi * s.frequency * time
    x, y = 0.5 * s.length * np.sin(phase), s.side_overhang
    if s.kind == "w":
        part = (s.frequency * time / (2.0 * s.strokes_per_sweep) + 0.25) % 1.0
        y += s.side_sweep * (1.0 - 4.0 * abs(part - 0.5))
    if s.kind == "oval":
        y += s.side_sweep * np.cos(phase)
    top = _turn(path.heading + path.walk * time) @ np.array([x, y])
    turning = (path.walk - path.hand_turn + path.spin_top) * time
    if path.on_top == "tool":
        return np.zeros(2), path.mirror_angle + path.spin_bottom * time, top, path.lap_angle + turning
    return top, path.mirror_angle + turning, np.zeros(2), path.lap_angle + path.spin_bottom * time


def _velocity(path, time, place):
    """Of the lap over the glass at a place of the mirror's frame, in that frame, by differences."""
    step = 1e-5
    mirror, angle, lap, turned = _barrel(path, time)
    spot = mirror + _turn(angle) @ place
    own = _turn(-turned) @ (spot - lap)
    moved = []
    for at in (time - step, time + step):
        m, a, c, t = _barrel(path, at)
        moved.append(c + _turn(t) @ own - (m + _turn(a) @ place))
    return _turn(-angle) @ ((moved[1] - moved[0]) / (2.0 * step))


@pytest.mark.parametrize("on_top", ["tool", "mirror"])
@pytest.mark.parametrize("kind", KINDS, ids=lambda kind: kind[0])
def test_poses_are_the_motion_on_the_barrel(motion, kind, on_top):
    path = motion(
        kind[0], kind[1], kind[2], kind[3], on_top, mirror_angle=0.3, lap_angle=1.1, heading=0.7, spin_top=0.05,
        spin_bottom=-0.04, lead=0.005, push_offset=(0.003, -0.002),
    )  # fmt: skip
    moments = np.array([[0.13, 0.61, 0.9], [11.2, 11.35, 11.8]])
    poses = poses_of(path, moments, 0.1).reshape(-1, grid.POSE_COLUMNS)
    for pose, moment in zip(poses, moments.ravel(), strict=True):
        time = moment / path.stroke.frequency
        mirror, angle, lap, turned = _barrel(path, time)
        assert pose[:2] == pytest.approx(_turn(-angle) @ (lap - mirror), abs=1e-12)
        assert np.arctan2(pose[3], pose[2]) == pytest.approx(np.angle(np.exp(1j * (turned - angle))), abs=1e-9)
        for place in (np.zeros(2), np.array([0.05, -0.08])):
            sliding = pose[4:6] + pose[6] * np.array([-place[1], place[0]])
            assert sliding == pytest.approx(_velocity(path, time, place), abs=1e-7)
        top = lap if on_top == "tool" else mirror
        ahead = np.array(_barrel(path, time + 1e-5)[2 if on_top == "tool" else 0]) - np.array(
            _barrel(path, time - 1e-5)[2 if on_top == "tool" else 0]
        )
        # over the piece below, which turns about its own centre
        below = mirror if on_top == "tool" else lap
        ahead = ahead - 2e-5 * path.spin_bottom * np.array([-(top - below)[1], (top - below)[0]])
        load = top + 0.005 * ahead / np.hypot(*ahead) + _turn(path.heading + path.walk * time) @ [0.003, -0.002]
        assert pose[7:9] == pytest.approx(_turn(-angle) @ (load - mirror), abs=1e-8)


def test_triangle_starts_at_nought_and_rises(motion):
    path = motion("w", 0.1, 0.06)
    moments = np.array([[0.0, 4.0, 8.0, 12.0, 16.0]])
    _, y, _, vy = path_of(path.stroke, moments)
    assert y[0] == pytest.approx([0.0, 0.06, 0.0, -0.06, 0.0], abs=1e-12)
    assert vy[0, 0] == pytest.approx(2.0 * 0.06 / 8.0 * path.stroke.frequency)


def test_jitter_is_as_wide_as_stated(rng):
    length, _, _, across = drawn_strokes(rng.standard_normal((40000, 4)), 0.06, 0.002).T
    assert np.std(length) == pytest.approx(0.06, rel=0.02)
    assert np.std(across) == pytest.approx(0.002, rel=0.02)
    assert drawn_strokes(np.full((1, 4), -30.0), 0.06, 0.0)[0, 0] == 0.0


def test_moments_fill_the_stroke_evenly():
    moments = np.mod(moments_of(0, 400, 8), 1.0).ravel()
    count, _ = np.histogram(moments, bins=64, range=(0.0, 1.0))
    assert count.min() > 45 and count.max() < 55
    assert moments_of(3, 2, 8)[1] == pytest.approx(moments_of(4, 1, 8)[0])


def test_tipping_is_told_from_both_rims(motion):
    path = motion("straight", 0.3, 0.0, lead=0.004)
    moments = np.array([[0.0, 0.2, 0.24]])
    assert tips(poses_of(path, moments, 1.0), 0.15, 0.15).tolist() == [[False, False, True]]
    off = poses_of(replace(path, push_offset=(0.0, 0.151)), moments, 1.0)
    assert tips(off, 0.15, 0.15).all()
