"""The mirror before its next session: what ``predict`` and ``propose`` take from its folder."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from wearsim.bench.bench import Bench, Spread
from wearsim.figure.aperture import spline_matrix
from wearsim.learn.cache import KeptCalibration, recall_or_calibrate
from wearsim.learn.calibrate import DRAWS, filter_of, with_session_spread
from wearsim.learn.inference import StageReport
from wearsim.learn.mirror_folder import MirrorFolder, SessionNote
from wearsim.learn.session_filter import SessionFilter, corrected_state, with_lap_start
from wearsim.wear.accuracy import DEFAULT, Accuracy
from wearsim.wear.constants import NAMES, Belief
from wearsim.wear.initial_figure import StartFigure, start_figure
from wearsim.wear.state import State

PITCH_CONSTANTS = ("stiffness", "relaxation_time")


@dataclass(frozen=True, eq=False)
class PresentState:
    """A mirror before its next session.

    Parameters
    ----------
    bench : Bench
        Its own, its figure the newest measurement.
    belief : Belief
        Of the constants in the next session: the posterior, the removal's spread between sessions on top.
    start : StartFigure
        The glass as it was measured last.
    laps : State or None
        Laps as the last session left them; None before the first.
    """

    bench: Bench
    belief: Belief
    start: StartFigure
    laps: State | None

    @property
    def arguments(self) -> dict[str, Any]:
        """The keyword arguments ``belief``, ``start`` and ``laps`` of ``predict`` and ``propose``."""
        return {"belief": self.belief, "start": self.start, "laps": self.laps}

    @property
    def calibrated_bench(self) -> Bench:
        """The bench with the constants and spreads that the sessions show, for whatever takes nothing but a bench.

        What the belief says of constants that go together is lost; ``arguments`` keeps it.
        """
        bench, best = self.bench, self.belief.best()
        sigma = np.sqrt(np.diagonal(self.belief.covariance))
        spread = Spread(**{name: float(np.exp(one)) for name, one in zip(NAMES, sigma, strict=True)})
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
    start = start_figure(bench, accuracy)
    if count:
        sessions = (session_filter or filter_of(folder)).upto(count)
        newest = sessions.follow_closely(known.belief.best(), known.spread, frozenset(known.misfits))[-1].state
        # the laps lie on the glass as it was measured last
        measured = spline_matrix(start.radius, newest.radius) @ start.height
        laps = corrected_state(newest, measured - newest.height).on_grids(folder.bench, accuracy)
    return PresentState(bench, with_session_spread(known.belief, known.spread), start, laps)
