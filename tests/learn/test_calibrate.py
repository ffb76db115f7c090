"""Constants from sessions: the radial engine as the truth, a wrong record, what stays the prior, what is known."""

from __future__ import annotations

from dataclasses import replace
from functools import cache

import numpy as np
import pytest

from tests.helpers.simulated import ROUGH, calibration_of, only, simulated_mirror, simulated_sessions
from wearsim.kernels.arrays import Floats
from wearsim.learn.calibrate import FACTOR_90, Calibration, calibrate_sessions
from wearsim.learn.posterior import ConstantsPosterior, GlassPosterior
from wearsim.show.calibration import calibration_figure, calibration_text
from wearsim.wear.constants import NAMES, Constants, powers, prior, vector_of

TRUTH = Constants(1.5, 0.6, 0.7, 1.3, 1.06, 0.003)
WEARS = Constants(preston=1.5)
BENCH = simulated_mirror(1).bench


@cache
def calibrated(count: int) -> Calibration:
    """With all six constants unknown."""
    drawn, sessions = simulated_sessions(11, TRUTH, count=count, accuracy=ROUGH)
    return calibrate_sessions(sessions, prior(drawn.bench), seed=1)


@cache
def worn(count: int, wrong: int | None = None, confirmed: bool = False, draws: int = 12) -> Calibration:
    """With only the Preston coefficient unknown; the last session may be vouched for."""
    _, sessions = simulated_sessions(11, WEARS, count=count, wrong=wrong, accuracy=ROUGH)
    *before, last = sessions.models
    sessions = replace(sessions, models=(*before, replace(last, confirmed=confirmed)))
    return calibrate_sessions(sessions, only("preston"), seed=1, draws=draws)


def said(found: Calibration) -> str:
    return " ".join(calibration_text(BENCH, found).split())


def away(found: Calibration, truth: Constants) -> Floats:
    """Truth from the posterior's mean, in its own sigmas, of the constants that are not known."""
    sigma = np.sqrt(np.diagonal(found.belief.covariance))
    miss = vector_of(truth) - found.belief.mean
    return np.asarray(miss[sigma > 0.0] / sigma[sigma > 0.0])


@pytest.mark.slow
def test_the_truth_is_found() -> None:
    found = calibrated(3)
    assert np.abs(away(found, TRUTH)).max() < 3.0
    about = vector_of(TRUTH) - found.belief.mean
    # 6 degrees of freedom: above 18.5 one in 200
    assert about @ np.linalg.solve(found.belief.covariance, about) < 18.5
    assert found.posterior.effective > 40.0
    assert found.misfits == () and all(fit.weight > 0.5 for fit in found.sessions)
    assert found.determined_of(powers("smoothing")) in ("told", "partly")


@pytest.mark.slow
def test_more_sessions_narrow_it() -> None:
    one, three = calibrated(1), calibrated(3)
    sigmas = np.sqrt(np.diagonal(one.prior.covariance))
    volumes = [np.linalg.slogdet(found.belief.covariance / np.outer(sigmas, sigmas))[1] for found in (one, three)]
    assert volumes[1] < volumes[0] - 1.0 < -1.0
    low, high = one.posterior.interval()
    assert np.all(low < high)


def test_the_wear_is_found_and_two_sessions_say_more_than_one() -> None:
    one, two = worn(1), worn(2)
    assert abs(away(one, WEARS)[0]) < 2.5 and abs(away(two, WEARS)[0]) < 2.5
    assert two.determined("preston") == "told"
    assert two.belief.covariance[0, 0] < one.belief.covariance[0, 0] < 0.3 * one.prior.covariance[0, 0]
    assert two.misfits == () and all(fit.weight > 0.8 for fit in two.sessions)


def test_a_wrong_record_counts_little_and_does_not_bend_the_constants() -> None:
    found = worn(2, wrong=2)
    one, two = found.sessions
    assert two.weight < 0.3 < 0.8 < one.weight
    assert two.chance < 1e-3 < one.chance
    assert abs(away(found, WEARS)[0]) < 3.0
    believed = worn(2, wrong=2, confirmed=True)
    assert np.abs(away(believed, WEARS)[0]) > np.abs(away(found, WEARS)[0])


def test_what_is_said_of_a_wrong_record() -> None:
    found = worn(2, wrong=2)
    assert found.misfits == (2,)
    text = said(found)
    assert "Session 2 does not agree with the other sessions, so it is given little weight." in text
    assert "record --replace 2" in text and "record --confirm 2" in text
    told = found.to_json(BENCH)["sessions"]
    assert [one["fits"] for one in told] == [True, False]
    heights = [bar.get_height() for bar in calibration_figure(BENCH, found).axes[1].patches]  # type: ignore[attr-defined]
    assert heights[1] == pytest.approx(np.sqrt(found.sessions[1].chi_square / found.sessions[1].compared))
    assert heights[1] > 2.0 * heights[0]


