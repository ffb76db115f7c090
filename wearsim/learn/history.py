"""A mirror through its sessions: the figure, the hours, and what was predicted against what was read."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from typing import Any

import numpy as np

from wearsim.figure.metrics import FigureGauge, percentiles
from wearsim.kernels.arrays import Floats
from wearsim.learn.cache import known_after
from wearsim.learn.calibrate import DRAWS, filter_of
from wearsim.learn.folder import MirrorFolder
from wearsim.learn.inference import Progress
from wearsim.learn.observation import measured_figure
from wearsim.learn.present_state import standing_after, under
from wearsim.wear.initial_figure import StartFigure
from wearsim.wear.predict import BAND_DRAWS, gauge_for, predict

READ_DRAWS = 100
"""Of the surfaces that a measurement allows, for its band."""


@dataclass(frozen=True, eq=False)
class Entry:
    """One session of a history.

    Parameters
    ----------
    number : int
    date : datetime.date
    minutes : float
        Of work in it [min].
    notes : str
    measured, predicted : (n,) ndarray
        Figure error as read after it, and as predicted with what was known before it [m].
    measured_rms, measured_band : float, (2,) ndarray
        RMS of the figure error read, and its 5th and 95th percentile [m].
    predicted_rms, predicted_band : float, (2,) ndarray
        The same as it was predicted [m].
    edge_roll : float
        As read [m].
    miss : float
        RMS of read less predicted, profile against profile [m].
    fits : bool
        Whether its record fits, all sessions considered.
    measured_profile_band, predicted_profile_band : (2, n) ndarray or None
        5th and 95th percentile of the figure errors, at each radius [m]; None where they are taken as exact.
    edge_roll_band : (2,) ndarray or None
        5th and 95th percentile of the edge roll as read [m].
    """

    number: int
    date: date
    minutes: float
    notes: str
    measured: Floats
    predicted: Floats
    measured_rms: float
    measured_band: Floats
    predicted_rms: float
    predicted_band: Floats
    edge_roll: float
    miss: float
    fits: bool
    measured_profile_band: Floats | None = None
    predicted_profile_band: Floats | None = None
    edge_roll_band: Floats | None = None


@dataclass(frozen=True, eq=False)
class History:
    """A mirror's sessions.

    Parameters
    ----------
    radius : (n,) ndarray
        Of all profiles [m].
    first : (n,) ndarray
        Figure error before the first session [m].
    first_rms : float
        [m]
    first_band : (2,) ndarray
        5th and 95th percentile of it [m].
    entries : tuple of Entry
    is_practice : bool
        Whether the mirror is simulated.
    first_profile_band : (2, n) ndarray or None
        5th and 95th percentile of the figure error before [m]; None where it is taken as exact.
    """

    radius: Floats
    first: Floats
    first_rms: float
    first_band: Floats
    entries: tuple[Entry, ...]
    is_practice: bool
    first_profile_band: Floats | None = None

    @property
    def minutes(self) -> float:
        """Of work in all [min]."""
        return sum(entry.minutes for entry in self.entries)

    def to_json(self) -> dict[str, Any]:
        """One object for ``--json``: plain lists and floats, SI units in the key names.

        Returns
        -------
        dict
            The start, the total and one entry a session.
        """
        band = self.first_profile_band
        return {
            "practice": self.is_practice,
            "radius_m": self.radius.tolist(),
            "figure_error_first_m": self.first.tolist(),
            "surface_rms_first_m": self.first_rms,
            "surface_rms_first_band_m": self.first_band.tolist(),
            **({} if band is None else {"figure_error_first_band_m": band.tolist()}),
            "worked_s": 60.0 * self.minutes,
            "sessions": [_json(entry) for entry in self.entries],
        }


def _json(entry: Entry) -> dict[str, Any]:
    bands = {
        "figure_error_band_m": entry.measured_profile_band,
        "figure_error_predicted_band_m": entry.predicted_profile_band,
        "edge_roll_band_m": entry.edge_roll_band,
    }
    return {
        **{key: ends.tolist() for key, ends in bands.items() if ends is not None},
        "number": entry.number,
        "date": entry.date.isoformat(),
        "worked_s": 60.0 * entry.minutes,
        "figure_error_m": entry.measured.tolist(),
        "figure_error_predicted_m": entry.predicted.tolist(),
        "surface_rms_m": entry.measured_rms,
        "surface_rms_band_m": entry.measured_band.tolist(),
        "surface_rms_predicted_m": entry.predicted_rms,
        "surface_rms_predicted_band_m": entry.predicted_band.tolist(),
        "edge_roll_m": entry.edge_roll,
        "predicted_against_measured_rms_m": entry.miss,
        "fits": entry.fits,
        "notes": entry.notes,
    }


def history(
    folder: MirrorFolder, *, seed: int = 0, draws: int = DRAWS, progress: Progress | None = None
) -> History:  # fmt: skip
    """The history of a mirror's folder.

    Parameters
    ----------
    folder : MirrorFolder
    seed : int
        Of the draws, those of the constants and those of the bands.
    draws : int
        Of the constants, as for :func:`wearsim.learn.calibrate.calibrate`, which is asked what was known before
        each session.
    progress : callable, optional
        Told what is being done.

    Returns
    -------
    History
    """
    session_filter = filter_of(folder)
    start = measured_figure(folder.bench, None)
    gauge = gauge_for(folder.bench, start.radius)
    first_rms, first_band = _rms(start, gauge)
    known = [
        known_after(folder, count, session_filter=session_filter, seed=seed, draws=draws, progress=progress)
        for count in range(len(folder.sessions) + 1)
    ]
    entries = []
    for session, then in zip(folder.sessions, known[:-1], strict=True):
        before = standing_after(
            folder, session_filter, session.number - 1, then.belief, then.spread, frozenset(then.misfits)
        )
        standing = under(before, folder, session.number)
        outcome = predict(standing.bench, session.programme, seed=seed, draws=BAND_DRAWS, **standing.known)
        after = measured_figure(folder.bench, session.measured)
        measured = gauge.error(after.height)
        rms, band = _rms(after, gauge)
        drawn = _drawn(after, gauge)
        exact = np.full(2, outcome.surface_rms)
        entries.append(Entry(
            number=session.number, date=session.note.date, minutes=session.minutes, notes=session.note.notes,
            measured=measured, predicted=outcome.figure_error, measured_rms=rms, measured_band=band,
            predicted_rms=outcome.surface_rms,
            predicted_band=exact if outcome.band is None else outcome.band.surface_rms,
            edge_roll=gauge.edge_roll(measured),
            miss=gauge.aperture.rms(gauge.aperture.level(measured - outcome.figure_error)),
            fits=session.number not in known[-1].misfits,
            measured_profile_band=percentiles(drawn) if after.is_uncertain else None,
            predicted_profile_band=None if outcome.band is None else outcome.band.figure_error,
            edge_roll_band=percentiles([gauge.edge_roll(error) for error in drawn]) if after.is_uncertain else None,
        ))  # fmt: skip
    return History(
        start.radius, gauge.error(start.height), first_rms, first_band, tuple(entries), folder.is_practice,
        percentiles(_drawn(start, gauge)) if start.is_uncertain else None,
    )  # fmt: skip


def _drawn(figure: StartFigure, gauge: FigureGauge) -> Floats:
    """Figure errors that a measurement allows (READ_DRAWS, n) [m]."""
    return np.array([gauge.error(height) for height in figure.draws(READ_DRAWS, 0)])


def _rms(figure: StartFigure, gauge: FigureGauge) -> tuple[float, Floats]:
    """RMS figure error and its 5th and 95th percentile over the surfaces that a measurement allows [m]."""
    drawn = [gauge.aperture.rms(error) for error in _drawn(figure, gauge)]
    return gauge.aperture.rms(gauge.error(figure.height)), percentiles(drawn)
