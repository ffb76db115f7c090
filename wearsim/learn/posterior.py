"""What all sessions together say of the constants.

First the most likely constants by least squares with the covariances frozen, then the curvature there, and then the
whole distribution by weighing draws from a wider one (importance sampling), because stiffness and relaxation time
hide behind each other and the distribution is bent. Means, covariance and intervals come from the weighed draws.
"""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass

import numpy as np
from scipy.linalg import cholesky, solve_triangular
from scipy.optimize import least_squares
from scipy.special import ndtri
from scipy.stats import qmc
from scipy.stats import t as student

from wearsim.errors import ContactError, InputError
from wearsim.learn.chain import Chain, Step
from wearsim.wear.constants import NAMES, Belief, Constants
from wearsim.wear.grid import Array
from wearsim.wear.predict import WORKERS

ROUNDS = 3
"""Times that the frozen covariances are taken anew in the search for the most likely constants."""
FREEDOM = 5.0
"""Of the Student distribution that is drawn from: its tails are heavier than the posterior's."""
WIDER = 1.25
"""How much wider than the curvature says it is drawn [1]."""
SCOUTS = 48
"""Places, drawn from the prior, that are looked at before the search for the most likely constants."""
BEGINNINGS = 3
"""The best of them, from which that search begins: there may be more than one hill."""
APART = 1.0
"""Least distance between beginnings, in sigmas of the prior."""
CLOSE = 0.1
"""A search that moves less than this, in sigmas of the prior, has arrived."""
FARTHEST = 5.0
"""Constants are sought within so many sigmas of the prior."""


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
        Logarithm of how likely the measurements are, constants averaged over (Laplace) [1].
    """

    logs: Array
    spreads: Array
    weights: Array
    likeliest: Array
    evidence: float

    @property
    def effective(self) -> float:
        """How many even draws the weighed ones are worth [1]."""
        return float(1.0 / np.sum(self.weights**2))

    @property
    def belief(self) -> Belief:
        """Mean and covariance of the logarithms, as ``predict`` and ``propose`` take them."""
        mean = self.weights @ self.logs
        about = self.logs - mean
        return Belief(mean, (self.weights[:, None] * about).T @ about)

    @property
    def spread(self) -> float:
        """Mean-square spread of the removal from session to session [1]."""
        return float(np.sqrt(self.weights @ self.spreads**2))

    def interval(self, level: float = 0.9) -> Array:
        """Central interval of each logarithm, shape (2, 4) [1]."""
        ends = 0.5 - 0.5 * level, 0.5 + 0.5 * level
        return np.array([[self._quantile(column, q) for column in self.logs.T] for q in ends])

    def _quantile(self, values: Array, q: float) -> float:
        order = np.argsort(values)
        total = np.cumsum(self.weights[order]) - 0.5 * self.weights[order]
        return float(np.interp(q, total, values[order]))


def constants_at(logs: Array) -> Constants:
    """Constants with these logarithms of their factors."""
    return Constants(**dict(zip(NAMES, (float(f) for f in np.exp(logs)), strict=True)))


class Inference:
    """One chain's posterior in the making.

    Parameters
    ----------
    chain : Chain
    prior : Belief
        Of the constants; without covariance a constant is known.
    misfits : frozenset of int
        Sessions whose record is not believed.
    """

    def __init__(self, chain: Chain, prior: Belief, misfits: frozenset[int] = frozenset()) -> None:
        self.chain, self.prior, self.misfits = chain, prior, misfits
        values, vectors = np.linalg.eigh(prior.covariance)
        active = values > 1e-12
        self.axes = vectors[:, active] * np.sqrt(values[active])
        self.carriers: tuple[Array, ...] | None = None
        self.middle = np.zeros(self.axes.shape[1])
        self.root = np.eye(self.axes.shape[1])
        self.steps: tuple[Step, ...] = ()

    def logs_at(self, place: Array) -> Array:
        """Logarithms of the factors at a place in units of the prior's sigma."""
        return np.asarray(self.prior.mean + self.axes @ place)

    def _follow(self, place: Array, spread: float) -> tuple[Step, ...]:
        return self.chain.follow(constants_at(self.logs_at(place)), spread, self.carriers, self.misfits)

    def find(self) -> None:
        """The most likely constants and the curvature there, the best of a few searches."""
        spread = self.chain.discrepancy.spread
        size = self.middle.size
        if not size:
            self._linearise(spread)
            return
        best: tuple[float, Array, Array, tuple[Step, ...], tuple[Array, ...] | None] | None = None
        for place in self._beginnings(spread):
            self.middle, self.root = place, np.eye(size)
            for _ in range(ROUNDS):
                before = self.middle
                self._linearise(spread)
                self._improve(spread)
                if np.abs(self.middle - before).max() < CLOSE:
                    break
            if best is None or self.evidence > best[0]:
                best = self.evidence, self.middle, self.root, self.steps, self.carriers
        if best is not None:
            _, self.middle, self.root, self.steps, self.carriers = best

    def _beginnings(self, spread: float) -> list[Array]:
        """The likeliest of places all over the prior, far from each other, the prior's middle among them."""
        size = self.middle.size
        uniform = qmc.Sobol(size, seed=np.random.default_rng(SCOUTS)).random(SCOUTS)
        places = np.vstack([np.zeros(size), ndtri(np.clip(uniform, 1e-6, 1.0 - 1e-6))])
        with ThreadPoolExecutor(max_workers=WORKERS) as pool:
            told = np.array(list(pool.map(self.log_posterior, places, [spread] * len(places))))
        chosen: list[Array] = []
        for place in places[np.argsort(-told)]:
            if all(np.linalg.norm(place - other) > APART for other in chosen):
                chosen.append(place)
            if len(chosen) == BEGINNINGS:
                break
        return chosen

    def _linearise(self, spread: float) -> None:
        self.carriers = None
        self.steps = self._follow(self.middle, spread)
        self.carriers = self.chain.carriers(constants_at(self.logs_at(self.middle)), spread, self.steps)
        self.steps = self._follow(self.middle, spread)

    def _improve(self, spread: float) -> None:
        """One least-squares search with the covariances of the last chain."""
        roots = [cholesky(step.spread, lower=True) for step in self.steps]

        def residuals(place: Array) -> Array:
            try:
                steps = self._follow(place, spread)
            except (ContactError, InputError):
                return np.full(place.size + sum(len(root) for root in roots), 1e3)
            told = [
                solve_triangular(root, step.miss, lower=True) for root, step in zip(roots, steps, strict=True)
            ]
            return np.concatenate([place, *told])

        start = np.clip(self.middle, -0.98 * FARTHEST, 0.98 * FARTHEST)
        found = least_squares(
            residuals, start, diff_step=0.02, x_scale=1.0, bounds=(-FARTHEST, FARTHEST), max_nfev=12,
            xtol=1e-3, ftol=1e-4,
        )  # fmt: skip
        self.middle = found.x
        self.root = cholesky(np.linalg.inv(found.jac.T @ found.jac), lower=True)
        self.steps = self._follow(self.middle, spread)

    def log_posterior(self, place: Array, spread: float) -> float:
        """Logarithm of the posterior density, up to a constant, spread given [1]."""
        try:
            steps = self._follow(place, spread)
        except (ContactError, InputError):
            return -1e6
        return float(sum(step.log_likelihood for step in steps) - 0.5 * place @ place)

    @property
    def evidence(self) -> float:
        """Logarithm of how likely the measurements are (Laplace at the middle) [1]."""
        told = sum(step.log_likelihood for step in self.steps)
        return float(told - 0.5 * self.middle @ self.middle + np.log(np.diagonal(self.root)).sum())

    def sample(self, draws: int, seed: int) -> Posterior:
        """Weigh draws; a second lot from what the first lot found where the first was a bad guess.

        Parameters
        ----------
        draws : int
        seed : int
        """
        first = self._weighed(draws, seed, self.middle, WIDER * self.root)
        if first.effective >= 0.3 * draws or not self.middle.size:
            return first
        places = (first.logs - self.prior.mean) @ np.linalg.pinv(self.axes).T
        weights = (
            np.sqrt(first.weights) / np.sqrt(first.weights).sum()
        )  # tempered: few draws may carry it all
        mean = weights @ places
        about = places - mean
        covariance = (weights[:, None] * about).T @ about + 1e-6 * np.eye(mean.size)
        second = self._weighed(draws, seed + 1, mean, cholesky(covariance, lower=True))
        return second if second.effective >= first.effective else first

    def _weighed(self, draws: int, seed: int, middle: Array, root: Array) -> Posterior:
        size = middle.size
        uniform = qmc.Sobol(size + 1, seed=np.random.default_rng(seed)).random(draws)
        uniform = np.clip(uniform, 1e-9, 1.0 - 1e-9)
        deviates = student.ppf(uniform[:, :size], FREEDOM) / np.sqrt(FREEDOM / (FREEDOM - 2.0))
        places = middle + deviates @ root.T
        belief = self.chain.discrepancy
        spreads = belief.spread * belief.spread_factor ** ndtri(uniform[:, size])
        drawn = -0.5 * (FREEDOM + 1.0) * np.log1p(deviates**2 / (FREEDOM - 2.0)).sum(axis=1)
        with ThreadPoolExecutor(max_workers=WORKERS) as pool:
            told = np.array(list(pool.map(self.log_posterior, places, spreads)))
        excess = told - drawn
        weights = np.exp(np.clip(excess - excess.max(), -600.0, 0.0))
        logs = self.prior.mean + places @ self.axes.T
        return Posterior(logs, spreads, weights / weights.sum(), self.logs_at(self.middle), self.evidence)
