"""What a figure error is judged by (physics section 7): its numbers, its ripple, and the band of a sample of them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from wearsim.figure.aperture import ClearAperture, annulus_nodes, matrix_product, spline_matrix
from wearsim.figure.conic import Conic, MirrorGeometry
from wearsim.kernels.arrays import Floats

EDGE_RING = (0.98, 1.0)
EDGE_RUN = (0.80, 0.96)
INNER = 0.80
"""Share of the clear radius that the rim's height is counted from."""
WIDEST = 0.5
"""How far in from the clear radius the rim's width is looked for, over that radius."""
WIDTH_STEPS = 250
NINE_IN_TEN = (5.0, 95.0)
"""The percentiles of a band [%]."""
LEAST_DRAWS = 19
"""With fewer draws than this a band is the sample's extremes, and holds less than nine cases in ten."""


@dataclass(frozen=True, slots=True)
class FigureNumbers:
    """What a surface is worth, over the clear aperture.

    Attributes
    ----------
    surface_rms, surface_pv : float
        Of the figure error, surface height [m].
    wavefront_rms_waves, wavefront_pv_waves : float
        Twice that, in wavelengths [1].
    strehl : float
        Exact pupil integral at the focus of the least-squares fit [1].
    conic_fit : float
        Conic constant that fits the height best, radius of curvature and piston free [1].
    edge_roll : float
        Rim against the slope just inside it, continued out to the rim; negative = turned down [m of surface].
    rim_height : float
        Rim above the sphere that fits the inner 80% of the radius best; negative = turned down [m of surface].
    rim_width : float
        How far in from the clear radius half of that is reached; 0 where the rim has no width of its own [m].
    """

    surface_rms: float
    surface_pv: float
    wavefront_rms_waves: float
    wavefront_pv_waves: float
    strehl: float
    conic_fit: float
    edge_roll: float
    rim_height: float
    rim_width: float


class FigureGauge:
    """Takes heights on one grid to their numbers, fast: everything that does not change is kept.

    Parameters
    ----------
    radius : array_like, shape (n,)
        Increasing radii [m].
    geometry : MirrorGeometry
        Target conic and clear annulus.
    wavelength : float
        [m]

    Raises
    ------
    ValueError
        Radii that do not increase, an annulus that is empty or narrower than the edge roll needs, or a
        wavelength that is not positive.
    """

    def __init__(self, radius: ArrayLike, geometry: MirrorGeometry, wavelength: float) -> None:
        if not wavelength > 0.0:
            raise ValueError(f"the wavelength must be positive, not {wavelength:g} m")
        self.aperture = geometry.clear_aperture(radius)
        self.geometry, self.wavelength = geometry, float(wavelength)
        self._departure = geometry.departure(self.aperture.radius)
        self._departure_nodes = geometry.departure(self.aperture.nodes)
        inner, outer = geometry.hole_radius, geometry.clear_radius
        self._edge = edge_roll_weights(self.aperture.radius, inner, outer)
        self._inwards = outer - np.linspace(0.0, WIDEST * outer, WIDTH_STEPS)
        self._rim, self._above = rim_weights(self.aperture.radius, inner, outer, self._inwards)

    def error(self, height: ArrayLike) -> Floats:
        """Figure error ``(n,)`` of a height above the reference sphere ``(n,)``, piston and bowl taken out [m]."""
        return self.aperture.level(np.asarray(height, dtype=float) - self._departure)

    def strehl(self, error: ArrayLike) -> float:
        """Strehl ratio of a levelled figure error ``(n,)`` [m]: ``|<exp(i 4 pi error / wavelength)>|^2`` [1].

        The pupil integral itself, no approximation for small errors.
        """
        phase = (4.0 * np.pi / self.wavelength) * matrix_product(self.aperture.matrix, error)
        weights = self.aperture.weights
        return float((weights * np.cos(phase)).sum() ** 2 + (weights * np.sin(phase)).sum() ** 2)

    def edge_roll(self, error: ArrayLike) -> float:
        """Edge roll of a figure error ``(n,)`` [m], whatever piston and r^2 are in it; negative = turned down [m]."""
        return float((self._edge * np.asarray(error, dtype=float)).sum())

    def rim_height(self, error: ArrayLike) -> float:
        """Height of the rim above the sphere that fits the inner 80% of a figure error ``(n,)`` [m]; negative = down [m].

        A broad turn-down, which the run just inside the rim shares, shows here.
        """
        return float((self._rim * np.asarray(error, dtype=float)).sum())

    def rim_width(self, error: ArrayLike) -> float:
        """How far in from the clear radius half of :meth:`rim_height` is reached; at most half of that radius [m].

        0 for no width: where the rim has no height, or something inside it stands farther from that sphere than it does, as
        where the rim passes from up to down.
        """
        height, away = self.rim_height(error), matrix_product(self._above, error)
        inside = self._inwards < EDGE_RING[0] * self._inwards[0]
        if not height or np.abs(away[inside]).max() > abs(height) * (1.0 + 1e-9):
            return 0.0
        above = away * np.sign(height) - 0.5 * abs(height)
        under = np.flatnonzero(above <= 0.0)
        if not under.size:
            return float(self._inwards[0] - self._inwards[-1])
        at = int(under[0])
        if at == 0:
            return 0.0
        part = above[at - 1] / (above[at - 1] - above[at])
        return float((at - 1 + part) * (self._inwards[0] - self._inwards[1]))

    def conic_fit(self, height: ArrayLike) -> float:
        """Best-fit conic constant of a height above the reference sphere ``(n,)`` [m]."""
        raw = matrix_product(self.aperture.matrix, np.asarray(height, dtype=float) - self._departure)
        return fit_conic(self.aperture, raw + self._departure_nodes, self.geometry)[0]

    def numbers(self, height: ArrayLike) -> FigureNumbers:
        """All of the figure's numbers for one height above the reference sphere ``(n,)`` [m]."""
        error = self.error(height)
        rms, pv = self.aperture.rms(error), self.aperture.peak_to_valley(error)
        return FigureNumbers(
            surface_rms=rms,
            surface_pv=pv,
            wavefront_rms_waves=2.0 * rms / self.wavelength,
            wavefront_pv_waves=2.0 * pv / self.wavelength,
            strehl=self.strehl(error),
            conic_fit=self.conic_fit(height),
            edge_roll=self.edge_roll(error),
            rim_height=self.rim_height(error),
            rim_width=self.rim_width(error),
        )


