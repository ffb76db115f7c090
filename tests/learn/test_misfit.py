"""A session that removed another amount than its record says: found where the others tell, allowed for where they do not."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from wearsim.learn.wrong_records import (
    DOUBT_CHANCE,
    SIZE_SHARE,
    SessionFit,
    SizeHypothesis,
    chances_of,
    sample_hypotheses,
    session_fit,
    size_hypotheses,
    with_chances,
)

from tests.benchmarks.wrong_records import mixture_moments
from tests.helpers.simulated import simulated_mirror, simulated_sessions, verdict_on
from wearsim.bench.toml_io import programme_from_table, spell_table
from wearsim.learn.calibrate import Calibration
from wearsim.learn.inference import SAMPLING_WIDENING, Inference
from wearsim.learn.posterior import Mode, importance_weights
from wearsim.learn.session_filter import SessionFilter
from wearsim.show.calibration import calibration_text
from wearsim.wear.constants import Belief, Constants

TRUE = 1.5
BENCH = simulated_mirror(11).bench


def preston_within(factor: float) -> Belief:
    """The pitch known, the Preston coefficient within a factor about the true one."""
    return Belief(np.array([np.log(TRUE), 0.0, 0.0, 0.0]), np.diag([np.log(factor) ** 2, 0.0, 0.0, 0.0]))


def recorded(count: int, doubled: int | None) -> SessionFilter:
    """Sessions of which one may be recorded with twice its minutes."""
    _, sessions = simulated_sessions(11, Constants(preston=TRUE), count=count)
    models = list(sessions.models)
    if doubled is not None:
        told = [spell_table(spell) for spell in models[doubled - 1].programme.spells]
        spells = [{key: value for key, value in one.items() if value is not None} for one in told]
        twice = programme_from_table({"spell": [{**one, "minutes": 2 * one["minutes"]} for one in spells]})
        models[doubled - 1] = replace(models[doubled - 1], programme=twice)
    return replace(sessions, models=tuple(models))


def asked(count: int, doubled: int | None, factor: float) -> tuple[SizeHypothesis, ...]:
    """What is possible of these sessions, the wear known within a factor."""
    found = Inference(recorded(count, doubled), preston_within(factor)).with_modes([np.zeros(1)])
    return size_hypotheses(found)


def test_minutes_written_double_are_named_where_the_wear_is_known() -> None:
    hypotheses = asked(1, 1, 1.1)
    (records, other), sessions = hypotheses, hypotheses[0].inference.session_filter
    posterior, chances = sample_hypotheses(hypotheses, 16, seed=0)
    (fit,) = with_chances([session_fit(records.inference.best.steps[0], sessions.models[0])], hypotheses, chances)
    assert fit.is_of_other_size and fit.fits
    # rough: half the minutes leave the pitch less time to flow as well, which a factor on the removal does not know
    assert fit.factor == other.factor == pytest.approx(0.5, abs=0.15)
    low, high = np.exp(posterior.interval()[:, 0])
    assert low < TRUE < high
    found = Calibration(preston_within(1.1), posterior, (fit,), records.inference.best.steps)
    assert found.misfits == (1,)
    assert found.to_json(BENCH)["sessions"][0]["other_size"]["in_doubt"] is True
    text = " ".join(calibration_text(BENCH, found).split())
    assert f"Session 1: its removal is {fit.factor:.2g} times what its record should give" in text
    assert "set aside" not in text


def test_an_honest_session_is_not_accused() -> None:
    records, other = asked(1, None, 1.1)
    assert chances_of([records.weight, other.weight])[1] < DOUBT_CHANCE


def test_one_session_of_unknown_wear_cannot_tell_its_size() -> None:
    records, other = asked(1, 1, 2.5)
    chance = chances_of([records.weight, other.weight])[1]
    assert chance == pytest.approx(SIZE_SHARE, abs=0.05)  # about as before it was read


def test_the_others_tell_which_session_it_was() -> None:
    records, *hypotheses = asked(2, 2, 1.2)
    best = max(hypotheses, key=lambda one: one.weight)
    assert best.number == 2 and best.weight > records.weight
    assert best.factor == pytest.approx(0.5, abs=0.15)
    assert best.inference.logs_at(best.inference.best.middle)[0] == pytest.approx(np.log(TRUE), abs=0.2)


@pytest.mark.parametrize(
    ("chance", "factor", "verdict"),
    [(0.19, 0.5, "fits"), (0.21, 0.5, "size in doubt"), (0.21, 1.3, "fits"), (0.6, 0.5, "0.5 times its size")],
)
def test_what_is_said_of_a_size(chance: float, factor: float, verdict: str) -> None:
    assert verdict_on(SessionFit(1, 7.0, 7, 0.4, True, 1e-8, factor, chance)) == verdict


def test_the_evidence_by_draws_is_the_integral() -> None:
    # a normal mode of height 1 and sigmas 0.5 and 2: its integral over that of the standard normal is their product
    middle, root = np.array([0.3, -1.0]), np.diag([0.5, 2.0])
    drawn = Mode(middle, SAMPLING_WIDENING * root, ())
    inference = Inference(simulated_sessions(11, Constants(), count=1)[1], preston_within(2.5), sizes=(1,))
    places, _ = inference._draws([drawn], 1024, seed=0)
    told = -0.5 * np.sum(((places - middle) / np.diagonal(root)) ** 2, axis=1)
    for lots in (1, 3):
        weights, evidence = importance_weights(places, told, [[drawn]] * lots)
        assert evidence == pytest.approx(np.log(0.5 * 2.0), abs=0.02)
        assert weights.sum() == pytest.approx(1.0)


def test_two_modes_make_one_wide_distribution() -> None:
    inference = Inference(simulated_sessions(11, Constants(), count=1)[1], preston_within(2.5))
    hypotheses = []
    for number, (top, odds) in enumerate([(-1.0, 0.0), (1.0, np.log(3.0))]):
        one = replace(inference, modes=(Mode(np.array([top]), np.array([[0.2]]), ()),))
        hypotheses.append(SizeHypothesis(number, one, odds))
    assert chances_of(hypothesis.weight for hypothesis in hypotheses) == pytest.approx([0.25, 0.75])
    mean, covariance = mixture_moments(tuple(hypotheses))
    unit = np.log(2.5)
    assert mean[0] == pytest.approx(np.log(TRUE) + 0.5 * unit)
    assert covariance[0, 0] == pytest.approx((0.2**2 + 0.25 * 1.5**2 + 0.75 * 0.5**2) * unit**2)
    assert not mean[1:].any() and not covariance[1:].any()
