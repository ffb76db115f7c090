"""Zones as the windows they are: what a reading through a window of the mask averages (physics section 8)."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from wearsim.figure.spline import ProfileSpline
from wearsim.knifeedge.longitudinal import Source, knife_aberration

Floats = NDArray[np.float64]

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
