"""A session that misses although none can be named as wrong: not said to fit, and everything believed less for it."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from wearsim.learn.wrong_records import LEAST_FIT_CHANCE, SessionFit, birge_ratio

from tests.helpers.simulated import calibration_of, simulated_mirror, simulated_sessions, verdict_on
from wearsim.learn.calibrate import calibrate_sessions
from wearsim.learn.session_filter import SessionFilter
from wearsim.show.calibration import calibration_text
from wearsim.wear.constants import Belief, Constants


@pytest.mark.parametrize(
    ("chance", "fits", "doubtful", "verdict"),
    [
        (0.5, True, False, "fits"),
        (1.01 * LEAST_FIT_CHANCE, True, False, "fits"),
        (0.99 * LEAST_FIT_CHANCE, True, True, "doubtful"),
        (1e-6, False, False, "does not fit: set aside"),
    ],
)
def test_what_a_session_is_called(chance: float, fits: bool, doubtful: bool, verdict: str) -> None:
    fit = SessionFit(1, 40.0, 7, chance, fits, 1e-8)
    assert fit.is_doubtful is doubtful
    assert fit.to_json()["doubtful"] is doubtful
    assert verdict_on(fit) == verdict


def test_the_ratio_is_that_of_the_doubtful_sessions_alone() -> None:
    good, set_aside = SessionFit(1, 7.0, 7, 0.4, True, 1e-8), SessionFit(2, 90.0, 7, 1e-9, False, 1e-8)
    assert birge_ratio([good, set_aside]) == 1.0
    doubtful = SessionFit(3, 28.0, 7, 0.001, True, 1e-8)
    assert birge_ratio([good, set_aside, doubtful]) == 2.0  # root of 28 / 7


def off_by(sigmas: float) -> SessionFilter:
    """One session whose readings are off by so many sigmas, up and down in turn."""
    _, sessions = simulated_sessions(11, Constants(), count=1)
    (model,) = sessions.models
    seen = model.observation
    off = np.linalg.cholesky(seen.covariance) @ (sigmas * (-1.0) ** np.arange(seen.size))
    observed = replace(seen, innovation=lambda height: seen.innovation(height) + off)
    return replace(sessions, models=(replace(model, observation=observed),))


def test_what_is_doubted_is_left_as_it_is_but_for_its_spread() -> None:
    sessions = off_by(2.5)
    (stated,), (doubted,) = (one.follow(Constants(), 0.08) for one in (sessions, replace(sessions, ratio=2.0)))
    assert doubted.chi_square == pytest.approx(stated.chi_square / 4.0)
    assert np.array_equal(doubted.state.height, stated.state.height)
    assert np.array_equal(doubted.covariance, stated.covariance)


def test_intervals_are_widened_where_a_session_is_doubtful() -> None:
    only_preston = Belief(np.zeros(4), np.diag([np.log(2.5) ** 2, 0.0, 0.0, 0.0]))
    plain, doubtful = (calibrate_sessions(off_by(sigmas), only_preston, draws=16) for sigmas in (0.0, 2.5))
    assert plain.ratio == 1.0 and not any(one.is_doubtful for one in plain.sessions)
    (fit,) = doubtful.sessions
    assert fit.is_doubtful and doubtful.misfits == ()
    assert doubtful.ratio == pytest.approx(np.sqrt(fit.chi_square / fit.compared))
    sigma = [float(np.sqrt(found.belief.covariance[0, 0])) for found in (plain, doubtful)]
    assert sigma[1] > 0.8 * doubtful.ratio * sigma[0]
    bench = simulated_mirror(11).bench
    text = " ".join(calibration_text(bench, doubtful).split())
    assert f"{doubtful.ratio:.1f} times as uncertain as it is stated" in text
    assert doubtful.to_json(bench)["uncertainty_ratio"] == doubtful.ratio


def test_a_constant_beyond_what_the_bench_states_is_remarked_on() -> None:
    bench = simulated_mirror(11).bench
    found = calibration_of
    assert found(4.4).outside == {}  # 2.5 to the power 1.645 is 4.51
    assert "check" not in calibration_text(bench, found(4.4))
    far = found(6.0)
    assert far.outside == {"preston": pytest.approx(6.0, rel=0.01)}
    said = " ".join(calibration_text(bench, far).split())
    assert "The glass wears 6 times as fast as the bench says, outside the 0.22 to 4.5 times" in said
    assert "check the abrasive, the minutes" in said
    told = far.to_json(bench)["constants"]
    assert told["preston_per_pa"]["outside_stated"] and not told["edge_gain"]["outside_stated"]
