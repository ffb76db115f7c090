"""A case is what predict says of it; its draws are its own; failures are recorded with their reason."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from scipy.stats import norm

import wearsim as ws
from tests.helpers.studies import COARSE, TEXT, small_study
from wearsim.study.cases import Chunk, draw_constants, job_for, work_case, work_chunk
from wearsim.study.plan import sample_of
from wearsim.study.quantities import BANDED, QUANTITIES, DrawStatistics, standard_error
from wearsim.study.study_file import read_study
from wearsim.wear.constants import prior, vector_of


def test_cases_are_what_predict_says(whole_here: Path) -> None:
    study = small_study()
    job, rows, result = job_for(study, accuracy=COARSE), sample_of(study, 0), read_study(whole_here)
    assert rows is not None
    for place in (0, 11, 30):
        outcome = ws.predict(*job.bench_and_programme(place, rows[place % 8]), draws=0, accuracy=COARSE)
        at = np.unravel_index(place, study.shape)
        for name in ("edge_roll", "surface_rms", "strehl", "figure_error"):
            np.testing.assert_array_equal(result.quantities[name].values[at], getattr(outcome, name))


def test_every_radial_quantity_can_be_kept() -> None:
    study = small_study()
    worked = work_case(job_for(study, accuracy=COARSE), 0, np.array([30.0, 300.0]))
    for name, quantity in QUANTITIES.items():
        if quantity.engine is None:
            assert np.all(np.isfinite(quantity.take(worked))), name
    assert QUANTITIES["removal_mean"].take(worked) > 0.0


def test_failed_cases_are_recorded_with_their_reason(whole: Path) -> None:
    result = read_study(whole)
    assert result.failures == {"tips_off": 16}
    failed = result.failure > 0
    np.testing.assert_array_equal(failed, np.broadcast_to([[[False], [False], [True]]], (2, 3, 8)))
    assert "tips off" in result.reason(0, 2, 0) and str(Path.cwd()) not in result.reason(0, 2, 0)
    assert result.reason(0, 0, 0) == ""
    for name in result.kept:
        values = result.quantities[name].values
        assert np.all(np.isnan(values[failed])) and np.all(np.isfinite(values[~failed]))


def test_values_that_do_not_go_together_fail_their_case_alone() -> None:
    """A lap of 300 mm on a mirror of 240 mm is refused; each alone, with the other as it stands, is not."""
    text = TEXT.replace('"hands.push"', '"mirror.diameter"').replace(', "figure_error"', "")
    text = text.replace('"10 N"', '"240 mm"').replace('"50 N"', '"320 mm"')
    study = small_study(text)
    rows = np.array([[0.24, 300.0], [0.32, 300.0]])
    part = work_chunk(job_for(study, accuracy=COARSE), Chunk(0, 0, 2, rows))
    assert part.failure.tolist() == [2, 0]
    assert "lap is too large" in part.reason[0]


def test_draws_belong_to_the_case_and_not_to_the_chunk() -> None:
    study = small_study()
    job, rows = job_for(study, 7, COARSE), sample_of(study, 7)
    assert rows is not None
    whole = work_chunk(job, Chunk(0, 0, 8, rows))
    halves = [work_chunk(job, Chunk(n, first, first + 4, rows[first : first + 4])) for n, first in ((0, 0), (1, 4))]
    for name in job.keep:
        np.testing.assert_array_equal(whole.values[name], np.concatenate([half.values[name] for half in halves]))
    other = work_chunk(job_for(study, 8, COARSE), Chunk(0, 0, 8, rows))
    assert not np.array_equal(whole.values["edge_roll_band"], other.values["edge_roll_band"])
    for name in set(job.keep) & set(BANDED):
        low, _, high = whole.values[f"{name}_band"].T
        assert np.all(low <= high) and np.any(low < high), name
    np.testing.assert_array_equal(whole.values["edge_roll"], other.values["edge_roll"])  # no chance in this one


def test_constants_spread_as_the_bench_says() -> None:
    bench = small_study().bench
    draws = [draw for place in range(40) for draw in draw_constants(bench, 50, 1, place)]
    covariance = prior(bench).covariance
    sigma = np.sqrt(np.diagonal(covariance))
    vectors = np.array([vector_of(draw) for draw in draws]) / sigma
    assert np.abs(vectors.mean(axis=0)).max() < 4.0 / np.sqrt(2000)
    assert np.abs(vectors.std(axis=0) - 1.0).max() < 4.0 / np.sqrt(4000)
    assert np.cov(vectors.T) == pytest.approx(covariance / np.outer(sigma, sigma), abs=0.13)


def test_risk_and_its_standard_error_hold_what_they_promise() -> None:
    """Counted over many studies: a preston above its one-sigma factor has a probability that is known."""
    bench = small_study().bench
    true, draws = 1.0 - norm.cdf(1.0), 64
    limit = float(np.exp(np.sqrt(prior(bench).covariance[0, 0])))
    risks, errors = [], []
    for place in range(300):
        factors = np.array([draw.preston for draw in draw_constants(bench, draws, 3, place)])
        drawn = DrawStatistics(
            edge_roll=-factors, surface_rms=factors, roll_added=-factors, rim_added=-factors, limit=limit, failed=0
        )
        risks.append(drawn.risk)
        errors.append(drawn.risk_error)
    assert np.mean(risks) == pytest.approx(true, abs=4.0 * np.sqrt(true * (1 - true) / (64 * 300)))
    assert np.mean(errors) == pytest.approx(np.std(risks), rel=0.15)


def test_standard_error_is_the_binomial_one_and_never_nought() -> None:
    assert standard_error(300, 1000) == pytest.approx(np.sqrt(0.3 * 0.7 / 1000), rel=0.01)
    assert 0.5 / 64 < standard_error(0, 64) < 2.0 / 64
    assert standard_error(64, 64) == standard_error(0, 64)


def test_planar_cases_keep_maps_and_what_maps_tell() -> None:
    text = TEXT.replace("draws = 2", 'engine = "planar"').replace("minutes = 2", "minutes = 0.05")
    text = text.replace('"strehl"', '"after_map", "astigmatism", "map_rms"')
    study = small_study(text)
    job, rows = job_for(study, accuracy=COARSE), sample_of(study, 0)
    assert rows is not None
    part = work_chunk(job, Chunk(0, 0, 1, rows[:1]))
    assert part.failure[0] == 0, part.reason
    across = part.inner["x"].size
    assert part.values["after_map"].shape == (1, across, across) and set(part.inner) == {"x", "y", "radius"}
    assert np.all(np.isfinite(part.values["figure_error"]))
    assert 0.0 < part.values["astigmatism"][0] < part.values["map_rms"][0]
    again = work_chunk(job, Chunk(0, 0, 1, rows[:1]))
    for name in job.keep:
        np.testing.assert_array_equal(part.values[name], again.values[name])
