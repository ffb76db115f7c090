"""The figure that all sessions together give, beside what the last measurement alone gives, and which zone to read next.

All that is known is the figure predicted after the last session, corrected by what was read: it holds what no window sees.
Read alone is the last measurement by itself.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from wearsim.figure.metrics import FigureGauge, percentiles
from wearsim.kernels.arrays import Floats
from wearsim.knifeedge.forward_model import reading_matrix
from wearsim.knifeedge.longitudinal import Zones
from wearsim.knifeedge.readings import Readings
from wearsim.knifeedge.setting_noise import setting_noise
from wearsim.learn.mirror_folder import MirrorFolder
from wearsim.learn.observation import contrasts
from wearsim.learn.present_state import PresentState
from wearsim.wear.initial_figure import StartFigure
from wearsim.wear.predict import gauge_for

DRAWS = 200
"""Surfaces that a band is taken over."""
APART = 2.0
"""Where the two figures differ by more than so many of their common sigmas they are said to disagree [1]."""
LEAST_GAIN = 0.2
"""A zone is asked for where it takes so much of the expected squared error of the figure away [1]. A judgement."""
CANDIDATES = 24
"""Places at which a further window is tried."""


@dataclass(frozen=True, eq=False)
class FigureEstimate:
    """One picture of the figure error.

    Parameters
    ----------
    error, sigma : (n,) ndarray
        Figure error, piston and r^2 taken off, and one standard deviation of it [m].
    rms : float
        [m]
    band : (2,) ndarray
        5th and 95th percentile of the RMS [m].
    """

    error: Floats
    sigma: Floats
    rms: float
    band: Floats

    @classmethod
    def of(cls, figure: StartFigure, gauge: FigureGauge) -> FigureEstimate:
        """Of glass with its covariance."""
        drawn = np.array([gauge.error(height) for height in figure.draws(DRAWS, 0)])
        error = gauge.error(figure.height)
        rms = gauge.aperture.rms
        return cls(error, drawn.std(axis=0), rms(error), percentiles([rms(one) for one in drawn]))

    def to_json(self) -> dict[str, Any]:
        """Plain lists and floats, SI units in the key names."""
        return {
            "figure_error_m": self.error.tolist(), "sigma_m": self.sigma.tolist(), "surface_rms_m": self.rms,
            "surface_rms_band_m": self.band.tolist(),
        }  # fmt: skip


@dataclass(frozen=True, eq=False)
class KnownFigure:
    """The figure from all sessions and from the last measurement alone.

    Parameters
    ----------
    radius : (n,) ndarray
        Of both [m].
    known, read : FigureEstimate
    apart : tuple of (float, float, float)
        Where they disagree: from one radius to another, and by how much at most, known less read [m].
    next_window : (float, float) or None
        The window, inner and outer radius [m], that would tell most if it were read as well; None where the windows that
        are read will do.
    """

    radius: Floats
    known: FigureEstimate
    read: FigureEstimate
    apart: tuple[tuple[float, float, float], ...]
    next_window: tuple[float, float] | None

    def to_json(self) -> dict[str, Any]:
        """One object for ``--json``."""
        return {
            "radius_m": self.radius.tolist(), "known": self.known.to_json(), "read_alone": self.read.to_json(),
            "disagree_m": [list(one) for one in self.apart],
            "next_window_m": None if self.next_window is None else list(self.next_window),
        }  # fmt: skip


def known_figure(folder: MirrorFolder, state: PresentState) -> KnownFigure:
    """What is known of a folder's mirror after its last session.

    Parameters
    ----------
    folder : MirrorFolder
    state : PresentState
        Of that folder, after all its sessions.

    Returns
    -------
    KnownFigure
        Read alone is the measurement before the first session where there is none.
    """
    radius, gauge = state.start.radius, gauge_for(state.bench, state.start.radius)
    known, read = FigureEstimate.of(state.start, gauge), FigureEstimate.of(state.read, gauge)
    sheet = folder.sessions[-1].measurement if folder.sessions else None
    window = next_window(state, sheet) if isinstance(sheet, Readings) else None
    return KnownFigure(radius, known, read, _apart(radius, known, read, state.bench.mirror.clear_radius), window)


def _apart(
    radius: Floats, known: FigureEstimate, read: FigureEstimate, clear: float
) -> tuple[tuple[float, float, float], ...]:
    """Runs of radii at which the two differ by more than both allow."""
    difference = known.error - read.error
    wide = (np.abs(difference) > APART * np.hypot(known.sigma, read.sigma)) & (radius <= clear)
    edges = np.flatnonzero(np.diff(np.concatenate([[False], wide, [False]]).astype(int)))
    runs = []
    for first, last in zip(edges[::2], edges[1::2], strict=True):
        most = difference[first:last][np.argmax(np.abs(difference[first:last]))]
        runs.append((float(radius[first]), float(radius[last - 1]), float(most)))
    return tuple(runs)


def next_window(state: PresentState, sheet: Readings) -> tuple[float, float] | None:
    """The further window that would take most of the expected squared error away, read with those of a sheet.

    Where no window is read yet; None where none would take a share of :data:`LEAST_GAIN`.
    """
    mirror, radius, root = state.bench.mirror, state.start.radius, state.start.root
    aperture = gauge_for(state.bench, radius).aperture
    levelled = aperture.levelling_matrix() @ root
    weighed = aperture.rms_matrix() @ levelled

    def expected_square(zones: Zones, sigma: Floats) -> float:
        """Expected squared figure error once these zones are read again."""
        free = contrasts(np.ones((len(zones), 1)))
        seen = free @ reading_matrix(zones, radius, mirror.geometry, sheet.source) @ root
        noise = free @ np.diag(sigma**2) @ free.T
        left = np.eye(root.shape[1]) - seen.T @ np.linalg.solve(seen @ seen.T + noise, seen)
        return float(np.sum((weighed @ left) * levelled))

    row = setting_noise(sheet, mirror.geometry, state.bench.light.wavelength)
    zones, sigma = sheet.zones, row.mean_sigma
    at_radius = float(np.median(sigma * zones.middle))  # a setting's noise goes as 1 / r
    half = 0.5 * float(np.median(zones.outer - zones.inner)) or 0.04 * mirror.radius
    best, least = None, (1.0 - LEAST_GAIN) * expected_square(zones, sigma)
    for middle in np.linspace(mirror.hole_radius + half, mirror.clear_radius - half, CANDIDATES):
        if np.any((zones.inner - half / 2 < middle) & (middle < zones.outer + half / 2)):
            continue  # it is read already
        window = (float(middle - half), float(middle + half))
        windows = sorted([*zip(zones.inner, zones.outer, strict=True), window])
        more = np.insert(sigma, windows.index(window), at_radius / middle)
        square = expected_square(Zones.from_windows(np.array(windows)), more)
        if square < least:
            best, least = window, square
    return best
