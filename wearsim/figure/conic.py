"""The mirror's geometry: the conic it is to become, and the glass that is worked (physics section 7).

Every form is exact and does not cancel: nanometres do not drown in the rounding of millimetres of sagitta.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from wearsim.figure.aperture import ClearAperture
from wearsim.kernels.arrays import Floats


@dataclass(frozen=True)
class Conic:
    """A conic of revolution about the axis.

    Every method takes distances from the axis [m], of any shape, and gives an array of that shape; where the conic
    does not reach so far it raises ValueError.

    Attributes
    ----------
    radius_of_curvature : float
        At the vertex [m].
    conic : float
        Conic constant: 0 sphere, -1 paraboloid, above 0 oblate [1].
    """

    radius_of_curvature: float
    conic: float = -1.0

    def sagitta(self, radius: ArrayLike) -> Floats:
        """Height above the plane through the vertex, ``r^2 / R / (1 + sqrt(1 - (1 + K) r^2 / R^2))`` [m]."""
        r = np.asarray(radius, dtype=float)
        return r**2 / self.radius_of_curvature / (1.0 + _root(r, 1.0 / self.radius_of_curvature, self.conic))

    def slope(self, radius: ArrayLike) -> Floats:
        """Slope ``dz/dr = (r/R) / sqrt(1 - (1 + K) r^2 / R^2)`` [1]."""
        r = np.asarray(radius, dtype=float)
        return r / self.radius_of_curvature / _root(r, 1.0 / self.radius_of_curvature, self.conic)

    def normal_crossing(self, radius: ArrayLike) -> Floats:
        """Where the normal crosses the axis, less the radius of curvature [m].

        ``s - R = z + r / z' - R``, which for any conic is exactly ``-K z``: for a paraboloid ``r^2 / (2 R)``
        (physics section 8).
        """
        return -self.conic * self.sagitta(radius)

    def departure(self, radius: ArrayLike, added_curvature: float = 0.0) -> Floats:
        """Height above the reference sphere of the same radius of curvature, about ``K r^4 / (8 R^3)`` [m].

        From the difference of the roots as a quotient; `added_curvature` is what the conic's vertex curvature has
        more than the sphere's [1/m].
        """
        r = np.asarray(radius, dtype=float)
        sphere = 1.0 / self.radius_of_curvature
        curvature = sphere + added_curvature
        root, root_sphere = _root(r, curvature, self.conic), _root(r, sphere, 0.0)
        squares = added_curvature * (curvature + sphere) + self.conic * curvature**2
        top = added_curvature * (1.0 + root_sphere) + sphere * r**2 * squares / (root_sphere + root)
        return r**2 * top / ((1.0 + root) * (1.0 + root_sphere))

    def derivatives(self, radius: ArrayLike, added_curvature: float = 0.0) -> tuple[Floats, Floats]:
        """Derivatives of the height with the vertex curvature and with the conic constant.

        ``dz/dc = r^2 / (q (1 + q))`` [m^2] and ``dz/dK = c^3 r^4 / (2 q (1 + q)^2)`` [m], with
        ``q = sqrt(1 - (1 + K) c^2 r^2)``.
        """
        r = np.asarray(radius, dtype=float)
        curvature = 1.0 / self.radius_of_curvature + added_curvature
        root = _root(r, curvature, self.conic)
        by_curvature = r**2 / (root * (1.0 + root))
        by_conic = curvature**3 * r**4 / (2.0 * root * (1.0 + root) ** 2)
        return by_curvature, by_conic


@dataclass(frozen=True, kw_only=True)
class MirrorGeometry(Conic):
    """The target conic of a mirror, and the glass that is to take its shape.

    What the conic is at a radius, it answers as a :class:`Conic` does.

    Attributes
    ----------
    radius_of_curvature, conic : float
        Of the target, at the vertex [m], [1].
    radius : float
        Of the glass [m].
    clear_radius : float
        Outer radius of the clear aperture [m].
    hole_radius : float
        Inner radius of glass and clear aperture [m].
    """

    radius: float
    clear_radius: float
    hole_radius: float = 0.0

    def clear_aperture(self, radius: ArrayLike) -> ClearAperture:
        """The clear annulus, for profiles at increasing radii ``(n,)`` [m].

        Parameters
        ----------
        radius : array_like, shape (n,)
            [m]

        Returns
        -------
        ClearAperture
            Averages, fits and extremes over it.

        Raises
        ------
        ValueError
            Radii that do not increase, or an annulus that is empty.
        """
        return ClearAperture(radius, self.hole_radius, self.clear_radius)

    def figure_error(self, radius: ArrayLike, height: ArrayLike) -> Floats:
        """Figure error: height less the conic's departure, less the piston and ``r^2`` that fit best.

        Parameters
        ----------
        radius : array_like, shape (n,)
            Increasing radii [m].
        height : array_like, shape (n,)
            Of the glass above the reference sphere, ``w``; positive = high [m].

        Returns
        -------
        ndarray, shape (n,)
            Over the whole glass, fitted over the clear aperture; positive = high [m].

        Raises
        ------
        ValueError
            Radii that do not increase, or an annulus that is empty.
        """
        clear = self.clear_aperture(radius)
        return clear.level(np.asarray(height, dtype=float) - self.departure(clear.radius))

    def height(self, radius: ArrayLike, error: ArrayLike) -> Floats:
        """Height above the reference sphere, ``w = error + z_conic - z_sphere``.

        Parameters
        ----------
        radius, error : array_like, shape (n,)
            Radii [m] and figure error [m].

        Returns
        -------
        ndarray, shape (n,)
            ``w`` [m].
        """
        return np.asarray(error, dtype=float) + self.departure(radius)


def _root(radius: Floats, curvature: float, conic: float) -> Floats:
    """``sqrt(1 - (1 + K) (c r)^2)``: the cosine of the slope for a sphere, 1 for a paraboloid."""
    inside = 1.0 - (1.0 + conic) * (curvature * radius) ** 2
    if np.any(inside <= 0.0):
        raise ValueError(f"the conic of radius of curvature {1 / curvature:g} m does not reach that radius")
    return np.sqrt(inside)
