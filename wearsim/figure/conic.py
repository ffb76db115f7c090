"""Conics of revolution, exact, in forms that do not cancel (physics section 7).

From the glass's height above its reference sphere to the figure error, and back (physics section 7).
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from wearsim.figure.aperture import ClearAperture
from wearsim.kernels.arrays import Floats


def _root(radius: Floats, curvature: float, conic: float) -> Floats:
    """``sqrt(1 - (1 + K) (c r)^2)``: the cosine of the slope for a sphere, 1 for a paraboloid."""
    inside = 1.0 - (1.0 + conic) * (curvature * radius) ** 2
    if np.any(inside <= 0.0):
        raise ValueError(f"the conic of radius of curvature {1 / curvature:g} m does not reach that radius")
    return np.sqrt(inside)


def sagitta(radius: ArrayLike, radius_of_curvature: float, conic: float) -> Floats:
    """Height of a conic above the plane through its vertex.

    ``z = r^2 / R / (1 + sqrt(1 - (1 + K) r^2 / R^2))``, physics section 7.

    Parameters
    ----------
    radius : array_like
        Distance from the axis [m].
    radius_of_curvature : float
        At the vertex [m].
    conic : float
        Conic constant: 0 sphere, -1 paraboloid, above 0 oblate [1].

    Returns
    -------
    ndarray
        Sagitta, of the shape of `radius` [m].

    Raises
    ------
    ValueError
        Where the conic does not reach that far from its axis.
    """
    r = np.asarray(radius, dtype=float)
    return r**2 / radius_of_curvature / (1.0 + _root(r, 1.0 / radius_of_curvature, conic))


def conic_difference(
    radius: ArrayLike, radius_of_curvature: float, conic: float, added_curvature: float = 0.0
) -> Floats:
    """Height of a conic above the sphere of `radius_of_curvature`, both through the vertex.

    Computed from the difference of the roots as a quotient, so that nanometres do not drown in the
    rounding of millimetres of sagitta.

    Parameters
    ----------
    radius : array_like
        Distance from the axis [m].
    radius_of_curvature : float
        Of the sphere [m].
    conic : float
        Of the conic [1].
    added_curvature : float
        The conic's vertex curvature less the sphere's [1/m].

    Returns
    -------
    ndarray
        ``z_conic - z_sphere``, of the shape of `radius` [m].
    """
    r = np.asarray(radius, dtype=float)
    sphere = 1.0 / radius_of_curvature
    curvature = sphere + added_curvature
    root, root_sphere = _root(r, curvature, conic), _root(r, sphere, 0.0)
    squares = added_curvature * (curvature + sphere) + conic * curvature**2
    top = added_curvature * (1.0 + root_sphere) + sphere * r**2 * squares / (root_sphere + root)
    return r**2 * top / ((1.0 + root) * (1.0 + root_sphere))


def conic_departure(radius: ArrayLike, radius_of_curvature: float, conic: float) -> Floats:
    """Height of the target conic above its reference sphere, ``z_conic - z_sphere`` (physics section 7).

    Parameters
    ----------
    radius : array_like
        Distance from the axis [m].
    radius_of_curvature : float
        At the vertex, of both [m].
    conic : float
        Conic constant of the target [1].

    Returns
    -------
    ndarray
        Of the shape of `radius` [m]; about ``K r^4 / (8 R^3)``.
    """
    return conic_difference(radius, radius_of_curvature, conic)


def conic_slope(radius: ArrayLike, radius_of_curvature: float, conic: float) -> Floats:
    """Slope of a conic, ``dz/dr = (r/R) / sqrt(1 - (1 + K) r^2 / R^2)``.

    Parameters
    ----------
    radius : array_like
        Distance from the axis [m].
    radius_of_curvature : float
        At the vertex [m].
    conic : float
        Conic constant [1].

    Returns
    -------
    ndarray
        Of the shape of `radius` [1].
    """
    r = np.asarray(radius, dtype=float)
    return r / radius_of_curvature / _root(r, 1.0 / radius_of_curvature, conic)


def normal_crossing(radius: ArrayLike, radius_of_curvature: float, conic: float) -> Floats:
    """Where the normal at `radius` crosses the axis, less the radius of curvature.

    ``s - R = z + r / z' - R``, which for any conic is exactly ``-K z``: for a paraboloid ``r^2 / (2 R)``
    (physics section 8).

    Parameters
    ----------
    radius : array_like
        Distance from the axis [m].
    radius_of_curvature : float
        At the vertex [m].
    conic : float
        Conic constant [1].

    Returns
    -------
    ndarray
        Longitudinal aberration of the normals, of the shape of `radius` [m].
    """
    return -conic * sagitta(radius, radius_of_curvature, conic)


def conic_derivatives(
    radius: ArrayLike, radius_of_curvature: float, conic: float, added_curvature: float = 0.0
) -> tuple[Floats, Floats]:
    """Derivatives of a conic's height with its vertex curvature and with its conic constant.

    Returns
    -------
    tuple of ndarray
        ``dz/dc = r^2 / (q (1 + q))`` [m^2] and ``dz/dK = c^3 r^4 / (2 q (1 + q)^2)`` [m], with
        ``q = sqrt(1 - (1 + K) c^2 r^2)``.
    """
    r = np.asarray(radius, dtype=float)
    curvature = 1.0 / radius_of_curvature + added_curvature
    root = _root(r, curvature, conic)
    by_curvature = r**2 / (root * (1.0 + root))
    by_conic = curvature**3 * r**4 / (2.0 * root * (1.0 + root) ** 2)
    return by_curvature, by_conic


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