def figure_numbers(radius: ArrayLike, height: ArrayLike, geometry: MirrorGeometry, wavelength: float) -> FigureNumbers:
    """Numbers of one height above the reference sphere; for many, keep a :class:`FigureGauge`.

    Parameters
    ----------
    radius, height : array_like, shape (n,)
        Increasing radii and the height ``w`` of the glass above the reference sphere [m].
    geometry : MirrorGeometry
        Target conic and clear annulus.
    wavelength : float
        [m]

    Returns
    -------
    FigureNumbers
        Over the clear annulus.

    Raises
    ------
    ValueError
        As :class:`FigureGauge`.
    """
    return FigureGauge(radius, geometry, wavelength).numbers(height)


def fit_conic(aperture: ClearAperture, height_at_nodes: Floats, target: Conic) -> tuple[float, float]:
    """Conic constant [1] and radius of curvature [m] that fit a height best, by area, piston free.

    Gauss-Newton on the exact conic formula from the target on; the problem is all but linear, three steps reach
    rounding. A step that would leave the conics that reach the rim is cut short: then the fit ends at their limit.

    Parameters
    ----------
    height_at_nodes : ndarray, shape (m,)
        Height above the target's reference sphere at the aperture's nodes [m].
    """
    conic, added = float(target.conic), 0.0
    weight = np.sqrt(aperture.weights)
    for _ in range(12):
        trial = Conic(target.radius_of_curvature, conic)
        gap = height_at_nodes - trial.departure(aperture.nodes, added)
        by_curvature, by_conic = trial.derivatives(aperture.nodes, added)
        columns = np.stack([np.ones_like(by_conic), by_curvature, by_conic], axis=1) * weight[:, None]
        scale = np.sqrt(np.einsum("ij,ij->j", columns, columns))
        step = np.linalg.lstsq(columns / scale, gap * weight, rcond=None)[0] / scale
        while not _reaches(target, conic + float(step[2]), added + float(step[1]), aperture.outer):
            step *= 0.5
        added, conic = added + float(step[1]), conic + float(step[2])
        if abs(step[2]) < 1e-10 * (1.0 + abs(conic)):
            break
    return conic, 1.0 / (1.0 / target.radius_of_curvature + added)


def _reaches(target: Conic, conic: float, added: float, radius: float) -> bool:
    """Whether the conic of this constant, and of so much more curvature [1/m], reaches a radius [m], and not steeply."""
    curvature = 1.0 / target.radius_of_curvature + added
    return (1.0 + conic) * (curvature * radius) ** 2 < 1.0 - 1e-6 and abs(curvature * radius) < 1e3


def edge_roll_weights(radius: Floats, inner: float, outer: float) -> Floats:
    """Weights, one a radius, whose product with a profile is its edge roll (physics section 7).

    The area mean over 0.98-1 of the clear radius, less the same of the straight line in ``r^2`` fitted by
    area over 0.80-0.96 of it.

    Returns
    -------
    ndarray, shape (n,)
        [1]
    """
    run_inner = max(EDGE_RUN[0] * outer, inner)
    if run_inner >= EDGE_RUN[1] * outer:
        raise ValueError("the hole reaches too far out for an edge roll to mean anything")
    rim_nodes, rim_weights = annulus_nodes(radius, EDGE_RING[0] * outer, EDGE_RING[1] * outer)
    run_nodes, run_weights = annulus_nodes(radius, run_inner, EDGE_RUN[1] * outer)
    middle = run_weights @ run_nodes**2
    slope_weights = run_weights * (run_nodes**2 - middle)
    slope_weights /= slope_weights @ run_nodes**2
    line = run_weights + (rim_weights @ rim_nodes**2 - middle) * slope_weights
    return np.asarray(
        rim_weights @ spline_matrix(radius, rim_nodes) - line @ spline_matrix(radius, run_nodes), dtype=float
    )


