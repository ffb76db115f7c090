"""The figure of a map: error over the clear aperture, its low terms, and profiles (physics section 7)."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np

from wearsim.errors import InputError
from wearsim.figure.conic import MirrorGeometry
from wearsim.figure.metrics import RippleSpectrum, ripple_spectrum
from wearsim.figure.zernike import ZernikeAstigmatism, fit_zernike, zernike_astigmatism, zernike_sum
from wearsim.kernels.arrays import Floats
from wearsim.kernels.planar_grid import GlassGrid
from wearsim.wear.planar import grid as grids

TERMS = {"coma": (7, 8), "trefoil": (6, 9)}
"""Pairs of Zernike terms, by single index, that make one amplitude."""


@dataclass(frozen=True, eq=False)
class MapFigure:
    """The figure of one map.

    Parameters
    ----------
    zernike : ndarray, shape (28,)
        Coefficients over the clear aperture in ISO 24157's order [m].
    rms, peak_to_valley : float
        Over the clear aperture [m].
    """

    zernike: Floats
    rms: float
    peak_to_valley: float

    @property
    def astigmatism(self) -> ZernikeAstigmatism:
        """Astigmatism of the surface [m]."""
        return zernike_astigmatism(self.zernike)


@dataclass(frozen=True, eq=False)
class MapsOfRun:
    """The glass of a run on maps: what people read of it.

    Parameters
    ----------
    before, after : ndarray, shape (n, n)
        Figure error (:meth:`MapGauge.error`) [m].
    removal : ndarray, shape (n, n)
        Glass removed, zero where there is none [m].
    figures : tuple of MapFigure
        At the start and after each spell.
    ripple : RippleSpectrum
        Of the removal.
    """

    glass: GlassGrid
    before: Floats
    after: Floats
    removal: Floats
    figures: tuple[MapFigure, ...]
    ripple: RippleSpectrum

    @property
    def covered(self) -> Floats:
        """Share of each cell that is glass ``(n, n)`` [1]."""
        return np.asarray(self.glass.area / grids.cell_of(self.glass) ** 2)

    @property
    def maps(self) -> dict[str, Floats]:
        """Everything on the mirror's grid, with its coordinates, and spectra."""
        terms = np.array([figure.zernike for figure in self.figures])
        return {
            "x": self.glass.across,
            "y": self.glass.across,
            "before": self.before,
            "after": self.after,
            "removal": self.removal,
            "glass": self.covered,
            "zernike_index": np.arange(terms.shape[1], dtype=np.float64),
            "zernike": terms,
            "ripple_frequency": self.ripple.frequency,
            "ripple_amplitude": self.ripple.amplitude,
        }

    @property
    def details(self) -> dict[str, float]:
        """Numbers of the maps, SI units in their names."""
        ends = {"before": self.figures[0], "after": self.figures[-1]}
        found = {f"zernike_{j}_m": float(value) for j, value in enumerate(ends["after"].zernike)}
        for name, figure in ends.items():
            found[f"astigmatism_{name}_m"] = figure.astigmatism.amplitude
            found[f"astigmatism_axis_{name}_rad"] = figure.astigmatism.axis
            found[f"map_rms_{name}_m"] = figure.rms
            found[f"map_pv_{name}_m"] = figure.peak_to_valley
        for term, index in TERMS.items():
            for name, figure in ends.items():
                found[f"{term}_{name}_m"] = float(np.hypot(*figure.zernike[list(index)]))
        for number, figure in enumerate(self.figures[1:], start=1):
            found[f"astigmatism_after_spell_{number}_m"] = figure.astigmatism.amplitude
        found["removal_most_m"] = float(self.removal[self.covered > 0.5].max())
        period, amplitude = self.ripple.strongest
        return found | {
            "ripple_rms_m": self.ripple.rms, "ripple_period_m": period, "ripple_amplitude_m": amplitude,
        }  # fmt: skip


