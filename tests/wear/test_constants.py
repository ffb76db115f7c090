"""The uncertain constants: normal deviates against SciPy's, the prior against a sample, draws against their belief."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.special import ndtri

from tests.helpers.small_bench import small_bench
from tests.helpers.workbench import EXACT
from wearsim.bench.bench import Spread
from wearsim.wear.constants import (
    AS_STATED,
    IS_FACTOR,
    NAMES,
    PRODUCTS,
    Belief,
    Constants,
    constants_at,
    normal_deviates,
    powers,
    prior,
    prior_covariance,
    vector_of,
)

WIDE = Spread(
    preston=2.0, stiffness=3.0, relaxation_time=2.5, edge_gain=1.5, smoothing=1.8, flow=1.6, stroke_length=1.1,
    overhang_bias=0.004,
)  # fmt: skip
SIGMA = np.array([*np.log([2.0, 3.0, 2.5, 1.5, 1.1]), 0.004])


def test_as_scipy_has_them() -> None:
    share = np.concatenate([np.logspace(-12, -1, 40), np.linspace(0.1, 0.9, 41)]).reshape(-1, 3)
    np.testing.assert_allclose(normal_deviates(share), ndtri(share), rtol=1e-14, atol=1e-15)
    assert normal_deviates(share).shape == share.shape


def test_the_prior_is_the_parts_weighed_by_what_is_known_of_the_products(rng: np.random.Generator) -> None:
    """A large sample of independent constants, each weighed by how likely its products are."""
    drawn = rng.standard_normal((400_000, len(NAMES)))
    preston, stiffness, relaxation = (drawn * SIGMA).T[:3]
    wears, flows = (preston + stiffness) / np.log(1.8), (stiffness + relaxation) / np.log(1.6)
    weight = np.exp(-0.5 * (wears**2 + flows**2))
    sampled = (weight[:, None] * drawn).T @ drawn / weight.sum()
    assert prior_covariance(WIDE) / np.outer(SIGMA, SIGMA) == pytest.approx(sampled, abs=0.015)


def test_products_are_known_as_well_as_their_parts_and_they_say_together() -> None:
    covariance = prior_covariance(Spread(**dict.fromkeys(NAMES[:4], 100.0), smoothing=1.5, flow=2.0))
    for product, factor in (("smoothing", 1.5), ("flow", 2.0)):
        row = powers(product)
        assert np.exp(np.sqrt(row @ covariance @ row)) == pytest.approx(factor, rel=0.01)
    assert set(PRODUCTS) == {"smoothing", "flow"}


def test_what_is_exact_stays_exact_and_what_is_alone_is_narrowed_alone() -> None:
    assert not prior_covariance(EXACT).any()
    known = prior_covariance(EXACT.model_copy(update={"stiffness": 3.0, "smoothing": 1.8, "flow": 1.6}))
    alone = 1.0 / (np.log(3.0) ** -2 + np.log(1.8) ** -2 + np.log(1.6) ** -2)
    assert known[1, 1] == pytest.approx(alone)
    assert np.count_nonzero(known) == 1
    product = prior_covariance(EXACT.model_copy(update={"preston": 2.0, "stiffness": 3.0, "smoothing": 1.0}))
    assert powers("smoothing") @ product @ powers("smoothing") == pytest.approx(0.0, abs=1e-15)
    assert product[0, 0] == pytest.approx(product[1, 1]) and product[0, 0] > 0.1


def test_a_vector_and_its_constants() -> None:
    constants = Constants(1.4, 0.7, 1.1, 0.9, 1.06, -0.003)
    vector = vector_of(constants)
    assert vector[IS_FACTOR] == pytest.approx(np.log([1.4, 0.7, 1.1, 0.9, 1.06]))
    assert vector[~IS_FACTOR] == [-0.003]
    assert vector_of(constants_at(vector)) == pytest.approx(vector, abs=1e-15)
    assert constants_at(np.zeros(len(NAMES))) == AS_STATED


def test_axes_and_draws_have_the_covariance_whatever_its_units() -> None:
    belief = Belief(np.array([0.1, -0.2, 0.0, 0.3, 0.02, 0.001]), prior_covariance(WIDE))
    assert belief.axes @ belief.axes.T == pytest.approx(belief.covariance, abs=1e-12)
    sigma = np.sqrt(np.diagonal(belief.covariance))
    vectors = (np.array([vector_of(one) for one in belief.draws(2000, 1)]) - belief.mean) / sigma
    assert vectors.mean(axis=0) == pytest.approx(np.zeros(len(NAMES)), abs=0.02)
    assert np.cov(vectors.T) == pytest.approx(belief.covariance / np.outer(sigma, sigma), abs=0.06)


def test_a_session_to_come_varies_more_than_the_constants_do(rng: np.random.Generator) -> None:
    belief = prior(small_bench(spread=True))
    wider = belief.with_session_spread(0.1)
    added = wider.covariance - belief.covariance
    assert added[0, 0] == pytest.approx(0.01) and np.count_nonzero(added) == 1
    points = rng.multivariate_normal(belief.mean, belief.covariance, 128)
    drawn = Belief(belief.mean, belief.covariance, points).with_session_spread(0.1).points
    assert drawn is not None
    assert np.std((drawn - points)[:, 0]) == pytest.approx(0.1, rel=0.05)
    assert not (drawn - points)[:, 1:].any()
