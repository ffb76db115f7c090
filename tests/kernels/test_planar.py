"""The kernels of a pose against a slow and obvious twin."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.optimize import minimize

from wearsim.kernels import planar_grid as grid
from wearsim.kernels.planar_wear import walk
from wearsim.wear.planar.grid import facets, read_map
from wearsim.wear.planar.walk import room_for

FORCE, LINEAR, RELAXATION, SECONDS = 70.0, (8e-13, 1.0, 1.0), 300.0, 0.075


def _pose(offset, azimuth, turned, rate=0.02, ahead=0.004):
    pose = np.zeros(grid.POSE_COLUMNS)
    pose[0], pose[1] = offset * np.cos(azimuth), offset * np.sin(azimuth)
    pose[2], pose[3] = np.cos(turned), np.sin(turned)
    pose[4], pose[5], pose[6] = 0.2 * np.cos(azimuth + 0.3), 0.2 * np.sin(azimuth + 0.3), rate
    pose[7], pose[8] = pose[0] * (1.0 - ahead / 0.15), pose[1]
    pose[9] = SECONDS
    return pose


def _surfaces(made, rng):
    x, y = made.glass.across[None, :] / 0.15, made.glass.across[:, None] / 0.15
    p, q = made.pitch.across[None, :] / 0.15, made.pitch.across[:, None] / 0.15
    a, b, c, d, e, f = rng.normal(0.0, 60e-9, 6)
    return a * x**2 * y + b * x**3 + c * np.cos(3.0 * y), d * p * q + e * q**3 + f * np.sin(4.0 * p)


def _twin(made, pose, w, u, law=LINEAR):
    """One pose with whole arrays, and the balance by a general minimiser polished with Newton's steps."""
    glass, pitch = made.glass, made.pitch
    size = glass.across[1] - glass.across[0]
    x, y = np.meshgrid(glass.across, glass.across)
    c, s = pose[2], pose[3]
    over_x, over_y = x - pose[0], y - pose[1]
    column, row = c * over_x + s * over_y, c * over_y - s * over_x
    inside = np.hypot(over_x, over_y) < pitch.radius + 4 * size
    gap = w + read_map(u, pitch.across, np.where(inside, column, 0.0), np.where(inside, row, 0.0))
    share = 1.0
    if pitch.share.size > 1:
        share = read_map(pitch.share, pitch.across, np.where(inside, column, 0.0), np.where(inside, row, 0.0))
    distance = np.hypot(x, y)
    need = (glass.reach**2 + pose[0] ** 2 + pose[1] ** 2 - pitch.radius**2) / (2 * glass.reach)
    reached = pose[0] * x + pose[1] * y >= need * distance
    stiff = pitch.stiffness * share * (1.0 + np.where(reached, glass.gain, 0.0))
    at = np.hypot(x * glass.inward - pose[0], y * glass.inward - pose[1])
    held = glass.area * np.clip(0.5 + (pitch.radius**2 - at**2) / (2 * pitch.radius * glass.width), 0, 1)
    weight, d, b1, b2 = stiff * held, *_balance(stiff * held, gap, x, y, pose)
    depth = np.maximum(0.0, d + b1 * x + b2 * y + gap)
    ramp = np.clip(0.5 + (pitch.radius**2 - over_x**2 - over_y**2) / (2 * pitch.radius * size), 0, 1)
    speed = np.hypot(pose[4] - pose[6] * y, pose[5] + pose[6] * x)
    worn = law[0] * SECONDS * ramp * (stiff * depth) ** law[1] * speed ** law[2]
    return worn, _sunk(made, pose, w, u, (d, b1, b2)), np.sum(weight * depth), held


def _balance(weight, gap, x, y, pose):
    length = 0.15
    columns = np.stack([np.ones_like(x), x / length, y / length])
    load = FORCE * np.array([1.0, pose[7] / length, pose[8] / length])
    scale = FORCE / weight.sum()

    def energy(z):
        depth = np.maximum(0.0, np.tensordot(z * scale, columns, 1) + gap)
        value = 0.5 * np.sum(weight * depth**2) - scale * (load @ z)
        slope = scale * ((columns * (weight * depth)).sum(axis=(1, 2)) - load)
        return value / (FORCE * scale), slope / (FORCE * scale)

    z = minimize(energy, np.array([50.0, 0.0, 0.0]), jac=True, method="BFGS").x * scale
    for _ in range(20):
        pressed = np.where(np.tensordot(z, columns, 1) + gap > 0.0, weight, 0.0)
        depth = np.tensordot(z, columns, 1) + gap
        matrix = np.einsum("aij,bij,ij->ab", columns, columns, pressed)
        z = z + np.linalg.solve(matrix, load - (columns * (pressed * depth)).sum(axis=(1, 2)))
    return z[0], z[1] / length, z[2] / length