def rim_weights(radius: Floats, inner: float, outer: float, at: Floats) -> tuple[Floats, Floats]:
    """What takes a profile to the height of its rim, and of the radii ``at``, above the sphere that fits it inside.

    Piston and ``r^2`` fitted by area from the hole's rim to 0.80 of the clear radius; the rim is the area mean over 0.98-1.

    Returns
    -------
    ndarray, shape (n,), ndarray, shape (m, n)
        [1]
    """
    rim_nodes, rim_share = annulus_nodes(radius, EDGE_RING[0] * outer, EDGE_RING[1] * outer)
    nodes, share = annulus_nodes(radius, min(inner, 0.9 * INNER * outer), INNER * outer)
    middle = share @ nodes**2
    bowl = share * (nodes**2 - middle)
    bowl /= bowl @ nodes**2
    inside = spline_matrix(radius, nodes)
    level, slope = share @ inside, bowl @ inside
    above = spline_matrix(radius, at) - level - np.outer(at**2 - middle, slope)
    rim = rim_share @ spline_matrix(radius, rim_nodes) - level - (rim_share @ rim_nodes**2 - middle) * slope
    return np.asarray(rim, dtype=float), np.asarray(above, dtype=float)


@dataclass(frozen=True)
class RippleSpectrum:
    """Amplitudes of waves along the radius: what channels print on a round profile.

    Parameters
    ----------
    frequency : ndarray, shape (k,)
        Spatial frequency [1/m].
    amplitude : ndarray, shape (k,)
        Amplitude of a wave of this frequency [m].
    rms : float
        RMS along the radius of what the smooth figure leaves [m].
    """

    frequency: Floats
    amplitude: Floats
    rms: float

    @property
    def strongest(self) -> tuple[float, float]:
        """Period [m] and amplitude [m] of the strongest wave."""
        at = int(np.argmax(self.amplitude))
        return 1.0 / float(self.frequency[at]), float(self.amplitude[at])


def ripple_spectrum(
    radius: Floats, height: Floats, inner: float, outer: float, *, smooth_terms: int = 5, samples: int = 512
) -> RippleSpectrum:
    """Spectrum of a profile ``(n,)`` [m] between two radii [m], its smooth figure taken off.

    Through a raised-cosine window, scaled so that a wave of amplitude ``A`` reads ``A``.

    Parameters
    ----------
    smooth_terms : int
        Powers of ``r^2``, from 0, that count as figure and not as ripple.
    samples : int
        Even steps that the profile is read at.

    Raises
    ------
    ValueError
        If the annulus is empty.
    """
    if not inner < outer:
        raise ValueError(f"the annulus from {inner} m to {outer} m is empty")
    # slow to import, and of use to the planar engine alone
    from scipy.interpolate import CubicSpline

    at = np.linspace(inner, outer, samples, endpoint=False) + 0.5 * (outer - inner) / samples
    values = CubicSpline(radius, height)(at)
    powers = np.polynomial.chebyshev.chebvander(
        2.0 * (at**2 - inner**2) / (outer**2 - inner**2) - 1.0, smooth_terms - 1
    )
    left = values - powers @ np.linalg.lstsq(powers, values, rcond=None)[0]
    window = 0.5 - 0.5 * np.cos(2.0 * np.pi * (np.arange(samples) + 0.5) / samples)
    spectrum = np.asarray(np.abs(np.fft.rfft(left * window)) * 2.0 / window.sum(), dtype=np.float64)
    frequency = np.asarray(np.fft.rfftfreq(samples, (outer - inner) / samples), dtype=np.float64)
    return RippleSpectrum(frequency[1:-1], spectrum[1:-1], float(np.sqrt(np.mean(left**2))))


def percentiles(sample: ArrayLike, shares: Sequence[float] = NINE_IN_TEN) -> NDArray[Any]:
    """Percentiles of a sample, such that a further case lies below each with just that chance.

    The share ``p`` is taken at place ``p (n + 1)`` of the ordered draws, between them in proportion (E. J. Gumbel,
    *Statistics of Extremes*, 1958, from memory): of ``n`` draws and one further case, all alike, each of the ``n + 1``
    places is as likely. So the band of 19 draws holds 90% of such cases and that of 32 holds 91%; at the place
    ``p (n - 1) + 1``, which is usual, they hold 82 and 85%.

    Parameters
    ----------
    sample : array_like, shape (n, ...)
        One draw a row.
    shares : sequence of float
        [%]

    Returns
    -------
    ndarray, shape (shares, ...)
        For a share beyond what ``n`` draws reach (5 and 95 of fewer than 19), the least or the largest of them.
    """
    return np.asarray(np.percentile(np.asarray(sample, dtype=float), shares, axis=0, method="weibull"))
