"""Following a mirror: the textbook filter where nothing is worked, and what a session without a record leaves."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from tests.helpers.simulated import programme_of, simulated_sessions
from wearsim.bench.programme import Programme
from wearsim.learn.session_filter import Discrepancy, corrected_state
from wearsim.wear.constants import Constants

NOTHING = Discrepancy(shape=0.0, even=0.0, rim=0.0, floor=1e-15)


def test_without_work_it_is_linear_regression() -> None:
    """Two looks at the same glass: mean and covariance as by weighted least squares in one go."""
    _, sessions = simulated_sessions(3, Constants(), count=2, discrepancy=NOTHING)
    idle = tuple(replace(model, programme=Programme()) for model in sessions.models)
    sessions = replace(
        sessions, models=idle, first=replace(sessions.first, root=30e-9 * np.eye(sessions.first.radius.size))
    )
    last = sessions.follow(Constants(), 0.1)[-1]
    information = np.linalg.inv(30e-9**2 * np.eye(sessions.first.radius.size) + 0.3e-9**2 * np.eye(
        sessions.first.radius.size
    ))  # fmt: skip
    pull = np.zeros(sessions.first.radius.size)
    for model in idle:
        seen = model.observation
        weight = np.linalg.inv(seen.covariance)
        information = information + seen.matrix.T @ weight @ seen.matrix
        pull = pull + seen.matrix.T @ weight @ seen.innovation(sessions.first.height)
    covariance = np.linalg.inv(information)
    assert last.covariance == pytest.approx(covariance, abs=2e-4 * 30e-9**2)
    # the readings are almost linear in the glass: 1 % of the correction
    correction = covariance @ pull
    assert last.state.height - sessions.first.height == pytest.approx(correction, abs=0.01 * np.abs(correction).max())


def test_the_carrier_is_the_engine_linearised(rng: np.random.Generator) -> None:
    _, sessions = simulated_sessions(4, Constants(), count=1)
    first = replace(sessions.first, root=sessions.first.root[:, ::6] @ np.diag(np.full(6, 5.0)))
    smooth = np.cos(np.outer(first.radius / first.radius[-1], np.arange(1, 5)))
    sessions = replace(sessions, first=replace(first, root=5e-9 * smooth))
    steps = sessions.follow(Constants(), 0.1)
    (linear,) = sessions.linearised(Constants(), steps)
    change = 5e-9 * smooth @ np.array([0.5, -0.4, 0.3, 0.6])
    moved = replace(sessions, first=replace(sessions.first, height=sessions.first.height + change))
    difference = moved.follow(Constants(), 0.1)[0].predicted - steps[0].predicted
    assert linear.transition @ change == pytest.approx(difference, abs=0.05 * np.abs(change).max())


def test_a_correction_of_the_glass_leaves_the_fit_of_the_lap(rng: np.random.Generator) -> None:
    drawn, sessions = simulated_sessions(4, Constants(), count=1)
    state = sessions.follow(Constants(), 0.1)[0].state
    moved = corrected_state(state, 10e-9 * np.cos(4.0 * state.radius / state.radius[-1]))
    pitch, other = state.laps["full"], moved.laps["full"]
    inside = pitch.radius <= 0.98 * state.radius[-1]

    def fit(height: np.ndarray, lap: np.ndarray) -> np.ndarray:
        return (np.interp(pitch.radius, state.radius, height) + lap)[inside]

    assert fit(moved.height, other.height) == pytest.approx(fit(state.height, pitch.height), abs=0.2e-9)
    assert drawn.bench.laps[0].name == "full"


def test_a_disbelieved_session_says_little_of_the_constants() -> None:
    _, sessions = simulated_sessions(6, Constants(), count=1)

    def told(misfits: frozenset[int]) -> float:
        likelihoods = [sessions.follow(Constants(preston=k), 0.08, None, misfits)[0].log_likelihood for k in (0.5, 1.0)]
        return abs(likelihoods[1] - likelihoods[0])

    assert told(frozenset({1})) < 0.2 * told(frozenset())


def test_laps_begin_as_the_record_says() -> None:
    _, sessions = simulated_sessions(7, Constants(), count=2)

    def second(lap: str | None) -> np.ndarray:
        models = (sessions.models[0], replace(sessions.models[1], lap=lap))
        return replace(sessions, models=models).follow(Constants(), 0.1)[1].predicted

    assert np.array_equal(second(None), second("as left"))
    assert not np.allclose(second("pressed"), second("as left"), atol=1e-10)
    assert not np.allclose(second("spherical"), second("pressed"), atol=1e-10)
    assert programme_of(({"stroke": "press", "minutes": 1},)).spells[0].is_press
