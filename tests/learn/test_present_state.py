"""The mirror before its next session: as all sessions and readings have it, and as a bench alone can say it."""

from __future__ import annotations

from datetime import date
from pathlib import Path

import numpy as np
import pytest
import tomli_w

from tests.helpers.start_figures import KNOWN
from wearsim.learn.cache import KeptCalibration
from wearsim.learn.mirror_folder import MirrorFolder, SessionNote, open_folder
from wearsim.learn.posterior import GlassPosterior
from wearsim.learn.present_state import present_state
from wearsim.learn.record import record
from wearsim.learn.session_filter import LEARNING
from wearsim.wear.constants import NAMES, Belief, Constants, prior, vector_of
from wearsim.wear.initial_figure import start_figure

SIGMA = np.array([0.2, 0.3, 0.25, 0.15, 0.03, 0.001])
FOUND = Belief(vector_of(Constants(1.4, 0.7, 1.2, 0.9, 1.05, -0.002)), np.diag(SIGMA**2))


@pytest.fixture
def worked(mirror_folder: Path, done: Path, after: Path) -> MirrorFolder:
    """After one session; all constants are known."""
    with (mirror_folder / "bench.toml").open("a") as stream:
        stream.write(tomli_w.dumps({"spread": KNOWN}))
    record(mirror_folder, done, note=SessionNote(date=date(2025, 3, 1)), readings=after)
    return open_folder(mirror_folder)


def test_before_the_first_session_it_is_the_bench(mirror_folder: Path) -> None:
    folder = open_folder(mirror_folder)
    state = present_state(folder, KeptCalibration(FOUND, 0.11))
    assert (
        state.laps is None
        and state.belief.mean is FOUND.mean
        and state.belief.covariance is FOUND.covariance
        and state.discrepancy.spread == 0.11
    )
    measured = start_figure(folder.bench)
    for glass in (state.start, state.read):
        assert np.array_equal(glass.height, measured.height) and np.array_equal(glass.root, measured.root)
    assert set(state.arguments) == {"belief", "start", "laps", "discrepancy"}


def test_a_bench_says_what_was_found_as_far_as_it_can(mirror_folder: Path) -> None:
    folder = open_folder(mirror_folder)
    bench, stated = present_state(folder, KeptCalibration(FOUND, 0.1)).calibrated_bench, folder.bench
    assert bench.preston == pytest.approx(1.4 * stated.preston)
    assert bench.wear.edge_gain == pytest.approx(0.9 * stated.wear.edge_gain)
    assert bench.laps[0].stiffness == pytest.approx(0.7 * stated.laps[0].stiffness)
    assert bench.laps[0].relaxation_time == pytest.approx(1.2 * stated.laps[0].relaxation_time)
    # products that nobody has stated narrow nothing; the session to come varies on top of the wear
    sigma = np.sqrt(np.diagonal(prior(bench).covariance))
    assert sigma == pytest.approx(np.hypot(SIGMA, 0.1 * (np.array(NAMES) == "preston")), rel=0.02)


def test_after_a_session_prediction_and_reading_are_one(worked: MirrorFolder) -> None:
    exact = prior(worked.bench)
    state = present_state(worked, KeptCalibration(exact, 0.1))
    assert state.laps is not None and set(state.laps.laps) == {"lap"}
    assert state.start.is_uncertain
    assert np.abs(state.start.height - state.read.height).max() > 1e-9  # the prediction has its say
    assert np.array_equal(state.read.height, start_figure(worked.bench_after(1)).height)
    assert state.under_conditions(SessionNote(date=date(2025, 3, 2), lap="pressed")).laps is None
    assert state.under_conditions(SessionNote(date=date(2025, 3, 2))).laps is state.laps


def test_the_glass_that_was_averaged_over_the_constants_is_what_counts(worked: MirrorFolder) -> None:
    exact = prior(worked.bench)
    plain = present_state(worked, KeptCalibration(exact, 0.1), accuracy=LEARNING)
    radius = plain.start.radius
    moved = plain.start.height + 20e-9 * np.cos(np.pi * (radius / radius[-1]) ** 2)
    glass = GlassPosterior(radius, moved, 4e-18 * np.eye(radius.size))
    state = present_state(worked, KeptCalibration(exact, 0.1, glass), accuracy=LEARNING)
    assert state.start.height == pytest.approx(moved, abs=1e-12)
    assert np.sum(state.start.root**2, axis=1) == pytest.approx(4e-18, rel=1e-6)
    # the pitch is corrected the other way: it lies on the glass as it did
    assert plain.laps is not None and state.laps is not None
    own, other = plain.laps.laps["lap"], state.laps.laps["lap"]
    fit = np.interp(own.radius, radius, plain.start.height) + own.height
    assert np.interp(other.radius, radius, moved) + other.height == pytest.approx(fit, abs=0.5e-9)
