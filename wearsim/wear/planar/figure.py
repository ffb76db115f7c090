"""The figure of a map: error over the clear aperture, its low terms, and profiles (physics section 7)."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from wearsim.errors import InputError
from wearsim.figure.conic import Conic
from wearsim.figure.metrics import RippleSpectrum, ripple_spectrum
from wearsim.figure.zernike import ZernikeAstigmatism, fit_zernike, zernike_astigmatism, zernike_sum
from wearsim.kernels.arrays import Floats
from wearsim.kernels.planar_grid import GlassGrid
from wearsim.wear.planar.grid import (
    MARGIN,
    across_glass,
    carry_on,
    glass_of,
    part_of_cells,
    read_map,
    ring_mean,
    used_cells,
)


@dataclass(frozen=True, eq=False)
class MapFigure:
    """The figure of one map.

    Parameters
    ----------
    error : ndarray, shape (n, n)
        Height above the target conic, less the piston and ``r^2`` that fit it best over the clear aperture;
        positive = high; nought where the cell holds no glass [m].
    zernike : ndarray, shape (28,)
        Coefficients over the clear aperture in ISO 24157's order [m].
    rms, peak_to_valley : float
        Over the clear aperture [m].
    """

    error: Floats
    zernike: Floats
    rms: float
    peak_to_valley: float

    @property
    def astigmatism(self) -> ZernikeAstigmatism:
        """Astigmatism of the surface [m]."""
        return zernike_astigmatism(self.zernike)


TERMS = {"coma": (7, 8), "trefoil": (6, 9)}
"""Pairs of Zernike terms, by single index, that make one amplitude."""


@dataclass(frozen=True, eq=False)
class MapsOfRun:
    """The glass of a run on maps: what people read of it.

    Parameters
    ----------
    removal : ndarray, shape (n, n)
        Glass removed, zero where there is none [m].
    figures : tuple of MapFigure
        At the start and after each spell.
    ripple : RippleSpectrum
        Of the removal.
    """

    glass: GlassGrid
    removal: Floats
    figures: tuple[MapFigure, ...]
    ripple: RippleSpectrum

    @property
    def covered(self) -> Floats:
        """Share of each cell that is glass ``(n, n)`` [1]."""
        return np.asarray(self.glass.area / float(self.glass.across[1] - self.glass.across[0]) ** 2)

    @property
    def maps(self) -> dict[str, Floats]:
        """Everything on the mirror's grid, with its coordinates, and spectra."""
        terms = np.array([figure.zernike for figure in self.figures])
        return {
            "x": self.glass.across,
            "y": self.glass.across,
            "before": self.figures[0].error,
            "after": self.figures[-1].error,
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


@dataclass(frozen=True)
class FigureFrame:
    """What the figure is referred to.

    Parameters
    ----------
    radius_of_curvature, conic : float
        Of the target [m], [1].
    clear_radius : float
        Outer radius of the clear aperture; the hole is its inner one [m].
    """

    radius_of_curvature: float
    conic: float
    clear_radius: float

    def departure(self, glass: GlassGrid) -> Floats:
        """Target conic above the reference sphere, on the glass's grid and a little beyond [m]."""
        beyond = glass.radius + 4.0 * float(glass.across[1] - glass.across[0])
        return Conic(self.radius_of_curvature, self.conic).departure(np.minimum(glass.distance, beyond))

    def clear_share(self, glass: GlassGrid) -> Floats:
        """Share of each cell that lies in the clear aperture [1]."""
        return part_of_cells(
            glass.across, lambda x, y: (x**2 + y**2 <= self.clear_radius**2) & (x**2 + y**2 >= glass.hole**2)
        )

    def figure(self, height: Floats, glass: GlassGrid) -> MapFigure:
        """The figure of a map of heights above the reference sphere ``(n, n)`` [m]."""
        weight = self.clear_share(glass)
        error = height - self.departure(glass)
        square = (glass.distance / self.clear_radius) ** 2
        basis = np.stack([np.ones(int((weight > 0).sum())), square[weight > 0]], axis=1)
        root = np.sqrt(weight[weight > 0])
        fit = np.linalg.lstsq(basis * root[:, None], error[weight > 0] * root, rcond=None)[0]
        error = np.where(glass.area > 0.0, error - fit[0] - fit[1] * square, 0.0)
        inside = error[weight >= 0.5]
        return MapFigure(
            error, fit_zernike(error, glass.distance / self.clear_radius, _azimuth(glass), weight),
            float(np.sqrt(np.sum(weight * error**2) / np.sum(weight))), float(inside.max() - inside.min()),
        )  # fmt: skip

    def height_of_terms(self, coefficients: Floats, glass: GlassGrid) -> Floats:
        """Glass whose figure error is this sum of Zernike terms over the clear aperture ``(n, n)`` [m]."""
        beyond = glass.radius + 3.0 * float(glass.across[1] - glass.across[0])
        error = zernike_sum(coefficients, np.minimum(glass.distance, beyond) / self.clear_radius, _azimuth(glass))
        return error + self.departure(glass)

    def height_of_map(self, error: Floats, glass: GlassGrid) -> Floats:
        """Glass with a measured map of figure error ``(k, k)`` over the diameter, row 0 at the least y [m].

        Raises
        ------
        InputError
            If it is not square, or has gaps on the glass.
        """
        count = error.shape[0]
        if error.shape != (count, count) or count < 16:
            raise InputError("a height map must be square", value=str(error.shape), expected="at least 16 x 16")
        seen = glass_of(glass.radius, glass.hole, across_glass(glass.radius, count), 0.0, glass.fade)
        padded = np.pad(np.asarray(error, dtype=np.float64), MARGIN, constant_values=np.nan)
        if not np.isfinite(padded[used_cells(seen)]).all():
            raise InputError("the height map has gaps on the glass", expected="a number in every cell of it")
        # cells that the rim cuts are carried on from inside: what was measured there is half air
        whole = carry_on(padded, seen)
        return read_map(whole, seen.across, glass.across[None, :], glass.across[:, None]) + self.departure(glass)

    def ripple(self, removal: Floats, glass: GlassGrid) -> RippleSpectrum:
        """Zonal ripple of a map: the spectrum of its mean over rings."""
        count = int(self.clear_radius / float(glass.across[1] - glass.across[0])) * 2
        radius = np.linspace(glass.hole, self.clear_radius, count)
        return ripple_spectrum(radius, ring_mean(removal, glass.across, radius), glass.hole, self.clear_radius)

    def through(self, stages: Sequence[Floats], glass: GlassGrid) -> MapsOfRun:
        """What people read of heights at the start and after each spell, each ``(n, n)`` [m]."""
        gone = stages[0] - stages[-1]
        removal = np.where(glass.area > 0.0, gone, 0.0)
        return MapsOfRun(glass, removal, tuple(self.figure(stage, glass) for stage in stages), self.ripple(gone, glass))


def _azimuth(glass: GlassGrid) -> Floats:
    return np.arctan2(glass.across[:, None], glass.across[None, :])
