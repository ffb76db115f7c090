"""How well a setting of the knife is known, and what rows at several orientations say of the round part.

Each zone's rows are fitted with a round part and a second harmonic of the mirror's orientation; the round
part goes on to the profile, the harmonic to the astigmatism, so that neither is blamed for the other.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from wearsim.errors import InputError
from wearsim.kernels.arrays import Floats
from wearsim.knifeedge.longitudinal import tolerable_aberration
from wearsim.knifeedge.readings import Readings

STATED_AT = 0.35
"""Fraction of the mirror's radius at which one setting's sigma is stated (physics section 8)."""
ASSUMED_SHARE = 0.25
"""Sigma of a setting as a share of the tolerable aberration, where nothing tells it (judgement)."""
ASSUMED_FACTOR = 2.0
"""One-sigma factor within which that assumption is believed (judgement)."""
FLOOR_SHARE = 1e-3
"""No setting is taken to be better than this share of the assumed one: keeps exact readings solvable."""


@dataclass(frozen=True, eq=False)
class Settings:
    """The sheet, reduced to one row.

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
    residual : ndarray, shape (m, n)
        What is left of the rows, each row's zero taken out [m].
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
    residual: Floats

    @property
    def sigma(self) -> Floats:
        """Sigma of one setting, zone by zone, shape (n,) [m]."""
        return self.scale * self.shape

    @property
    def mean_sigma(self) -> Floats:
        """Sigma of the round part, zone by zone, shape (n,) [m]."""
        return np.asarray(self.sigma * np.sqrt(self.share), dtype=float)


def settings(readings: Readings, *, radius: float, radius_of_curvature: float, wavelength: float) -> Settings:
    """Reduce the rows of a sheet to one, with the accuracy of a setting.

    Parameters
    ----------
    readings : Readings
        The sheet.
    radius : float
        Of the glass [m].
    radius_of_curvature : float
        [m]
    wavelength : float
        For the accuracy assumed when neither sigma nor repeats tell it [m].

    Returns
    -------
    Settings
    """
    design = orientation_design(readings)
    shape = setting_shape(readings, radius)
    spread = np.asarray(np.linalg.inv(design.T @ design), dtype=float)
    coefficients = spread @ design.T @ readings.positions
    residual = readings.positions - design @ coefficients
    residual = residual - _weighted(residual, shape)[:, None]
    tolerable = tolerable_aberration(STATED_AT * radius, 2.0 * radius, radius_of_curvature, wavelength, readings.source)
    assumed = ASSUMED_SHARE * float(tolerable)
    freedom = (design.shape[0] - design.shape[1]) * (len(readings.zones) - 1)
    scale, scales, weights, origin = _scale(readings, residual / shape, freedom, assumed)
    return Settings(
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
        residual=residual,
    )


def setting_shape(readings: Readings, radius: float) -> Floats:
    """Sigma of one setting in each zone for a stated sigma of 1: as 1/r, or as given per zone [1]."""
    if isinstance(readings.sigma, np.ndarray):
        return np.asarray(readings.sigma / np.exp(np.mean(np.log(readings.sigma))), dtype=float)
    return np.asarray(STATED_AT * radius / readings.zones.middle, dtype=float)


def orientation_design(readings: Readings) -> Floats:
    """Columns that explain the rows: a round part, and the second harmonic as far as it can be told, (m, p).

    With one orientation the round part alone; with two, half the difference between them; with three or
    more, cosine and sine of twice the angle.
    """
    ones = np.ones(readings.repeats)
    if readings.orientation is None:
        return ones[:, None]
    twice = np.round(np.mod(2.0 * readings.orientation, 2.0 * np.pi) / (2.0 * np.pi), 9) % 1.0
    kinds = np.unique(twice)
    if kinds.size == 1:
        return ones[:, None]
    if kinds.size == 2:
        return np.stack([ones, np.where(twice == twice[0], 1.0, -1.0)], axis=1)
    angle = 2.0 * np.pi * twice
    design = np.stack([ones, np.cos(angle), np.sin(angle)], axis=1)
    if np.linalg.cond(design) > 1e3:
        raise InputError(
            "three orientations or more that are nearly the same two",
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
