"""Tables of the page on what is uncertain: the log-normal factors, and what a few stratified draws leave."""

from __future__ import annotations

import numpy as np
from scipy.stats import norm

from wearsim.bench.abrasion import Spread
from wearsim.figure.metrics import percentiles
from wearsim.wear.constants import NAMES, normal_draws

BANDS = 1000
KINDS = {"one input": 1, "four in equal parts": 4}


def factors() -> list[tuple[str, float, float, float, float, float]]:
    """Of each default spread: name, one-sigma factor, 90 % factor, mean, mean square, standard deviation [1]."""
    rows = []
    for name in NAMES:
        factor = float(getattr(Spread(), name))
        v = np.log(factor) ** 2
        rows.append(
            (
                name, factor, factor ** norm.ppf(0.95), np.exp(v / 2), np.exp(2 * v),
                np.sqrt(np.exp(v) * (np.exp(v) - 1)),
            )
        )  # fmt: skip
    return rows


def scatter(count: int, inputs: int, bands: int = BANDS) -> tuple[float, float, float]:
    """Mean and standard deviation of the 95th percentile of a normal result, and the mean share a band holds [1].

    Parameters
    ----------
    count : int
        Draws of each band.
    inputs : int
        Inputs whose sum, each as large as the next, the result is.
    bands : int
        Each with a seed of its own.
    """
    ends = np.array(
        [percentiles(normal_draws(count, inputs, seed).sum(axis=1) / np.sqrt(inputs)) for seed in range(bands)]
    )
    held = norm.cdf(ends[:, 1]) - norm.cdf(ends[:, 0])
    return float(ends[:, 1].mean()), float(ends[:, 1].std()), float(held.mean())
