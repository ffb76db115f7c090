"""From the glass's height above its reference sphere to the figure error, and back (physics section 7)."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from wearsim.figure.aperture import ClearAperture
from wearsim.figure.conic import conic_departure

Floats = NDArray[np.float64]


def figure_error(
    radius: ArrayLike,
    height: ArrayLike,
    *,
    R: float,
    conic: float,
    inner: float,
    outer: float,
    aperture: ClearAperture | None = None,
) -> Floats:
    """Figure error: height less the conic's departure, less the best piston and ``r^2``.

    Parameters
    ----------
    radius : array_like, shape (n,)
        Increasing radii [m].
    height : array_like, shape (n,)
        Of the glass above the sphere of radius `R`, ``w``; positive = high [m].
    R : float
        Radius of curvature [m].
    conic : float
        Of the target [1].
    inner, outer : float
        The clear annulus that the fit is made over [m].
    aperture : ClearAperture, optional
        Of these radii and this annulus, if the caller has kept it; saves a millisecond.

    Returns
    -------
    ndarray, shape (n,)
        Figure error over the whole glass; positive = high [m].

    Raises
    ------
    ValueError
        Radii that do not increase, or an annulus that is empty.
    """
    clear = ClearAperture(radius, inner, outer) if aperture is None else aperture
    return clear.level(np.asarray(height, dtype=float) - conic_departure(clear.radius, R, conic))


def height_from_error(radius: ArrayLike, error: ArrayLike, *, R: float, conic: float) -> Floats:
    """Height above the reference sphere, ``w = error + z_conic - z_sphere`` at the stated radius.

    Parameters
    ----------
    radius, error : array_like, shape (n,)
        Radii [m] and figure error [m].
    R : float
        Radius of curvature [m].
    conic : float
        Of the target [1].

    Returns
    -------
    ndarray, shape (n,)
        ``w`` [m].
    """
    return np.asarray(error, dtype=float) + conic_departure(radius, R, conic)
