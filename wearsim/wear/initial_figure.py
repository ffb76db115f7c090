"""The glass as the bench's figure source says it is, on the mirror's grid, with what is uncertain about it.

A figure that is not round, a measured map or Zernike terms, is taken on the planar grid, or as its mean over rings.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from wearsim.bench.bench import Bench
from wearsim.bench.figure_source import height_map
from wearsim.bench.input_errors import text_of
from wearsim.bench.profile import WHAT, Profile, profile_of
from wearsim.errors import InputError
from wearsim.figure.aperture import spline_matrix
from wearsim.figure.conic import Conic
from wearsim.kernels.arrays import Floats
from wearsim.kernels.planar_grid import GlassGrid
from wearsim.knifeedge.readings import Readings, parse_readings
from wearsim.knifeedge.reduction import reduce_readings
from wearsim.wear.accuracy import DEFAULT, Accuracy
from wearsim.wear.constants import normal_draws
from wearsim.wear.planar.figure import MapGauge
from wearsim.wear.planar.grid import across_glass, glass_of, ring_mean
from wearsim.wear.state import glass_grid

CELLS = 160  # across the mirror, where a map is only read for its mean over rings


def uneven_start(bench: Bench, glass: GlassGrid) -> Floats:
    """Height of the glass above its reference sphere from the bench's map or Zernike terms, on `glass` [m].

    Raises
    ------
    InputError
        Where the map's file cannot be used, or the bench has neither.
    """
    source, gauge = bench.figure, MapGauge(bench.mirror.geometry, glass)
    if source.zernike is not None:
        return gauge.height_of_terms(np.array(source.zernike))
    if source.map is None:
        raise InputError("no map and no terms", file=bench.file, key="figure", expected="map or zernike")
    try:
        return gauge.height_of_map(height_map(source.content, source.map))
    except InputError as error:
        raise InputError(error.message, file=source.map, value=error.value, expected=error.expected) from error


def round_mean(bench: Bench, radius: Floats) -> tuple[Floats, float]:
    """What averages see of a figure that is not round: mean height over rings ``(n,)``, RMS of what that leaves out [m].

    The RMS is over the clear aperture, tilt apart.
    """
    mirror = bench.mirror
    glass = glass_of(mirror.radius, mirror.hole_radius, across_glass(mirror.radius, CELLS), 0.0, 1.0)
    gauge = MapGauge(mirror.geometry, glass)
    height, weight = uneven_start(bench, glass), gauge.clear_share()
    error = height - gauge.departure()  # the conic itself would lose to the reading between cells
    rings = np.linspace(mirror.hole_radius, mirror.radius, CELLS)
    uneven = error - np.interp(glass.distance, rings, ring_mean(error, glass.across, rings))
    tilt = gauge.figure(height).zernike[[1, 2]]
    square = float(np.sum(weight * uneven**2) / np.sum(weight) - np.sum(tilt**2))
    mean = ring_mean(error, glass.across, radius)
    mean += mirror.geometry.departure(radius)
    return mean, max(square, 0.0) ** 0.5


@dataclass(frozen=True)
class StartFigure:
    """Measured glass.

    Parameters
    ----------
    radius : (n,) ndarray
        The mirror's grid [m].
    height : (n,) ndarray
        Above the reference sphere [m].
    root : (n, q) ndarray
        ``root @ z`` with standard normal ``z`` is a draw of the measurement's error [m]; q = 0 when the figure is
        taken as exact.
    warnings : tuple of str
        What this glass leaves out of what was measured.
    """

    radius: Floats
    height: Floats
    root: Floats
    warnings: tuple[str, ...] = ()

    @classmethod
    def exact(cls, radius: Floats, height: Floats, warnings: tuple[str, ...] = ()) -> StartFigure:
        """Glass that is taken as known exactly, (n,) [m]."""
        return cls(radius, height, np.zeros((radius.size, 0)), warnings)

    @property
    def is_uncertain(self) -> bool:
        """Whether the measurement leaves other glass possible."""
        return bool(self.root.shape[1])

    def draws(self, count: int, seed: int) -> Floats:
        """Draws of the glass (count, n) [m], the measured one itself where nothing is uncertain."""
        if not self.is_uncertain:
            return np.tile(self.height, (count, 1))
        return self.height + normal_draws(count, self.root.shape[1], seed) @ self.root.T


def covariance_root(covariance: Floats) -> Floats:
    """Columns whose sum of squares is the covariance, those that matter (1e-6 of the largest variance) kept."""
    values, vectors = np.linalg.eigh(covariance)
    kept = values > 1e-6 * max(values.max(), 0.0)
    return np.asarray(vectors[:, kept] * np.sqrt(values[kept]))


def from_profile(bench: Bench, profile: Profile, accuracy: Accuracy, covariance: Floats | None = None) -> StartFigure:
    """Glass from a measured figure error, held level beyond its last radius.

    The covariance (m, m) of the profile's errors [m^2] is made from its sigma column unless it is given.
    """
    mirror = bench.mirror
    radius = glass_grid(mirror, accuracy)
    spline = spline_matrix(profile.radius, radius)
    height = mirror.geometry.height(radius, spline @ profile.error)
    if covariance is None:
        covariance = profile.covariance(mirror.radius)
    root = spline @ covariance_root(covariance) if np.any(covariance) else np.zeros((radius.size, 0))
    words = f"figure.profile: {profile.rows} rows, averaged to {profile.radius.size}"
    return StartFigure(radius, height, root, (words,) if profile.rows else ())


def from_conic(bench: Bench, conic: float, accuracy: Accuracy) -> StartFigure:
    """Glass that is a pure conic at the mirror's radius of curvature."""
    mirror = bench.mirror
    radius = glass_grid(mirror, accuracy)
    if (1.0 + conic) * mirror.radius**2 >= mirror.radius_of_curvature**2:
        raise InputError("a conic this oblate does not reach the rim", file=bench.file, key="figure.conic", value=conic)
    return StartFigure.exact(radius, Conic(mirror.radius_of_curvature, conic).departure(radius))


