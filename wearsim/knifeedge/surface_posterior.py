"""From one row of readings to the profile with its covariance (physics section 8).

Gaussian-process regression, averaged over the length scales, amplitudes and setting sigmas that the
readings leave possible, each with the weight of its marginal likelihood. The row's zero is free: readings
enter as differences.

Before it is read a mirror's slope error ``e'(r)`` is believed to be a Gaussian process made of

* a change of the conic constant, ``dK r^3 / (2 R^3)``, of standard deviation 5;
* zones of one length scale and one amplitude, both unknown: squared-exponential, either alike all over the
  radius (and nothing on the axis, by symmetry), or ``r`` times alike all over the area, so that zones grow
  narrower towards the rim. Length scales from 6% to 25% of the radius (of the area) are possible; in the
  logarithm, long ones are likelier as length to the power 3.5. The amplitude is log-normal about the slope
  that sends light one Airy radius aside, one sigma a factor of 4.5. What the readings say of length and
  amplitude comes from their marginal likelihood, and what they leave open stays open: the answers of all
  pairs are averaged with their weights;
* fine zones that windows may not see, always possible: 8% of the radius long, 0.8 of that Airy slope;
* a rim that goes its own way, always possible: worked glass turns down or up there within a few hundredths of the radius,
  which no window resolves. At the rim 12 of those Airy slopes or, less likely beforehand, 45 (an edge that is badly
  turned), fading inwards and changing over 5% of the radius; the readings weigh the two like lengths and amplitudes.

Why long ones are likelier: seven differences of eight windows hardly tell a length from its third, and short
ones, were they as likely, would take half the weight of a smooth surface and bend it between the windows and
at the rim. What is really narrow still speaks for itself, and where it does not, the fine zones keep it possible.

The numbers were settled by trial on invented surfaces, so that readings without noise come back within 2 nm
and a 90% band holds 85-95% of the truth (tests/knifeedge/test_round_trip.py); none is taken from any one
mirror.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from itertools import product

import numpy as np
from numpy.typing import ArrayLike, NDArray

from wearsim.figure.aperture import ClearAperture
from wearsim.figure.conic import MirrorGeometry
from wearsim.kernels.arrays import Floats
from wearsim.knifeedge.longitudinal import Source, Zones, airy_radius, slope_response, zone_readings
from wearsim.knifeedge.setting_noise import SettingNoise

NEGLIGIBLE = 1e-7
"""Share of the weight below which a candidate is left out."""
LEAST_LOG_WEIGHT = -100.0


@dataclass(frozen=True, slots=True)
class SlopePrior:
    """The numbers of the prior, every one stated.

    Attributes
    ----------
    lengths : tuple of float
        Length scales that are possible, as a share of the radius or of the area [1].
    length_power : float
        A length scale is as likely beforehand as its power of this [1].
    amplitude_steps : tuple of float
        Amplitudes that are possible, in sigmas of the log-normal [1].
    amplitude_factor : float
        One sigma of the amplitude, as a factor [1].
    conic_sigma : float
        Standard deviation of the change of the conic constant [1].
    fine_length, fine_amplitude : float
        Length of the fine zones as a share of the radius, and their slope in Airy slopes [1].
    rim_length : float
        The same length of the rim's own slope [1].
    rim_amplitudes, rim_shares : tuple of float
        Slopes at the rim that are possible, in Airy slopes, and how likely each is beforehand [1].
    """

    lengths: tuple[float, ...] = (0.06, 0.08, 0.106, 0.141, 0.188, 0.25)
    length_power: float = 3.5
    amplitude_steps: tuple[float, ...] = tuple(np.linspace(-2.5, 2.5, 13).tolist())
    amplitude_factor: float = 4.5
    conic_sigma: float = 5.0
    fine_length: float = 0.08
    fine_amplitude: float = 0.8
    rim_length: float = 0.05
    rim_amplitudes: tuple[float, ...] = (12.0, 45.0)
    rim_shares: tuple[float, ...] = (0.88, 0.12)


@dataclass(frozen=True, eq=False)
class PriorMatrices:
    """Covariances of readings (q) and levelled profile (p) under one part of the prior, amplitude 1.

    Attributes
    ----------
    readings : ndarray, shape (n, n)
        [m^2]
    cross : ndarray, shape (m, n)
        [m^2]
    profile : ndarray, shape (m, m)
        [m^2]
    """

    readings: Floats
    cross: Floats
    profile: Floats


@dataclass(frozen=True, eq=False)
class ReadingModel:
    """Everything that depends on mirror and mask alone: build once, reduce many sheets.

    Parameters
    ----------
    zones : Zones
        Where it is read.
    geometry : MirrorGeometry
        Of the mirror.
    wavelength : float
        [m]
    source : {"moving", "fixed"}
        Whether the source moves with the knife.
    radius : ndarray, shape (m,)
        Where the profile is wanted, from 0 to the glass's radius [m].
    prior : SlopePrior
        What is believed beforehand.
    """

    zones: Zones
    geometry: MirrorGeometry
    wavelength: float
    source: Source
    radius: Floats
    prior: SlopePrior = field(default_factory=SlopePrior)
    aperture: ClearAperture = field(init=False, repr=False)
    rims: tuple[PriorMatrices, ...] = field(init=False, repr=False)
    parts: tuple[PriorMatrices, ...] = field(init=False, repr=False)

    def __post_init__(self) -> None:
        put = object.__setattr__  # frozen: these follow from the fields above
        put(self, "aperture", self.geometry.clear_aperture(self.radius))
        at, to_readings, to_profile = self._operators()
        x = at / self.geometry.radius
        trend = self.prior.conic_sigma * at**3 / (2.0 * self.geometry.radius_of_curvature**3)
        fine = (self.prior.fine_amplitude * self.airy_slope) ** 2 * _odd(x, self.prior.fine_length)
        fade = np.exp(-(1.0 - x) / self.prior.rim_length)
        rim = np.outer(fade, fade) * _even(x, self.prior.rim_length)
        sizes = [(amplitude * self.airy_slope) ** 2 for amplitude in self.prior.rim_amplitudes]
        always = np.outer(trend, trend) + fine
        area = np.outer(x, x)
        kernels = [_odd(x, length) for length in self.prior.lengths]
        kernels += [area * _even(x**2, length) for length in self.prior.lengths]
        put(self, "rims", tuple(_matrices(always + size * rim, to_readings, to_profile) for size in sizes))
        put(self, "parts", tuple(_matrices(kernel, to_readings, to_profile) for kernel in kernels))

    @property
    def airy_slope(self) -> float:
        """Slope error that sends light one Airy radius aside: ``rho / R`` [1]."""
        return airy_radius(self.geometry, self.wavelength) / self.geometry.radius_of_curvature

    @property
    def amplitudes(self) -> Floats:
        """Slope amplitudes that are possible [1]."""
        steps = np.asarray(self.prior.amplitude_steps)
        return np.asarray(self.airy_slope * self.prior.amplitude_factor**steps, dtype=float)

    @property
    def lengths(self) -> Floats:
        """Length scale of each part, as a share of the radius (first half) or of the area [1]."""
        return np.asarray(self.prior.lengths * 2, dtype=float)

    def _operators(self) -> tuple[Floats, Floats, Floats]:
        """Slope nodes, and the matrices from the slope there to readings and to the levelled profile."""
        seen, weights = self.zones.nodes()
        between, to_height = cumulative(self.radius)
        response = slope_response(seen, self.geometry, self.source)
        count, width = seen.shape
        to_readings = np.zeros((count, count * width + between.size))
        for zone in range(count):
            to_readings[zone, zone * width : (zone + 1) * width] = weights[zone] * response[zone]
        to_profile = np.zeros((self.radius.size, to_readings.shape[1]))
        to_profile[:, count * width :] = self.aperture.levelling_matrix() @ to_height
        return np.concatenate([seen.ravel(), between]), to_readings, to_profile


def cumulative(radius: ArrayLike) -> tuple[Floats, Floats]:
    """Nodes (2 (m - 1),) between the radii (m,), and the matrix (m, 2 (m - 1)) that integrates up to each of them [m]."""
    r = np.asarray(radius, dtype=float)
    half = 0.5 * np.diff(r)
    middle = 0.5 * (r[1:] + r[:-1])
    offset = half / np.sqrt(3.0)
    nodes = np.stack([middle - offset, middle + offset], axis=1).ravel()
    steps = np.repeat(half, 2)
    interval = np.repeat(np.arange(half.size), 2)
    matrix = np.where(np.arange(r.size)[:, None] > interval[None, :], steps, 0.0)
    return nodes, matrix


def _even(x: Floats, length: float) -> Floats:
    return np.asarray(np.exp(-0.5 * ((x[:, None] - x[None, :]) / length) ** 2), dtype=float)


def _odd(x: Floats, length: float) -> Floats:
    """The even one with its mirror image taken away: the slope of a round surface is nothing on the axis."""
    return np.asarray(_even(x, length) - np.exp(-0.5 * ((x[:, None] + x[None, :]) / length) ** 2), dtype=float)


def _matrices(kernel: Floats, to_readings: Floats, to_profile: Floats) -> PriorMatrices:
    seen = kernel @ to_readings.T
    return PriorMatrices(to_readings @ seen, to_profile @ seen, to_profile @ kernel @ to_profile.T)


@dataclass(frozen=True, eq=False)
class SlopePosterior:
    """The profile that readings leave possible.

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
    """Hyperparameters flattened: rim, part, amplitude, sigma, and the log prior of each, shape (c,)."""

    rim: NDArray[np.intp]
    part: NDArray[np.intp]
    amplitude: Floats
    sigma: Floats
    prior: Floats


