"""Astigmatism from rows read at different orientations of the mirror.

A surface ``b (r/a)^2 cos 2(theta - axis)`` moves the knife by the same amount in every zone,
``-2 R^2 b / a^2 cos 2(...)``, twice that with a fixed source. It is seen only where the scale's zero was
kept from row to row, which rows repeated at one orientation tell; astigmatism that changes from zone to
zone is seen in any case.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from wearsim.figure.conic import MirrorGeometry
from wearsim.kernels.arrays import Floats
from wearsim.knifeedge.readings import Readings
from wearsim.knifeedge.setting_noise import SettingNoise


@dataclass(frozen=True, eq=False)
class Astigmatism:
    """What the difference between orientations says.

    Attributes
    ----------
    difference : ndarray, shape (n,)
        Second harmonic of the knife position by zone, amplitude along the worst axis; with two orientations
        half of what the first reads above the second [m].
    difference_sigma : ndarray, shape (n,)
        Of it, from the settings [m].
    varies_by_chance : float
        How likely differences that vary so much from zone to zone are by chance [1].
    height : float
        Amplitude ``b`` at the glass's rim of the part that is the same in every zone, surface; peak to valley
        is twice that [m].
    height_sigma : float or None
        Of it, from settings and from how well the rows kept their zero; None where no orientation was read
        twice, so that a shifted zero cannot be distinguished from astigmatism [m].
    axis : float or None
        Orientation of the mirror that brings its high diameter under the windows, from three orientations or
        more [rad].
    """

    difference: Floats
    difference_sigma: Floats
    varies_by_chance: float
    height: float
    height_sigma: float | None
    axis: float | None

    def to_json(self) -> dict[str, Any]:
        """The difference as one JSON object."""
        return {
            "difference_m": self.difference.tolist(),
            "difference_sigma_m": self.difference_sigma.tolist(),
            "varies_by_chance": self.varies_by_chance,
            "height_m": self.height,
            "height_sigma_m": self.height_sigma,
            "axis_rad": self.axis,
            "azimuth_rad": self.azimuth,
            "is_seen": self.is_seen,
        }

    @property
    def azimuth(self) -> float | None:
        """Azimuth of the high diameter on the glass, counterclockwise from its mark [rad]; None where `axis` is.

        A mirror turned counterclockwise by an angle brings the diameter at minus that azimuth under the windows.
        """
        return None if self.axis is None else -self.axis % np.pi

    @property
    def is_measured(self) -> bool:
        """Whether amplitude and axis are known well enough to be carried on: an axis, and two sigma."""
        known = self.axis is not None and self.height_sigma is not None
        return known and abs(self.height) > 2.0 * (self.height_sigma or 0.0)

    @property
    def is_seen(self) -> bool:
        """Whether it is there beyond reasonable doubt: two sigma, or one in a hundred by chance."""
        even = self.height_sigma is not None and abs(self.height) > 2.0 * self.height_sigma
        return even or self.varies_by_chance < 0.01


def astigmatism(readings: Readings, row: SettingNoise, geometry: MirrorGeometry) -> Astigmatism | None:
    """Astigmatism of a sheet, reduced to a row; None where all rows share one orientation."""
    harmonics = row.design.shape[1] - 1
    if harmonics == 0:
        return None
    weight = row.shape**-2.0 / (row.shape**-2.0).sum()
    parts, spread = row.coefficients[1:], row.spread[1:, 1:]
    even = parts @ weight
    axis = None
    direction = np.ones(1)
    if harmonics == 2:
        direction = even / np.hypot(*even) if np.any(even) else np.array([1.0, 0.0])
        # a longer radius of curvature, knife farther out, is where the surface lies lower
        axis = float(0.5 * np.arctan2(-direction[1], -direction[0]) % np.pi)
    share = float(direction @ spread @ direction)
    reach = 2.0 * geometry.radius_of_curvature**2 / geometry.radius**2 * (2.0 if readings.source == "fixed" else 1.0)
    reach *= _contrast(readings) if harmonics == 1 else 1.0
    sign = -1.0 if harmonics == 1 else 1.0
    return Astigmatism(
        difference=direction @ parts,
        difference_sigma=row.sigma * np.sqrt(share),
        varies_by_chance=_chance(parts - even[:, None], spread, row),
        height=float(sign * (direction @ even) / reach),
        height_sigma=_height_sigma(readings, row, share, reach),
        axis=axis,
    )


def _contrast(readings: Readings) -> float:
    """Largest half difference that two orientations show of a unit second harmonic: ``|sin(t2 - t1)|``."""
    if readings.orientation is None:
        return 1.0
    return float(np.max(np.abs(np.sin(readings.orientation - readings.orientation[0]))))


def _chance(varying: Floats, spread: Floats, row: SettingNoise) -> float:
    # slow to import, and only readings in several orientations need it
    from scipy.special import chdtrc

    whitened = np.linalg.solve(np.linalg.cholesky(spread), varying / row.sigma)
    freedom = varying.shape[0] * (varying.shape[1] - 1)
    return float(chdtrc(freedom, float((whitened**2).sum())))


def _height_sigma(readings: Readings, row: SettingNoise, share: float, reach: float) -> float | None:
    """Scatter of the rows' zeros about the fit, with the settings' own part in it already."""
    freedom = row.design.shape[0] - row.design.shape[1]
    if freedom == 0:
        return None
    weight = row.shape**-2.0 / (row.shape**-2.0).sum()
    zeros = (readings.positions - row.design @ row.coefficients) @ weight
    variance = float(zeros @ zeros) / freedom
    settings_alone = float(row.scale**2 / (row.shape**-2.0).sum())
    return float(np.sqrt(max(variance, settings_alone) * share)) / reach
