"""The readings that the tester should show afterwards, with their spread."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from wearsim.figure.conic import Conic
from wearsim.figure.spline import ProfileSpline
from wearsim.kernels.arrays import Floats
from wearsim.knifeedge.longitudinal import Source, Zones, slope_response, zone_readings


@dataclass(frozen=True, eq=False)
class ExpectedReadings:
    """What a sheet should show for a given surface.

    The zero is free, so every position is counted from the first zone's, as most people write them.

    Attributes
    ----------
    zones : Zones
        Where it is read.
    positions : ndarray, shape (n,)
        Knife positions less the first zone's [m].
    covariance : ndarray, shape (n, n)
        Of them, from the uncertainty of the surface [m^2].
    setting : ndarray, shape (n,)
        What one setting adds to a single reading of each zone less the first, 0 where unknown [m].
    source : {"moving", "fixed"}
        Whether the source moves with the knife.
    """

    zones: Zones
    positions: Floats
    covariance: Floats
    setting: Floats
    source: Source

    @property
    def sigma(self) -> Floats:
        """Spread of each position from the surface alone, shape (n,) [m]."""
        return np.asarray(np.sqrt(np.maximum(np.diagonal(self.covariance), 0.0)), dtype=float)

    @property
    def spread(self) -> Floats:
        """Spread of one reading, surface and setting together, shape (n,) [m]."""
        return np.asarray(np.hypot(self.sigma, self.setting), dtype=float)


def expected_readings(
    zones: Zones,
    radius: ArrayLike,
    error: ArrayLike,
    target: Conic,
    *,
    source: Source = "moving",
    covariance: ArrayLike | None = None,
    draws: ArrayLike | None = None,
    setting_sigma: ArrayLike | None = None,
) -> ExpectedReadings:
    """Readings that a surface will give, in the same zones.

    Parameters
    ----------
    zones : Zones
        Where it will be read.
    radius, error : array_like, shape (m,)
        Increasing radii and the figure error expected [m].
    target : Conic
        That the error departs from, such as a bench's ``mirror.geometry``.
    source : {"moving", "fixed"}
        Whether the source moves with the knife.
    covariance : array_like, shape (m, m), optional
        Of `error` [m^2].
    draws : array_like, shape (k, m), optional
        Surfaces that are possible, instead of `covariance` [m].
    setting_sigma : array_like, shape (n,), optional
        Of one setting in each zone [m].

    Returns
    -------
    ExpectedReadings
        Knife positions, larger = farther from the mirror.

    Raises
    ------
    ValueError
        Both `covariance` and `draws`.
    """
    if covariance is not None and draws is not None:
        raise ValueError("give the spread of the surface as a covariance or as draws, not both")
    count = len(zones)
    of_readings = np.zeros((count, count))
    if draws is not None:
        profiles = np.atleast_2d(np.asarray(draws, dtype=float))
        rows = np.array([zone_readings(zones, radius, profile, target, source) for profile in profiles])
        of_readings = np.atleast_2d(np.cov(rows, rowvar=False)) if len(rows) > 1 else of_readings
    elif covariance is not None:
        operator = reading_matrix(zones, radius, target, source)
        of_readings = operator @ np.asarray(covariance, dtype=float) @ operator.T
    positions = zone_readings(zones, radius, error, target, source)
    from_first = np.eye(count)
    from_first[:, 0] -= 1.0
    setting = np.zeros(count) if setting_sigma is None else np.asarray(setting_sigma, dtype=float)
    return ExpectedReadings(
        zones=zones,
        positions=positions - positions[0],
        covariance=from_first @ of_readings @ from_first.T,
        setting=np.sqrt(np.diagonal(from_first @ np.diag(setting**2) @ from_first.T)),
        source=source,
    )


def reading_matrix(zones: Zones, radius: ArrayLike, target: Conic, source: Source = "moving") -> Floats:
    """Matrix from a profile at these radii ``(m,)`` [m] to what it adds to the readings, shape (n, m) [1].

    Linear in the slope, which is that of the profile's spline.
    """
    r = np.asarray(radius, dtype=float)
    at, weights = zones.nodes()
    response = weights * slope_response(at, target, source)
    slopes = ProfileSpline(r, np.eye(r.size)).slope(at)
    return np.asarray((response[:, :, None] * slopes).sum(axis=1), dtype=float)
