"""What masking the rim would buy: Strehl ratio and light against the mask's radius (physics section 7)."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from wearsim.figure.aperture import ClearAperture
from wearsim.kernels.arrays import Floats


@dataclass(frozen=True, slots=True)
class Masking:
    """Strehl ratio and area left for masks of several radii.

    Attributes
    ----------
    mask_radius : ndarray, shape (k,)
        Clear radius that the mask leaves, increasing; the last is the unmasked aperture [m].
    strehl : ndarray, shape (k,)
        The surface refitted (piston and r^2) inside each mask [1].
    area : ndarray, shape (k,)
        Share of the unmasked clear area [1].
    worth : ndarray, shape (k,)
        Strehl x area: light in the core of the image, the unmasked perfect mirror = 1 [1].
    """

    mask_radius: Floats
    strehl: Floats
    area: Floats
    worth: Floats

    @property
    def best_radius(self) -> float:
        """Mask radius of the largest Strehl x area [m]."""
        return float(self.mask_radius[int(np.argmax(self.worth))])

    @property
    def gain(self) -> float:
        """Largest Strehl x area over that without a mask [1]; 1.0 = a mask buys nothing."""
        return float(self.worth.max() / self.worth[-1])


class MaskSeries:
    """Masks of several radii over one profile grid, kept for judging many surfaces.

    Parameters
    ----------
    radius : array_like, shape (n,)
        Increasing radii of the profiles [m].
    inner, outer : float
        The clear annulus without a mask [m].
    wavelength : float
        [m]
    smallest : float
        Smallest mask radius, as a fraction of `outer` [1].
    masks : int
        How many masks.

    Raises
    ------
    ValueError
        Radii that do not increase, or an empty aperture.
    """

    def __init__(
        self,
        radius: ArrayLike,
        *,
        inner: float,
        outer: float,
        wavelength: float,
        smallest: float = 0.7,
        masks: int = 31,
    ) -> None:
        self.sizes = np.linspace(max(smallest * outer, inner + 0.1 * (outer - inner)), outer, masks)
        self.area = (self.sizes**2 - inner**2) / (outer**2 - inner**2)
        self.wavelength = float(wavelength)
        self._apertures = [ClearAperture(radius, inner, float(size)) for size in self.sizes]

    def judge(self, error: ArrayLike) -> Masking:
        """Strehl ratio and Strehl x area of one figure error, shape (n,) [m], under every mask."""
        strehl = np.array([self._strehl(aperture, error) for aperture in self._apertures])
        return Masking(mask_radius=self.sizes, strehl=strehl, area=self.area, worth=strehl * self.area)

    def _strehl(self, aperture: ClearAperture, error: ArrayLike) -> float:
        phase = (4.0 * np.pi / self.wavelength) * (aperture.matrix @ aperture.level(error))
        return float((aperture.weights @ np.cos(phase)) ** 2 + (aperture.weights @ np.sin(phase)) ** 2)


def masking(
    radius: ArrayLike,
    error: ArrayLike,
    *,
    inner: float,
    outer: float,
    wavelength: float,
    smallest: float = 0.7,
    masks: int = 31,
) -> Masking:
    """Strehl ratio and Strehl x area against the radius of a mask over the rim.

    Parameters
    ----------
    radius, error : array_like, shape (n,)
        Increasing radii and figure error (piston and r^2 do not matter) [m].
    inner, outer : float
        The clear annulus without a mask [m].
    wavelength : float
        [m]
    smallest : float
        Smallest mask radius, as a fraction of `outer` [1].
    masks : int
        How many masks.

    Returns
    -------
    Masking

    Raises
    ------
    ValueError
        A smallest mask that the hole fills, or radii that do not increase.
    """
    series = MaskSeries(radius, inner=inner, outer=outer, wavelength=wavelength, smallest=smallest, masks=masks)
    return series.judge(error)
