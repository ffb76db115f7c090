"""What masking the rim would buy: Strehl ratio and light against the mask's radius (physics section 7)."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from wearsim.figure.aperture import ClearAperture
from wearsim.figure.conic import MirrorGeometry
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
    """Masks of several radii over one profile grid, kept for many surfaces.

    Parameters
    ----------
    radius : array_like, shape (n,)
        Increasing radii of the profiles [m].
    geometry : MirrorGeometry
        The clear annulus without a mask.
    wavelength : float
        [m]
    smallest : float
        Smallest mask radius, as a fraction of the clear radius [1].
    masks : int
        How many masks.

    Raises
    ------
    ValueError
        Radii that do not increase, or an empty aperture.
    """

    def __init__(
        self, radius: ArrayLike, geometry: MirrorGeometry, wavelength: float, *, smallest: float = 0.7, masks: int = 31
    ) -> None:
        inner, outer = geometry.hole_radius, geometry.clear_radius
        self.sizes = np.linspace(max(smallest * outer, inner + 0.1 * (outer - inner)), outer, masks)
        self.area = (self.sizes**2 - inner**2) / (outer**2 - inner**2)
        self.wavelength = float(wavelength)
        self._apertures = [ClearAperture(radius, inner, float(size)) for size in self.sizes]

    def masking(self, error: ArrayLike) -> Masking:
        """Strehl ratio and Strehl x area of one figure error under every mask.

        Parameters
        ----------
        error : array_like, shape (n,)
            Piston and r^2 do not matter [m].

        Returns
        -------
        Masking
            Refitted inside each.
        """
        strehl = np.array([self._strehl(aperture, error) for aperture in self._apertures])
        return Masking(mask_radius=self.sizes, strehl=strehl, area=self.area, worth=strehl * self.area)

    def _strehl(self, aperture: ClearAperture, error: ArrayLike) -> float:
        phase = (4.0 * np.pi / self.wavelength) * (aperture.matrix @ aperture.level(error))
        return float((aperture.weights @ np.cos(phase)) ** 2 + (aperture.weights @ np.sin(phase)) ** 2)
