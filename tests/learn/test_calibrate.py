"""Constants from sessions: radial truth, a wrong record, what stays the prior, what is known."""

from __future__ import annotations

from functools import cache

import numpy as np
import pytest
from wearsim.learn.wrong_records import without_misfits

from tests.helpers.simulated import simulated_mirror, simulated_sessions
from wearsim.learn.calibrate import Calibration, calibrate_sessions, with_session_spread
from wearsim.learn.posterior import ConstantsPosterior
from wearsim.show.calibration import calibration_figure, calibration_text
from wearsim.wear.constants import NAMES, Belief, Constants, prior

TRUTH = Constants(preston=1.5, stiffness=0.6, relaxation_time=0.7, edge_gain=1.3)
LOGS = np.log([getattr(TRUTH, name) for name in NAMES])


@cache
def calibrated(count: int, wrong: int | None = None, draws: int = 128) -> Calibration:
    drawn, sessions = simulated_sessions(11, TRUTH, count=count, wrong=wrong)
    return calibrate_sessions(sessions, prior(drawn.bench), seed=1, draws=draws)


def misrecorded() -> Calibration:
    """Of two sessions, the second recorded wrong."""
    return calibrated(2, wrong=2, draws=64)


def away(found: Calibration) -> np.ndarray:
    """Truth from the posterior's mean, in its own sigmas."""
    return (LOGS - found.belief.mean) / np.sqrt(np.diagonal(found.belief.covariance))


def test_the_truth_is_found() -> None:
    found = calibrated(3)
    assert np.abs(away(found)).max() < 2.6
    about = LOGS - found.belief.mean
    # 4 degrees of freedom: above 14.9 one in 200
    assert about @ np.linalg.solve(found.belief.covariance, about) < 14.9
    assert found.posterior.effective > 40.0
    assert found.misfits == ()
    assert found.determined("preston") == "told" and found.determined("stiffness") == "told"


def test_more_sessions_narrow_it() -> None:
    one, three = calibrated(1), calibrated(3)
    sigma = [np.sqrt(np.diagonal(found.belief.covariance)) for found in (one, three)]
    assert np.all(sigma[1][:3] < sigma[0][:3])
    assert np.linalg.slogdet(three.belief.covariance)[1] < np.linalg.slogdet(one.belief.covariance)[1] - 1.0
    low, high = one.posterior.interval()
    assert np.all(low < high)


def test_a_wrong_record_is_flagged_and_the_constants_not_bent() -> None:
    found = misrecorded()
    assert found.misfits == (2,)
    assert [session.fits for session in found.sessions] == [True, False]
    assert np.abs(away(found)).max() < 3.0


def test_a_session_set_aside_shows_the_miss_of_its_record_believed() -> None:
    one, two = misrecorded().sessions
    assert two.chance < 1e-6 and two.chi_square > 100.0 * two.compared / 7.0
    # disbelieved, it misses nothing: that is not what it was set aside for
    assert two.chi_square > 10.0 * misrecorded().steps[1].chi_square
    assert one.chance > 0.01
    assert two.to_json()["chi_square"] == two.chi_square
    bench = simulated_mirror(11).bench
    text = calibration_text(bench, misrecorded())
    (row,) = (line for line in text.splitlines() if "does not fit: set aside" in line)
    assert "under 1%" in row
    assert "does not fit the others and is set aside" in " ".join(text.split())
    lower = calibration_figure(bench, misrecorded()).axes[1]
    heights = [bar.get_height() for bar in lower.patches]  # type: ignore[attr-defined]
    assert heights[1] > 3.0 > heights[0]


def test_a_lap_that_was_not_pressed_is_flagged_and_the_constants_not_bent() -> None:
    truth = Constants(preston=1.5)
    _, sessions = simulated_sessions(11, truth, count=2, unpressed=2)
    only_preston = Belief(np.zeros(4), np.diag([np.log(2.5) ** 2, 0.0, 0.0, 0.0]))
    found, set_aside = without_misfits(sessions, only_preston, lambda _: None)
    assert set(set_aside) == {2} and set_aside[2] > 100.0
    likeliest = found.logs_at(found.best.middle)[0]
    assert likeliest == pytest.approx(np.log(1.5), abs=0.2)  # what session 1 tells, with its spread of 8 %


def test_what_is_stated_as_known_stays_so() -> None:
    drawn, sessions = simulated_sessions(11, Constants(), count=1)
    bench = drawn.bench
    known = prior(bench.model_copy(update={"spread": bench.spread.model_copy(update={
        "stiffness": 1.0, "relaxation_time": 1.0, "edge_gain": 1.0,
    })}))  # fmt: skip
    found = calibrate_sessions(sessions, known, draws=64)
    assert [found.determined(name) for name in NAMES][1:] == ["known"] * 3
    assert np.array_equal(found.belief.mean[1:], np.zeros(3))
    assert not found.belief.covariance[1:].any()
    assert abs(found.belief.mean[0]) < 0.3  # session-to-session spread of 8 %, three sigma and a bit
    certain = Belief(np.zeros(4), np.zeros((4, 4)))
    assert calibrate_sessions(sessions, certain, draws=16).belief.is_certain


def test_a_session_to_come_varies_more_than_the_constants_do() -> None:
    belief = Belief(np.arange(4.0), np.diag([0.04, 0.01, 0.01, 0.01]))
    wider = with_session_spread(belief, 0.1)
    assert wider.covariance[0, 0] == pytest.approx(0.05)
    assert np.array_equal(wider.covariance[1:], belief.covariance[1:])
    assert np.array_equal(belief.covariance, np.diag([0.04, 0.01, 0.01, 0.01]))


def test_draws_for_predictions_are_as_bent_as_the_posterior(rng: np.random.Generator) -> None:
    # two constants that hide behind each other on an arc: a normal distribution would put draws inside it
    angle = rng.uniform(0.0, np.pi, 400)
    logs = np.column_stack([np.cos(angle), np.sin(angle), np.zeros(400), np.zeros(400)])
    weights = np.where(angle < 1.0, 3.0, 1.0)
    belief = ConstantsPosterior(logs, np.full(400, 0.1), weights / weights.sum(), 0.0).belief
    drawn = np.log([[one.preston, one.stiffness] for one in belief.draws(64, seed=3)])
    np.testing.assert_allclose(np.hypot(*drawn.T), 1.0, atol=1e-9)
    share = weights[angle < 1.0].sum() / weights.sum()
    assert np.mean(np.arctan2(drawn[:, 1], drawn[:, 0]) < 1.0) == pytest.approx(share, abs=0.08)
    assert belief.draws(64, seed=3) == belief.draws(64, seed=3)
    wider = with_session_spread(belief, 0.1)
    assert wider.points is not None and belief.points is not None
    added = wider.points - belief.points
    assert np.std(added[:, 0]) == pytest.approx(0.1, rel=0.05)
    assert not added[:, 1:].any()


def test_the_same_seed_the_same_answer() -> None:
    one = calibrated(1, draws=48)  # no power of two: drawn all the same, without a warning
    two = calibrated.__wrapped__(1, draws=48)
    assert np.array_equal(one.belief.mean, two.belief.mean)
    assert np.array_equal(one.belief.covariance, two.belief.covariance)
