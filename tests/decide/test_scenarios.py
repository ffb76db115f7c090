"""Cases that stand for what is uncertain: a rule that keeps mean and covariance."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from tests.helpers.small_bench import small_bench
from wearsim.bench.bench import Spread
from wearsim.decide.objective import MAIN, scenarios
from wearsim.wear.constants import AS_STATED, NAMES, Belief, prior, prior_covariance, vector_of

HANDS = ("stroke_length", "overhang_bias")


def belief_of(seed: int, rank: int) -> Belief:
    """A random belief whose covariance has some rank."""
    rng = np.random.default_rng(seed)
    root = rng.normal(size=(len(NAMES), rank)) if rank else np.zeros((len(NAMES), 1))
    return Belief(rng.normal(size=len(NAMES)), 0.2 * root @ root.T)


def vectors_and_weights(belief: Belief) -> tuple[np.ndarray, np.ndarray]:
    cases = scenarios(belief)
    return np.array([vector_of(case.constants) for case in cases]), np.array([case.weight for case in cases])


@given(seed=st.integers(0, 10_000), rank=st.integers(0, len(NAMES)))
def test_weights_mean_and_covariance(seed: int, rank: int) -> None:
    belief = belief_of(seed, rank)
    logs, weights = vectors_and_weights(belief)
    assert np.all(weights >= 0.0)
    assert weights.sum() == pytest.approx(1.0, abs=1e-12)
    assert np.allclose(weights @ logs, belief.mean, atol=1e-9)
    away = logs - belief.mean
    scale = max(float(np.abs(belief.covariance).max()), 1e-12)
    assert np.allclose((weights[:, None] * away).T @ away, belief.covariance, atol=1e-9 * scale + 1e-14)


@given(seed=st.integers(0, 10_000), rank=st.integers(1, len(NAMES)))
def test_third_moments_of_pitch_and_abrasive_vanish(seed: int, rank: int) -> None:
    belief = belief_of(seed, rank)
    logs, weights = vectors_and_weights(belief)
    away = (logs - belief.mean)[:, :MAIN]
    third = np.einsum("s,si,sj,sk->ijk", weights, away, away, away)
    assert np.allclose(third, 0.0, atol=1e-9 * max(1.0, float(np.abs(away).max()) ** 3))


@pytest.mark.parametrize(
    ("known", "cases"),
    [((), 8), (HANDS, 8), (("stroke_length",), 8), (("edge_gain",), 6), (("edge_gain", *HANDS), 6),
     (("preston", "edge_gain", *HANDS), 5), (("preston", "edge_gain"), 6)],
)  # fmt: skip
def test_hands_cost_no_more_cases(known: tuple[str, ...], cases: int) -> None:
    """Two an axis of pitch and abrasive, and the middle where they are fewer than three: with hands or without.

    Only where two or fewer constants of these are left is there no room for both of the hands.
    """
    spread = Spread(**{name: 0.0 if name == "overhang_bias" else 1.0 for name in known})
    belief = Belief(np.zeros(len(NAMES)), prior_covariance(spread))
    logs, weights = vectors_and_weights(belief)
    assert len(weights) == cases
    sigma = np.where(np.diagonal(belief.covariance) > 0.0, np.sqrt(np.diagonal(belief.covariance)), 1.0)
    about = logs / sigma
    assert (weights[:, None] * about).T @ about == pytest.approx(belief.covariance / np.outer(sigma, sigma), abs=1e-9)
    assert weights @ about == pytest.approx(np.zeros(len(NAMES)), abs=1e-12)


def test_hands_alone_have_cases_of_their_own() -> None:
    belief = Belief(np.zeros(len(NAMES)), np.diag([0.0, 0.0, 0.0, 0.0, 0.08**2, 0.005**2]))
    logs, weights = vectors_and_weights(belief)
    assert len(weights) == 5
    assert (weights[:, None] * logs).T @ logs == pytest.approx(belief.covariance, abs=1e-15)
    assert not logs[:, :MAIN].any()


def test_what_is_known_needs_one_case() -> None:
    (only,) = scenarios(prior(small_bench()))
    assert only.weight == 1.0 and only.constants == AS_STATED
