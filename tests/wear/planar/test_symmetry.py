"""What physics gives for free: turning, threads, seeds, splitting, linearity."""

from dataclasses import replace

import numba
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from wearsim.figure.zernike import fit_zernike, zernike_term
from wearsim.wear.accuracy import PlanarAccuracy


def _uneven(made):
    x, y = made.glass.across[None, :] / 0.15, made.glass.across[:, None] / 0.15
    made.w[:] = 90e-9 * x**2 * y + 60e-9 * x * y - 40e-9 * x
    p, q = made.pitch.across[None, :] / 0.15, made.pitch.across[:, None] / 0.15
    made.u[:] = 70e-9 * p * q**2 - 30e-9 * q**2


@settings(max_examples=12)
@given(angle=st.floats(-10.0, 10.0))
def test_turning_both_pieces_and_the_worker_changes_nothing(rig, motion, angle):
    """In either piece's own frame nothing has happened but rounding."""
    seen = []
    for turned in (0.0, angle):
        made = rig(24)
        _uneven(made)
        made.work(motion(mirror_angle=turned, lap_angle=0.4 + turned, heading=1.1 + turned), 6.0)
        seen.append((made.w.copy(), made.u.copy()))
    for one, other in zip(*seen, strict=True):
        assert np.abs(one - other).max() < 1e-9 * np.abs(one).max()


@pytest.mark.parametrize("on_top", ["tool", "mirror"])
@pytest.mark.parametrize("quarters", [1, 2, 3])
def test_quarter_turns_of_surfaces_and_stroke_turn_the_result(rig, motion, on_top, quarters):
    made, turned = rig(32, edge_gain=0.3), rig(32, edge_gain=0.3)
    _uneven(made)
    turned.w[:], turned.u[:] = (np.rot90(field, -quarters) for field in (made.w, made.u))
    made.work(motion(on_top=on_top, lead=0.005), 12.0)
    turned.work(motion(on_top=on_top, lead=0.005, heading=quarters * np.pi / 2.0), 12.0)
    for field, other in ((made.w, turned.w), (made.u, turned.u)):
        assert np.abs(np.rot90(field, -quarters) - other).max() < 1e-8 * np.abs(field).max()


@settings(max_examples=6)
@given(angle=st.floats(0.1, 3.0))
def test_any_turn_of_surface_and_stroke_turns_the_result(rig, motion, angle):
    """To the interpolation's error: terms of removal turn by their own azimuthal frequency."""
    terms = []
    for turned in (0.0, angle):
        made = rig(48)
        radius = made.glass.distance / 0.15
        azimuth = np.arctan2(made.glass.across[:, None], made.glass.across[None, :]) - turned
        made.w[:] = before = 30e-9 * zernike_term(5, np.minimum(radius, 1.05), azimuth)
        made.work(motion(heading=turned, walk=0.0, hand_turn=0.0), 12.0)
        terms.append(fit_zernike(before - made.w, radius, azimuth, np.where(radius < 0.9, 1.0, 0.0), 15))
    assert terms[1] == pytest.approx(terms[0], abs=0.01 * np.abs(terms[0]).max())


def test_one_seed_one_result_for_any_number_of_threads(rig, motion):
    most = min(2, numba.config.NUMBA_NUM_THREADS)
    if most < 2:
        pytest.skip("one core")
    seen = []
    for threads in (1, most, most):
        numba.set_num_threads(threads)
        made = rig(32)
        _uneven(made)
        report = made.work(motion(), 24.0, length_jitter=0.1, centre_jitter=0.004, seed=5)
        seen.append((made.w.tobytes(), made.u.tobytes(), report))
    numba.set_num_threads(1)
    assert seen[0] == seen[1] == seen[2]


def test_another_seed_or_spell_draws_other_strokes(rig, motion):
    seen = []
    for seed, number in ((5, 1), (6, 1), (5, 2)):
        made = rig(24)
        made.work(motion(), 12.0, length_jitter=0.1, seed=seed, number=number)
        seen.append(made.w.tobytes())
    assert len(set(seen)) == 3


def test_splitting_a_spell_in_two_changes_nothing(rig, motion):
    whole, split = rig(32), rig(32)
    for made in (whole, split):
        _uneven(made)
    path = motion()
    seconds = 32 / path.stroke.frequency
    whole.work(path, seconds)
    split.work(path, seconds / 2)
    mirror, lap, heading = path.after(seconds / 2)
    split.work(replace(path, mirror_angle=mirror, lap_angle=lap, heading=heading, strokes_before=16), seconds / 2)
    assert np.abs(whole.w - split.w).max() < 1e-8 * np.abs(whole.w).max()
    assert np.abs(whole.u - split.u).max() < 1e-8 * np.abs(whole.u).max()


@settings(max_examples=8)
@given(factor=st.floats(0.01, 50.0), strokes=st.integers(1, 24))
def test_linear_in_preston_and_never_negative_while_the_state_stands_still(rig, motion, factor, strokes):
    worn = []
    for preston in (1e-25, 1e-25 * factor):
        made = rig(24, preston=preston, relaxation=1e30)
        made.work(motion(), strokes * 1.2)
        worn.append(-made.w)
    assert worn[0].min() >= 0.0
    assert worn[1] == pytest.approx(factor * worn[0], rel=1e-9, abs=1e-12 * worn[1].max())


def test_batches_change_nothing_and_ctrl_c_is_heard_between_them(rig, motion):
    made, other = rig(24), rig(24)
    made.accuracy, other.accuracy = (PlanarAccuracy(24, strokes_a_batch=4), PlanarAccuracy(24, strokes_a_batch=16))
    told = []
    made.work(motion(), 19.2, progress=told.append)
    other.work(motion(), 19.2)
    assert told == pytest.approx([0.25, 0.5, 0.75, 1.0])
    assert np.abs(made.w - other.w).max() < 1e-8 * np.abs(other.w).max()

    def stop(share):
        if share > 0.4:
            raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        other.work(motion(), 19.2, progress=stop)


def test_part_of_a_stroke_counts_as_its_part(rig, motion):
    made = rig(24, preston=1e-25, relaxation=1e30)
    made.work(motion("oval", 0.08, 0.04, walk=0.0, hand_turn=0.0), 12.0)
    whole = made.w.sum()
    made.w[:] = 0.0
    made.work(motion("oval", 0.08, 0.04, walk=0.0, hand_turn=0.0), 12.6)
    assert made.w.sum() == pytest.approx(1.05 * whole, rel=2e-3)
