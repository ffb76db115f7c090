"""What is believed of a mirror's slope errors before it is read.

The slope error ``e'(r)`` is a Gaussian process made of

* a change of the conic constant, ``dK r^3 / (2 R^3)``, of standard deviation 5;
* zones of one length scale and one amplitude, both unknown: squared-exponential, either alike all over the
  radius (and nothing on the axis, by symmetry), or ``r`` times alike all over the area, so that zones grow
  narrower towards the rim. Length scales from 6 % to 25 % of the radius (of the area) are possible; in the
  logarithm, long ones are likelier as length to the power 3.5. The amplitude is log-normal about the slope
  that sends light one Airy radius aside, one sigma a factor of 4.5. What the readings say of length and
  amplitude comes from their marginal likelihood, and what they leave open stays open: the answers of all
  pairs are averaged with their weights;
* fine zones that windows may not see, always possible: 8 % of the radius long, 0.8 of that Airy slope.

Why long ones are likelier: seven differences of eight windows hardly tell a length from its third, and short
ones, were they as likely, would take half the weight of a smooth surface and bend it between the windows and
at the rim. What is really narrow still speaks for itself, and where it does not, the fine zones keep it possible.

The numbers were settled by trial on invented surfaces, so that readings without noise come back within 2 nm
and a 90 % band holds 85-95 % of the truth (tests/knifeedge/test_round_trip.py); none is taken from any one
mirror.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import ArrayLike, NDArray

from wearsim.figure.aperture import ClearAperture
from wearsim.knifeedge.longitudinal import Source, airy_radius, slope_response
from wearsim.knifeedge.zones import Zones

Floats = NDArray[np.float64]


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
    """

    lengths: tuple[float, ...] = (0.06, 0.08, 0.106, 0.141, 0.188, 0.25)
    length_power: float = 3.5
    amplitude_steps: tuple[float, ...] = tuple(np.linspace(-2.5, 2.5, 13).tolist())
    amplitude_factor: float = 4.5
    conic_sigma: float = 5.0
    fine_length: float = 0.08
    fine_amplitude: float = 0.8


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

    def __add__(self, other: PriorMatrices) -> PriorMatrices:
        return PriorMatrices(
            self.readings + other.readings, self.cross + other.cross, self.profile + other.profile
        )


@dataclass(frozen=True, eq=False)
class ReadingGeometry:
    """Everything that depends on mirror and mask alone: build once, reduce many sheets.

    Parameters
    ----------
    zones : Zones
        Where it is read.
    radius_of_glass : float
        [m]
    radius_of_curvature : float
        [m]
    conic : float
        Of the target [1].
    inner, outer : float
        Clear annulus [m].
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
    radius_of_glass: float
    radius_of_curvature: float
    conic: float
    inner: float
    outer: float
    wavelength: float
    source: Source
    radius: Floats
    prior: SlopePrior = field(default_factory=SlopePrior)
    aperture: ClearAperture = field(init=False, repr=False)
    fixed: PriorMatrices = field(init=False, repr=False)
    parts: tuple[PriorMatrices, ...] = field(init=False, repr=False)

    def __post_init__(self) -> None:
        put = object.__setattr__  # frozen: these follow from the fields above
        put(self, "aperture", ClearAperture(self.radius, self.inner, self.outer))
        at, to_readings, to_profile = self._operators()
        x = at / self.radius_of_glass
        airy = self.airy_slope
        trend = self.prior.conic_sigma * at**3 / (2.0 * self.radius_of_curvature**3)
        fine = (self.prior.fine_amplitude * airy) ** 2 * _odd(x, self.prior.fine_length)
        fixed = _matrices(np.outer(trend, trend) + fine, to_readings, to_profile)
        area = np.outer(x, x)
        kernels = [_odd(x, length) for length in self.prior.lengths]
        kernels += [area * _even(x**2, length) for length in self.prior.lengths]
        put(self, "fixed", fixed)
        put(self, "parts", tuple(_matrices(kernel, to_readings, to_profile) for kernel in kernels))

    @property
    def airy_slope(self) -> float:
        """Slope error that sends light one Airy radius aside: ``rho / R`` [1]."""
        diameter = 2.0 * self.radius_of_glass
        return airy_radius(diameter, self.radius_of_curvature, self.wavelength) / self.radius_of_curvature

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
        response = slope_response(seen, self.radius_of_curvature, self.conic, self.source)
        count, width = seen.shape
        to_readings = np.zeros((count, count * width + between.size))
        for zone in range(count):
            to_readings[zone, zone * width : (zone + 1) * width] = weights[zone] * response[zone]
        to_profile = np.zeros((self.radius.size, to_readings.shape[1]))
        to_profile[:, count * width :] = self.aperture.levelling_matrix() @ to_height
        return np.concatenate([seen.ravel(), between]), to_readings, to_profile


def cumulative(radius: ArrayLike) -> tuple[Floats, Floats]:
    """Nodes between the radii, and the matrix that integrates from the first radius up to each.

    Returns
    -------
    nodes : ndarray, shape (2 (m - 1),)
        [m]
    matrix : ndarray, shape (m, 2 (m - 1))
        [m]
    """
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
    return np.asarray(
        _even(x, length) - np.exp(-0.5 * ((x[:, None] + x[None, :]) / length) ** 2), dtype=float
    )


def _matrices(kernel: Floats, to_readings: Floats, to_profile: Floats) -> PriorMatrices:
    seen = kernel @ to_readings.T
    return PriorMatrices(to_readings @ seen, to_profile @ seen, to_profile @ kernel @ to_profile.T)
