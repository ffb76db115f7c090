"""What a reduced sheet says, zone by zone and in all: the frozen answer of :func:`reduce_readings`."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from wearsim.knifeedge.astigmatism import Astigmatism
from wearsim.knifeedge.zones import Zones

Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class ZoneReport:
    """One zone of the mask.

    Attributes
    ----------
    inner, outer, middle : float
        Of its window, and the root mean square radius of it [m].
    reading : float
        Knife position, round part of the rows, less their zero: from the centre of curvature of the
        levelled surface's vertex [m].
    target : float
        What a perfect conic reads there [m].
    aberration : float
        Reading less target: the zone's longitudinal error at best focus [m].
    sigma : float
        Of it, from the settings [m].
    transverse : float
        By how much the zone's light misses the middle of the image at the mirror's focus [m].
    multiple, multiple_sigma : float
        `transverse` over the Airy disc's radius: 1 is just tolerable [1].
    """

    inner: float
    outer: float
    middle: float
    reading: float
    target: float
    aberration: float
    sigma: float
    transverse: float
    multiple: float
    multiple_sigma: float

    def to_json(self) -> dict[str, Any]:
        """The zone as one JSON object."""
        return {
            "inner_m": self.inner,
            "outer_m": self.outer,
            "reading_m": self.reading,
            "target_m": self.target,
            "aberration_m": self.aberration,
            "aberration_sigma_m": self.sigma,
            "transverse_m": self.transverse,
            "multiple_of_tolerable": self.multiple,
            "multiple_of_tolerable_sigma": self.multiple_sigma,
            "is_resolved": self.is_resolved,
        }

    @property
    def is_resolved(self) -> bool:
        """Whether the zone's error is larger than its reading can mistake (1.645 sigma)."""
        return abs(self.aberration) > 1.645 * self.sigma


