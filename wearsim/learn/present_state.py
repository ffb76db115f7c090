"""The mirror before its next session: what ``predict`` and ``propose`` take from its folder."""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import lru_cache
from pathlib import Path
from typing import Any

import numpy as np

from wearsim.bench.bench import Bench, Spread
from wearsim.learn.cache import KeptCalibration, recall_or_calibrate
from wearsim.learn.calibrate import DRAWS, filter_of
from wearsim.learn.inference import StageReport
from wearsim.learn.mirror_folder import MirrorFolder, SessionNote, open_folder
from wearsim.learn.session_filter import SessionFilter, corrected_state, with_lap_start
from wearsim.wear.accuracy import DEFAULT, Accuracy
from wearsim.wear.constants import IS_FACTOR, NAMES, PRODUCTS, Belief, prior
from wearsim.wear.discrepancy import Discrepancy
from wearsim.wear.initial_figure import NotRound, StartFigure, covariance_root, on_grid, own_sheet, start_figure
from wearsim.wear.state import State

PITCH_CONSTANTS = ("stiffness", "relaxation_time")
LEAST_KNOWN = 100.0
"""Factor within which a product is known of which a bench says nothing beside its parts [1]."""


@dataclass(frozen=True, eq=False)
class PresentState:
    """A mirror before its next session.

    Parameters
    ----------
    bench : Bench
        Its own, its figure the newest measurement.
    belief : Belief
        Of the constants.
    start : StartFigure
        The glass: what was predicted of the last session, corrected by what was read after it.
    laps : State or None
        Laps as the last session left them; None before the first.
    discrepancy : Discrepancy
        What the next session will do beyond the engine.
    read : StartFigure
        The glass as its last measurement alone has it.
    """

    bench: Bench
    belief: Belief
    start: StartFigure
    laps: State | None
    discrepancy: Discrepancy
    read: StartFigure

    @property
    def arguments(self) -> dict[str, Any]:
        """The keyword arguments ``belief``, ``start``, ``laps`` and ``discrepancy`` of ``predict`` and ``propose``."""
        return {"belief": self.belief, "start": self.start, "laps": self.laps, "discrepancy": self.discrepancy}

    @property
    def calibrated_bench(self) -> Bench:
        """The bench with the constants and spreads that the sessions show, for whatever takes nothing but a bench.

        What the belief says of constants that go together is lost; ``arguments`` keeps it.
        """
        bench, best = self.bench, self.belief.best()
        sigma = np.sqrt(np.diagonal(self.belief.with_session_spread(self.discrepancy.spread).covariance))
        spread = Spread(
            **{name: float(np.exp(sigma[i]) if IS_FACTOR[i] else sigma[i]) for i, name in enumerate(NAMES)},
            **dict.fromkeys(PRODUCTS, LEAST_KNOWN),
        )
        constants = {"preston": bench.preston * best.preston, "edge_gain": bench.wear.edge_gain * best.edge_gain}
        laps = tuple(
            lap.model_copy(update={name: getattr(lap, name) * getattr(best, name) for name in PITCH_CONSTANTS})
            for lap in bench.laps
        )
        wear = bench.wear.model_copy(update=constants)
        return bench.model_copy(update={"wear": wear, "laps": laps, "spread": spread})

    def under_conditions(self, note: SessionNote) -> PresentState:
        """The same under the conditions of a session: its temperature, its abrasive, how its lap began.

        Parameters
        ----------
        note : SessionNote
            Of the session to come.

        Returns
        -------
        PresentState
            Without laps where the session's note says how they began.
        """
        bench = with_lap_start(note.bench_for(self.bench), note.lap)
        return replace(self, bench=bench, laps=None if note.lap in ("pressed", "spherical") else self.laps)


