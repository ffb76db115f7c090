"""How a session fits: its weight falls as it misses more, what would explain it is named, and a person can vouch for it."""

from __future__ import annotations

from dataclasses import replace
from functools import cache
from itertools import pairwise

import numpy as np
import pytest
from scipy.stats import multivariate_normal

from tests.helpers.simulated import ROUGH, calibration_of, simulated_mirror, simulated_sessions
from wearsim.kernels.arrays import Floats
from wearsim.learn.session_filter import FilterStep, SessionFilter, Tails
from wearsim.learn.session_fit import SURE, SessionFit, session_fit
from wearsim.show.calibration import calibration_text, plain_words
from wearsim.wear.constants import NAMES, Constants

BENCH = simulated_mirror(1).bench
SPREAD = 0.1


@cache
def worn(factor: float) -> SessionFilter:
    """A session that in truth removed so many times as much as its record says."""
    return simulated_sessions(11, Constants(preston=factor), count=1, accuracy=ROUGH)[1]


def vouched(sessions: SessionFilter) -> SessionFilter:
    return replace(sessions, models=tuple(replace(model, confirmed=True) for model in sessions.models))


def fit_of(sessions: SessionFilter) -> tuple[SessionFit, FilterStep]:
    """Followed as its record says."""
    (step,) = sessions.follow_closely(Constants(), SPREAD)
    return session_fit(step, sessions.models[0], sessions.tails), step


def test_an_honest_session_has_its_full_weight() -> None:
    fit, step = fit_of(worn(1.0))
    assert fit.weight > 0.9 and fit.fits and fit.wrong < 0.1
    assert fit.chi_square == pytest.approx(step.chi_square) and fit.compared == step.innovation.size == 7
    assert fit.chance > 0.01


def test_a_session_of_another_size_counts_little_and_its_size_is_named() -> None:
    assert not fit_of(worn(8.0))[0].fits
    fit, step = fit_of(worn(5.0))
    assert fit.weight < 0.2 and fit.chance < 1e-6
    assert fit.is_of_other_size and fit.factor > 1.5
    # by another way: no other factor leaves less of the miss
    least = step.miss_without(step.likeliest_size)
    assert all(step.miss_without(step.likeliest_size + other) > least for other in (-0.1, 0.1))
    less, _ = fit_of(worn(0.2))
    assert less.factor < 0.7 and less.weight < fit_of(worn(1.0))[0].weight


def test_a_session_that_is_vouched_for_has_its_full_weight_however_it_fits() -> None:
    for factor in (1.0, 5.0):
        fit, step = fit_of(vouched(worn(factor)))
        assert fit.weight == 1.0 and fit.fits and fit.confirmed
        assert step.chances == pytest.approx([1.0])
    plain, believed = fit_of(worn(5.0))[0], fit_of(vouched(worn(5.0)))[0]
    assert believed.chi_square == pytest.approx(plain.chi_square)


def off_by(sigmas: float) -> SessionFilter:
    """Its readings off by so many of their own sigmas, up and down in turn: no factor on the removal does that."""
    sessions = worn(1.0)
    (model,) = sessions.models
    seen = model.observation
    off = np.linalg.cholesky(seen.covariance) @ (sigmas * (-1.0) ** np.arange(seen.size))

    def innovation(height: Floats) -> Floats:
        return np.asarray(seen.innovation(height) + off)

    return replace(sessions, models=(replace(model, observation=replace(seen, innovation=innovation)),))


def test_the_weight_falls_as_a_session_misses_more() -> None:
    weights = [fit_of(off_by(sigmas))[0].weight for sigmas in (0.0, 3.0, 10.0, 40.0)]
    assert all(one >= two for one, two in pairwise(weights))
    assert weights[0] > 0.9 and weights[-1] < 0.5


@pytest.mark.parametrize("tails", [Tails(), Tails((1.0, 3.0), (0.8, 0.2), 3.0)])
def test_the_chance_of_each_size_is_that_of_bayes(tails: Tails) -> None:
    """Normal densities of the innovation, each times how often that size is."""
    _, step = fit_of(replace(worn(2.0), tails=tails))
    densities = np.array([
        multivariate_normal(np.zeros(step.innovation.size), one).logpdf(step.innovation)
        for one in step.covariances
    ])  # fmt: skip
    odds = np.array(tails.shares) * np.exp(densities - densities.max())
    assert step.chances == pytest.approx(odds / odds.sum(), rel=1e-6, abs=1e-12)
    fit = session_fit(step, worn(2.0).models[0], tails)
    assert fit.weight == pytest.approx(np.sum(step.chances / np.square(tails.sizes)))
    assert fit.wrong == pytest.approx(step.chances[np.array(tails.sizes) >= tails.wrong_from].sum())


@pytest.mark.parametrize(
    ("wrong", "explained", "confirmed", "verdict", "words"),
    [
        (0.98 * SURE, 0.9, False, "fits", ""),
        (1.02 * SURE, 0.9, False, "does not fit", "A removal 0.5 times as large would explain it: check the minutes"),
        (1.02 * SURE, 0.1, False, "does not fit", "No change in the amount removed would explain it: check the piece"),
        (1.02 * SURE, 0.9, True, "confirmed", ""),
    ],
)
def test_what_is_said(wrong: float, explained: float, confirmed: bool, verdict: str, words: str) -> None:
    fit = SessionFit(1, 41.5, 7, 1e-6, 0.25, wrong, 1e-8, 0.5, explained, confirmed)
    text = calibration_text(BENCH, calibration_of(np.zeros((2, len(NAMES))), fit))
    (row,) = (line for line in text.splitlines() if line.split()[:2] == ["1", "41.5"])
    assert row.split()[2:4] == ["7", "0.25"] and row.endswith(verdict)
    assert words in " ".join(text.split())
    assert ("does not agree with the assumed pitch" in " ".join(text.split())) is (verdict == "does not fit")
    assert fit.to_json()["fits"] is (verdict != "does not fit")


@pytest.mark.parametrize(
    ("factor", "words"),
    [
        (0.5, "The glass wears about half as fast as the bench says."),
        (1.02, "The glass wears about as fast as the bench says."),
        (2.0, "The glass wears about twice as fast as the bench says."),
        (1.4, "The glass wears about 1.4 times as fast as the bench says."),
    ],
)
def test_what_the_sessions_show_is_said_in_plain_words(factor: float, words: str) -> None:
    stated = np.sqrt(np.diagonal(calibration_of(np.zeros((2, len(NAMES)))).prior.covariance))
    rng = np.random.default_rng(3)
    vectors = rng.standard_normal((2000, len(NAMES))) * stated
    vectors[:, 0] = np.log(factor) + 0.01 * vectors[:, 0]
    said = plain_words(BENCH, calibration_of(vectors))
    assert words in said
    assert said[-1].startswith("Not determined yet: stiffness of the pitch, relaxation time")
    assert not any("Preston" in line for line in said)
