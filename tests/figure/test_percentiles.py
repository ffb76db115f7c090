"""The band of a sample holds nine of ten further cases."""

from __future__ import annotations

import numpy as np
import pytest

from wearsim.figure.metrics import LEAST_DRAWS, percentiles


@pytest.mark.parametrize("count", [LEAST_DRAWS, 32, 60, 100])
def test_a_band_of_draws_holds_nine_in_ten_of_cases_like_them(count: int, rng: np.random.Generator) -> None:
    """As the draws come, not as their distribution is: the ends are themselves uncertain."""
    trials = 20_000
    low, high = percentiles(rng.standard_normal((count, trials)))
    case = rng.standard_normal(trials)
    held = np.mean((low <= case) & (case <= high))
    assert 0.89 < held < 0.92  # sampling error 0.002
    usual = np.percentile(rng.standard_normal((count, trials)), [5.0, 95.0], axis=0)
    assert np.mean((usual[0] <= case) & (case <= usual[1])) < held - 0.01


def test_too_few_draws_give_their_extremes(rng: np.random.Generator) -> None:
    for count in (1, 2, 12, LEAST_DRAWS):
        sample = rng.standard_normal((count, 7))
        assert percentiles(sample) == pytest.approx(np.stack([sample.min(axis=0), sample.max(axis=0)]))
    assert np.all(np.abs(percentiles(rng.standard_normal((LEAST_DRAWS + 1, 7)))) < 9.0)


def test_the_middle_is_the_median(rng: np.random.Generator) -> None:
    sample = rng.standard_normal(8)
    assert percentiles(sample, (50.0,)) == pytest.approx([np.median(sample)])
