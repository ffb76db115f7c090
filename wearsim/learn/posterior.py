"""The distribution of the constants that all sessions together leave: its modes, and weighed draws of it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.linalg import cholesky, solve_triangular
from scipy.special import gammaln, logsumexp

from wearsim.kernels.arrays import Floats
from wearsim.learn.session_filter import FilterStep
from wearsim.wear.constants import Belief

POINTS = 128
"""Even draws that stand for the weighed ones in predictions and proposals."""
FREEDOM = 5.0
"""Degrees of freedom of the Student distribution that is drawn from: its tails are heavier than the posterior's."""
STUDENT_PEAK = float(gammaln(0.5 * (FREEDOM + 1.0)) - gammaln(0.5 * FREEDOM) - 0.5 * np.log(0.5 * (FREEDOM - 2.0)))
"""Logarithm of its height, of the same variance as a normal distribution's and in the height of that [1]."""
NEGLIGIBLE_EVIDENCE = 6.0
"""A mode whose evidence is this much lower does not matter (in logarithms)."""
SAME_MODE = 3.0
"""Modes closer than so many sigmas of one of them are the same."""


@dataclass(frozen=True, eq=False)
class GlassPosterior:
    """The glass after the last session: the prediction corrected by what was read, the constants averaged over.

    Parameters
    ----------
    radius, height : (n,) ndarray
        Its mean above the reference sphere [m].
    covariance : (n, n) ndarray
        [m^2]
    """

    radius: Floats
    height: Floats
    covariance: Floats

    @classmethod
    def mixed(cls, radius: Floats, parts: list[tuple[float, Floats, Floats]]) -> GlassPosterior:
        """Mean and covariance of a mixture of normal distributions: weights [1], means (n,), covariances (n, n)."""
        weights = np.array([weight for weight, _, _ in parts])
        weights = weights / weights.sum()
        means = np.array([height for _, height, _ in parts])
        mean = weights @ means
        about = means - mean
        within = sum(weight * covariance for weight, (_, _, covariance) in zip(weights, parts, strict=True))
        return cls(radius, mean, np.asarray(within + (weights[:, None] * about).T @ about))


@dataclass(frozen=True, eq=False)
class ConstantsPosterior:
    """The distribution of the constants, of the session-to-session spread and of the glass.

    Parameters
    ----------
    vectors : (N, n) ndarray
        Weighed draws of the constants, in the order of ``NAMES`` (:class:`wearsim.wear.constants.Belief`).
    spreads : (N,) ndarray
        Session-to-session spread of the removal of each draw [1].
    weights : (N,) ndarray
        Their sum is 1.
    glass : GlassPosterior
    """

    vectors: Floats
    spreads: Floats
    weights: Floats
    glass: GlassPosterior

    @property
    def effective(self) -> float:
        """How many even draws the weighed ones are worth [1]."""
        return float(1.0 / np.sum(self.weights**2))

    @property
    def belief(self) -> Belief:
        """Mean, covariance and even draws of the constants, as ``predict`` and ``propose`` take them."""
        mean = self.weights @ self.vectors
        about = self.vectors - mean
        covariance = (self.weights[:, None] * about).T @ about
        return Belief(mean, covariance, self.vectors[systematic_resample(self.weights, POINTS)])

    @property
    def spread(self) -> float:
        """Mean-square spread of the removal from session to session [1]."""
        return float(np.sqrt(self.weights @ self.spreads**2))

    def interval(self, level: float = 0.9) -> Floats:
        """Central interval of each constant, shape (2, n), as its vectors hold it."""
        return np.array([self.interval_of(column, level) for column in self.vectors.T]).T

    def interval_of(self, values: Floats, level: float = 0.9) -> Floats:
        """Central interval (2,) of what has these values (N,) for the draws."""
        ends = 0.5 - 0.5 * level, 0.5 + 0.5 * level
        return np.array([self._quantile(values, q) for q in ends])

    def _quantile(self, values: Floats, q: float) -> float:
        order = np.argsort(values)
        total = np.cumsum(self.weights[order]) - 0.5 * self.weights[order]
        return float(np.interp(q, total, values[order]))