def reduce_row(model: ReadingModel, row: SettingNoise, steps: int = 3) -> SlopePosterior:
    """Figure error and its covariance from one row of readings.

    The exact model is not quite linear in the slope error; each step reads the profile found so far
    exactly, and the rest of the readings is explained again.

    Parameters
    ----------
    model : ReadingModel
        Mirror, mask and prior.
    row : SettingNoise
        The sheet, reduced.
    steps : int
        Most repetitions of the exact reading.
    """
    solver = RowSolver(model, row)
    departure = row.mean - _read(model, np.zeros(model.radius.size))
    solution = solver.solve(departure)
    for _ in range(steps - 1):
        curved = _read(model, solution.error) - _read(model, np.zeros_like(solution.error)) - solution.explained
        next_solution = solver.solve(departure - curved)
        converged = np.max(np.abs(next_solution.error - solution.error)) < 1e-12
        solution = next_solution
        if converged:
            break
    weight = row.shape**-2.0
    residual = row.mean - _read(model, solution.error)
    return SlopePosterior(
        error=solution.error,
        covariance=solver.covariance(solution),
        zero=float(weight @ residual / weight.sum()),
        supported=solution.supported,
        length=float(np.exp(solution.weight @ np.log(model.lengths[solver.candidates.part]))),
        amplitude=float(np.exp(solution.weight @ np.log(solver.candidates.amplitude))),
        setting=float(np.exp(solution.weight @ np.log(solver.candidates.sigma))),
    )