def on_grid(bench: Bench, start: StartFigure, accuracy: Accuracy) -> StartFigure:
    """The same glass on the grid of another accuracy."""
    radius = glass_grid(bench.mirror, accuracy)
    if np.array_equal(radius, start.radius):
        return start
    spline = spline_matrix(start.radius, radius)
    return StartFigure(radius, spline @ start.height, spline @ start.root, start.warnings)


def from_uneven(bench: Bench, accuracy: Accuracy) -> StartFigure:
    """The mean over rings of a map or of Zernike terms: all that averages over azimuth can use."""
    radius = glass_grid(bench.mirror, accuracy)
    mean, left_out = round_mean(bench, radius)
    words = (
        f"figure.{bench.figure.kind}: its mean over rings is used; {left_out * 1e9:.0f} nm RMS of surface that "
        "are not round are left out, which the planar engine works with"
    )
    return StartFigure.exact(radius, mean, (words,))


def own_sheet(bench: Bench) -> Readings | None:
    """The readings that a bench names; None where its figure comes from elsewhere.

    Raises
    ------
    InputError
        Where the file cannot be used.
    """
    path = bench.figure.readings
    return None if path is None else parse_readings(text_of(bench.figure.content, path, "a readings file (TOML)"), path)


def start_figure(bench: Bench, accuracy: Accuracy = DEFAULT) -> StartFigure:
    """The bench's figure on the mirror's grid; of one that is not round the mean over rings, with a warning.

    Raises
    ------
    InputError
        Where the figure's file cannot be used.
    """
    source = bench.figure
    if source.profile is not None:
        text = text_of(source.content, source.profile, WHAT)
        return from_profile(bench, profile_of(text, bench.mirror, source.profile), accuracy)
    readings = own_sheet(bench)
    if readings is not None:
        reduced = reduce_readings(readings, bench.mirror.geometry, bench.light.wavelength)
        profile = Profile(reduced.radius, reduced.figure_error, reduced.sigma)
        return from_profile(bench, profile, accuracy, covariance=reduced.covariance)
    if source.conic is not None:
        return from_conic(bench, source.conic, accuracy)
    return from_uneven(bench, accuracy)
