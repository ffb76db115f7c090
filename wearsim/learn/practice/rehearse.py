"""The whole loop on a practice mirror: read, propose, work, record, calibrate, and again."""

from __future__ import annotations

import tempfile
from collections.abc import Iterator
from dataclasses import dataclass, replace
from datetime import date
from pathlib import Path
from typing import Any

import numpy as np

from wearsim.bench.programme import Programme
from wearsim.bench.toml_io import dump_programme, spell_table
from wearsim.bench.units import length_unit
from wearsim.decide.alternatives import or_trial
from wearsim.decide.limits import usual_limits
from wearsim.decide.propose import propose
from wearsim.figure.aperture import ClearAperture
from wearsim.learn.calibrate import DRAWS
from wearsim.learn.inference import StageReport
from wearsim.learn.mirror_folder import MirrorFolder, SessionNote, open_folder
from wearsim.learn.practice.mirror import KnifeEdgeTester, PracticeMirror, sheet_text
from wearsim.learn.practice.practice_file import Practice, practice_text, read_practice
from wearsim.learn.present_state import PresentState, calibrated_state
from wearsim.learn.record import create_folder, record
from wearsim.wear.initial_figure import start_figure
from wearsim.wear.outcome import Outcome
from wearsim.wear.predict import gauge_for, predict

TARGET = 20e-9
"""RMS of the surface that ends a rehearsal [m]."""
GOOD_SHARE = 0.9
"""Share of the surfaces that the readings allow which must be that good [1]."""
DAY = date(2026, 1, 1)


@dataclass(frozen=True, eq=False)
class Round:
    """One session of a rehearsal.

    Parameters
    ----------
    programme : Programme
        What was worked.
    before, predicted : float
        RMS figure error as read before, and as predicted [m].
    predicted_band : (float, float)
        5th and 95th percentile of the predicted one [m].
    measured : float
        RMS figure error as read after [m].
    true_before, true : float
        RMS figure error that the practice mirror really had and has [m].
    """

    number: int
    programme: Programme
    before: float
    predicted: float
    predicted_band: tuple[float, float]
    measured: float
    true_before: float
    true: float

    def to_json(self) -> dict[str, Any]:
        """One object for ``--json``: plain lists and floats, SI units in the key names."""
        return {
            "number": self.number,
            "programme": [spell_table(spell) for spell in self.programme.spells],
            "surface_rms_before_m": self.before,
            "surface_rms_predicted_m": self.predicted,
            "surface_rms_predicted_band_m": list(self.predicted_band),
            "surface_rms_m": self.measured,
            "surface_rms_true_before_m": self.true_before,
            "surface_rms_true_m": self.true,
        }


def start_practice(path: str | Path, practice: Practice) -> MirrorFolder:
    """A new practice folder with a first sheet of readings, and a file that says what it is."""
    drawn, mirror = practice.drawn(), practice.mirror()
    sheet = sheet_text(mirror.read(practice.tester), length_unit(drawn.bench))
    return open_folder(create_folder(path, drawn.text, {"readings.toml": sheet}, practice_text(practice)))


def replay(folder: MirrorFolder) -> tuple[Practice, PracticeMirror]:
    """The practice mirror of a folder as its recorded sessions left it, worked through again.

    Raises
    ------
    InputError
        Where the folder does not say that it is for practice, or says it badly.
    """
    practice = read_practice(folder)
    mirror = practice.mirror()
    for session in folder.sessions:
        mirror.work(session.programme, session.note.bench_for(mirror.bench))
    return practice, mirror


def work_and_record(
    folder: MirrorFolder, mirror: PracticeMirror, tester: KnifeEdgeTester, programme: Programme, note: SessionNote
) -> MirrorFolder:
    """Work a programme on the practice mirror, which is changed; read it, and record the session."""
    mirror.work(programme, note.bench_for(mirror.bench))
    with tempfile.TemporaryDirectory() as scratch:
        done, after = Path(scratch) / "programme.toml", Path(scratch) / "readings.toml"
        done.write_text(dump_programme(programme), encoding="utf-8")
        after.write_text(sheet_text(mirror.read(tester), length_unit(folder.bench)), encoding="utf-8")
        record(folder.path, done, note=note, readings=after)
    return open_folder(folder.path)