def _read(model: ReadingModel, error: Floats) -> Floats:
    return zone_readings(model.zones, model.radius, error, model.geometry, model.source)


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
    model : ReadingModel
        Mirror, mask and prior.
    row : SettingNoise
        Shape, share and possible sigmas of the noise.
    """

    def __init__(self, model: ReadingModel, row: SettingNoise) -> None:
        self.model = model
        self.candidates = _candidates(model, row)
        count = len(model.zones)
        # orthonormal differences: the free zero of the row drops out
        self.differences = np.linalg.svd(np.ones((1, count)))[2][1:]
        square = self.candidates.amplitude**2
        parts = np.stack([part.readings for part in model.parts])
        rims = np.stack([rim.readings for rim in model.rims])
        self.signal = square[:, None, None] * parts[self.candidates.part] + rims[self.candidates.rim]
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
        crosses = np.stack([part.cross for part in self.model.parts])
        square = self.candidates.amplitude**2
        means = np.empty((square.size, self.model.radius.size))
        for number, rim in enumerate(self.model.rims):
            of_rim = self.candidates.rim == number
            means[of_rim] = dual[of_rim] @ rim.cross.T
        for part, cross in enumerate(crosses):
            of_part = self.candidates.part == part
            means[of_part] += square[of_part, None] * (dual[of_part] @ cross.T)
        explained = weight @ (self.signal @ dual[:, :, None])[:, :, 0]
        smoother = self._inverse @ self.differences
        trace = ((smoother @ self.signal) * smoother).sum(axis=(1, 2))
        return Solution(weight, means, weight @ means, explained, float(weight @ trace))

    def covariance(self, solution: Solution) -> Floats:
        """Covariance of the profile over all candidates, shape (m, m) [m^2]."""
        model, weight = self.model, solution.weight
        square = self.candidates.amplitude**2
        total = np.zeros((model.radius.size, model.radius.size))
        gains = []
        for (part, matrices), (number, rim) in product(enumerate(model.parts), enumerate(model.rims)):
            chosen = (self.candidates.part == part) & (self.candidates.rim == number)
            of_part = np.flatnonzero(chosen & (weight > 0.0))
            if of_part.size == 0:
                continue
            total += float(weight[of_part] @ square[of_part]) * matrices.profile
            total += float(weight[of_part].sum()) * rim.profile
            cross = square[of_part, None, None] * matrices.cross + rim.cross
            gain = cross @ self.differences.T @ self._inverse[of_part].transpose(0, 2, 1)
            gains.append(np.sqrt(weight[of_part])[:, None, None] * gain)
        side = np.concatenate(gains).transpose(1, 0, 2).reshape(total.shape[0], -1)
        deviations = np.sqrt(weight)[:, None] * (solution.means - solution.error)
        total += deviations.T @ deviations - side @ side.T
        return np.asarray(0.5 * (total + total.T), dtype=float)


def _candidates(model: ReadingModel, row: SettingNoise) -> _Candidates:
    steps = np.asarray(model.prior.amplitude_steps)
    rim, part, step, sigma = np.meshgrid(
        np.arange(len(model.rims)), np.arange(len(model.parts)), np.arange(steps.size), np.arange(row.scales.size),
        indexing="ij",
    )  # fmt: skip
    return _Candidates(
        rim=rim.ravel(),
        part=part.ravel(),
        amplitude=model.amplitudes[step.ravel()],
        sigma=row.scales[sigma.ravel()],
        prior=-0.5 * steps[step.ravel()] ** 2
        + row.weights[sigma.ravel()]
        + np.log(model.prior.rim_shares)[rim.ravel()]
        + model.prior.length_power * np.log(model.lengths[part.ravel()]),
    )
