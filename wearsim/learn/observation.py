"""What was read after a session, as an observation that a prediction is compared with.

A prediction is compared with what the test itself says, not with a surface made of it: knife-edge readings in their
zones (their zero free), a profile at its radii (piston and r^2 free, which no test of this kind sees; physics
section 7). So nothing that a reduction believes beforehand is counted once a session.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from wearsim.bench.bench import Bench
from wearsim.bench.profile import Profile
from wearsim.figure.aperture import spline_matrix
from wearsim.kernels.arrays import Floats
from wearsim.knifeedge.forward_model import reading_matrix
from wearsim.knifeedge.longitudinal import zone_readings
from wearsim.knifeedge.readings import Readings
from wearsim.knifeedge.setting_noise import setting_noise

ASSUMED_SIGMA = 2e-9
"""Sigma of a profile that states none [m]. A judgement."""
LEAST_SIGMA = 0.2e-9
"""No row of a profile is taken to be better than this [m]: keeps exact profiles solvable."""
MOST_ROWS = 40
"""Rows of a profile that are compared; of denser ones means of neighbours are."""


@dataclass(frozen=True, eq=False)
class Observation:
    """What a test says of the glass, free of what it cannot see.

    Parameters
    ----------
    matrix : (p, n) ndarray
        From a small change of the glass's height to the change of what is observed.
    covariance : (p, p) ndarray
        Of the observation's errors.
    innovation : callable
        From a height of the glass (n,) [m] to observed less expected (p,).
    """

    matrix: Floats
    covariance: Floats
    innovation: Callable[[Floats], Floats]

    @property
    def size(self) -> int:
        """Numbers that are compared."""
        return int(self.matrix.shape[0])


def observe(bench: Bench, measurement: Readings | Profile, radius: Floats) -> Observation:
    """A measurement as an observation of the glass on the mirror's grid, radii (n,) [m]."""
    if isinstance(measurement, Profile):
        return of_profile(bench, measurement, radius)
    return of_readings(bench, measurement, radius)


def of_readings(bench: Bench, readings: Readings, radius: Floats) -> Observation:
    """Knife-edge readings as an observation; their zero is free."""
    geometry = bench.mirror.geometry
    row = setting_noise(readings, geometry, bench.light.wavelength)
    matrix = reading_matrix(readings.zones, radius, geometry, readings.source)
    free = contrasts(np.ones((row.mean.size, 1)))
    departure = geometry.departure(radius)

    def innovation(height: Floats) -> Floats:
        expected = zone_readings(readings.zones, radius, height - departure, geometry, readings.source)
        return np.asarray(free @ (row.mean - expected))

    return Observation(free @ matrix, free @ np.diag(row.mean_sigma**2) @ free.T, innovation)


def of_profile(bench: Bench, profile: Profile, radius: Floats) -> Observation:
    """A measured profile as an observation; piston and r^2 are free."""
    mirror = bench.mirror
    counts = (profile.radius <= mirror.clear_radius) & (profile.radius >= radius[0])
    sigma = np.full(profile.radius.size, ASSUMED_SIGMA) if profile.sigma is None else profile.sigma
    smooth = None if profile.smooth is None else profile.smooth[counts]
    rows = Profile(profile.radius[counts], profile.error[counts], sigma[counts], smooth).thinned(MOST_ROWS)
    at, error, covariance = rows.radius, rows.error, rows.covariance(mirror.radius, LEAST_SIGMA)
    free = contrasts(np.stack([np.ones_like(at), at**2 / mirror.radius**2], axis=1))
    matrix = free @ spline_matrix(radius, at)
    departure = mirror.geometry.departure(radius)

    def innovation(height: Floats) -> Floats:
        return np.asarray(free @ error - matrix @ (height - departure))

    return Observation(matrix, free @ covariance @ free.T, innovation)


def contrasts(unseen: Floats) -> Floats:
    """Rows, orthonormal, that do not see the columns of ``unseen`` (m, b): shape (m - b, m) [1]."""
    basis = np.linalg.qr(unseen, mode="complete")[0]
    return np.asarray(basis[:, unseen.shape[1] :].T)