def calibrated_state(
    folder: MirrorFolder, *, seed: int = 0, draws: int = DRAWS, progress: StageReport | None = None
) -> PresentState:
    """The mirror of a folder as it is now: recalled from ``calibration.toml``, or calibrated, which takes a while.

    Parameters
    ----------
    folder : MirrorFolder
        Calibrated where its ``calibration.toml`` does not hold what its sessions show; that is kept there then.
    seed : int
        Of the draws of the constants.
    draws : int
        As for :func:`wearsim.learn.calibrate.calibrate`.
    progress : callable, optional
        Receives what is being done.

    Returns
    -------
    PresentState
        What ``predict`` and ``propose`` take.
    """
    return present_state(folder, recall_or_calibrate(folder, seed=seed, draws=draws, progress=progress))


def present_state(
    folder: MirrorFolder, known: KeptCalibration, count: int | None = None, *, session_filter: SessionFilter | None = None,
    accuracy: Accuracy = DEFAULT,
) -> PresentState:  # fmt: skip
    """The mirror after its first ``count`` sessions, all by default.

    Parameters
    ----------
    known : KeptCalibration
        What these sessions say of the constants.
    session_filter : SessionFilter, optional
        Of the folder, where it is at hand.
    accuracy : Accuracy
        Of the grids of glass and laps.
    """
    count = len(folder.sessions) if count is None else count
    bench, laps = folder.bench_after(count), None
    if count:
        kept = tuple(one for one in bench.defaults_used if not is_learned(one.key))
        bench = bench.model_copy(update={"defaults_used": kept})
    read = start = start_figure(bench, accuracy)
    if count:
        start, laps = _after_sessions((session_filter or filter_of(folder)).upto(count), known, bench, accuracy)
    not_round = last_not_round(folder, count, accuracy)
    start, read = replace(start, not_round=not_round), replace(read, not_round=not_round)
    belief = replace(known.belief, unlearned=prior(folder.bench).unlearned)
    return PresentState(bench, belief, start, laps, Discrepancy(spread=known.spread), read)


def last_not_round(folder: MirrorFolder, count: int, accuracy: Accuracy = DEFAULT) -> NotRound | None:
    """The glass apart from its mean over rings after ``count`` sessions, by the newest measurement that shows it.

    Readings show it in three orientations or more. Sessions since then are taken to leave it unchanged, as strokes do that
    are the same all round. Only the astigmatism of an older map is carried on.
    """
    for number in range(count, -1, -1):
        bench = folder.bench_after(number)
        sheet = own_sheet(bench)
        if not bench.figure.is_uneven and (sheet is None or sheet.orientations < 3):
            continue
        found = start_figure(bench, accuracy).not_round
        if found is None or number == count:
            return found
        when = f"after session {number}" if number else "before the first session"
        return replace(found, origin=f"{found.origin} {when}", rms=found.astigmatism.amplitude)
    return None


def is_learned(key: str) -> bool:
    """Whether sessions give the value of a bench's key, dotted."""
    table, _, name = key.rpartition(".")
    return table == "spread" or name in NAMES


def _after_sessions(
    sessions: SessionFilter, known: KeptCalibration, bench: Bench, accuracy: Accuracy
) -> tuple[StartFigure, State]:
    """The glass as all sessions and readings have it, and the laps that are on it."""
    newest = sessions.follow_closely(known.belief.best(), known.spread)[-1]
    height, covariance = newest.state.height, newest.covariance
    if known.glass is not None:
        height, covariance = known.glass.height, known.glass.covariance
    glass = StartFigure(newest.state.radius, height, covariance_root(covariance))
    laps = corrected_state(newest.state, height - newest.state.height).on_grids(bench, accuracy)
    return on_grid(bench, glass, accuracy), laps


@lru_cache(maxsize=4)
def _state_of(path: Path, files: tuple[Any, ...]) -> PresentState:
    folder = open_folder(path)
    return present_state(folder, recall_or_calibrate(folder))


def state_of(path: Path) -> PresentState:
    """The mirror in a folder as it is; read again only where a file of the folder was changed."""
    files = (file for file in sorted(path.rglob("*.[tc]*")) if not file.name.startswith("proposal-for-"))
    return _state_of(path, tuple((file, file.stat().st_mtime_ns, file.stat().st_size) for file in files))