def _sunk(made, pose, w, u, balances):
    glass, pitch = made.glass, made.pitch
    size = glass.across[1] - glass.across[0]
    p, q = np.meshgrid(pitch.across, pitch.across)
    x, y = pose[0] + pose[2] * p - pose[3] * q, pose[1] + pose[3] * p + pose[2] * q
    distance = np.hypot(x, y)
    near = distance < glass.radius + size
    height = read_map(w, glass.across, np.where(near, x, 0.0), np.where(near, y, 0.0))
    depth = np.maximum(0.0, balances[0] + balances[1] * x + balances[2] * y + height + u)
    need = (glass.reach**2 + pose[0] ** 2 + pose[1] ** 2 - pitch.radius**2) / (2 * glass.reach)
    reached = pose[0] * x + pose[1] * y >= need * distance
    fading = np.exp(-np.minimum(np.maximum(glass.radius - distance, -glass.fade) / glass.fade, 100.0))
    edge = np.where(reached, glass.most * fading, 0.0)
    presence = np.clip(0.5 + (glass.radius**2 - distance**2) / (2 * glass.radius * size), 0.0, 1.0)
    sunk = SECONDS / RELAXATION * presence * (1.0 + edge) * depth
    return np.where(np.hypot(p, q) <= pitch.radius, sunk, 0.0)


def _walked(made, pose, w, u, law=LINEAR):
    balances = np.zeros((1, 1, grid.BALANCE_COLUMNS))
    work = room_for(made.glass, made.pitch, 2)
    one, other = w.copy(), u.copy()
    walk(
        pose[None, None, :], balances, one, other, made.glass, made.pitch, work, FORCE, np.array(law), RELAXATION, 1e-9
    )  # fmt: skip
    return w - one, u - other, balances[0, 0], work


@pytest.mark.parametrize("law", [LINEAR, (8e-13, 1.25, 0.75)])
@pytest.mark.parametrize("shape", ["none", "square"])
@pytest.mark.parametrize(("offset", "lap"), [(0.02, 0.15), (0.09, 0.15), (0.06, 0.1), (0.05, 0.17)])
def test_pose_is_its_twin(rig, rng, shape, offset, lap, law):
    made = rig(48, lap_radius=lap, edge_gain=0.3, mask=facets(shape, 0.025, 0.006))
    w, u = _surfaces(made, rng)
    pose = _pose(offset, 0.7, 0.4)
    worn, sunk, force, held = _twin(made, pose, w, u, law)
    got_worn, got_sunk, balances, _ = _walked(made, pose, w, u, law)
    assert balances[grid.STATUS] == grid.BALANCED
    assert force == pytest.approx(FORCE, rel=1e-9)
    assert balances[grid.COVERED] == pytest.approx(held.sum(), rel=1e-9)
    glass = made.glass.area > 0.0
    assert np.abs(got_worn - worn)[glass].max() < 1e-7 * worn.max()
    p = np.hypot(made.pitch.across[None, :], made.pitch.across[:, None])
    # the series for exp(-t) is good to 2e-4 of a gain of 0.3
    assert np.abs(got_sunk - sunk)[p <= lap].max() < 1e-4 * sunk.max()


@given(
    offset=st.floats(0.0, 0.13), azimuth=st.floats(0.0, 6.3), turned=st.floats(0.0, 6.3), seed=st.integers(0, 2**32 - 1),
    size=st.floats(0.0, 30.0),
)  # fmt: skip
def test_force_and_moments_balance_from_any_state(rig, offset, azimuth, turned, seed, size):
    made = rig(32, edge_gain=0.3)
    w, u = _surfaces(made, np.random.default_rng(seed))
    pose = _pose(offset, azimuth, turned)
    worn, _, balances, _ = _walked(made, pose, size * w, size * u)
    assert balances[grid.STATUS] == grid.BALANCED
    assert balances[grid.IMBALANCE] <= 1e-9
    assert balances[grid.STEPS] < 30
    assert worn.min() >= 0.0


def test_solution_is_the_same_from_any_guess(rig, rng):
    made = rig(48)
    w, u = _surfaces(made, rng)
    pose = _pose(0.08, 0.3, 1.0)
    found = []
    for guess in ([0.0, 0.0, 0.0], [1.0, 0.0, 0.0], [-1e-3, 5e-3, 1e-3], [1e-7, -1e-6, 2e-6], [-1.0, 0.0, 0.0]):
        balances = np.zeros((1, 1, grid.BALANCE_COLUMNS))
        balances[0, 0, :3] = guess
        work = room_for(made.glass, made.pitch, 1)
        walk(
            pose[None, None, :], balances, w.copy(), u.copy(), made.glass, made.pitch, work, FORCE, np.array(LINEAR),
            RELAXATION, 1e-12,
        )  # fmt: skip
        assert balances[0, 0, grid.STATUS] == grid.BALANCED
        found.append(balances[0, 0, :3].copy())
    assert np.ptp(found, axis=0) == pytest.approx(np.zeros(3), abs=1e-10 * np.abs(found).max())


def test_a_load_off_the_lap_is_said_to_have_no_balance(rig):
    made = rig(48)
    pose = _pose(0.05, 0.0, 0.0)
    pose[grid.LOAD_X] = 0.16
    worn, _, balances, _ = _walked(made, pose, made.w, made.u)
    assert balances[grid.STATUS] == grid.UNBALANCED
    assert not worn.any()