class MapGauge:
    """Takes maps on one grid of the glass to their figure, and back.

    Parameters
    ----------
    geometry : MirrorGeometry
        Target conic and clear aperture; the hole is its inner rim.
    """

    def __init__(self, geometry: MirrorGeometry, glass: GlassGrid) -> None:
        self.geometry, self.glass, self.size = geometry, glass, grids.cell_of(glass)
        self.rho = glass.distance / geometry.clear_radius
        self.azimuth = np.arctan2(glass.across[:, None], glass.across[None, :])

    @cached_property
    def clear_share(self) -> Floats:
        """Share of each cell that lies in the clear aperture [1]."""
        return grids.annulus(self.glass.across, self.glass.hole, self.geometry.clear_radius)

    def departure(self) -> Floats:
        """Target conic above the reference sphere, on the glass's grid and a little beyond [m]."""
        rim, most = self.glass.radius, self.geometry.radius_of_curvature / max(1.0, 1.0 + self.geometry.conic) ** 0.5
        return self.geometry.departure(np.minimum(self.glass.distance, min(rim + 4.0 * self.size, 0.5 * (rim + most))))

    def error(self, height: Floats) -> Floats:
        """Figure error of a map of heights above the reference sphere ``(n, n)`` [m].

        Height above the target conic, less the piston and ``r^2`` that fit it best over the clear aperture; positive =
        high; zero where the cell holds no glass ``(n, n)`` [m].
        """
        weight, square = self.clear_share, self.rho**2
        error = height - self.departure()
        basis = np.stack([np.ones(int((weight > 0).sum())), square[weight > 0]], axis=1)
        root = np.sqrt(weight[weight > 0])
        fit = np.linalg.lstsq(basis * root[:, None], error[weight > 0] * root, rcond=None)[0]
        return np.where(self.glass.area > 0.0, error - fit[0] - fit[1] * square, 0.0)

    def figure(self, height: Floats) -> MapFigure:
        """The figure of a map of heights above the reference sphere ``(n, n)`` [m]."""
        error, weight = self.error(height), self.clear_share
        inside = error[weight >= 0.5]
        return MapFigure(
            fit_zernike(error, self.rho, self.azimuth, weight),
            float(np.sqrt(np.sum(weight * error**2) / np.sum(weight))), float(inside.max() - inside.min()),
        )  # fmt: skip

    def height_of_terms(self, coefficients: Floats) -> Floats:
        """Glass whose figure error is this sum of Zernike terms over the clear aperture ``(n, n)`` [m]."""
        distance = np.minimum(self.glass.distance, self.glass.radius + 3.0 * self.size)
        return zernike_sum(coefficients, distance / self.geometry.clear_radius, self.azimuth) + self.departure()

    def height_of_map(self, error: Floats) -> Floats:
        """Glass with a measured map of figure error ``(k, k)`` over the diameter, row 0 at the least y [m].

        Raises
        ------
        InputError
            If it is not square, or has gaps on the glass.
        """
        count, glass = error.shape[0], self.glass
        if error.shape != (count, count) or count < 16:
            raise InputError("a height map must be square", value=str(error.shape), expected="at least 16 x 16")
        measured = grids.glass_of(glass.radius, glass.hole, grids.across_glass(glass.radius, count), 0.0, glass.fade)
        padded = np.pad(np.asarray(error, dtype=np.float64), grids.MARGIN, constant_values=np.nan)
        if not np.isfinite(padded[grids.used_cells(measured)]).all():
            raise InputError("the height map has gaps on the glass", expected="a number in every cell on the glass")
        # cells that the rim cuts are carried on from inside: what was measured there is half air
        whole = grids.carry_on(padded, measured)
        return grids.read_map(whole, measured.across, glass.across[None, :], glass.across[:, None]) + self.departure()

    def ripple(self, removal: Floats) -> RippleSpectrum:
        """Zonal ripple of a map: the spectrum of its mean over rings."""
        inner, outer = self.glass.hole, self.geometry.clear_radius
        radius = np.linspace(inner, outer, int(outer / self.size) * 2)
        return ripple_spectrum(radius, grids.ring_mean(removal, self.glass.across, radius), inner, outer)

    def through(self, first: Floats, last: Floats, figures: tuple[MapFigure, ...]) -> MapsOfRun:
        """What people read of heights at the start and at the end ``(n, n)`` [m], and of the figures of every stage."""
        removal = np.where(self.glass.area > 0.0, first - last, 0.0)
        return MapsOfRun(self.glass, self.error(first), self.error(last), removal, figures, self.ripple(first - last))
