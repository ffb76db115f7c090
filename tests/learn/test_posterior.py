"""The weighed draws and mixtures that a posterior is made of, against integrals and samples."""

from __future__ import annotations

import numpy as np
import pytest

from tests.helpers.simulated import ROUGH, only, simulated_sessions
from wearsim.learn.inference import SAMPLING_WIDENING, Inference
from wearsim.learn.posterior import GlassPosterior, Mode, importance_weights, systematic_resample
from wearsim.wear.constants import Constants


def test_a_mixture_of_glasses_is_that_of_a_sample(rng: np.random.Generator) -> None:
    """Three normal distributions of a glass of four heights, drawn from as often as they weigh."""
    weights = np.array([0.2, 0.5, 1.3])  # not of sum 1
    means = 1e-9 * rng.normal(0.0, 20.0, (3, 4))
    roots = 1e-9 * rng.normal(0.0, 5.0, (3, 4, 4))
    covariances = roots @ roots.transpose(0, 2, 1)
    parts = list(zip(weights.tolist(), means, covariances, strict=True))
    radius = np.linspace(0.0, 0.1, 4)
    glass = GlassPosterior.mixed(radius, parts)
    which = rng.choice(3, size=200_000, p=weights / weights.sum())
    drawn = means[which] + np.einsum("nij,nj->ni", roots[which], rng.standard_normal((200_000, 4)))
    assert np.array_equal(glass.radius, radius)
    assert glass.height == pytest.approx(drawn.mean(axis=0), abs=0.2e-9)
    assert glass.covariance == pytest.approx(np.cov(drawn.T), abs=0.02 * np.abs(glass.covariance).max())


def test_one_glass_is_itself() -> None:
    height, covariance = np.array([1e-9, -2e-9]), np.diag([4e-18, 9e-18])
    glass = GlassPosterior.mixed(np.zeros(2), [(0.3, height, covariance)])
    assert glass.height == pytest.approx(height) and glass.covariance == pytest.approx(covariance)


def test_the_evidence_by_draws_is_the_integral() -> None:
    # a normal mode of height 1 and sigmas 0.5 and 2: its integral over that of the standard normal is their product
    middle, root = np.array([0.3, -1.0]), np.diag([0.5, 2.0])
    drawn = Mode(middle, SAMPLING_WIDENING * root, ())
    inference = Inference(simulated_sessions(11, Constants(), count=0, accuracy=ROUGH)[1], only("preston", "stiffness"))
    places, _ = inference._draws([drawn], 1024, seed=0)
    told = -0.5 * np.sum(((places - middle) / np.diagonal(root)) ** 2, axis=1)
    for lots in (1, 3):
        weights, evidence = importance_weights(places, told, [[drawn]] * lots)
        assert evidence == pytest.approx(np.log(0.5 * 2.0), abs=0.02)
        assert weights.sum() == pytest.approx(1.0)
    mean = weights @ places
    assert mean == pytest.approx(middle, abs=0.05)
    assert np.sqrt(weights @ (places - mean) ** 2) == pytest.approx(np.diagonal(root), rel=0.05)


def test_even_draws_stand_for_weighed_ones(rng: np.random.Generator) -> None:
    weights = rng.random(30) ** 3
    counts = np.bincount(systematic_resample(weights, 500), minlength=30)
    assert np.abs(counts - 500 * weights / weights.sum()).max() <= 1.0 + 1e-9
