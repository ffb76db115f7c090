"""Hills of a posterior: where it is high, how wide it is there, and draws weighed against a mixture of such hills."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.linalg import cholesky, solve_triangular
from scipy.special import gammaln, logsumexp

from wearsim.kernels.arrays import Floats
from wearsim.learn.chain import Step

FREEDOM = 5.0
"""Of the Student distribution that is drawn from: its tails are heavier than the posterior's."""
STUDENT = float(gammaln(0.5 * (FREEDOM + 1.0)) - gammaln(0.5 * FREEDOM) - 0.5 * np.log(0.5 * (FREEDOM - 2.0)))
"""Logarithm of its height, of the same variance as a normal distribution's and in the height of that [1]."""
NEGLIGIBLE = 6.0
"""A hill whose evidence is this much lower does not matter (in logarithms)."""
SAME = 3.0
"""Hills closer than so many sigmas of one of them are the same."""


@dataclass(frozen=True, eq=False)
class Hill:
    """One hill of the posterior.

    Parameters
    ----------
    middle : (d,) ndarray
        Its top, in units of the prior's sigma.
    root : (d, d) ndarray
        Lower root of the covariance that the curvature there stands for.
    steps : tuple of Step
        The chain followed there.
    """

    middle: Floats
    root: Floats
    steps: tuple[Step, ...]

    @property
    def evidence(self) -> float:
        """Logarithm of how likely the measurements are, the constants averaged over this hill (Laplace) [1]."""
        told = sum(step.log_likelihood for step in self.steps)
        return float(told - 0.5 * self.middle @ self.middle + np.log(np.diagonal(self.root)).sum())

    def away(self, place: Floats) -> Floats:
        """Places (..., d) in units of the hill's own sigmas from its top."""
        whitened = solve_triangular(self.root, np.atleast_2d(place - self.middle).T, lower=True)
        return np.asarray(whitened.T)

    def log_density(self, place: Floats) -> Floats:
        """Logarithm of a Student density of this hill's place and shape, that of a normal's top being 0, shape (...,)."""
        square = self.away(place) ** 2 / (FREEDOM - 2.0)
        tails = -0.5 * (FREEDOM + 1.0) * np.log1p(square).sum(axis=1)
        return np.asarray(tails + STUDENT * self.middle.size - np.log(np.diagonal(self.root)).sum())


def weights_of(places: Floats, told: Floats, lots: list[list[Hill]]) -> tuple[Floats, float]:
    """Weights of draws (N,), their sum 1: the posterior's density over that of all lots together; and the evidence."""
    drawn = [logsumexp([hill.log_density(places) for hill in hills], axis=0) - np.log(len(hills)) for hills in lots]
    excess = told - logsumexp(drawn, axis=0)
    weights = np.exp(np.clip(excess - excess.max(), -600.0, 0.0))
    evidence = float(np.log(len(lots) * weights.mean()) + excess.max())
    return np.asarray(weights / weights.sum()), evidence


def moulded(places: Floats, weights: Floats) -> Hill:
    """A hill of the mean and covariance of weighed draws; weights tempered, for few draws may carry them all."""
    even = np.sqrt(weights) / np.sqrt(weights).sum()
    mean = even @ places
    about = places - mean
    covariance = (even[:, None] * about).T @ about + 1e-6 * np.eye(mean.size)
    return Hill(mean, cholesky(covariance, lower=True), ())


def distinct(hills: list[Hill]) -> list[Hill]:
    """Hills that are not the same one twice, and not so low that they do not matter; the best first."""
    kept: list[Hill] = []
    for hill in sorted(hills, key=lambda one: -one.evidence):
        low = kept and hill.evidence < kept[0].evidence - NEGLIGIBLE
        same = any(np.linalg.norm(other.away(hill.middle)) < SAME for other in kept)
        if not low and not same:
            kept.append(hill)
    return kept
