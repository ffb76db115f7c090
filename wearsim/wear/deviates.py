"""Normal deviates from shares of probability.

The standard library has the function; SciPy's is faster on long rows, but takes longer to import than the few hundred
numbers of a prediction take here.
"""

from __future__ import annotations

from statistics import NormalDist

import numpy as np
from numpy.typing import ArrayLike

from wearsim.wear.grid import Array

_DEVIATE = np.frompyfunc(NormalDist().inv_cdf, 1, 1)


def normal_deviates(share: ArrayLike) -> Array:
    """Standard normal deviates that these shares of all draws stay below, same shape [1].

    Parameters
    ----------
    share : array_like
        Between 0 and 1, without them [1].

    Raises
    ------
    statistics.StatisticsError
        A share of 0 or 1, or beyond.
    """
    return np.asarray(_DEVIATE(share), dtype=float)
