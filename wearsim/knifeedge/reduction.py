"""The knife-edge test backwards: readings to a surface with its band, zone by zone and in all."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import ArrayLike

from wearsim.bench.profile import write_profile
from wearsim.figure.conic import MirrorGeometry
from wearsim.figure.metrics import FigureGauge, fit_conic, percentiles
from wearsim.kernels.arrays import Floats
from wearsim.knifeedge.astigmatism import Astigmatism, astigmatism
from wearsim.knifeedge.longitudinal import Zones, airy_radius, target_readings, tolerable_aberration
from wearsim.knifeedge.readings import Readings, check_against_mirror
from wearsim.knifeedge.setting_noise import SettingNoise, outliers, setting_noise
from wearsim.knifeedge.surface_posterior import ReadingModel, SlopePosterior, SlopePrior, reduce_row

PROFILE_POINTS = 121
DRAWS = 400
NUMBERS = (
    "surface_rms_m", "surface_rms_sigma_m", "surface_rms_band_m", "surface_pv_m", "surface_pv_sigma_m",
    "wavefront_rms_waves", "wavefront_rms_waves_sigma", "wavefront_pv_waves", "wavefront_pv_waves_sigma",
    "strehl", "strehl_band", "chance_diffraction_limited", "conic_fit", "conic_sigma", "radius_fit_m",
    "edge_roll_m", "edge_roll_sigma_m", "rim_height_m", "rim_height_sigma_m", "rim_width_m",
    "setting_sigma_m", "setting_origin",
)  # fmt: skip
"""Keys of a reduction's numbers in JSON, ``_m`` behind those in metres."""


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
    edge_roll, edge_roll_sigma, rim_height, rim_height_sigma, rim_width : float
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
    geometry : MirrorGeometry
        What it was reduced for.
    wavelength : float
        [m]
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
    rim_height: float
    rim_height_sigma: float
    rim_width: float
    zero: float
    zones: tuple[ZoneReport, ...]
    setting_sigma: float
    setting_origin: str
    supported: float
    length_scale: float
    slope_amplitude: float
    astigmatism: Astigmatism | None
    mask: Zones
    geometry: MirrorGeometry
    wavelength: float
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
        return {
            "radius_m": self.radius.tolist(),
            "figure_error_m": self.figure_error.tolist(),
            "sigma_m": self.sigma.tolist(),
            "figure_error_band_m": self.band.tolist(),
            **{key: getattr(self, key.removesuffix("_m")) for key in NUMBERS},
            "shapes_settled": self.supported,
            "zones": [zone.to_json() for zone in self.zones],
            "astigmatism": None if self.astigmatism is None else self.astigmatism.to_json(),
            "warnings": list(self.warnings),
        }

    def draw(self, count: int, rng: np.random.Generator) -> Floats:
        """Surfaces that the readings leave possible, shape (count, m) [m]."""
        return sample_profiles(self.figure_error, self.covariance, count, rng)

    def write_profile(self, path: str | Path, comment: str = "") -> None:
        """Write the profile with its sigma, smooth all of it, as ``[figure] profile`` of a bench takes it.

        Parameters
        ----------
        path : str or Path
            The file; an existing one is replaced.
        comment : str
            Goes above the header.
        """
        write_profile(path, self.radius, self.figure_error, self.sigma, comment, smooth=self.sigma)


def sample_profiles(mean: Floats, covariance: Floats, count: int, rng: np.random.Generator) -> Floats:
    """Gaussian draws of a profile, shape (count, m), in its unit.

    Negative eigenvalues of a covariance are rounding and count as zero.
    """
    value, vector = np.linalg.eigh(covariance)
    root = vector * np.sqrt(np.maximum(value, 0.0))
    return np.asarray(mean + rng.standard_normal((count, mean.size)) @ root.T, dtype=float)


