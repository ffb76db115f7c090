"""The distribution of the constants that all sessions together leave, as weighed draws."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from wearsim.kernels.arrays import Floats
from wearsim.wear.constants import NAMES, Belief, Constants

TOLD, PARTLY = 0.5, 0.85
"""A constant is told by the data below the first share of the prior's spread, partly below the second."""
POINTS = 128
"""Even draws that stand for the weighed ones in predictions and proposals."""


@dataclass(frozen=True, eq=False)
class Posterior:
    """The distribution of the constants' logarithms and of the session-to-session spread.

    Parameters
    ----------
    logs : (N, 4) ndarray
        Weighed draws: logarithms of the factors on the bench's constants, in the order of ``NAMES`` [1].
    spreads : (N,) ndarray
        Session-to-session spread of the removal of each draw [1].
    weights : (N,) ndarray
        Their sum is 1.
    likeliest : (4,) ndarray
        The most likely logarithms [1].
    evidence : float
        Logarithm of how likely the measurements are, constants and spread averaged over (by the draws) [1].
    """

    logs: Floats
    spreads: Floats
    weights: Floats
    likeliest: Floats
    evidence: float

    @property
    def effective(self) -> float:
        """How many even draws the weighed ones are worth [1]."""
        return float(1.0 / np.sum(self.weights**2))

    @property
    def belief(self) -> Belief:
        """Mean, covariance and even draws of the logarithms, as ``predict`` and ``propose`` take them."""
        mean = self.weights @ self.logs
        about = self.logs - mean
        covariance = (self.weights[:, None] * about).T @ about
        return Belief(mean, covariance, self.logs[even_places(self.weights, POINTS)])

    @property
    def spread(self) -> float:
        """Mean-square spread of the removal from session to session [1]."""
        return float(np.sqrt(self.weights @ self.spreads**2))

    def interval(self, level: float = 0.9) -> Floats:
        """Central interval of each logarithm, shape (2, 4) [1]."""
        ends = 0.5 - 0.5 * level, 0.5 + 0.5 * level
        return np.array([[self._quantile(column, q) for column in self.logs.T] for q in ends])

    def _quantile(self, values: Floats, q: float) -> float:
        order = np.argsort(values)
        total = np.cumsum(self.weights[order]) - 0.5 * self.weights[order]
        return float(np.interp(q, total, values[order]))


def even_places(weights: Floats, count: int) -> NDArray[np.intp]:
    """Places of ``count`` even draws that stand for weighed ones: each as often as its weight, to within one."""
    ends = np.cumsum(weights)
    at = (np.arange(count) + 0.5) / count * ends[-1]
    return np.asarray(np.searchsorted(ends, at), dtype=np.intp)


def told_word(share: float) -> str:
    """ "told", "partly" or "prior", by the share of the prior's spread that is left [1]."""
    return "told" if share < TOLD else "partly" if share < PARTLY else "prior"


def constants_at(logs: Floats) -> Constants:
    """Constants with these logarithms of their factors."""
    return Constants(**dict(zip(NAMES, (float(f) for f in np.exp(logs)), strict=True)))