def test_a_person_who_vouches_is_believed() -> None:
    found = worn(2, wrong=2, confirmed=True)
    assert found.misfits == () and found.sessions[1].weight == 1.0
    (row,) = (line for line in calibration_text(BENCH, found).splitlines() if line.endswith("confirmed"))
    assert row.split()[0] == "2"


def test_what_is_stated_as_known_stays_so() -> None:
    found = worn(1)
    assert [found.determined(name) for name in NAMES][1:] == ["known"] * 5
    assert not found.belief.mean[1:].any() and not found.belief.covariance[1:].any()
    _, sessions = simulated_sessions(11, WEARS, count=1, accuracy=ROUGH)
    certain = calibrate_sessions(sessions, only(), draws=4)
    assert certain.belief.is_certain and certain.posterior.glass.covariance.shape == (sessions.first.radius.size,) * 2


def test_readings_that_say_nothing_leave_the_prior_and_that_is_said() -> None:
    _, sessions = simulated_sessions(11, WEARS, count=1, accuracy=ROUGH)
    (model,) = sessions.models
    vague = replace(model.observation, covariance=1e6 * model.observation.covariance)
    found = calibrate_sessions(
        replace(sessions, models=(replace(model, observation=vague),)), only("preston"), draws=32
    )
    assert found.shares["preston"] == pytest.approx(1.0, abs=0.15)
    assert found.determined("preston") == "prior"
    assert "Your sessions determine nothing yet: these are the values assumed beforehand." in said(found)
    assert "determine nothing" not in said(worn(1))


def test_how_removals_vary_is_not_claimed_before_sessions_show_it(rng: np.random.Generator) -> None:
    vectors = rng.multivariate_normal(np.zeros(len(NAMES)), 1e-4 * np.eye(len(NAMES)), 40)
    fits = worn(2).sessions
    vague, seen = 0.08 * 1.8 ** rng.standard_normal(40), 0.12 * 1.05 ** rng.standard_normal(40)
    for spreads, sessions, known in ((vague, fits, False), (seen, fits[:1], False), (seen, fits, True)):
        found = calibration_of(vectors, *sessions, spreads=spreads)
        assert found.knows_spread is known
        assert ("Removals are assumed to vary" in said(found)) is not known


def test_a_constant_beyond_what_the_bench_states_is_remarked_on() -> None:
    def found(name: str, share: float) -> tuple[Calibration, float]:
        """A calibration that found a constant so far out, in the ends of what the bench states, and where that is."""
        place = NAMES.index(name)
        row = np.eye(len(NAMES))[place]
        end = FACTOR_90 * float(np.sqrt(prior(BENCH).covariance[place, place]))
        return calibration_of([0.99 * share * end * row, 1.01 * share * end * row]), share * end

    inside, _ = found("preston", 0.97)
    assert inside.outside == {} and "Check" not in calibration_text(BENCH, inside)
    far, at = found("preston", 1.3)
    assert far.outside == {"preston": pytest.approx(np.exp(at))}
    assert f"The glass wears {np.exp(at):.2g} times as fast as the bench says, outside the" in said(far)
    assert "Check the abrasive, the minutes" in said(far)
    told = far.to_json(BENCH)["constants"]
    assert told["preston_per_pa"]["outside_stated"] and not told["edge_gain"]["outside_stated"]
    aside, at = found("overhang_bias", -1.5)
    assert aside.outside == {"overhang_bias": pytest.approx(at)}
    assert f"Your strokes are {1e3 * at:.2g} mm farther to one side than recorded" in said(aside)


def test_draws_for_predictions_are_as_bent_as_the_posterior(rng: np.random.Generator) -> None:
    # two constants that hide behind each other on an arc: a normal distribution would put draws inside it
    angle = rng.uniform(0.0, np.pi, 400)
    vectors = np.zeros((400, len(NAMES)))
    vectors[:, 0], vectors[:, 1] = np.cos(angle), np.sin(angle)
    weights = np.where(angle < 1.0, 3.0, 1.0)
    glass = GlassPosterior(np.zeros(1), np.zeros(1), np.zeros((1, 1)))
    belief = ConstantsPosterior(vectors, np.full(400, 0.1), weights / weights.sum(), glass).belief
    drawn = np.log([[one.preston, one.stiffness] for one in belief.draws(64, seed=3)])
    np.testing.assert_allclose(np.hypot(*drawn.T), 1.0, atol=1e-9)
    share = weights[angle < 1.0].sum() / weights.sum()
    assert np.mean(np.arctan2(drawn[:, 1], drawn[:, 0]) < 1.0) == pytest.approx(share, abs=0.08)
    assert belief.draws(64, seed=3) == belief.draws(64, seed=3)


def test_the_same_seed_the_same_answer() -> None:
    one = worn(1, draws=12)  # no power of two: drawn all the same, without a warning
    two = worn.__wrapped__(1, draws=12)
    assert np.array_equal(one.belief.mean, two.belief.mean)
    assert np.array_equal(one.belief.covariance, two.belief.covariance)