def reduce_readings(
    readings: Readings,
    geometry: MirrorGeometry,
    wavelength: float = 550e-9,
    *,
    profile_radius: ArrayLike | None = None,
    prior: SlopePrior | None = None,
    seed: int = 0,
) -> Reduction:
    """Figure error, with its covariance and its numbers, from a sheet of knife-edge readings.

    Parameters
    ----------
    readings : Readings
        The sheet.
    geometry : MirrorGeometry
        Of the mirror that was read, such as a bench's ``mirror.geometry``.
    wavelength : float
        [m]
    profile_radius : array_like, shape (m,), optional
        Where the profile is wanted; 121 radii from 0 to the glass's radius unless given [m].
    prior : SlopePrior, optional
        What is believed beforehand.
    seed : int
        Of the draws that give the numbers their bands.

    Returns
    -------
    Reduction
        The surface with its sigma, and the numbers with their bands.

    Raises
    ------
    InputError
        Readings that this mirror cannot have given.
    """
    check_against_mirror(readings, geometry)
    at = np.linspace(0.0, geometry.radius, PROFILE_POINTS) if profile_radius is None else profile_radius
    model = ReadingModel(
        zones=readings.zones,
        geometry=geometry,
        wavelength=wavelength,
        source=readings.source,
        radius=np.asarray(at, dtype=float),
        prior=SlopePrior() if prior is None else prior,
    )
    row = setting_noise(readings, geometry, wavelength)
    return _reduction(model, readings, row, reduce_row(model, row), seed)


def _reduction(
    model: ReadingModel, readings: Readings, row: SettingNoise, found: SlopePosterior, seed: int
) -> Reduction:
    gauge = FigureGauge(model.radius, model.geometry, model.wavelength)
    zones = zone_reports(model, row, found)
    uneven = astigmatism(readings, row, model.geometry)
    conic, conic_sigma, radius_fit = _conic(model, gauge, found)
    return Reduction(
        radius=model.radius,
        figure_error=found.error,
        covariance=found.covariance,
        **_numbers(gauge, found, seed),
        conic_fit=conic,
        conic_sigma=conic_sigma,
        radius_fit=radius_fit,
        zero=found.zero,
        zones=zones,
        setting_sigma=found.setting,
        setting_origin=row.origin,
        supported=found.supported,
        length_scale=found.length,
        slope_amplitude=found.amplitude,
        astigmatism=uneven,
        mask=model.zones,
        geometry=model.geometry,
        wavelength=model.wavelength,
        warnings=_warnings(model, readings, row, zones, uneven),
    )


def _numbers(gauge: FigureGauge, found: SlopePosterior, seed: int) -> dict[str, Any]:
    """The figure's numbers with their spread over draws, by the names that :class:`Reduction` has for them."""
    numbers = gauge.numbers(gauge.geometry.height(gauge.aperture.radius, found.error))
    rng = np.random.default_rng(np.random.SeedSequence(entropy=seed, spawn_key=(4,)))
    rms, pv, strehl, roll, rim = _drawn(gauge, sample_profiles(found.error, found.covariance, DRAWS, rng))
    to_waves = 2.0 / gauge.wavelength
    rms_sigma, pv_sigma = float(rms.std()), float(pv.std())
    return {
        "surface_rms": numbers.surface_rms,
        "surface_rms_sigma": rms_sigma,
        "surface_rms_band": _band(rms),
        "surface_pv": numbers.surface_pv,
        "surface_pv_sigma": pv_sigma,
        "surface_pv_band": _band(pv),
        "wavefront_rms_waves": numbers.wavefront_rms_waves,
        "wavefront_rms_waves_sigma": to_waves * rms_sigma,
        "wavefront_pv_waves": numbers.wavefront_pv_waves,
        "wavefront_pv_waves_sigma": to_waves * pv_sigma,
        "strehl": numbers.strehl,
        "strehl_band": _band(strehl),
        "chance_diffraction_limited": float(np.mean(strehl >= 0.8)),
        "edge_roll": numbers.edge_roll,
        "edge_roll_sigma": float(roll.std()),
        "rim_height": numbers.rim_height,
        "rim_height_sigma": float(rim.std()),
        "rim_width": numbers.rim_width,
    }


