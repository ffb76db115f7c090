"""What a test says of the glass, and what it must not seem to say."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from tests.helpers.simulated import read
from wearsim.bench.profile import Profile
from wearsim.kernels.arrays import Floats
from wearsim.learn.observation import Observation, contrasts, of_profile, of_readings
from wearsim.learn.practice.mirror import DrawnMirror, KnifeEdgeTester, draw_mirror
from wearsim.learn.session_filter import LEARNING
from wearsim.wear.initial_figure import on_grid
from wearsim.wear.state import start_state


@pytest.fixture(params=["readings", "profile", "profile with sigma"])
def observed(
    request: pytest.FixtureRequest, rng: np.random.Generator
) -> tuple[DrawnMirror, Floats, Floats, Observation]:
    drawn = draw_mirror(5, "raised ring", 0.25, 5.0)
    glass = on_grid(drawn.bench, drawn.start, LEARNING)
    if request.param == "readings":
        state = start_state(drawn.bench, glass.radius, glass.height, LEARNING)
        exact = read(drawn, state, rng, KnifeEdgeTester(sigma=1e-12))
        sheet = replace(exact, positions=exact.positions + 3e-3, sigma=1e-4)
        return drawn, glass.radius, glass.height, of_readings(drawn.bench, sheet, glass.radius)
    mirror = drawn.bench.mirror
    error = glass.height - mirror.geometry.departure(glass.radius)
    sigma = np.full(glass.radius.size, 4e-9) if "sigma" in request.param else None
    profile = Profile(glass.radius, error + 5e-7 - 3e-6 * glass.radius**2, sigma)
    return drawn, glass.radius, glass.height, of_profile(drawn.bench, profile, glass.radius)


def whitened(observation: Observation, miss: Floats) -> float:
    return float(np.sqrt(miss @ np.linalg.solve(observation.covariance, miss) / miss.size))


def test_the_true_glass_is_what_was_expected(observed: tuple[DrawnMirror, Floats, Floats, Observation]) -> None:
    """Whatever the zero of the readings, whatever piston and r^2 of the profile."""
    _, _, height, observation = observed
    assert whitened(observation, observation.innovation(height)) < 0.1  # sheets are written to a hundredth of a mm
    assert whitened(observation, observation.innovation(height + 30e-9 * np.sin(np.arange(height.size) / 3.0))) > 1.0


def test_piston_and_focus_are_not_seen(observed: tuple[DrawnMirror, Floats, Floats, Observation]) -> None:
    _, radius, height, observation = observed
    moved = height + 2e-7 + 4e-6 * radius**2
    assert np.allclose(observation.innovation(moved), observation.innovation(height), atol=1e-3 * np.sqrt(
        np.diagonal(observation.covariance).min()
    ))  # fmt: skip


def test_the_matrix_is_the_slope_of_the_expectation(observed: tuple[DrawnMirror, Floats, Floats, Observation]) -> None:
    _, radius, height, observation = observed
    change = 20e-9 * np.cos(3.0 * radius / radius[-1])
    slope = observation.innovation(height) - observation.innovation(height + change)
    assert slope == pytest.approx(observation.matrix @ change, rel=2e-3, abs=2e-3 * np.abs(slope).max())


def test_covariances_are_sound(observed: tuple[DrawnMirror, Floats, Floats, Observation]) -> None:
    observation = observed[-1]
    assert observation.covariance.shape == (observation.size, observation.size)
    assert np.linalg.eigvalsh(observation.covariance).min() > 0.0


def test_contrasts_are_blind_and_orthonormal(rng: np.random.Generator) -> None:
    blind = rng.standard_normal((9, 2))
    free = contrasts(blind)
    assert free.shape == (7, 9)
    assert free @ blind == pytest.approx(np.zeros((7, 2)), abs=1e-12)
    assert free @ free.T == pytest.approx(np.eye(7), abs=1e-12)
