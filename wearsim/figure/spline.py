"""The one spline that profiles are read with: level at the centre of the glass, held level beyond its ends.

SciPy's ``CubicSpline`` gives the same to rounding, and the tests hold this against it. But importing it costs a small
prediction an eighth of its time. What is needed is one slope at each radius, such that the curvature goes on across it: a
tridiagonal system, and the solver of those comes along with the kernels' compiler.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from wearsim.kernels.arrays import Floats

LEAST_VALUE = 1e-100


class ProfileSpline:
    """Cubic spline through a profile, or through many at once.

    Parameters
    ----------
    radius : ndarray, shape (n,)
        Increasing radii, three at least [m].
    values : array_like, shape (n,) or (n, k)
        Heights, in any unit; linear in them.

    Raises
    ------
    ValueError
        Fewer than three radii, radii that do not increase, or values that are not finite.
    """

    def __init__(self, radius: Floats, values: ArrayLike) -> None:
        v = np.asarray(values, dtype=float)
        if radius.size < 3 or not np.all(np.diff(radius) > 0.0) or not np.all(np.isfinite(v)):
            raise ValueError("a spline needs three radii or more that increase, and finite values")
        self._low, self._high = float(radius[0]), float(radius[-1])
        self._radius = radius
        with np.errstate(under="ignore"):  # far from its radius a cardinal spline fades to nothing
            self._powers = _powers(radius, v, _slopes(radius, v))

    def height(self, at: ArrayLike) -> Floats:
        """Values at the radii `at` [m], in the unit of the heights."""
        (a, b, c, d), t = self._pieces(np.clip(at, self._low, self._high))
        with np.errstate(under="ignore"):
            return _flushed_to_zero(np.asarray(a + t * (b + t * (c + t * d))))

    def slope(self, at: ArrayLike) -> Floats:
        """Slopes at the radii `at` [m], per metre; nothing beyond the ends."""
        r = np.asarray(at, dtype=float)
        inside = (r >= self._low) & (r <= self._high)
        (_, b, c, d), t = self._pieces(np.clip(r, self._low, self._high))
        with np.errstate(under="ignore"):
            steep = np.asarray(b + t * (2.0 * c + t * (3.0 * d)))
        return _flushed_to_zero(np.where(inside.reshape(inside.shape + (1,) * (steep.ndim - inside.ndim)), steep, 0.0))

    def _pieces(self, at: ArrayLike) -> tuple[Floats, Floats]:
        """Coefficients of the pieces that hold these radii, and how far into them each is [m]."""
        r = np.asarray(at, dtype=float)
        piece = np.clip(np.searchsorted(self._radius, r, side="right") - 1, 0, self._radius.size - 2)
        into = r - self._radius[piece]
        return self._powers[:, piece], into.reshape(into.shape + (1,) * (self._powers.ndim - 2))


def _slopes(radius: Floats, values: Floats) -> Floats:
    """Slopes at the radii: the curvature goes on across each; at the ends the third derivative does, shape of `values`.

    Where the first radius is 0 it is level there instead: by symmetry, the axis meets the glass so.
    """
    from scipy.linalg import solve_banded

    step = np.diff(radius)
    wide = step[:-1] + step[1:]
    rise = np.diff(values, axis=0) / _as_columns(step, values)
    right = np.empty_like(values)
    before, after = _as_columns(step[:-1], values), _as_columns(step[1:], values)
    right[1:-1] = 3.0 * (after * rise[:-1] + before * rise[1:])
    bands = np.zeros(
        (3, radius.size)
    )  # the diagonal in the middle, the one above it shifted right, the one below it left
    upper, middle, lower = bands[0, 1:], bands[1], bands[2, :-1]
    upper[1:], middle[1:-1], lower[:-1] = step[:-1], 2.0 * wide, step[1:]
    if radius[0] == 0.0:
        middle[0], right[0] = 1.0, 0.0
    else:
        middle[0], upper[0] = step[1], wide[0]
        right[0] = ((step[0] + 2.0 * wide[0]) * step[1] * rise[0] + step[0] ** 2 * rise[1]) / wide[0]
    lower[-1], middle[-1] = wide[-1], step[-2]
    right[-1] = (step[-1] ** 2 * rise[-2] + (2.0 * wide[-1] + step[-1]) * step[-2] * rise[-1]) / wide[-1]
    if radius.size == 3 and radius[0] != 0.0:  # both ends would say the same: a parabola through all three
        middle[0], upper[0], right[0] = 1.0, 1.0, 2.0 * rise[0]
        lower[-1], middle[-1], right[-1] = 1.0, 1.0, 2.0 * rise[-1]
    return np.asarray(solve_banded((1, 1), bands, right, check_finite=False))


def _powers(radius: Floats, values: Floats, slopes: Floats) -> Floats:
    """Coefficients of each piece in powers of the distance into it, shape (4, n - 1) or (4, n - 1, k)."""
    step = _as_columns(np.diff(radius), values)
    rise = np.diff(values, axis=0) / step
    bend = (slopes[:-1] + slopes[1:] - 2.0 * rise) / step
    return np.stack([values[:-1], slopes[:-1], (rise - slopes[:-1]) / step - bend, bend / step])


def _as_columns(row: Floats, values: Floats) -> Floats:
    """One number a radius, to multiply the rows of `values` with."""
    return row.reshape(row.shape + (1,) * (values.ndim - 1))


def _flushed_to_zero(values: Floats) -> Floats:
    """What has faded to nothing as zero, so that no product of it underflows later."""
    return np.where(np.abs(values) < LEAST_VALUE, 0.0, values)