def _drawn(gauge: FigureGauge, profiles: Floats) -> Floats:
    """RMS [m], PV [m], Strehl [1], edge roll and rim's height [m] of every draw, shape (5, draws)."""
    aperture = gauge.aperture
    values = profiles @ aperture.matrix.T
    phase = (4.0 * np.pi / gauge.wavelength) * values
    strehl = np.asarray(np.abs(np.exp(1j * phase) @ aperture.weights) ** 2, dtype=float)
    edge = ([take(profile) for profile in profiles] for take in (gauge.edge_roll, gauge.rim_height))
    rms = np.asarray(np.sqrt(values**2 @ aperture.weights), dtype=float)
    return np.stack([rms, np.ptp(values, axis=1), strehl, *edge])


def _band(values: Floats) -> tuple[float, float]:
    low, high = percentiles(values)
    return float(low), float(high)


def _conic(model: ReadingModel, gauge: FigureGauge, found: SlopePosterior) -> tuple[float, float, float]:
    """Best-fit conic constant, its sigma by linear propagation, and the radius of curvature of the fit."""
    geometry, aperture = model.geometry, gauge.aperture
    base = geometry.height(aperture.nodes, aperture.matrix @ found.error)
    conic, radius_fit = fit_conic(aperture, base, geometry)
    # slope of the fitted constant with the profile: the part of r^4 that piston and r^2 do not explain
    fourth = aperture.level(model.radius**4 / (8.0 * geometry.radius_of_curvature**3))
    metric = aperture.rms_matrix()
    gradient = metric @ fourth / (fourth @ metric @ fourth)
    variance = max(float(gradient @ found.covariance @ gradient), 0.0)
    return conic, float(np.sqrt(variance)), radius_fit


def zone_reports(model: ReadingModel, row: SettingNoise, found: SlopePosterior) -> tuple[ZoneReport, ...]:
    """Every zone's aberration at best focus, against the Airy disc."""
    zones, geometry = model.zones, model.geometry
    target = target_readings(zones, geometry, model.source)
    reading, sigma = row.mean - found.zero, row.mean_sigma
    # a knife error d at radius r throws the light by d r / R at the focus, half of it with a fixed source
    throw = zones.middle / geometry.radius_of_curvature / (2.0 if model.source == "fixed" else 1.0)
    rho = airy_radius(geometry, model.wavelength)
    return tuple(
        ZoneReport(
            inner=float(zones.inner[i]),
            outer=float(zones.outer[i]),
            middle=float(zones.middle[i]),
            reading=float(reading[i]),
            target=float(target[i]),
            aberration=float(reading[i] - target[i]),
            sigma=float(sigma[i]),
            transverse=float((reading[i] - target[i]) * throw[i]),
            multiple=float((reading[i] - target[i]) * throw[i] / rho),
            multiple_sigma=float(sigma[i] * throw[i] / rho),
        )
        for i in range(len(zones))
    )


def _warnings(
    model: ReadingModel,
    readings: Readings,
    row: SettingNoise,
    zones: tuple[ZoneReport, ...],
    uneven: Astigmatism | None,
) -> tuple[str, ...]:
    tolerable = tolerable_aberration(model.zones.middle, model.geometry, model.wavelength, model.source)
    lines = list(outliers(readings, row.shape, tolerable))
    unit, name = readings.unit, readings.length_unit
    if row.origin == "assumed":
        lines.append(
            f"neither repeats nor a standard deviation (sigma) given: that of a knife setting is assumed to be "
            f"{row.scale / unit:.2g} {name} at 0.35 of the radius (a quarter of the tolerance; our judgement); this is then "
            "adjusted to fit the readings"
        )
    unread = model.geometry.clear_radius - model.zones.outer[-1]
    if unread > 0.05 * model.geometry.clear_radius:
        lines.append(f"the outermost {unread / unit:.3g} {name} of the clear aperture are not read")
    if uneven is not None and uneven.height_sigma is None:
        lines.append(
            "no orientation was read twice: astigmatism that is the same in every zone looks like a shifted scale"
        )
    if uneven is not None and uneven.is_seen:
        lines.append("the orientations differ by more than the settings: the mirror, or its support, is astigmatic")
    if not any(zone.is_resolved for zone in zones):
        lines.append("in no zone is the error larger than the uncertainty of the reading")
    return tuple(lines)
