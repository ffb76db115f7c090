"""The types of the arrays that travel through the whole package."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Ints = NDArray[np.integer[Any]]
Singles = NDArray[np.float32]
