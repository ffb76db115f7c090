"""Zernike terms in the order and normalisation of ISO 24157 (from memory).

Double index ``n, m``: radial order and azimuthal frequency, the cosine for ``m >= 0`` and the sine of ``|m| theta``
for ``m < 0``; theta runs counterclockwise from the x axis. Single index ``j = (n (n + 2) + m) / 2``, from 0. Every
term has mean square 1 over the unit circle (piston: 1), so that a coefficient is the RMS that its term adds.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from wearsim.kernels.arrays import Floats

ASTIGMATISM_SINE, ASTIGMATISM_COSINE = 3, 5
_CELLS_TOGETHER = 100_000
"""Cells of a map whose terms are fitted together; those of a finer one in parts, each of 23 MB."""


def double_index(j: int) -> tuple[int, int]:
    """Radial order and azimuthal frequency of the term with single index `j`.

    Raises
    ------
    ValueError
        If `j` is negative.
    """
    if j < 0:
        raise ValueError(f"a Zernike term's single index is at least 0, got {j}")
    n = (math.isqrt(8 * j + 1) - 1) // 2
    return n, 2 * j - n * (n + 2)


def zernike_term(j: int, radius: ArrayLike, azimuth: ArrayLike) -> Floats:
    """One term at radii that are shares of the unit circle's [1] and azimuths [rad].

    The radial part by Jacobi polynomials, which stays exact where sums of factorials cancel.
    """
    # slow to import, and of use to uneven glass alone
    from scipy.special import eval_jacobi

    n, m = double_index(j)
    rho = np.asarray(radius, dtype=float)
    k = (n - abs(m)) // 2
    radial = (-1) ** k * rho ** abs(m) * eval_jacobi(k, abs(m), 0, 1.0 - 2.0 * rho**2)
    wave = np.cos(m * np.asarray(azimuth)) if m >= 0 else np.sin(-m * np.asarray(azimuth))
    return np.asarray(math.sqrt((n + 1) * (1 if m == 0 else 2)) * radial * wave, dtype=np.float64)


def zernike_sum(coefficients: ArrayLike, radius: ArrayLike, azimuth: ArrayLike) -> Floats:
    """Sum of terms, single index from 0, in the unit of the coefficients."""
    total = np.zeros(np.broadcast(np.asarray(radius), np.asarray(azimuth)).shape)
    for j, value in enumerate(np.asarray(coefficients, dtype=float)):
        if value != 0.0:
            total += value * zernike_term(j, radius, azimuth)
    return total


def fit_zernike(height: Floats, radius: Floats, azimuth: Floats, weight: Floats, terms: int = 28) -> Floats:
    """Coefficients of the terms 0 to `terms` - 1 that fit a map best, shape (terms,) in the unit of `height`.

    Over a part of the circle (a hole) the terms are not orthogonal any more: this is then their least-squares fit.

    Parameters
    ----------
    height, radius, azimuth, weight : ndarray
        Height, radius as a share of the unit circle's, azimuth [rad] and area; all of one shape.
    """
    used, system = np.flatnonzero(weight > 0.0), np.zeros((0, terms + 1))
    for cells in np.array_split(used, 1 + used.size // _CELLS_TOGETHER):
        if system.size:  # what a finer map has said so far, in as many rows as columns
            system = np.asarray(np.linalg.qr(system, mode="r"))
        rho, theta, root = radius.flat[cells], azimuth.flat[cells], np.sqrt(weight.flat[cells])
        columns = [root * zernike_term(j, rho, theta) for j in range(terms)]
        system = np.vstack([system, np.stack([*columns, root * height.flat[cells]], axis=1)])
    return np.asarray(np.linalg.lstsq(system[:, :-1], system[:, -1], rcond=None)[0], dtype=np.float64)


@dataclass(frozen=True)
class ZernikeAstigmatism:
    """The second azimuthal harmonic of lowest order.

    Parameters
    ----------
    amplitude : float
        RMS that it adds to the surface, in the unit of the coefficients.
    axis : float
        Azimuth of the high meridian, from 0 up to pi [rad].
    """

    amplitude: float
    axis: float

    @property
    def peak_to_valley(self) -> float:
        """Difference of high and low meridian at the rim of the unit circle."""
        return 2.0 * math.sqrt(6.0) * self.amplitude

    @classmethod
    def of_rim(cls, height: float, axis: float, share: float = 1.0) -> ZernikeAstigmatism:
        """Astigmatism ``height (r / a)^2 cos 2(azimuth - axis)``, on the unit circle at a `share` of the rim's radius."""
        return cls(height * share**2 / math.sqrt(6.0), axis % math.pi)

    def height(self, radius: Floats, azimuth: Floats) -> Floats:
        """Surface at radii that are shares of the unit circle's [1] and azimuths [rad], in the unit of the coefficients."""
        wave = np.cos(2.0 * (azimuth - self.axis))
        return np.asarray(math.sqrt(6.0) * self.amplitude * radius**2 * wave, dtype=np.float64)


def zernike_astigmatism(coefficients: Floats) -> ZernikeAstigmatism:
    """Astigmatism of a row of coefficients, at least six."""
    sine, cosine = float(coefficients[ASTIGMATISM_SINE]), float(coefficients[ASTIGMATISM_COSINE])
    return ZernikeAstigmatism(math.hypot(sine, cosine), 0.5 * math.atan2(sine, cosine) % math.pi)
