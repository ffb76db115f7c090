"""Cases that stand for what is uncertain: a rule that keeps mean and covariance."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from tests.helpers.small_bench import small_bench
from wearsim.decide.objective import scenarios, share_to_aim_for
from wearsim.wear.constants import NAMES, Belief, prior


def belief_of(seed: int, rank: int) -> Belief:
    """A random belief whose covariance has some rank."""
    rng = np.random.default_rng(seed)
    root = rng.normal(size=(len(NAMES), rank)) if rank else np.zeros((len(NAMES), 1))
    return Belief(rng.normal(size=len(NAMES)), 0.2 * root @ root.T)


def logs_and_weights(belief: Belief) -> tuple[np.ndarray, np.ndarray]:
    cases = scenarios(belief)
    logs = np.log([[getattr(case.constants, name) for name in NAMES] for case in cases])
    return logs, np.array([case.weight for case in cases])


@given(seed=st.integers(0, 10_000), rank=st.integers(0, 4))
def test_weights_mean_and_covariance(seed: int, rank: int) -> None:
    belief = belief_of(seed, rank)
    logs, weights = logs_and_weights(belief)
    assert np.all(weights >= 0.0)
    assert weights.sum() == pytest.approx(1.0, abs=1e-12)
    assert np.allclose(weights @ logs, belief.mean, atol=1e-9)
    away = logs - belief.mean
    scale = max(float(np.abs(belief.covariance).max()), 1e-12)
    assert np.allclose((weights[:, None] * away).T @ away, belief.covariance, atol=1e-9 * scale + 1e-14)


@given(seed=st.integers(0, 10_000), rank=st.integers(1, 4))
def test_third_moments_vanish(seed: int, rank: int) -> None:
    belief = belief_of(seed, rank)
    logs, weights = logs_and_weights(belief)
    away = logs - belief.mean
    third = np.einsum("s,si,sj,sk->ijk", weights, away, away, away)
    assert np.allclose(third, 0.0, atol=1e-9 * max(1.0, float(np.abs(away).max()) ** 3))


def test_what_is_known_needs_one_case() -> None:
    (only,) = scenarios(prior(small_bench()))
    assert only.weight == 1.0
    assert all(getattr(only.constants, name) == 1.0 for name in NAMES)


def test_share_to_aim_for_makes_the_expected_square_least() -> None:
    belief = prior(small_bench(spread=True))
    share = share_to_aim_for(belief)
    sigma = float(np.sqrt(belief.covariance[0, 0]))
    nodes, weights = np.polynomial.hermite_e.hermegauss(60)
    weights = weights / weights.sum()
    factors = np.exp(sigma * nodes)

    def expected(part: float) -> float:
        """E (1 - f part)^2 with f log-normal."""
        return float(weights @ (1.0 - factors * part) ** 2)

    assert share == pytest.approx(weights @ factors / (weights @ factors**2), rel=1e-9)
    assert all(expected(share) <= expected(share * other) for other in (0.9, 0.99, 1.01, 1.1))


def test_share_to_aim_for_is_whole_where_all_is_known() -> None:
    assert share_to_aim_for(prior(small_bench())) == 1.0
