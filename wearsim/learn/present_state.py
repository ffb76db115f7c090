"""Where a mirror stands: what ``predict`` and ``propose`` take from its folder."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from wearsim.bench.abrasion import Spread
from wearsim.bench.bench import Bench
from wearsim.figure.aperture import spline_matrix
from wearsim.learn.cache import known_after
from wearsim.learn.calibrate import DRAWS, filter_of, with_session_spread
from wearsim.learn.filter import SessionFilter, corrected_state
from wearsim.learn.folder import MirrorFolder
from wearsim.learn.inference import Progress
from wearsim.learn.observation import measured_bench, measured_figure
from wearsim.wear.accuracy import DEFAULT, Accuracy
from wearsim.wear.constants import NAMES, Belief
from wearsim.wear.initial_figure import StartFigure
from wearsim.wear.state import State


@dataclass(frozen=True, eq=False)
class Standing:
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
    spread : float
        Relative spread of the removal from session to session, already in ``belief`` [1].
    sessions : int
        Done so far.
    """

    bench: Bench
    belief: Belief
    start: StartFigure
    laps: State | None
    spread: float
    sessions: int

    @property
    def known(self) -> dict[str, Any]:
        """The keyword arguments ``belief``, ``start`` and ``laps`` of ``predict`` and ``propose``."""
        return {"belief": self.belief, "start": self.start, "laps": self.laps}

    @property
    def calibrated_bench(self) -> Bench:
        """The bench with the constants and spreads that the sessions tell, for whatever takes nothing but a bench.

        What the belief says of constants that go together is lost; ``known`` keeps it.
        """
        best = self.belief.best()
        sigma = np.sqrt(np.diagonal(self.belief.covariance))
        spread = Spread(**{name: float(np.exp(one)) for name, one in zip(NAMES, sigma, strict=True)})
        wear = self.bench.wear.model_copy(
            update={
                "preston": self.bench.preston * best.preston,
                "edge_gain": self.bench.wear.edge_gain * best.edge_gain,
            }
        )
        laps = tuple(
            lap.model_copy(
                update={
                    "stiffness": lap.stiffness * best.stiffness,
                    "relaxation_time": lap.relaxation_time * best.relaxation_time,
                }
            )
            for lap in self.bench.laps
        )
        return self.bench.model_copy(update={"wear": wear, "laps": laps, "spread": spread})


def standing_of(
    folder: MirrorFolder, *, seed: int = 0, draws: int = DRAWS, progress: Progress | None = None
) -> Standing:
    """Where a folder's mirror stands now: what ``predict`` and ``propose`` take.

    Parameters
    ----------
    folder : MirrorFolder
    seed : int
        Of the draws of the constants.
    draws : int
        As for :func:`wearsim.learn.calibrate.calibrate`.
    progress : callable, optional
        Told what is being done.

    Returns
    -------
    Standing
    """
    known = known_after(folder, seed=seed, draws=draws, progress=progress)
    return standing_after(
        folder, filter_of(folder), len(folder.sessions), known.belief, known.spread, frozenset(known.misfits)
    )


def standing_after(
    folder: MirrorFolder, session_filter: SessionFilter, count: int, belief: Belief, spread: float,
    misfits: frozenset[int] = frozenset(), accuracy: Accuracy = DEFAULT,
) -> Standing:  # fmt: skip
    """Where the mirror stood after its first ``count`` sessions.

    Parameters
    ----------
    folder : MirrorFolder
    session_filter : SessionFilter
        Of the folder.
    count : int
    belief : Belief
        Of the constants, from these sessions.
    spread : float
        Of the removal from session to session [1].
    misfits : frozenset of int
        Sessions whose record is not believed.
    accuracy : Accuracy
        Of the grids.
    """
    newest = folder.sessions[count - 1].measured if count else None
    start = measured_figure(folder.bench, newest, accuracy)
    laps = None
    if count:
        best = session_filter.upto(count).follow_closely(belief.best(), spread, misfits)[-1].state
        # the laps lie on the glass as it was measured last
        measured = spline_matrix(start.radius, best.radius) @ start.height
        fitted = corrected_state(best, measured - best.height)
        laps = fitted.on_grids(folder.bench, accuracy)
    bench = folder.bench if newest is None else measured_bench(folder.bench, newest)
    return Standing(bench, with_session_spread(belief, spread), start, laps, spread, count)


def under(standing: Standing, folder: MirrorFolder, number: int) -> Standing:
    """The same under the conditions of session ``number``: its temperature, its abrasive, how its lap began."""
    note = folder.sessions[number - 1].note
    bench = note.bench_for(standing.bench)
    if note.lap not in ("pressed", "spherical"):
        return replace(standing, bench=bench)
    laps = tuple(lap.model_copy(update={"start": note.lap}) for lap in bench.laps)
    return replace(standing, bench=bench.model_copy(update={"laps": laps}), laps=None)
