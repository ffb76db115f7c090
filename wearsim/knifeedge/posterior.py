"""From one row of readings to the profile with its covariance (physics section 8).

Gaussian-process regression, averaged over the length scales, amplitudes and setting sigmas that the
readings leave possible, each with the weight of its marginal likelihood. The row's zero is free: readings
enter as differences.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from wearsim.knifeedge.prior import ReadingGeometry
from wearsim.knifeedge.settings import Settings
from wearsim.knifeedge.zones import zone_readings

Floats = NDArray[np.float64]

NEGLIGIBLE = 1e-7
"""Share of the weight below which a candidate is left out."""
LEAST_LOG_WEIGHT = -100.0


@dataclass(frozen=True, eq=False)
class Posterior:
    """The profile that readings speak of.

    Attributes
    ----------
    error : ndarray, shape (m,)
        Figure error, its mean over what is possible, less piston and r^2 [m].
    covariance : ndarray, shape (m, m)
        Of it [m^2].
    zero : float
        The rows' zero: reading less knife position from the vertex's centre of curvature [m].
    supported : float
        How many shapes the readings settle: trace of the smoother [1].
    length : float
        Length scale that they speak for, as a share of radius or area [1].
    amplitude : float
        Slope amplitude that they speak for [1].
    setting : float
        Stated sigma of a setting that they speak for [m].
    """

    error: Floats
    covariance: Floats
    zero: float
    supported: float
    length: float
    amplitude: float
    setting: float


@dataclass(frozen=True, eq=False)
class _Candidates:
    """Hyperparameters flattened: part, amplitude, sigma, and the log prior of each, shape (c,)."""

    part: NDArray[np.intp]
    amplitude: Floats
    sigma: Floats
    prior: Floats


def reduce_row(geometry: ReadingGeometry, row: Settings, steps: int = 3) -> Posterior:
    """Figure error and its covariance from one row of readings.

    The exact geometry is not quite linear in the slope error; each step reads the profile found so far
    exactly, and the rest of the readings is explained anew.

    Parameters
    ----------
    geometry : ReadingGeometry
        Mirror, mask and prior.
    row : Settings
        The sheet, reduced.
    steps : int
        Most repetitions of the exact reading.

    Returns
    -------
    Posterior
    """
    solver = RowSolver(geometry, row)
    departure = row.mean - _read(geometry, np.zeros(geometry.radius.size))
    found = solver.solve(departure)
    for _ in range(steps - 1):
        curved = _read(geometry, found.error) - _read(geometry, np.zeros_like(found.error)) - found.explained
        again = solver.solve(departure - curved)
        settled = np.max(np.abs(again.error - found.error)) < 1e-12
        found = again
        if settled:
            break
    weight = row.shape**-2.0
    rest = row.mean - _read(geometry, found.error)
    return Posterior(
        error=found.error,
        covariance=solver.covariance(found),
        zero=float(weight @ rest / weight.sum()),
        supported=found.supported,
        length=float(np.exp(found.weight @ np.log(geometry.lengths[solver.candidates.part]))),
        amplitude=float(np.exp(found.weight @ np.log(solver.candidates.amplitude))),
        setting=float(np.exp(found.weight @ np.log(solver.candidates.sigma))),
    )


def _read(geometry: ReadingGeometry, error: Floats) -> Floats:
    return zone_readings(
        geometry.zones,
        geometry.radius,
        error,
        radius_of_curvature=geometry.radius_of_curvature,
        conic=geometry.conic,
        source=geometry.source,
    )


@dataclass(frozen=True, eq=False)
class Solution:
    """One linear solve: weights (c,), means (c, m), their mean (m,), and the readings explained (n,)."""

    weight: Floats
    means: Floats
    error: Floats
    explained: Floats
    supported: float


class RowSolver:
    """Solves one row for all candidates at once; everything but the data is factored in advance.

    Parameters
    ----------
    geometry : ReadingGeometry
        Mirror, mask and prior.
    row : Settings
        Shape, share and possible sigmas of the noise.
    """

    def __init__(self, geometry: ReadingGeometry, row: Settings) -> None:
        self.geometry = geometry
        self.candidates = _candidates(geometry, row)
        count = len(geometry.zones)
        # orthonormal differences: the free zero of the row drops out
        self.differences = np.linalg.svd(np.ones((1, count)))[2][1:]
        square = self.candidates.amplitude**2
        parts = np.stack([part.readings for part in geometry.parts])
        self.signal = square[:, None, None] * parts[self.candidates.part] + geometry.fixed.readings
        noise = self.candidates.sigma[:, None] ** 2 * (row.share * row.shape**2)
        total = self.signal + noise[:, :, None] * np.eye(count)
        self.factor = np.linalg.cholesky(self.differences @ total @ self.differences.T)
        self._log_volume = np.log(np.diagonal(self.factor, axis1=1, axis2=2)).sum(axis=1)
        self._inverse = np.linalg.inv(self.factor)

    def solve(self, departure: Floats) -> Solution:
        """Mean profile for readings that depart from the target by `departure`, shape (n,) [m]."""
        whitened = self._inverse @ (self.differences @ departure)
        log_weight = self.candidates.prior - 0.5 * (whitened**2).sum(axis=1) - self._log_volume
        weight = np.exp(np.maximum(log_weight - log_weight.max(), LEAST_LOG_WEIGHT))
        weight = np.where(weight < NEGLIGIBLE * weight.sum(), 0.0, weight)
        weight /= weight.sum()
        # what each candidate believes of the readings' covariance times this gives its mean
        dual = np.einsum("cji,cj->ci", self._inverse, whitened) @ self.differences
        crosses = np.stack([part.cross for part in self.geometry.parts])
        square = self.candidates.amplitude**2
        means = dual @ self.geometry.fixed.cross.T
        for part, cross in enumerate(crosses):
            mine = self.candidates.part == part
            means[mine] += square[mine, None] * (dual[mine] @ cross.T)
        explained = weight @ (self.signal @ dual[:, :, None])[:, :, 0]
        smoother = self._inverse @ self.differences
        trace = ((smoother @ self.signal) * smoother).sum(axis=(1, 2))
        return Solution(weight, means, weight @ means, explained, float(weight @ trace))

    def covariance(self, found: Solution) -> Floats:
        """Covariance of the profile over all candidates, shape (m, m) [m^2]."""
        geometry, weight = self.geometry, found.weight
        square = self.candidates.amplitude**2
        total = geometry.fixed.profile.copy()
        gains = []
        for part, matrices in enumerate(geometry.parts):
            mine = np.flatnonzero((self.candidates.part == part) & (weight > 0.0))
            if mine.size == 0:
                continue
            total += float(weight[mine] @ square[mine]) * matrices.profile
            cross = square[mine, None, None] * matrices.cross + geometry.fixed.cross
            gain = cross @ self.differences.T @ self._inverse[mine].transpose(0, 2, 1)
            gains.append(np.sqrt(weight[mine])[:, None, None] * gain)
        side = np.concatenate(gains).transpose(1, 0, 2).reshape(total.shape[0], -1)
        apart = np.sqrt(weight)[:, None] * (found.means - found.error)
        total += apart.T @ apart - side @ side.T
        return np.asarray(0.5 * (total + total.T), dtype=float)


def _candidates(geometry: ReadingGeometry, row: Settings) -> _Candidates:
    steps = np.asarray(geometry.prior.amplitude_steps)
    part, step, sigma = np.meshgrid(
        np.arange(len(geometry.parts)), np.arange(steps.size), np.arange(row.scales.size), indexing="ij"
    )
    return _Candidates(
        part=part.ravel(),
        amplitude=geometry.amplitudes[step.ravel()],
        sigma=row.scales[sigma.ravel()],
        prior=-0.5 * steps[step.ravel()] ** 2
        + row.weights[sigma.ravel()]
        + geometry.prior.length_power * np.log(geometry.lengths[part.ravel()]),
    )
