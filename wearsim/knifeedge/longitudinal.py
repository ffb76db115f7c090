"""Where the knife darkens a zone, exactly, and what a window of the mask reads of it (physics section 8).

All positions are measured from the centre of curvature of the vertex, ``s - R``; larger is farther from
the mirror. The forms below are exact and do not cancel: a tenth of a micrometre of knife travel survives
a radius of curvature of ten metres.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike

from wearsim.figure.conic import Conic, MirrorGeometry
from wearsim.figure.spline import ProfileSpline
from wearsim.kernels.arrays import Floats

Source = Literal["moving", "fixed"]
"""Whether the source moves with the knife."""
SOURCES: tuple[Source, ...] = ("moving", "fixed")
NODES_PER_WINDOW = 10


def normal_aberration(radius: ArrayLike, error: ArrayLike, error_slope: ArrayLike, target: Conic) -> Floats:
    """Where the normals of a surface cross the axis, from the vertex's centre of curvature, ``s - R`` [m].

    ``s - R = z + r / z' - R`` with ``z = z_conic + error``; the conic's own part of it is ``-K z_conic``
    exactly, and what the error adds is written as a quotient.

    Parameters
    ----------
    radius : array_like
        Distance from the axis, above 0 [m].
    error, error_slope : array_like
        Height of the surface above the conic [m] and its slope [1].
    """
    r = np.asarray(radius, dtype=float)
    height = target.sagitta(r)
    relative = np.asarray(error_slope, dtype=float) / target.slope(r)
    arm = target.radius_of_curvature - (1.0 + target.conic) * height  # r / z_conic'
    return np.asarray(-target.conic * height + np.asarray(error) - arm * relative / (1.0 + relative), dtype=float)


def knife_aberration(
    radius: ArrayLike, error: ArrayLike, error_slope: ArrayLike, target: Conic, source: Source = "moving"
) -> Floats:
    """Where the knife darkens each zone evenly, from the vertex's centre of curvature.

    With the source moving along, the knife stands where the normal crosses the axis. With the source fixed
    at the centre of curvature it is at the conjugate: with ``d = s - R`` and ``A = (R - z)^2 + r^2``,

        k - R = 2 d (A + (R - z) d) / (A - d^2)

    which for a paraboloid is ``r^2 / R + r^4 / (2 R^3)`` (derived from the law of reflection).

    Parameters
    ----------
    radius : array_like
        Distance from the axis, above 0 [m].
    error, error_slope : array_like
        Height of the surface above the conic [m] and its slope [1].
    target : Conic
        Such as a bench's ``mirror.geometry``.
    source : {"moving", "fixed"}
        Whether the source moves with the knife.

    Returns
    -------
    ndarray
        ``k - R`` [m].
    """
    shift = normal_aberration(radius, error, error_slope, target)
    if source == "moving":
        return shift
    height = target.sagitta(radius) + np.asarray(error, dtype=float)
    return _conjugate(shift, np.asarray(radius, dtype=float), target.radius_of_curvature - height)


def _conjugate(shift: Floats, radius: Floats, arm: Floats) -> Floats:
    square = arm**2 + radius**2
    return np.asarray(2.0 * shift * (square + arm * shift) / (square - shift**2), dtype=float)


def target_aberration(radius: ArrayLike, target: Conic, source: Source = "moving") -> Floats:
    """Longitudinal aberration of a perfect conic: ``r^2 / 2R`` for a paraboloid and a moving source.

    Parameters
    ----------
    radius : array_like
        Distance from the axis [m].
    target : Conic
        Such as a bench's ``mirror.geometry``.
    source : {"moving", "fixed"}
        Whether the source moves with the knife.

    Returns
    -------
    ndarray
        [m]
    """
    r = np.asarray(radius, dtype=float)
    shift = target.normal_crossing(r)
    return shift if source == "moving" else _conjugate(shift, r, target.radius_of_curvature - target.sagitta(r))


def slope_response(radius: ArrayLike, target: Conic, source: Source = "moving") -> Floats:
    """How far the knife moves for a slope error, at the target conic: ``d(k) / d(e')``, about ``-R^2 / r`` [m]."""
    r = np.asarray(radius, dtype=float)
    response = -r / target.slope(r) ** 2
    if source == "moving":
        return response
    shift = normal_aberration(r, 0.0, 0.0, target)
    arm = target.radius_of_curvature - target.sagitta(r)
    square = arm**2 + r**2
    top = (square + 2.0 * arm * shift) * (square - shift**2) + 2.0 * shift**2 * (square + arm * shift)
    return np.asarray(response * 2.0 * top / (square - shift**2) ** 2, dtype=float)


def airy_radius(geometry: MirrorGeometry, wavelength: float) -> float:
    """Radius of the Airy disc at the focus of the mirror: ``1.22 lambda F / D`` with ``F = R / 2`` [m]."""
    return 1.22 * wavelength * geometry.radius_of_curvature / (2.0 * (2.0 * geometry.radius))


def tolerable_aberration(
    radius: ArrayLike, geometry: MirrorGeometry, wavelength: float, source: Source = "moving"
) -> Floats:
    """Knife error at which a zone's light misses the middle of the image by the Airy disc's radius.

    With a fixed source ``2 R rho / r`` (A. Millies-Lacroix, "A graphical approach to the Foucault test", Sky & Telescope,
    1976 [second-hand]), with a moving one half of that.

    Parameters
    ----------
    radius : array_like
        Distance of the zone from the axis, above 0 [m].
    geometry : MirrorGeometry
        Of the mirror.
    wavelength : float
        [m]
    source : {"moving", "fixed"}
        Whether the source moves with the knife.

    Returns
    -------
    ndarray
        [m]
    """
    rho = airy_radius(geometry, wavelength)
    factor = 2.0 if source == "fixed" else 1.0
    return np.asarray(factor * geometry.radius_of_curvature * rho / np.asarray(radius, dtype=float), dtype=float)


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
    zones: Zones, radius: ArrayLike, error: ArrayLike, target: Conic, source: Source = "moving"
) -> Floats:
    """Exact readings of a surface given by its profile, from the vertex's centre of curvature.

    Through a window ``integral s r dr / integral r dr``; between its radii the profile is a cubic spline.

    Parameters
    ----------
    zones : Zones
        Where it is read.
    radius, error : array_like, shape (m,)
        Increasing radii and the height above the target conic [m].
    target : Conic
        Such as a bench's ``mirror.geometry``.
    source : {"moving", "fixed"}
        Whether the source moves with the knife.

    Returns
    -------
    ndarray, shape (n,)
        Knife positions [m].
    """
    spline = ProfileSpline(np.asarray(radius, dtype=float), error)
    at, weights = zones.nodes()
    knife = knife_aberration(at, spline.height(at), spline.slope(at), target, source)
    return np.asarray((weights * knife).sum(axis=1), dtype=float)


def target_readings(zones: Zones, target: Conic, source: Source = "moving") -> Floats:
    """What a perfect conic reads in every zone, shape (n,) [m]."""
    at, weights = zones.nodes()
    return np.asarray((weights * target_aberration(at, target, source)).sum(axis=1), dtype=float)
