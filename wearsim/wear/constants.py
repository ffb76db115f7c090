"""The uncertain constants of a bench and of the hands, as numbers, and draws of them.

Physics section 9: k, kappa, tau and the edge gain are known within a factor, each log-normal about the bench's value with
the one-sigma factor of ``[spread]``; so is the factor on the length of all strokes, and the bias of the overhang is
normal. A factor of 1, or a bias of 0, is known exactly, and a gain of 0 stays 0.

Two products are known better than their parts: how fast a high zone wears, k x kappa, and how fast pitch flows,
1 / (kappa x tau). What is known of them narrows the prior of the parts and ties them together.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from statistics import NormalDist

import numpy as np
from numpy.typing import ArrayLike

from wearsim.bench.bench import Bench, Spread
from wearsim.kernels.arrays import Floats

NAMES = ("preston", "stiffness", "relaxation_time", "edge_gain", "stroke_length", "overhang_bias")
"""Order of all vectors of constants."""
IS_FACTOR = np.array([name != "overhang_bias" for name in NAMES])
"""Whether a constant is a factor, of which a vector holds the logarithm [1]; the others are held as they are [m]."""
UNLEARNED = {
    "edge_length": True, "temperature_slope": True, "stiffness_exponent": False, "pressure_exponent": False,
    "speed_exponent": False,
}  # fmt: skip
"""Uncertain constants that no session tells apart from those of :data:`NAMES`, and whether each is a factor: they are
drawn beside the others and never learned."""
PRODUCTS = {"smoothing": {"preston": 1.0, "stiffness": 1.0}, "flow": {"stiffness": -1.0, "relaxation_time": -1.0}}
"""Products that a session shows more directly than their parts, as powers of the constants: how fast a high zone wears,
and how fast pitch flows."""
# SciPy's is faster on long rows, but takes longer to import than the few hundred numbers of a prediction take here
_DEVIATE = np.frompyfunc(NormalDist().inv_cdf, 1, 1)


@dataclass(frozen=True)
class Constants:
    """Factors on the bench's own constants [1], and a bias; 1 and 0 = as the bench and the programme say.

    Attributes
    ----------
    preston, stiffness, relaxation_time, edge_gain : float
        Each multiplies what the bench has.
    stroke_length : float
        Multiplies length and side sweep of every stroke: hands that always go farther than was written down.
    overhang_bias : float
        Added to the side overhang of every stroke: hands that always stay to one side [m].
    edge_length, temperature_slope : float
        Factors on the length of the edge effect and on the degrees in which pitch relaxes ten times as slowly [1].
    stiffness_exponent, pressure_exponent, speed_exponent : float
        Added to the exponents of the bench [1].
    """

    preston: float = 1.0
    stiffness: float = 1.0
    relaxation_time: float = 1.0
    edge_gain: float = 1.0
    stroke_length: float = 1.0
    overhang_bias: float = 0.0
    edge_length: float = 1.0
    temperature_slope: float = 1.0
    stiffness_exponent: float = 0.0
    pressure_exponent: float = 0.0
    speed_exponent: float = 0.0

    def times(self, factor: float) -> Constants:
        """The same with a removal that is ``factor`` times as large [1]."""
        return self if factor == 1.0 else replace(self, preston=self.preston * factor)


AS_STATED = Constants()


@dataclass(frozen=True)
class Belief:
    """What is known of the constants: a distribution of the logarithms of factors, and of what is no factor as it is.

    Parameters
    ----------
    mean : (n,) ndarray
        In the order of :data:`NAMES`: logarithms of factors [1], biases [m].
    covariance : (n, n) ndarray
        Their covariance.
    points : (N, n) ndarray, optional
        Vectors that stand for the distribution, each as likely as the next, where it is not normal.
    unlearned : tuple of (str, float)
        Those of :data:`UNLEARNED` that are uncertain, and one sigma of each: of a factor, of its logarithm [1].
    """

    mean: Floats
    covariance: Floats
    points: Floats | None = None
    unlearned: tuple[tuple[str, float], ...] = ()

    @property
    def is_certain(self) -> bool:
        """Whether every constant of :data:`NAMES` is taken as known exactly: then nothing is drawn."""
        return not np.any(self.covariance)

    @property
    def axes(self) -> Floats:
        """Columns (n, d), one sigma each, whose squares sum to the covariance; the widest in its own sigmas first."""
        sigma = np.sqrt(np.diagonal(self.covariance))
        scale = np.where(sigma > 0.0, sigma, 1.0)
        values, vectors = np.linalg.eigh(self.covariance / np.outer(scale, scale))
        active = np.flatnonzero(values > 1e-9)[::-1]
        return np.asarray(scale[:, None] * vectors[:, active] * np.sqrt(values[active]))

    def best(self) -> Constants:
        """The constants at the middle of the belief.

        Returns
        -------
        Constants
            Exponentials of the mean logarithms [1], and the mean biases.
        """
        return constants_at(self.mean)

    def draws(self, count: int, seed: int) -> tuple[Constants, ...]:
        """Stratified draws of the constants: of the points, where there are any.

        Parameters
        ----------
        count : int
            Draws.
        seed : int
            The same seed, the same draws.

        Returns
        -------
        tuple of Constants
            ``count`` of them, in no order.
        """
        axes = self.axes
        if self.points is not None and axes.size:
            along = (self.points - self.mean) @ np.linalg.pinv(axes).T[:, 0]
            return self._with_unlearned([constants_at(row) for row in _dealt(self.points, along, count, seed)], seed)
        vectors = self.mean + normal_draws(count, axes.shape[1], seed) @ axes.T
        return self._with_unlearned([constants_at(row) for row in vectors], seed)

    def _with_unlearned(self, drawn: list[Constants], seed: int) -> tuple[Constants, ...]:
        """Draws with what no session tells, from chance of its own: the others' stays what it is without."""
        if not self.unlearned:
            return tuple(drawn)
        deviates = normal_draws(len(drawn), len(self.unlearned), seed + 1)
        return tuple(
            replace(one, **{
                name: float(np.exp(sigma * z)) if UNLEARNED[name] else float(sigma * z)
                for (name, sigma), z in zip(self.unlearned, row, strict=True)
            })
            for one, row in zip(drawn, deviates, strict=True)
        )  # fmt: skip

    def with_session_spread(self, spread: float) -> Belief:
        """The same with the spread of the removal from session to session on top of that of the wear.

        Parameters
        ----------
        spread : float
            Relative, one sigma [1].

        Returns
        -------
        Belief
            Points, where there are any, spread likewise.
        """
        covariance = self.covariance.copy()
        covariance[0, 0] += spread**2
        if self.points is None:
            return Belief(self.mean, covariance, unlearned=self.unlearned)
        points = self.points.copy()
        points[:, 0] += spread * normal_draws(len(points), 1, seed=0)[:, 0]
        return Belief(self.mean, covariance, points, self.unlearned)


