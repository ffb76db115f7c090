"""How long ``propose`` would take, from its quickest form timed now."""

from __future__ import annotations

import time
from typing import Any, Literal

from wearsim.bench.bench import Bench
from wearsim.bench.programme import Programme
from wearsim.decide.compare import with_on_top
from wearsim.decide.library import shapes
from wearsim.decide.limits import Limits
from wearsim.decide.propose import EFFORT_CERTAIN, propose
from wearsim.decide.refine import in_parallel
from wearsim.decide.trial import COARSE, Trials, Trying
from wearsim.errors import InputError
from wearsim.wear.ahead import Ahead, predict_ahead, seconds_of
from wearsim.wear.constants import prior
from wearsim.wear.start import on_grid, start_figure
from wearsim.wear.state import start_state

BOTH: tuple[Literal["tool", "mirror"], ...] = ("tool", "mirror")
LATER_STARTS = 2
"""Programmes that a session planned after the first refines first."""


def propose_ahead(
    bench: Bench, limits: Limits, *, sessions: int = 1, time_limit: float | None = None, draws: int = 32, **known: Any
) -> Ahead:  # fmt: skip
    """What ``propose`` would take: a search that refines nothing is run and timed, and the pace of the engine.

    A search with uncertain constants ends with its quick look, or looks longer where that leaves more than the
    spread must leave; so there is a shortest and a longest time.

    Parameters
    ----------
    bench : Bench
    limits : Limits
    sessions : int
        Planned, with a test between them.
    time_limit : float, optional
        Seconds after which no new search is begun [s].
    draws : int
        Of the band.
    **known
        What a mirror's folder knows better than the bench: ``belief``, ``start``, ``laps``.

    Returns
    -------
    Ahead

    Raises
    ------
    InputError
        As ``propose`` would.
    """

    def quickest() -> float:
        return seconds_of(lambda: propose(bench, limits=limits, time_limit=1e-6, draws=draws, **known))

    pace = _pace(bench, limits, known)  # compiles where that is still to do
    quick = quickest()
    long = EFFORT_CERTAIN.work / pace
    belief = known.get("belief") or prior(bench)
    least = quick + (long if belief.is_certain else 0.0)
    most = 2.0 * quick + long
    if time_limit is not None:
        least, most = min(least, quick + time_limit), min(most, quick + time_limit)
    after = 2.0 * quick + long * LATER_STARTS / EFFORT_CERTAIN.starts
    work = (
        f"a search over {len(shapes(bench, limits))} strokes, up to {limits.spells} of them in "
        f"{limits.minutes:g} minutes"
    )
    if sessions > 1:
        work += f", for {sessions} sessions"
    return Ahead(
        work, 1 + draws, 0.0, least, most + (sessions - 1) * after, "a search that refines nothing", quick
    )


def _pace(bench: Bench, limits: Limits, known: dict[str, Any]) -> float:
    """Evaluations of the wear rates in a second, as many spells at a time as the search works."""
    start = known.get("start") or start_figure(bench)
    coarse = on_grid(bench, start, COARSE)
    state = start_state(bench, coarse.radius, coarse.height, COARSE)
    belief = known.get("belief") or prior(bench)
    trials = Trials(bench, limits, belief.best())
    candidates = shapes(bench, limits)
    some = [Trying(shape, 10.0) for shape in candidates[:: max(1, len(candidates) // 16)]]
    in_parallel(lambda one: trials.after(state, one), some)  # loads, and lays out the paths
    before, begun = trials.work, time.perf_counter()
    in_parallel(lambda one: trials.after(state, one), some)
    return max(1, trials.work - before) / (time.perf_counter() - begun)


def compare_ahead(bench: Bench, programme: Programme, **settings: Any) -> Ahead:
    """What ``compare`` would take: both ways as ``predict`` has it; a way that is refused takes nothing.

    Parameters
    ----------
    bench : Bench
    programme : Programme
    **settings
        As for :func:`wearsim.wear.ahead.predict_ahead`.

    Returns
    -------
    Ahead

    Raises
    ------
    InputError
        Where neither way can be worked.
    """
    found: list[Ahead] = []
    refused: InputError | None = None
    for on_top in BOTH:
        try:
            way = with_on_top(programme, on_top).check_on(bench)
            found.append(predict_ahead(bench, way, **settings))
        except InputError as error:
            refused = error
    if not found and refused is not None:
        raise refused
    runs, seconds = sum(one.predictions for one in found), sum(one.most for one in found)
    ways = "tool on top, then mirror on top" if len(found) == 2 else "one way alone, for the other is refused"
    work = f"{runs} predictions of {found[0].strokes:.0f} strokes each, {ways}"
    last = found[-1]
    return Ahead(work, runs, last.strokes, seconds, seconds, last.timed, last.timed_seconds)
