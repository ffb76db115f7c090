"""How well a setting of the knife is known, from how the rows of a sheet scatter, and settings far outside of that.

Each zone's rows are fitted with a round part and a second harmonic of the mirror's orientation; the round
part goes on to the profile, the harmonic to the astigmatism, so that neither is blamed for the other.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from wearsim.bench.units import in_digits
from wearsim.errors import InputError
from wearsim.figure.conic import MirrorGeometry
from wearsim.kernels.arrays import Floats
from wearsim.knifeedge.longitudinal import tolerable_aberration
from wearsim.knifeedge.readings import Readings

STATED_AT = 0.35
"""Fraction of the mirror's radius at which one setting's sigma is stated (physics section 8)."""
ASSUMED_SHARE = 0.25
"""Sigma of a setting as a share of the tolerable aberration, where nothing else gives it (judgement)."""
ASSUMED_FACTOR = 2.0
"""One-sigma factor within which that assumption is believed (judgement)."""
FLOOR_SHARE = 1e-3
"""No setting is taken to be better than this share of the assumed one: keeps exact readings solvable."""
OUTLIER_FACTOR = 15.0
"""How many times the usual scatter a setting must lie away (judgement; see :func:`outliers`)."""
LEAST_FREEDOM = 6
"""Rows less one, times zones less one, below which the scatter is not known well enough to judge by."""
_SHARE, _AT_SHARE = 75.0, 1.1503
"""Percentile of distances that stands for the scatter, and where it lies for a normal one of sigma 1."""
_ROUNDS = 10


@dataclass(frozen=True, eq=False)
class SettingNoise:
    """A sheet reduced to one row, with the accuracy of that row.

    Attributes
    ----------
    mean : ndarray, shape (n,)
        Round part of the readings; its zero is arbitrary [m].
    shape : ndarray, shape (n,)
        Sigma of one setting in each zone for a stated sigma of 1 [1].
    share : float
        Variance of `mean` over that of one setting [1].
    scale : float
        Best value of the stated sigma [m].
    scales, weights : ndarray, shape (k,)
        Stated sigmas that are possible [m], and the logarithm of how likely (readings of the round part
        not yet looked at).
    origin : str
        "given", "repeats" or "assumed".
    coefficients : ndarray, shape (p, n)
        All coefficients of the fit over the rows, the round part first [m].
    spread : ndarray, shape (p, p)
        Covariance of them over the variance of one setting [1].
    design : ndarray, shape (m, p)
        Columns of that fit [1].
    """

    mean: Floats
    shape: Floats
    share: float
    scale: float
    scales: Floats
    weights: Floats
    origin: str
    coefficients: Floats
    spread: Floats
    design: Floats

    @property
    def sigma(self) -> Floats:
        """Sigma of one setting, zone by zone, shape (n,) [m]."""
        return self.scale * self.shape

    @property
    def mean_sigma(self) -> Floats:
        """Sigma of the round part, zone by zone, shape (n,) [m]."""
        return np.asarray(self.sigma * np.sqrt(self.share), dtype=float)


def setting_noise(readings: Readings, geometry: MirrorGeometry, wavelength: float) -> SettingNoise:
    """Reduce the rows of a sheet to one, with the accuracy of a setting.

    Parameters
    ----------
    wavelength : float
        For the accuracy assumed where neither a sigma nor repeats give it [m].
    """
    design = orientation_design(readings)
    shape = setting_shape(readings, geometry.radius)
    spread = np.asarray(np.linalg.inv(design.T @ design), dtype=float)
    coefficients = spread @ design.T @ readings.positions
    residual = readings.positions - design @ coefficients
    residual = residual - _weighted(residual, shape)[:, None]
    tolerable = tolerable_aberration(STATED_AT * geometry.radius, geometry, wavelength, readings.source)
    assumed = ASSUMED_SHARE * float(tolerable)
    freedom = (design.shape[0] - design.shape[1]) * (len(readings.zones) - 1)
    scale, scales, weights, origin = _scale(readings, residual / shape, freedom, assumed)
    return SettingNoise(
        mean=coefficients[0],
        shape=shape,
        share=float(spread[0, 0]),
        scale=scale,
        scales=scales,
        weights=weights,
        origin=origin,
        coefficients=coefficients,
        spread=spread,
        design=design,
    )


def setting_shape(readings: Readings, radius: float) -> Floats:
    """Sigma of one setting in each zone for a stated sigma of 1: as 1/r, or as given per zone [1]."""
    if isinstance(readings.sigma, np.ndarray):
        return np.asarray(readings.sigma / np.exp(np.mean(np.log(readings.sigma))), dtype=float)
    return np.asarray(STATED_AT * radius / readings.zones.middle, dtype=float)


def orientation_design(readings: Readings) -> Floats:
    """Columns that explain the rows: a round part, and the second harmonic as far as it can be seen, (m, p).

    With one orientation the round part alone; with two, half the difference between them; with three or
    more, cosine and sine of twice the angle.
    """
    ones = np.ones(readings.repeats)
    double_angle = readings.double_angle
    distinct = np.unique(double_angle)
    if distinct.size == 1:
        return ones[:, None]
    if distinct.size == 2:
        return np.stack([ones, np.where(double_angle == double_angle[0], 1.0, -1.0)], axis=1)
    angle = 2.0 * np.pi * double_angle
    design = np.stack([ones, np.cos(angle), np.sin(angle)], axis=1)
    if np.linalg.cond(design) > 1e3:
        raise InputError(
            "nearly all the orientations lie in just two directions",
            file=readings.file,
            key="orientation",
            expected="orientations at least a few degrees apart",
        )
    return design


def _weighted(rows: Floats, shape: Floats) -> Floats:
    weight = shape**-2.0
    return np.asarray(rows @ weight / weight.sum(), dtype=float)


def _scale(readings: Readings, residual: Floats, freedom: int, assumed: float) -> tuple[float, Floats, Floats, str]:
    """The stated sigma: best value, possible values, their log weights, and where it comes from."""
    floor = FLOOR_SHARE * assumed
    if readings.sigma is not None:
        given = readings.sigma
        value = float(np.exp(np.mean(np.log(given)))) if isinstance(given, np.ndarray) else float(given)
        value = max(value, floor)
        return value, np.array([value]), np.zeros(1), "given"
    if freedom == 0:
        steps = np.linspace(-2.0, 2.0, 7)
        return assumed, assumed * ASSUMED_FACTOR**steps, -0.5 * steps**2, "assumed"
    square = float((residual**2).sum())
    # a setting cannot be better than the last digit it was written to
    written = readings.resolution / np.sqrt(12.0)
    least = max(floor, written)
    value = max(float(np.sqrt(square / freedom)), least)
    scales = np.unique(np.maximum(value * np.exp(np.linspace(-0.9, 1.5, 9)), least))
    # scaled inverse chi-squared, flat in log sigma
    weights = -freedom * np.log(scales / value) - 0.5 * square * (scales**-2.0 - value**-2.0)
    return value, scales, np.asarray(weights, dtype=float), "repeats"


def outliers(readings: Readings, shape: Floats, least: Floats) -> tuple[str, ...]:
    """A warning for every setting that looks like a slip of the pen: a decimal point, two digits exchanged.

    Rows of one orientation are compared: each less its own zero, each zone less its median over the rows, by
    medians throughout, so that a slip does not hide itself. The usual scatter is taken over all zones, in
    units of `shape`: the third quartile of the distances, brought to one sigma, which a quarter of slips leave
    as it is.

    A setting is warned of where it lies both :data:`OUTLIER_FACTOR` times that scatter and `least` away. The factor is a
    judgement: of 3000 normally noisy sheets of each size from 2 to 20 rows and 3 to 12 zones, drawn by chance, one
    or two in a thousand have a setting farther out in the smallest size that is judged, four rows of three zones,
    and none in those of three rows and five zones or more. `least` keeps quiet about
    what would not matter. Nothing is left out of the reduction: only the person knows what was read.

    Parameters
    ----------
    shape : ndarray, shape (n,)
        Sigma of one setting in each zone for a stated sigma of 1 [1].
    least : ndarray, shape (n,)
        Distance below which nothing is reported [m].
    """
    double_angle = readings.double_angle
    groups = [np.flatnonzero(double_angle == one) for one in np.unique(double_angle)]
    return tuple(line for rows in groups for line in _outliers_among(readings, rows, shape, least))


def _outliers_among(readings: Readings, rows: NDArray[np.int64], shape: Floats, least: Floats) -> list[str]:
    freedom = (rows.size - 1) * (shape.size - 1)
    if freedom < LEAST_FREEDOM:
        return []
    away = _median_polish(readings.positions[rows])
    spread = np.sqrt(away.size / freedom) / _AT_SHARE
    usual = float(np.percentile(np.abs(away / shape), _SHARE)) * spread * shape
    far = np.abs(away) > np.maximum(OUTLIER_FACTOR * usual, least)
    if rows.size == 2:  # the median lies half way: either may be the slip
        far = far.any(axis=0, keepdims=True)
    return [_outlier_line(readings, rows, row, zone, away) for row, zone in np.argwhere(far)]


def _outlier_line(readings: Readings, rows: NDArray[np.int64], row: int, zone: int, away: Floats) -> str:
    unit, name = readings.unit, readings.length_unit
    if rows.size == 2:
        which, apart = f"rows {rows[0] + 1} and {rows[1] + 1}", in_digits(np.ptp(away[:, zone]) / unit)
        what = f"are {apart} {name} apart with their zeros removed"
    else:
        which, apart = f"row {rows[row] + 1}", in_digits(abs(away[row, zone]) / unit)
        what = f"{readings.positions[rows[row], zone] / unit:g} {name} is {apart} {name} from the other rows"
    return f"readings, {which}, zone {zone + 1}: {what}, far outside their usual scatter: a slip of the pen?"


def _median_polish(positions: Floats) -> Floats:
    """What is left of the rows when each row's and each zone's median is taken out, over and over [m]."""
    left = positions - np.median(positions, axis=1, keepdims=True)
    for _ in range(_ROUNDS):
        left = left - np.median(left, axis=0)
        left = left - np.median(left, axis=1, keepdims=True)
    return np.asarray(left, dtype=float)