@dataclass(frozen=True, eq=False)
class Mode:
    """One mode of the posterior: where it is high, and how wide it is there.

    Parameters
    ----------
    middle : (d,) ndarray
        Its top, in units of the prior's sigma.
    root : (d, d) ndarray
        Lower root of the covariance that the curvature there stands for.
    steps : tuple of FilterStep
        The mirror followed with the constants there.
    """

    middle: Floats
    root: Floats
    steps: tuple[FilterStep, ...]

    @property
    def evidence(self) -> float:
        """Logarithm of how likely the measurements are, the constants averaged over this mode (Laplace) [1]."""
        log_likelihood = sum(step.log_likelihood for step in self.steps)
        return float(log_likelihood - 0.5 * self.middle @ self.middle + np.log(np.diagonal(self.root)).sum())

    def whitened(self, place: Floats) -> Floats:
        """Places (..., d) in units of the mode's own sigmas from its top."""
        return np.asarray(solve_triangular(self.root, np.atleast_2d(place - self.middle).T, lower=True).T)

    def log_density(self, place: Floats) -> Floats:
        """Logarithm of a Student density of this place and shape, that of a normal's top being 0, shape (...,)."""
        square = self.whitened(place) ** 2 / (FREEDOM - 2.0)
        tails = -0.5 * (FREEDOM + 1.0) * np.log1p(square).sum(axis=1)
        return np.asarray(tails + STUDENT_PEAK * self.middle.size - np.log(np.diagonal(self.root)).sum())


def importance_weights(places: Floats, log_posterior: Floats, batches: list[list[Mode]]) -> tuple[Floats, float]:
    """Weights (N,) of draws, the posterior's density over that of all batches, their sum 1; and the log of the evidence.

    Parameters
    ----------
    places : (N, d) ndarray
        In units of the prior's sigma.
    log_posterior : (N,) ndarray
        There, up to a constant [1].
    batches : list of list of Mode
        The mixture, in equal parts, that each batch of draws came from.
    """
    drawn = [logsumexp([mode.log_density(places) for mode in modes], axis=0) - np.log(len(modes)) for modes in batches]
    excess = log_posterior - logsumexp(drawn, axis=0)
    weights = np.exp(np.clip(excess - excess.max(), -600.0, 0.0))
    evidence = float(np.log(len(batches) * weights.mean()) + excess.max())
    return np.asarray(weights / weights.sum()), evidence


def fitted_mode(places: Floats, weights: Floats) -> Mode:
    """A mode of the mean and covariance of weighed draws; weights tempered, for few draws may carry them all."""
    even = np.sqrt(weights) / np.sqrt(weights).sum()
    mean = even @ places
    about = places - mean
    covariance = (even[:, None] * about).T @ about + 1e-6 * np.eye(mean.size)
    return Mode(mean, cholesky(covariance, lower=True), ())


def distinct_modes(modes: list[Mode]) -> tuple[Mode, ...]:
    """Modes that are not the same one twice, and not so low that they do not matter; the best first."""
    kept: list[Mode] = []
    for mode in sorted(modes, key=lambda one: -one.evidence):
        low = kept and mode.evidence < kept[0].evidence - NEGLIGIBLE_EVIDENCE
        same = any(np.linalg.norm(other.whitened(mode.middle)) < SAME_MODE for other in kept)
        if not low and not same:
            kept.append(mode)
    return tuple(kept)


def systematic_resample(weights: Floats, count: int) -> NDArray[np.intp]:
    """Indices of ``count`` even draws that stand for weighed ones: each as often as its weight, to within one."""
    ends = np.cumsum(weights)
    at = (np.arange(count) + 0.5) / count * ends[-1]
    return np.asarray(np.searchsorted(ends, at), dtype=np.intp)