def _dealt(points: Floats, along: Floats, count: int, seed: int) -> Floats:
    """One point of each of ``count`` equal slices along an axis, in no order."""
    rng = np.random.default_rng(seed)
    ordered = points[np.argsort(along, kind="stable")]
    slices = (np.arange(count) + rng.random(count)) / count
    return np.asarray(ordered[rng.permutation((slices * len(points)).astype(int))])


def constants_at(vector: Floats) -> Constants:
    """Constants of a vector (n,) in the order of :data:`NAMES`."""
    values = np.where(IS_FACTOR, np.exp(np.where(IS_FACTOR, vector, 0.0)), vector)
    return Constants(**dict(zip(NAMES, (float(one) for one in values), strict=True)))


def vector_of(constants: Constants) -> Floats:
    """The vector (n,) of these constants, in the order of :data:`NAMES`."""
    values = np.array([getattr(constants, name) for name in NAMES])
    return np.where(IS_FACTOR, np.log(np.where(IS_FACTOR, values, 1.0)), values)


def powers(product: str) -> Floats:
    """Powers (n,) of the constants in one of :data:`PRODUCTS` [1]."""
    return np.array([PRODUCTS[product].get(name, 0.0) for name in NAMES])


def prior(bench: Bench) -> Belief:
    """The bench's own constants with its stated spread; no session enters."""
    return Belief(np.zeros(len(NAMES)), prior_covariance(bench.spread), unlearned=unlearned_of(bench.spread))


def unlearned_of(spread: Spread) -> tuple[tuple[str, float], ...]:
    """The uncertain ones of :data:`UNLEARNED`, each with its sigma."""
    stated = {name: float(getattr(spread, name)) for name in UNLEARNED}
    sigmas = {name: float(np.log(one)) if UNLEARNED[name] else one for name, one in stated.items()}
    return tuple((name, sigma) for name, sigma in sigmas.items() if sigma > 0.0)


def prior_covariance(spread: Spread) -> Floats:
    """Covariance (n, n) of the constants that a bench states: independent, then narrowed by what is known of products.

    Each product adds an observation of it that is good to its own spread, as in any normal linear model.
    """
    stated = np.array([float(getattr(spread, name)) for name in NAMES])
    sigma = np.where(IS_FACTOR, np.log(np.where(IS_FACTOR, stated, 1.0)), stated)
    covariance = np.diag(sigma**2)
    for product in PRODUCTS:
        row, known = powers(product), float(np.log(getattr(spread, product)))
        total = float(row @ covariance @ row) + known**2
        if total > 0.0:
            covariance = covariance - np.outer(covariance @ row, row @ covariance) / total
    return np.asarray(covariance)


def normal_deviates(share: ArrayLike) -> Floats:
    """Standard normal deviates that these shares of all draws, between 0 and 1 without them, stay below; same shape [1]."""
    return np.asarray(_DEVIATE(share), dtype=float)


def normal_draws(count: int, width: int, seed: int) -> Floats:
    """Standard normal deviates (count, width), one in each of ``count`` equal slices of every column."""
    rng = np.random.default_rng(seed)
    columns = [(rng.permutation(count) + rng.random(count)) / count for _ in range(width)]
    if not columns:
        return np.zeros((count, 0))
    return normal_deviates(np.clip(np.column_stack(columns), 1e-12, 1.0 - 1e-12))
