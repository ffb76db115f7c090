"""Where the knife darkens a zone, exactly (physics section 8).

All positions are measured from the centre of curvature of the vertex, ``s - R``; larger is farther from
the mirror. The forms below are exact and do not cancel: a tenth of a micrometre of knife travel survives
a radius of curvature of ten metres.
"""

from __future__ import annotations

from typing import Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray

from wearsim.figure.conic import conic_slope, sagitta

Floats = NDArray[np.float64]
Source = Literal["moving", "fixed"]
SOURCES: tuple[Source, ...] = ("moving", "fixed")


def normal_aberration(
    radius: ArrayLike, error: ArrayLike, error_slope: ArrayLike, radius_of_curvature: float, conic: float
) -> Floats:
    """Where the normals of a surface cross the axis, from the vertex's centre of curvature.

    ``s - R = z + r / z' - R`` with ``z = z_conic + error``; the conic's own part of it is ``-K z_conic``
    exactly, and what the error adds is written as a quotient.

    Parameters
    ----------
    radius : array_like
        Distance from the axis, above 0 [m].
    error, error_slope : array_like
        Height of the surface above the conic [m] and its slope [1].
    radius_of_curvature : float
        At the vertex [m].
    conic : float
        Of the target [1].

    Returns
    -------
    ndarray
        ``s - R`` [m].
    """
    r = np.asarray(radius, dtype=float)
    height = sagitta(r, radius_of_curvature, conic)
    relative = np.asarray(error_slope, dtype=float) / conic_slope(r, radius_of_curvature, conic)
    arm = radius_of_curvature - (1.0 + conic) * height  # r / z_conic'
    return np.asarray(-conic * height + np.asarray(error) - arm * relative / (1.0 + relative), dtype=float)


def knife_aberration(
    radius: ArrayLike,
    error: ArrayLike,
    error_slope: ArrayLike,
    radius_of_curvature: float,
    conic: float,
    source: Source = "moving",
) -> Floats:
    """Where the knife darkens each zone evenly, from the vertex's centre of curvature.

    With the source moving along, the knife stands where the normal crosses the axis. With the source fixed
    at the centre of curvature it stands at the conjugate: with ``d = s - R`` and ``A = (R - z)^2 + r^2``,

        k - R = 2 d (A + (R - z) d) / (A - d^2)

    which for a paraboloid is ``r^2 / R + r^4 / (2 R^3)`` (checks.md section 3; derived from the law of
    reflection).

    Parameters
    ----------
    radius : array_like
        Distance from the axis, above 0 [m].
    error, error_slope : array_like
        Height of the surface above the conic [m] and its slope [1].
    radius_of_curvature : float
        At the vertex [m].
    conic : float
        Of the target [1].
    source : {"moving", "fixed"}
        Whether the source moves with the knife.

    Returns
    -------
    ndarray
        ``k - R`` [m].
    """
    shift = normal_aberration(radius, error, error_slope, radius_of_curvature, conic)
    if source == "moving":
        return shift
    height = sagitta(radius, radius_of_curvature, conic) + np.asarray(error, dtype=float)
    return _conjugate(shift, np.asarray(radius, dtype=float), radius_of_curvature - height)


def _conjugate(shift: Floats, radius: Floats, arm: Floats) -> Floats:
    square = arm**2 + radius**2
    return np.asarray(2.0 * shift * (square + arm * shift) / (square - shift**2), dtype=float)


def slope_response(
    radius: ArrayLike, radius_of_curvature: float, conic: float, source: Source = "moving"
) -> Floats:
    """How far the knife moves for a slope error, at the target conic: ``d(k) / d(e')``, about ``-R^2 / r``.

    Parameters
    ----------
    radius : array_like
        Distance from the axis, above 0 [m].
    radius_of_curvature : float
        [m]
    conic : float
        [1]
    source : {"moving", "fixed"}
        Whether the source moves with the knife.

    Returns
    -------
    ndarray
        [m]
    """
    r = np.asarray(radius, dtype=float)
    response = -r / conic_slope(r, radius_of_curvature, conic) ** 2
    if source == "moving":
        return response
    shift = normal_aberration(r, 0.0, 0.0, radius_of_curvature, conic)
    arm = radius_of_curvature - sagitta(r, radius_of_curvature, conic)
    square = arm**2 + r**2
    top = (square + 2.0 * arm * shift) * (square - shift**2) + 2.0 * shift**2 * (square + arm * shift)
    return np.asarray(response * 2.0 * top / (square - shift**2) ** 2, dtype=float)


def target_aberration(
    radius: ArrayLike, radius_of_curvature: float, conic: float, source: Source = "moving"
) -> Floats:
    """Longitudinal aberration of a perfect conic: ``r^2 / 2R`` for a paraboloid and a moving source.

    Parameters
    ----------
    radius : array_like
        Distance from the axis [m].
    radius_of_curvature : float
        [m]
    conic : float
        [1]
    source : {"moving", "fixed"}
        Whether the source moves with the knife.

    Returns
    -------
    ndarray
        [m]
    """
    r = np.asarray(radius, dtype=float)
    shift = -conic * sagitta(r, radius_of_curvature, conic)
    if source == "moving":
        return shift
    return _conjugate(shift, r, radius_of_curvature - sagitta(r, radius_of_curvature, conic))


def airy_radius(diameter: float, radius_of_curvature: float, wavelength: float) -> float:
    """Radius of the Airy disc at the focus of the mirror: ``1.22 lambda F / D`` with ``F = R / 2`` [m]."""
    return 1.22 * wavelength * radius_of_curvature / (2.0 * diameter)


def tolerable_aberration(
    radius: ArrayLike,
    diameter: float,
    radius_of_curvature: float,
    wavelength: float,
    source: Source = "moving",
) -> Floats:
    """Knife error at which a zone's light misses the middle of the image by the Airy disc's radius.

    With a fixed source ``2 R rho / r`` (Millies-Lacroix, Sky & Telescope, Feb 1976 [second-hand]), with a
    moving one half of that.

    Parameters
    ----------
    radius : array_like
        Distance of the zone from the axis, above 0 [m].
    diameter : float
        Of the mirror [m].
    radius_of_curvature : float
        [m]
    wavelength : float
        [m]
    source : {"moving", "fixed"}
        Whether the source moves with the knife.

    Returns
    -------
    ndarray
        [m]
    """
    rho = airy_radius(diameter, radius_of_curvature, wavelength)
    factor = 2.0 if source == "fixed" else 1.0
    return np.asarray(factor * radius_of_curvature * rho / np.asarray(radius, dtype=float), dtype=float)
