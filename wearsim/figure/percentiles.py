"""Where nine of ten cases end: the band of a sample."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

NINE_IN_TEN = (5.0, 95.0)
"""The percentiles of a band [%]."""
LEAST_DRAWS = 19
"""With fewer draws than this a band is the sample's extremes, and holds less than nine cases in ten."""


def percentiles(sample: ArrayLike, shares: Sequence[float] = NINE_IN_TEN) -> NDArray[Any]:
    """Percentiles of a sample, such that a further case lies below each with just that chance.

    The share ``p`` is taken at place ``p (n + 1)`` of the ordered draws, between them in proportion (E. J. Gumbel,
    *Statistics of Extremes*, 1958, from memory): of ``n`` draws and one further case, all alike, each of the ``n + 1``
    places is as likely. So the band of 19 draws holds 90 % of such cases and that of 32 holds 91 %; at the place
    ``p (n - 1) + 1``, which is usual, they hold 82 and 85 %.

    Parameters
    ----------
    sample : array_like, shape (n, ...)
        One draw a row.
    shares : sequence of float
        [%]

    Returns
    -------
    ndarray, shape (shares, ...)
        For a share beyond what ``n`` draws reach (5 and 95 of fewer than 19), the least or the largest of them.
    """
    return np.asarray(np.percentile(np.asarray(sample, dtype=float), shares, axis=0, method="weibull"))