def true_rms(mirror: PracticeMirror) -> float:
    """RMS figure error that a practice mirror really has, round part, over the clear aperture [m]."""
    glass = mirror.bench.mirror
    aperture = ClearAperture(mirror.radius, glass.hole_radius, glass.clear_radius)
    return aperture.rms(aperture.level(mirror.error))


def measured_rms(state: PresentState) -> float:
    """RMS figure error as it was measured last [m]."""
    gauge = gauge_for(state.bench, state.start.radius)
    return gauge.aperture.rms(gauge.error(state.start.height))


def is_good(state: PresentState, target: float, seed: int = 0, draws: int = 100) -> bool:
    """Whether the mirror as last measured is good enough, the measurement's band considered."""
    gauge = gauge_for(state.bench, state.start.radius)
    drawn = [gauge.aperture.rms(gauge.error(height)) for height in state.start.draws(draws, seed)]
    return bool(np.mean(np.array(drawn) <= target) >= GOOD_SHARE)


def rehearse(
    path: str | Path, *, sessions: int = 6, minutes: float = 60.0, spells: int = 3, target: float = TARGET,
    draws: int = DRAWS, starts: int | None = None, progress: StageReport | None = None,
) -> Iterator[Round]:  # fmt: skip
    """Go round the loop on a practice folder until the figure is good, or nothing is proposed any more.

    Where nothing is proposed, the short trial that is offered is worked, but not twice one after the other.

    Parameters
    ----------
    path : str or Path
        A practice folder (:func:`start_practice`).
    sessions : int
        At most.
    minutes, spells : float, int
        Allowed a session.
    target : float
        RMS figure error that is good enough [m].
    draws : int
        Of calibration.
    starts : int, optional
        Of the search of ``propose``.
    progress : callable, optional
        Receives what is being done.

    Yields
    ------
    Round
        After each session.
    """
    report = progress or (lambda _: None)
    folder = open_folder(path)
    practice, mirror = replay(folder)
    limits = usual_limits(minutes=minutes, spells=spells, beyond=False)
    tried = False
    for _ in range(sessions):
        report("calibrating")
        state = calibrated_state(folder, draws=draws)
        if is_good(state, target):
            report("the figure is good enough, even allowing for its uncertainty")
            return
        report("proposing")
        proposal = propose(state.bench, limits=limits, starts=starts, **state.arguments)
        tried, was_tried = not proposal.programme.spells, tried
        if tried:
            report(proposal.reason)
            proposal = or_trial(state.bench, proposal, **state.arguments)
        if (was_tried and tried) or not proposal.programme.spells:
            return
        report("working")
        one, folder = _work_session(folder, practice, mirror, state, proposal.programme, proposal.outcome)
        yield one


def one_session(folder: MirrorFolder, programme: Programme, *, draws: int = DRAWS) -> Round:
    """A session of the person's own on a practice mirror: calibrated, predicted, worked, read and recorded.

    Raises
    ------
    InputError
        Where the folder is not for practice, or a stroke tips the top piece off.
    """
    practice, mirror = replay(folder)
    state = calibrated_state(folder, draws=draws)
    outcome = predict(state.bench, programme, **state.arguments)
    return _work_session(folder, practice, mirror, state, programme, outcome)[0]


def _work_session(
    folder: MirrorFolder, practice: Practice, mirror: PracticeMirror, state: PresentState, programme: Programme,
    outcome: Outcome,
) -> tuple[Round, MirrorFolder]:  # fmt: skip
    true_before = true_rms(mirror)
    newest = max((session.note.date for session in folder.sessions), default=DAY)
    note = SessionNote(date=max(DAY, newest), notes="a practice session, simulated")
    folder = work_and_record(folder, mirror, practice.tester, programme, note)
    low, high = (outcome.surface_rms,) * 2 if outcome.band is None else outcome.band.surface_rms
    after = replace(state, start=start_figure(folder.bench_after()))
    done = Round(
        len(folder.sessions), programme, measured_rms(state), outcome.surface_rms,
        (float(low), float(high)), measured_rms(after), true_before, true_rms(mirror),
    )  # fmt: skip
    return done, folder
