"""Where the knife darkens a zone, exactly (physics section 8).

All positions are measured from the centre of curvature of the vertex, ``s - R``; larger is farther from
the mirror. The forms below are exact and do not cancel: a tenth of a micrometre of knife travel survives
a radius of curvature of ten metres.

Zones as the windows they are: what a reading through a window of the mask averages (physics section 8).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike

from wearsim.figure.conic import conic_slope, sagitta
from wearsim.figure.spline import ProfileSpline
from wearsim.kernels.arrays import Floats

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


def slope_response(radius: ArrayLike, radius_of_curvature: float, conic: float, source: Source = "moving") -> Floats:
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


def target_aberration(radius: ArrayLike, radius_of_curvature: float, conic: float, source: Source = "moving") -> Floats:
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
    radius: ArrayLike, diameter: float, radius_of_curvature: float, wavelength: float, source: Source = "moving"
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


NODES_PER_WINDOW = 10


@dataclass(frozen=True, eq=False)
class Zones:
    """Zones of a mirror: windows of a mask, or single radii read without one.

    Attributes
    ----------
    inner, outer : ndarray, shape (n,)
        Inner and outer radius of each window, increasing; equal where a zone is a single radius [m].
    """

    inner: Floats
    outer: Floats

    @classmethod
    def from_windows(cls, windows: ArrayLike) -> Zones:
        """Zones of a mask's windows.

        Parameters
        ----------
        windows : array_like, shape (n, 2)
            Inner and outer radius of each, as a mask has them [m].

        Returns
        -------
        Zones
        """
        pairs = np.asarray(windows, dtype=float)
        return cls(inner=pairs[:, 0].copy(), outer=pairs[:, 1].copy())

    @classmethod
    def from_radii(cls, radii: ArrayLike) -> Zones:
        """Zones read at single radii.

        Parameters
        ----------
        radii : array_like, shape (n,)
            [m]

        Returns
        -------
        Zones
            Without a width.
        """
        r = np.asarray(radii, dtype=float)
        return cls(inner=r.copy(), outer=r.copy())

    def __len__(self) -> int:
        return int(self.inner.size)

    @property
    def are_windows(self) -> bool:
        """Whether the zones have a width."""
        return bool(np.any(self.outer > self.inner))

    @property
    def middle(self) -> Floats:
        """Root mean square radius of each zone by area, shape (n,) [m]."""
        return np.sqrt((self.inner**2 + self.outer**2) / 2.0)

    def nodes(self) -> tuple[Floats, Floats]:
        """Quadrature of every zone, weighted by ``r dr`` (Gauss-Legendre).

        Returns
        -------
        radius : ndarray, shape (n, q)
            [m]
        weights : ndarray, shape (n, q)
            Shares of the zone's area, that sum to 1 in each [1].
        """
        if not self.are_windows:
            return self.inner[:, None], np.ones((len(self), 1))
        x, weight = np.polynomial.legendre.leggauss(NODES_PER_WINDOW)
        half = 0.5 * (self.outer - self.inner)[:, None]
        radius = self.inner[:, None] + half * (1.0 + x)
        weights = weight * radius
        return radius, np.asarray(weights / weights.sum(axis=1, keepdims=True), dtype=float)


def zone_readings(
    zones: Zones,
    radius: ArrayLike,
    error: ArrayLike,
    *,
    radius_of_curvature: float,
    conic: float,
    source: Source = "moving",
) -> Floats:
    """Exact readings of a surface given by its profile, from the vertex's centre of curvature.

    Through a window ``integral s r dr / integral r dr``; between its radii the profile is a cubic spline.

    Parameters
    ----------
    zones : Zones
        Where it is read.
    radius, error : array_like, shape (m,)
        Increasing radii and the height above the target conic [m].
    radius_of_curvature : float
        [m]
    conic : float
        Of the target [1].
    source : {"moving", "fixed"}
        Whether the source moves with the knife.

    Returns
    -------
    ndarray, shape (n,)
        Knife positions [m].
    """
    r = np.asarray(radius, dtype=float)
    spline = ProfileSpline(r, error)
    at, weights = zones.nodes()
    knife = knife_aberration(at, spline.height(at), spline.slope(at), radius_of_curvature, conic, source)
    return np.asarray((weights * knife).sum(axis=1), dtype=float)
