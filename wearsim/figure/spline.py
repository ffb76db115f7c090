"""The one spline that profiles are read with: level at the centre of the glass, held level beyond its ends."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.interpolate import CubicSpline

Floats = NDArray[np.float64]

NOTHING = 1e-100


class ProfileSpline:
    """Cubic spline through a profile, or through many at once.

    Parameters
    ----------
    radius : ndarray, shape (n,)
        Increasing radii [m].
    values : array_like, shape (n,) or (n, k)
        Heights, in any unit; linear in them.
    """

    def __init__(self, radius: Floats, values: ArrayLike) -> None:
        v = np.asarray(values, dtype=float)
        self._low, self._high = float(radius[0]), float(radius[-1])
        # by symmetry the profile is level where the axis meets the glass
        first = (1, np.zeros(v.shape[1:])) if self._low == 0.0 else "not-a-knot"
        with np.errstate(under="ignore"):  # far from its radius a cardinal spline fades to nothing
            self._spline = CubicSpline(radius, v, bc_type=(first, "not-a-knot"))

    def height(self, at: ArrayLike) -> Floats:
        """Values at the radii `at` [m], in the unit of the heights."""
        with np.errstate(under="ignore"):
            return _settled(np.asarray(self._spline(np.clip(at, self._low, self._high)), dtype=float))

    def slope(self, at: ArrayLike) -> Floats:
        """Slopes at the radii `at` [m], per metre; nothing beyond the ends."""
        r = np.asarray(at, dtype=float)
        inside = (r >= self._low) & (r <= self._high)
        with np.errstate(under="ignore"):
            steep = np.asarray(self._spline(np.clip(r, self._low, self._high), 1), dtype=float)
        return _settled(
            np.where(inside.reshape(inside.shape + (1,) * (steep.ndim - inside.ndim)), steep, 0.0)
        )


def _settled(values: Floats) -> Floats:
    """What has faded to nothing as zero, so that no product of it underflows later."""
    return np.where(np.abs(values) < NOTHING, 0.0, values)
