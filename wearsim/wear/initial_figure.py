"""The glass as the bench's figure source says it is, on the mirror's grid, with its uncertainty.

A figure that is not round, a measured map or Zernike terms, is taken on the planar grid, or as its mean over rings.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from wearsim.bench.bench import Bench
from wearsim.bench.figure_source import WITHOUT_READINGS, height_map
from wearsim.bench.input_errors import text_of
from wearsim.bench.personal_units import height_text
from wearsim.bench.profile import STEEPEST, WHAT, Profile, profile_of
from wearsim.errors import InputError
from wearsim.figure.aperture import spline_matrix
from wearsim.figure.conic import Conic
from wearsim.figure.zernike import ZernikeAstigmatism, zernike_astigmatism
from wearsim.kernels.arrays import Floats
from wearsim.kernels.planar_grid import GlassGrid
from wearsim.knifeedge.astigmatism import Astigmatism
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
        raise InputError(
            "neither a map nor Zernike terms are given", file=bench.file, key="figure", expected="map or zernike"
        )
    try:
        return gauge.height_of_map(height_map(source.content, source.map))
    except InputError as error:
        raise InputError(error.message, file=source.map, value=error.value, expected=error.expected) from error


@dataclass(frozen=True)
class NotRound:
    """What a mean over rings leaves out of a figure.

    Parameters
    ----------
    origin : str
        Where it is known from, in a few words.
    rms : float
        Of the surface over the clear aperture, tilt apart [m].
    astigmatism : ZernikeAstigmatism
        The part of it that is astigmatism, over the clear aperture [m].
    """

    origin: str
    rms: float
    astigmatism: ZernikeAstigmatism

    def left_out(self) -> str:
        """What whoever averages over rings has to say."""
        return (
            f"{self.origin}: its mean over rings is used; {height_text(self.rms)} RMS of surface error that is not "
            f"rotationally symmetric is left out ({self.words}); predict --engine planar includes it"
        )

    @property
    def words(self) -> str:
        """The astigmatism with its axis."""
        found = self.astigmatism
        return f"astigmatism {height_text(found.amplitude)} RMS, high at {round(np.degrees(found.axis)) % 180} deg"

    def on(self, gauge: MapGauge) -> Floats:
        """The astigmatism on a map's cells, carried on a little beyond the rim [m]."""
        glass, clear = gauge.glass, gauge.geometry.clear_radius
        distance = np.minimum(glass.distance, glass.radius + 3.0 * gauge.size)
        return self.astigmatism.height(distance / clear, gauge.azimuth)


def astigmatism_read(bench: Bench, seen: Astigmatism | None, origin: str) -> NotRound | None:
    """Astigmatism that readings at three orientations or more show beyond doubt; None where they do not."""
    if seen is None or seen.azimuth is None or not seen.is_measured:
        return None
    mirror = bench.mirror
    found = ZernikeAstigmatism.of_rim(seen.height, seen.azimuth, mirror.clear_radius / mirror.radius)
    return NotRound(origin, found.amplitude, found)


def round_mean(bench: Bench, radius: Floats) -> tuple[Floats, NotRound]:
    """What averages see of a figure that is not round: mean height over rings ``(n,)`` [m], and what that leaves out."""
    mirror = bench.mirror
    glass = glass_of(mirror.radius, mirror.hole_radius, across_glass(mirror.radius, CELLS), 0.0, 1.0)
    gauge = MapGauge(mirror.geometry, glass)
    height, weight = uneven_start(bench, glass), gauge.clear_share
    error = height - gauge.departure()  # the conic itself would lose to the reading between cells
    rings = np.linspace(mirror.hole_radius, mirror.radius, CELLS)
    uneven = error - np.interp(glass.distance, rings, ring_mean(error, glass.across, rings))
    zernike = gauge.figure(height).zernike
    square = float(np.sum(weight * uneven**2) / np.sum(weight) - np.sum(zernike[[1, 2]] ** 2))
    mean = ring_mean(error, glass.across, radius)
    mean += mirror.geometry.departure(radius)
    return mean, NotRound(f"figure.{bench.figure.kind}", max(square, 0.0) ** 0.5, zernike_astigmatism(zernike))


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
    not_round : NotRound or None
        What is known of this glass beside its mean over rings.
    """

    radius: Floats
    height: Floats
    root: Floats
    warnings: tuple[str, ...] = ()
    not_round: NotRound | None = None

    @classmethod
    def exact(cls, radius: Floats, height: Floats, not_round: NotRound | None = None) -> StartFigure:
        """Glass that is taken as known exactly, (n,) [m]."""
        return cls(radius, height, np.zeros((radius.size, 0)), not_round=not_round)

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
    height = Conic(mirror.radius_of_curvature, conic).departure(radius)
    if np.any(np.abs(np.diff(height - mirror.geometry.departure(radius))) > STEEPEST * np.diff(radius)):
        raise InputError(
            "too steep to be a figure error relative to the target conic", file=bench.file,
            key="figure.conic", value=conic, expected=f"slopes of at most {STEEPEST * 1e3:g} um per mm",
        )  # fmt: skip
    return StartFigure.exact(radius, height)


def on_grid(bench: Bench, start: StartFigure, accuracy: Accuracy) -> StartFigure:
    """The same glass on the grid of another accuracy."""
    radius = glass_grid(bench.mirror, accuracy)
    if np.array_equal(radius, start.radius):
        return start
    spline = spline_matrix(start.radius, radius)
    return replace(start, radius=radius, height=spline @ start.height, root=spline @ start.root)


def from_uneven(bench: Bench, accuracy: Accuracy) -> StartFigure:
    """The mean over rings of a map or of Zernike terms: all that averages over azimuth can use."""
    radius = glass_grid(bench.mirror, accuracy)
    return StartFigure.exact(radius, *round_mean(bench, radius))


def own_sheet(bench: Bench) -> Readings | None:
    """The readings that a bench names; None where its figure comes from elsewhere.

    Raises
    ------
    InputError
        Where the file cannot be used.
    """
    path = bench.figure.readings
    if path is None:
        return None
    try:
        return parse_readings(text_of(bench.figure.content, path, "a readings file (TOML)"), path)
    except InputError as error:
        if error.key != "readings":
            raise
        expected = f"{error.expected}; or {WITHOUT_READINGS}"
        raise InputError(error.message, file=error.file, key=error.key, value=error.value, expected=expected) from error


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
        start = from_profile(bench, profile, accuracy, covariance=reduced.covariance)
        return replace(start, not_round=astigmatism_read(bench, reduced.astigmatism, "figure.readings"))
    if source.conic is not None:
        return from_conic(bench, source.conic, accuracy)
    return from_uneven(bench, accuracy)