@dataclass(frozen=True, eq=False)
class Reduction:
    """A mirror's surface as its knife-edge readings tell it, with what they leave open.

    Attributes
    ----------
    radius : ndarray, shape (m,)
        From 0 to the glass's radius [m].
    figure_error : ndarray, shape (m,)
        Above the target conic at the stated radius of curvature, less piston and r^2; positive = high [m].
    covariance : ndarray, shape (m, m)
        Of it [m^2].
    surface_rms, surface_pv : float
        Of `figure_error` over the clear aperture [m].
    surface_rms_sigma, surface_pv_sigma : float
        Standard deviation over surfaces that the readings leave possible [m].
    surface_rms_band, surface_pv_band : tuple of float
        5th and 95th percentile over them; what lies between the zones adds to RMS and PV, so the band may
        lie above the value [m].
    wavefront_rms_waves, wavefront_pv_waves : float
        Twice the surface, in wavelengths [1].
    wavefront_rms_waves_sigma, wavefront_pv_waves_sigma : float
        [1]
    strehl : float
        Of `figure_error` [1].
    strehl_band : tuple of float
        5th and 95th percentile over the surfaces that are possible [1].
    chance_diffraction_limited : float
        Share of them with a Strehl ratio of 0.8 or more [1].
    conic_fit, conic_sigma : float
        Best-fit conic constant and its standard deviation [1].
    radius_fit : float
        Radius of curvature that goes with `conic_fit`, for a surface levelled at the stated radius; the
        readings, their zero being free, cannot see the radius itself [m].
    edge_roll, edge_roll_sigma : float
        [m]
    zero : float
        The rows' zero: the knife position read where the levelled vertex's centre of curvature is [m].
    zones : tuple of ZoneReport
        Zone by zone.
    setting_sigma : float
        Of one setting at 0.35 of the radius [m]; where given per zone, their geometric mean.
    setting_origin : str
        "given", "repeats" or "assumed".
    supported : float
        How many independent shapes the readings settle [1].
    length_scale : float
        Of zones, that the readings speak for, as a share of radius or area [1].
    slope_amplitude : float
        Of zones, that the readings speak for [1].
    astigmatism : Astigmatism or None
        From rows of different orientation.
    mask : Zones
        Where it was read.
    wavelength, radius_of_curvature, conic, inner, outer : float
        What it was reduced for [m], [m], [1], [m], [m].
    warnings : tuple of str
        What a careful colleague would add.
    """

    radius: Floats
    figure_error: Floats
    covariance: Floats
    surface_rms: float
    surface_rms_sigma: float
    surface_rms_band: tuple[float, float]
    surface_pv: float
    surface_pv_sigma: float
    surface_pv_band: tuple[float, float]
    wavefront_rms_waves: float
    wavefront_rms_waves_sigma: float
    wavefront_pv_waves: float
    wavefront_pv_waves_sigma: float
    strehl: float
    strehl_band: tuple[float, float]
    chance_diffraction_limited: float
    conic_fit: float
    conic_sigma: float
    radius_fit: float
    edge_roll: float
    edge_roll_sigma: float
    zero: float
    zones: tuple[ZoneReport, ...]
    setting_sigma: float
    setting_origin: str
    supported: float
    length_scale: float
    slope_amplitude: float
    astigmatism: Astigmatism | None
    mask: Zones
    wavelength: float
    radius_of_curvature: float
    conic: float
    inner: float
    outer: float
    warnings: tuple[str, ...]

    @property
    def sigma(self) -> Floats:
        """Standard deviation of the figure error at each radius, shape (m,) [m]."""
        return np.sqrt(np.maximum(np.diagonal(self.covariance), 0.0))

    @property
    def band(self) -> Floats:
        """5th and 95th percentile of the figure error, shape (2, m) [m]."""
        return np.asarray(self.figure_error + 1.6448536 * np.array([[-1.0], [1.0]]) * self.sigma, dtype=float)

    def to_json(self) -> dict[str, Any]:
        """The reduction as one JSON object, SI units in the key names."""
        kept: dict[str, Any] = {
            "radius_m": self.radius.tolist(),
            "figure_error_m": self.figure_error.tolist(),
            "sigma_m": self.sigma.tolist(),
            "figure_error_band_m": self.band.tolist(),
            "surface_rms_m": self.surface_rms,
            "surface_rms_sigma_m": self.surface_rms_sigma,
            "surface_rms_band_m": list(self.surface_rms_band),
            "surface_pv_m": self.surface_pv,
            "surface_pv_sigma_m": self.surface_pv_sigma,
            "wavefront_rms_waves": self.wavefront_rms_waves,
            "wavefront_rms_waves_sigma": self.wavefront_rms_waves_sigma,
            "wavefront_pv_waves": self.wavefront_pv_waves,
            "wavefront_pv_waves_sigma": self.wavefront_pv_waves_sigma,
            "strehl": self.strehl,
            "strehl_band": list(self.strehl_band),
            "chance_diffraction_limited": self.chance_diffraction_limited,
            "conic_fit": self.conic_fit,
            "conic_sigma": self.conic_sigma,
            "radius_fit_m": self.radius_fit,
            "edge_roll_m": self.edge_roll,
            "edge_roll_sigma_m": self.edge_roll_sigma,
            "setting_sigma_m": self.setting_sigma,
            "setting_origin": self.setting_origin,
            "shapes_settled": self.supported,
            "zones": [zone.to_json() for zone in self.zones],
            "astigmatism": None if self.astigmatism is None else self.astigmatism.to_json(),
            "warnings": list(self.warnings),
        }
        return kept

    def draw(self, count: int, rng: np.random.Generator) -> Floats:
        """Surfaces that the readings leave possible, shape (count, m) [m]."""
        return draw_profiles(self.figure_error, self.covariance, count, rng)


def draw_profiles(mean: Floats, covariance: Floats, count: int, rng: np.random.Generator) -> Floats:
    """Gaussian draws of a profile, shape (count, m), in its unit.

    Negative eigenvalues of a covariance are rounding and count as zero.
    """
    value, vector = np.linalg.eigh(covariance)
    root = vector * np.sqrt(np.maximum(value, 0.0))
    return np.asarray(mean + rng.standard_normal((count, mean.size)) @ root.T, dtype=float)
