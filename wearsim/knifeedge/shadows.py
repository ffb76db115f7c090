"""What the eye sees behind the knife: shadows of a surface, by geometry and with diffraction.

The knife comes from the left, its edge upright, and cuts the light of an upright slit. Pictures are square
arrays over the glass, rows from bottom to top, brightness 1 without the knife and 0 off the glass.

* Geometry: the ray from the point (x, y) of the glass passes the knife at ``t = f (s - k) x / R`` beside the
  axis, with ``f = 2`` for a source that moves with the knife and 1 for a fixed one (``s`` the zone's own
  knife position, ``k`` the knife's); the slit's image is a strip of its width about there.
* Diffraction: the pupil's field, its phase twice the surface less the knife's own sphere, is carried to the
  knife's plane by a Fourier transform along x, cut there, and carried on. The edge is straight and long, so
  rows do not mix and one dimension is exact (scalar theory; J. W. Goodman, "Introduction to Fourier Optics",
  from memory). Points of the slit are added in brightness.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from wearsim.figure.conic import MirrorGeometry
from wearsim.figure.spline import ProfileSpline
from wearsim.kernels.arrays import Floats
from wearsim.knifeedge.longitudinal import Source, knife_aberration

SLIT_POINTS = 8
PADDING = 2


@dataclass(frozen=True, eq=False)
class KnifeTester:
    """The surface and the tester it stands before.

    Attributes
    ----------
    radius, error : ndarray, shape (m,)
        Increasing radii and figure error [m].
    geometry : MirrorGeometry
        Target conic and glass.
    wavelength : float
        [m]
    source : {"moving", "fixed"}
        Whether the source moves with the knife.
    slit : float
        Width of the slit [m].
    """

    radius: Floats
    error: Floats
    geometry: MirrorGeometry
    wavelength: float
    source: Source = "moving"
    slit: float = 20e-6

    @property
    def throw(self) -> float:
        """Sideways travel at the knife for a unit of its error and slope of the ray [1]."""
        return 2.0 if self.source == "moving" else 1.0


@dataclass(frozen=True, eq=False)
class Shadow:
    """One picture.

    Attributes
    ----------
    brightness : ndarray, shape (p, p)
        1 without the knife, 0 off the glass [1].
    on_glass : ndarray of bool, shape (p, p)
        Where there is glass.
    axis : ndarray, shape (p,)
        Coordinates of columns and rows [m].
    knife : float
        Position of the knife, from the centre of curvature of the vertex [m].
    """

    brightness: Floats
    on_glass: NDArray[np.bool_]
    axis: Floats
    knife: float


def knife_curve(tester: KnifeTester, at: ArrayLike) -> Floats:
    """Knife position that darkens the zone of each radius above 0 evenly, from the vertex's centre of curvature [m]."""
    spline = ProfileSpline(tester.radius, tester.error)
    return knife_aberration(at, spline.height(at), spline.slope(at), tester.geometry, tester.source)


def geometric_shadow(tester: KnifeTester, knife: float, *, pixels: int = 256, cut: float = 0.0) -> Shadow:
    """Shadow by geometry alone.

    Parameters
    ----------
    knife : float
        Position along the axis, from the centre of curvature of the vertex [m].
    pixels : int
        Along a side.
    cut : float
        How far beyond the axis the knife has come [m].
    """
    axis, x, r, on_glass = _picture(tester, pixels)
    aside = tester.throw * (knife_curve(tester, r) - knife) * x / tester.geometry.radius_of_curvature
    passed = np.clip(0.5 + (aside - cut) / tester.slit, 0.0, 1.0)
    return Shadow(np.where(on_glass, passed, 0.0), on_glass, axis, knife)


def diffraction_shadow(tester: KnifeTester, knife: float, *, pixels: int = 512, cut: float = 0.0) -> Shadow:
    """Shadow with diffraction at the knife.

    Parameters
    ----------
    knife, cut : float
        As for :func:`geometric_shadow` [m].
    pixels : int
        Along a side; the sharpest fringe that it carries is two pixels.

    Raises
    ------
    ValueError
        Too few pixels for the fringes of so large an aberration.
    """
    axis, _, r, on_glass = _picture(tester, pixels)
    step = float(axis[1] - axis[0])
    path = _path(tester, knife, r)
    bend = np.abs(np.diff(path, axis=1))[on_glass[:, 1:] & on_glass[:, :-1]]
    if bend.size and bend.max() > 0.5 * tester.wavelength:
        raise ValueError(f"{pixels} pixels are too few for the fringes of so large an aberration; use more")
    field = np.where(on_glass, np.exp(2j * np.pi / tester.wavelength * path), 0.0)
    spectrum = np.fft.fft(field, n=PADDING * pixels, axis=1)
    aside = tester.wavelength * tester.geometry.radius_of_curvature * np.fft.fftfreq(PADDING * pixels, step)
    points = tester.slit * ((np.arange(SLIT_POINTS) + 0.5) / SLIT_POINTS - 0.5)
    brightness = np.zeros_like(path)
    for point in points:
        # a point of the slit to one side puts its image to the other: the knife cuts it so much deeper
        open_part = 0.5 * (1.0 + np.sign(aside - cut - point))
        brightness += np.abs(np.fft.ifft(spectrum * open_part, axis=1)[:, :pixels]) ** 2
    return Shadow(np.where(on_glass, brightness / SLIT_POINTS, 0.0), on_glass, axis, knife)


def _picture(tester: KnifeTester, pixels: int) -> tuple[Floats, Floats, Floats, NDArray[np.bool_]]:
    """Axis, x and distance from the axis (clipped to the glass) of every pixel, and where glass is."""
    half = tester.geometry.radius * 1.02
    axis = half * ((np.arange(pixels) + 0.5) / pixels * 2.0 - 1.0)
    x, y = np.meshgrid(axis, axis)
    r = np.hypot(x, y)
    on_glass = (r <= tester.geometry.radius) & (r >= tester.geometry.hole_radius)
    return axis, x, np.clip(r, 1e-6 * half, tester.geometry.radius), on_glass


def _path(tester: KnifeTester, knife: float, r: Floats) -> Floats:
    """Optical path whose slope along x is the ray's travel at the knife over R, from the curve of positions.

    ``d(path)/dr = f (s - k) r / R^2``, integrated on a fine ring of radii, so that geometry and diffraction
    share one surface exactly.
    """
    edge = np.linspace(0.0, tester.geometry.radius, 1025)
    middle = 0.5 * (edge[1:] + edge[:-1])
    slope = tester.throw * (knife_curve(tester, middle) - knife) * middle / tester.geometry.radius_of_curvature**2
    path = np.concatenate([[0.0], np.cumsum(slope * np.diff(edge))])
    return np.asarray(ProfileSpline(edge, path).height(r), dtype=float)
