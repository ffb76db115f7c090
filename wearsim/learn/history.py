"""A mirror through its sessions: the figure, the hours, and what was predicted against what was read."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date
from typing import Any

import numpy as np

from wearsim.figure.metrics import FigureGauge, percentiles
from wearsim.kernels.arrays import Floats
from wearsim.learn.cache import KeptCalibration, recall_or_calibrate
from wearsim.learn.calibrate import DRAWS, filter_of
from wearsim.learn.inference import StageReport
from wearsim.learn.known_figure import FigureEstimate
from wearsim.learn.mirror_folder import KeptRecord, MirrorFolder, Session
from wearsim.learn.present_state import PresentState, present_state
from wearsim.learn.record_seal import Change, changes
from wearsim.wear.initial_figure import StartFigure, start_figure
from wearsim.wear.predict import BAND_DRAWS, gauge_for, predict

READ_DRAWS = 100
"""Number of draws of the surfaces that a measurement allows, for its band."""


@dataclass(frozen=True, eq=False)
class Entry:
    """One session of a history.

    Attributes
    ----------
    minutes : float
        Of work in it [min].
    measured, predicted : (n,) ndarray
        Figure error as read after it, and as predicted with what was known before it [m].
    measured_rms, measured_band : float, (2,) ndarray
        RMS of the figure error read, and its 5th and 95th percentile [m].
    predicted_rms, predicted_band : float, (2,) ndarray
        The same as it was predicted [m].
    edge_roll : float
        As read [m].
    prediction_error : float
        RMS of read less predicted, profile against profile [m].
    fits : bool
        Whether its record fits, all sessions considered.
    measured_profile_band, predicted_profile_band : (2, n) ndarray or None
        5th and 95th percentile of the figure errors, at each radius [m]; None where they are taken as exact.
    edge_roll_band : (2,) ndarray or None
        5th and 95th percentile of the edge roll as read [m].
    known : FigureEstimate
        Figure error after it as all sessions up to it give it together.
    earlier : tuple of str
        Records that its record replaced, by their names in the folder.
    confirmed : bool
        Whether the person looked at its record again and stands by it.
    changes : tuple of Change
        What is not as it was when it was recorded.
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
    prediction_error: float
    fits: bool
    known: FigureEstimate
    measured_profile_band: Floats | None = None
    predicted_profile_band: Floats | None = None
    edge_roll_band: Floats | None = None
    earlier: tuple[str, ...] = ()
    confirmed: bool = False
    changes: tuple[Change, ...] = ()


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
    set_aside : tuple of KeptRecord
        Sessions that were set aside, and count for nothing.
    """

    radius: Floats
    first: Floats
    first_rms: float
    first_band: Floats
    entries: tuple[Entry, ...]
    is_practice: bool
    first_profile_band: Floats | None = None
    set_aside: tuple[KeptRecord, ...] = ()

    @property
    def minutes(self) -> float:
        """Work in all [min]."""
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
            "set_aside": [_kept_json(record) for record in self.set_aside],
        }


def _kept_json(record: KeptRecord) -> dict[str, Any]:
    return {
        "number": record.number,
        "folder": record.path.name,
        "date": record.date and record.date.isoformat(),
        "worked_s": None if record.minutes is None else 60.0 * record.minutes,
    }


def _json(entry: Entry) -> dict[str, Any]:
    bands = {
        "figure_error_band_m": entry.measured_profile_band,
        "figure_error_predicted_band_m": entry.predicted_profile_band,
        "edge_roll_band_m": entry.edge_roll_band,
    }
    return {
        **{key: ends.tolist() for key, ends in bands.items() if ends is not None},
        "number": entry.number, "date": entry.date.isoformat(), "worked_s": 60.0 * entry.minutes,
        "figure_error_m": entry.measured.tolist(), "figure_error_predicted_m": entry.predicted.tolist(),
        "surface_rms_m": entry.measured_rms, "surface_rms_band_m": entry.measured_band.tolist(),
        "surface_rms_predicted_m": entry.predicted_rms, "surface_rms_predicted_band_m": entry.predicted_band.tolist(),
        "all_sessions": entry.known.to_json(), "edge_roll_m": entry.edge_roll,
        "predicted_against_measured_rms_m": entry.prediction_error, "fits": entry.fits,
        "notes": entry.notes, "earlier": list(entry.earlier), "confirmed": entry.confirmed,
        "changes": [{"what": one.what, "modified_utc": one.modified.isoformat()} for one in entry.changes],
    }  # fmt: skip


def history(
    folder: MirrorFolder, known: Sequence[KeptCalibration] | None = None, *, seed: int = 0, draws: int = DRAWS,
    progress: StageReport | None = None,
) -> History:  # fmt: skip
    """The history of a mirror's folder, each session predicted with what was known before it.

    Parameters
    ----------
    folder : MirrorFolder
        Of a mirror.
    known : sequence of KeptCalibration, optional
        Before the first session and after each; by default recalled from the folder or calibrated, which takes a while.
    seed : int
        Of the draws, those of the constants and those of the bands.
    draws : int
        Of the constants, as for :func:`wearsim.learn.calibrate.calibrate`.
    progress : callable, optional
        Receives what is being done.

    Returns
    -------
    History
        One entry a session.
    """
    sessions = filter_of(folder)
    if known is None:
        known = [
            recall_or_calibrate(folder, count, session_filter=sessions, seed=seed, draws=draws, progress=progress)
            for count in range(len(folder.sessions) + 1)
        ]
    start = start_figure(folder.bench)
    gauge = gauge_for(folder.bench, start.radius)
    states = [present_state(folder, one, count, session_filter=sessions) for count, one in enumerate(known)]
    changed = changes(folder)
    entries = [
        replace(
            _entry(folder, session, states[place], FigureEstimate.of(states[place + 1].start, gauge), gauge, seed,
                   fits=session.number not in known[-1].misfits),
            changes=changed[session.number],
        )
        for place, session in enumerate(folder.sessions)
    ]  # fmt: skip
    error, read = gauge.error(start.height), _Measured.of(start, gauge)
    return History(
        start.radius, error, read.rms, read.band, tuple(entries), folder.is_practice, read.profile_band,
        folder.set_aside,
    )  # fmt: skip


def _entry(
    folder: MirrorFolder, session: Session, before: PresentState, known: FigureEstimate, gauge: FigureGauge, seed: int,
    fits: bool,
) -> Entry:  # fmt: skip
    """A session, predicted from what was known before it, and read after it; ``known`` is what is known then."""
    state = before.under_conditions(session.note)
    outcome = predict(state.bench, session.programme, seed=seed, draws=BAND_DRAWS, **state.arguments)
    band, exact = outcome.band, np.full(2, outcome.surface_rms)
    after = start_figure(folder.bench_after(session.number))
    measured, read = gauge.error(after.height), _Measured.of(after, gauge)
    return Entry(
        number=session.number, date=session.note.date, minutes=session.minutes, notes=session.note.notes,
        measured=measured, predicted=outcome.figure_error, measured_rms=read.rms, measured_band=read.band,
        predicted_rms=outcome.surface_rms, predicted_band=exact if band is None else band.surface_rms,
        edge_roll=gauge.edge_roll(measured),
        prediction_error=gauge.aperture.rms(gauge.aperture.level(measured - outcome.figure_error)),
        fits=fits, known=known, measured_profile_band=read.profile_band,
        predicted_profile_band=None if band is None else band.figure_error, edge_roll_band=read.edge_roll_band,
        earlier=tuple(record.path.relative_to(folder.path).as_posix() for record in session.earlier),
        confirmed=session.note.confirmed,
    )  # fmt: skip


@dataclass(frozen=True, eq=False)
class _Measured:
    """What a measurement says of the figure error, with the 5th and 95th percentile over the surfaces that it allows.

    Parameters
    ----------
    rms : float
        [m]
    band : (2,) ndarray
        Of the RMS [m].
    profile_band, edge_roll_band : (2, n), (2,) ndarray or None
        [m]; None where the measurement is taken as exact.
    """

    rms: float
    band: Floats
    profile_band: Floats | None
    edge_roll_band: Floats | None

    @classmethod
    def of(cls, figure: StartFigure, gauge: FigureGauge) -> _Measured:
        """The glass as it was measured."""
        drawn = np.array([gauge.error(height) for height in figure.draws(READ_DRAWS, 0)])
        rms, band = gauge.aperture.rms(gauge.error(figure.height)), percentiles([gauge.aperture.rms(e) for e in drawn])
        if not figure.is_uncertain:
            return cls(rms, band, None, None)
        return cls(rms, band, percentiles(drawn), percentiles([gauge.edge_roll(error) for error in drawn]))
