"""The uncertain constants of a bench, as numbers, and draws of them.

Physics section 9: k, kappa, tau and the edge gain are known within a factor. Each is log-normal about the bench's
value with the one-sigma factor of ``[spread]``; a factor of 1 means known exactly, and a gain of 0 stays 0.
"""

from __future__ import annotations

from dataclasses import dataclass
from statistics import NormalDist

import numpy as np
from numpy.typing import ArrayLike

from wearsim.bench.bench import Bench
from wearsim.kernels.arrays import Floats

NAMES = ("preston", "stiffness", "relaxation_time", "edge_gain")
# SciPy's is faster on long rows, but takes longer to import than the few hundred numbers of a prediction take here
_DEVIATE = np.frompyfunc(NormalDist().inv_cdf, 1, 1)


@dataclass(frozen=True)
class Constants:
    """Factors on the bench's own constants [1]; 1 = as the bench says.

    Attributes
    ----------
    preston, stiffness, relaxation_time, edge_gain : float
        Each multiplies what the bench has.
    """

    preston: float = 1.0
    stiffness: float = 1.0
    relaxation_time: float = 1.0
    edge_gain: float = 1.0


AS_STATED = Constants()


@dataclass(frozen=True)
class Belief:
    """What is known of the constants: a distribution of the logarithms of their factors.

    Parameters
    ----------
    mean : (4,) ndarray
        Logarithms of the factors on the bench's own constants, in the order of :data:`NAMES` [1].
    covariance : (4, 4) ndarray
        Their covariance [1].
    points : (N, 4) ndarray, optional
        Logarithms that stand for the distribution, each as likely as the next, where it is not normal [1].
    """

    mean: Floats
    covariance: Floats
    points: Floats | None = None

    @property
    def is_certain(self) -> bool:
        """Whether every constant is taken as known exactly."""
        return not np.any(self.covariance)

    def best(self) -> Constants:
        """The constants at the middle of the belief.

        Returns
        -------
        Constants
            Exponentials of the mean logarithms [1].
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
        values, vectors = np.linalg.eigh(self.covariance)
        if self.points is not None:
            return tuple(constants_at(row) for row in _dealt(self.points, vectors[:, -1], count, seed))
        root = vectors * np.sqrt(np.clip(values, 0.0, None))
        logs = self.mean + normal_draws(count, len(NAMES), seed) @ root.T
        return tuple(constants_at(row) for row in logs)


def _dealt(points: Floats, axis: Floats, count: int, seed: int) -> Floats:
    """One point of each of ``count`` equal slices along the axis on which they differ most, in no order."""
    rng = np.random.default_rng(seed)
    along = points[np.argsort(points @ axis, kind="stable")]
    slices = (np.arange(count) + rng.random(count)) / count
    return np.asarray(along[rng.permutation((slices * len(points)).astype(int))])


def constants_at(logs: Floats) -> Constants:
    """Constants whose factors have these logarithms, in the order of :data:`NAMES`."""
    return Constants(**dict(zip(NAMES, (float(f) for f in np.exp(logs)), strict=True)))


def prior(bench: Bench) -> Belief:
    """The bench's own constants with its stated spread: independent log-normal factors; no session enters."""
    spread = np.log([float(getattr(bench.spread, name)) for name in NAMES])
    return Belief(np.zeros(len(NAMES)), np.diag(spread**2))


def normal_deviates(share: ArrayLike) -> Floats:
    """Standard normal deviates that these shares of all draws, between 0 and 1 without them, stay below; same shape [1]."""
    return np.asarray(_DEVIATE(share), dtype=float)


def normal_draws(count: int, width: int, seed: int) -> Floats:
    """Standard normal deviates (count, width), one in each of ``count`` equal slices of every column."""
    rng = np.random.default_rng(seed)
    columns = [(rng.permutation(count) + rng.random(count)) / count for _ in range(width)]
    return normal_deviates(np.clip(np.column_stack(columns), 1e-12, 1.0 - 1e-12))
