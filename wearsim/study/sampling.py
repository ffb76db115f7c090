"""Random samples of several settings at once: how they spread, and how the sample is laid out."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated, Any, Literal

import numpy as np
from numpy.typing import NDArray

from wearsim.bench.piece import Piece, choice
from wearsim.bench.quantity import default, whole

Array = NDArray[np.float64]
Method = Literal["latin-hypercube", "sobol", "random"]
_METHODS: tuple[Method, ...] = ("latin-hypercube", "sobol", "random")
SPREADS: dict[str, tuple[str, str]] = {
    "uniform": ("least", "most"),
    "log-uniform": ("least", "most"),
    "normal": ("mean", "sigma"),
    "log-normal": ("median", "factor"),
}
"""How a setting may spread, and the two keys that say where; ``factor`` is the one-sigma factor."""
MOST_SAMPLES = 5_000_000
# Child of the study's seed from which the sample is laid out; cases are children (0,), (1,), ...
_SAMPLE_KEY = (0, 1)


class SampleTable(Piece):
    """How many samples and how they are laid out, from ``[sample]``.

    Attributes
    ----------
    count : int
    method : {"latin-hypercube", "sobol", "random"}
        Sobol wants a power of two.
    """

    count: Annotated[int, whole("128", least=1, most=MOST_SAMPLES)]
    method: Annotated[Method, *choice(*_METHODS)] = default(
        "latin-hypercube", "judgement: even along every axis, any count"
    )


@dataclass(frozen=True)
class Distribution:
    """How one setting spreads.

    Parameters
    ----------
    spread : str
        One of :data:`SPREADS`.
    first, second : float
        Its two numbers, in the setting's SI unit (``factor`` is plain).
    """

    spread: str
    first: float
    second: float

    def at(self, share: Array) -> Array:
        """Values below which these shares of the distribution lie, same shape."""
        from scipy.special import ndtri

        if self.spread == "uniform":
            return self.first + (self.second - self.first) * share
        if self.spread == "log-uniform":
            return np.asarray(self.first * (self.second / self.first) ** share)
        normal = ndtri(np.clip(share, 1e-12, 1.0 - 1e-12))
        if self.spread == "normal":
            return np.asarray(self.first + self.second * normal)
        return np.asarray(self.first * self.second**normal)


def sample(table: SampleTable, distributions: tuple[Distribution, ...], seed: int) -> Array:
    """The whole sample, always the same for a seed.

    Parameters
    ----------
    table : SampleTable
    distributions : tuple of Distribution
    seed : int

    Returns
    -------
    (count, number of distributions) ndarray
        In the settings' SI units.
    """
    rng = np.random.default_rng(np.random.SeedSequence(seed, spawn_key=_SAMPLE_KEY))
    unit = _layout(table.method, table.count, len(distributions), rng)
    return np.column_stack([how.at(unit[:, place]) for place, how in enumerate(distributions)])


def _layout(method: str, count: int, width: int, rng: np.random.Generator) -> Array:
    if method == "random":
        return rng.random((count, width))
    from scipy.stats import qmc

    maker: Any = qmc.Sobol if method == "sobol" else qmc.LatinHypercube
    return np.asarray(maker(width, seed=rng).random(count))
