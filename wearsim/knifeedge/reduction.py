"""The knife-edge test backwards: readings to a surface with its band."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from wearsim.figure.band import percentiles
from wearsim.figure.error import height_from_error
from wearsim.figure.numbers import FigureGauge, fit_conic
from wearsim.knifeedge.astigmatism import Astigmatism, astigmatism
from wearsim.knifeedge.longitudinal import airy_radius, target_aberration, tolerable_aberration
from wearsim.knifeedge.posterior import Posterior, reduce_row
from wearsim.knifeedge.prior import ReadingGeometry, SlopePrior
from wearsim.knifeedge.readings import Readings, check_against_mirror
from wearsim.knifeedge.report import Reduction, ZoneReport, draw_profiles
from wearsim.knifeedge.settings import Settings, settings
from wearsim.knifeedge.slips import slips

Floats = NDArray[np.float64]

PROFILE_POINTS = 121
DRAWS = 400


def reduce_readings(
    readings: Readings,
    *,
    radius: float,
    radius_of_curvature: float,
    conic: float = -1.0,
    hole_radius: float = 0.0,
    clear_radius: float | None = None,
    wavelength: float = 550e-9,
    profile_radius: ArrayLike | None = None,
    prior: SlopePrior | None = None,
    seed: int = 0,
) -> Reduction:
    """Figure error, with its covariance and its numbers, from a sheet of knife-edge readings.

    Parameters
    ----------
    readings : Readings
        The sheet.
    radius : float
        Of the glass [m].
    radius_of_curvature : float
        [m]
    conic : float
        Of the target [1].
    hole_radius : float
        [m]
    clear_radius : float, optional
        Outer radius of the clear aperture; the glass's radius unless given [m].
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

    Raises
    ------
    InputError
        Readings that this mirror cannot have given.
    """
    check_against_mirror(readings, radius=radius, radius_of_curvature=radius_of_curvature, conic=conic)
    at = np.linspace(0.0, radius, PROFILE_POINTS) if profile_radius is None else profile_radius
    geometry = ReadingGeometry(
        zones=readings.zones,
        radius_of_glass=radius,
        radius_of_curvature=radius_of_curvature,
        conic=conic,
        inner=hole_radius,
        outer=radius if clear_radius is None else clear_radius,
        wavelength=wavelength,
        source=readings.source,
        radius=np.asarray(at, dtype=float),
        prior=SlopePrior() if prior is None else prior,
    )
    row = settings(readings, radius=radius, radius_of_curvature=radius_of_curvature, wavelength=wavelength)
    uneven = astigmatism(readings, row, radius=radius, radius_of_curvature=radius_of_curvature)
    return _report(geometry, readings, row, reduce_row(geometry, row), uneven, seed)


def _report(
    geometry: ReadingGeometry,
    readings: Readings,
    row: Settings,
    found: Posterior,
    uneven: Astigmatism | None,
    seed: int,
) -> Reduction:
    gauge = FigureGauge(
        geometry.radius,
        R=geometry.radius_of_curvature,
        conic=geometry.conic,
        inner=geometry.inner,
        outer=geometry.outer,
        wavelength=geometry.wavelength,
    )
    numbers = gauge.numbers(_height(geometry, found.error))
    rng = np.random.default_rng(np.random.SeedSequence(entropy=seed, spawn_key=(4,)))
    drawn = _drawn(gauge, draw_profiles(found.error, found.covariance, DRAWS, rng))
    conic, conic_sigma, radius_fit = _conic(geometry, gauge, found)
    to_waves = 2.0 / geometry.wavelength
    rms_sigma, pv_sigma = float(drawn[0].std()), float(drawn[1].std())
    zones = zone_reports(geometry, row, found)
    return Reduction(
        radius=geometry.radius,
        figure_error=found.error,
        covariance=found.covariance,
        surface_rms=numbers.surface_rms,
        surface_rms_sigma=rms_sigma,
        surface_rms_band=_band(drawn[0]),
        surface_pv=numbers.surface_pv,
        surface_pv_sigma=pv_sigma,
        surface_pv_band=_band(drawn[1]),
        wavefront_rms_waves=numbers.wavefront_rms_waves,
        wavefront_rms_waves_sigma=to_waves * rms_sigma,
        wavefront_pv_waves=numbers.wavefront_pv_waves,
        wavefront_pv_waves_sigma=to_waves * pv_sigma,
        strehl=numbers.strehl,
        strehl_band=_band(drawn[2]),
        chance_diffraction_limited=float(np.mean(drawn[2] >= 0.8)),
        conic_fit=conic,
        conic_sigma=conic_sigma,
        radius_fit=radius_fit,
        edge_roll=numbers.edge_roll,
        edge_roll_sigma=float(drawn[3].std()),
        zero=found.zero,
        zones=zones,
        setting_sigma=found.setting,
        setting_origin=row.origin,
        supported=found.supported,
        length_scale=found.length,
        slope_amplitude=found.amplitude,
        astigmatism=uneven,
        mask=geometry.zones,
        wavelength=geometry.wavelength,
        radius_of_curvature=geometry.radius_of_curvature,
        conic=geometry.conic,
        inner=geometry.inner,
        outer=geometry.outer,
        warnings=_warnings(geometry, readings, row, zones, uneven),
    )


def _height(geometry: ReadingGeometry, error: Floats) -> Floats:
    return height_from_error(geometry.radius, error, R=geometry.radius_of_curvature, conic=geometry.conic)


def _band(values: Floats) -> tuple[float, float]:
    low, high = percentiles(values)
    return float(low), float(high)


def _drawn(gauge: FigureGauge, profiles: Floats) -> Floats:
    """RMS [m], PV [m], Strehl [1] and edge roll [m] of every draw, shape (4, draws)."""
    aperture = gauge.aperture
    values = profiles @ aperture.matrix.T
    phase = (4.0 * np.pi / gauge.wavelength) * values
    strehl = np.asarray(np.abs(np.exp(1j * phase) @ aperture.weights) ** 2, dtype=float)
    rolls = np.array([gauge.edge_roll(profile) for profile in profiles])
    rms = np.asarray(np.sqrt(values**2 @ aperture.weights), dtype=float)
    return np.stack([rms, np.ptp(values, axis=1), strehl, rolls])


def _conic(geometry: ReadingGeometry, gauge: FigureGauge, found: Posterior) -> tuple[float, float, float]:
    """Best-fit conic constant, its sigma by linear propagation, and the radius of curvature of the fit."""
    nodes = gauge.aperture.matrix @ found.error
    base = height_from_error(
        gauge.aperture.nodes, nodes, R=geometry.radius_of_curvature, conic=geometry.conic
    )
    conic, radius_fit = fit_conic(gauge.aperture, base, R=geometry.radius_of_curvature, start=geometry.conic)
    # slope of the fitted constant with the profile: the part of r^4 that piston and r^2 do not explain
    fourth = gauge.aperture.level(geometry.radius**4 / (8.0 * geometry.radius_of_curvature**3))
    metric = gauge.aperture.rms_matrix()
    lean = metric @ fourth / (fourth @ metric @ fourth)
    variance = max(float(lean @ found.covariance @ lean), 0.0)
    return conic, float(np.sqrt(variance)), radius_fit


def zone_reports(geometry: ReadingGeometry, row: Settings, found: Posterior) -> tuple[ZoneReport, ...]:
    """Every zone's aberration at best focus, against the Airy disc."""
    zones, big = geometry.zones, geometry.radius_of_curvature
    at, weights = zones.nodes()
    target = (weights * target_aberration(at, big, geometry.conic, geometry.source)).sum(axis=1)
    reading = row.mean - found.zero
    sigma = row.mean_sigma
    # a knife error d at radius r throws the light by d r / R at the focus, half of it with a fixed source
    throw = zones.middle / big / (2.0 if geometry.source == "fixed" else 1.0)
    rho = airy_radius(2.0 * geometry.radius_of_glass, big, geometry.wavelength)
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
    geometry: ReadingGeometry,
    readings: Readings,
    row: Settings,
    zones: tuple[ZoneReport, ...],
    uneven: Astigmatism | None,
) -> tuple[str, ...]:
    tolerable = tolerable_aberration(
        geometry.zones.middle, 2.0 * geometry.radius_of_glass, geometry.radius_of_curvature,
        geometry.wavelength, geometry.source,
    )  # fmt: skip
    said = list(slips(readings, row.shape, tolerable))
    unit, name = readings.unit, readings.length_unit
    if row.origin == "assumed":
        said.append(
            f"no repeats and no sigma: a setting is taken to be good to {row.scale / unit:.2g} {name} "
            f"at 0.35 of the radius (a quarter of the tolerable, judgement)"
        )
    unread = geometry.outer - geometry.zones.outer[-1]
    if unread > 0.05 * geometry.outer:
        said.append(f"the outermost {unread / unit:.3g} {name} of the clear aperture are not read")
    if uneven is not None and uneven.height_sigma is None:
        said.append(
            "no orientation was read twice: astigmatism alike in every zone cannot be told from a moved scale"
        )
    if uneven is not None and uneven.is_seen:
        said.append(
            "the orientations differ by more than the settings: the mirror, or its support, is astigmatic"
        )
    if not any(zone.is_resolved for zone in zones):
        said.append("no zone's error is larger than its reading can resolve")
    return tuple(said)
