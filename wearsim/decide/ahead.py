"""How long ``propose`` would take: a small fixed number of its trials is timed, and multiplied by how many there are."""

from __future__ import annotations

from dataclasses import replace
from typing import Any, Literal, NamedTuple

from wearsim.bench.bench import Bench
from wearsim.bench.programme import Programme
from wearsim.decide.coarse_engine import COARSE, ROUGH, Trials, Trying
from wearsim.decide.compare import with_on_top
from wearsim.decide.least_squares import in_parallel
from wearsim.decide.limits import Limits
from wearsim.decide.lower_bound import Pricing
from wearsim.decide.problem import FINE_OFFSETS
from wearsim.decide.scenarios import scenarios
from wearsim.decide.search import EFFORT_CERTAIN, EFFORT_UNCERTAIN, FINE_WORK, first_press, is_misfit
from wearsim.decide.stroke_library import Shape, shapes
from wearsim.decide.trade_off import WORK as BUDGETS_WORK
from wearsim.errors import InputError
from wearsim.wear.accuracy import DEFAULT, Accuracy
from wearsim.wear.ahead import Ahead, predict_ahead, seconds_of
from wearsim.wear.constants import prior
from wearsim.wear.initial_figure import StartFigure, on_grid, start_figure
from wearsim.wear.state import State, start_state

BOTH: tuple[Literal["tool", "mirror"], ...] = ("tool", "mirror")
LATER_STARTS = 2
"""Programmes that a session planned after the first refines first."""
LOADED, TIMED = 8, 32
"""Trials that are run first, so that all is loaded, and trials that are timed."""
MADE = 2800
"""Strokes that the floor makes at most for a lap, as the start figures of tests/decide have shown (measured, not proven)."""
SETTLED = 60
"""Programmes tried to make a good one neat, at most, as benches of all kinds have shown (measured, not proven)."""
LEAST = 0.4
"""Share of its most that a search was seen to take at least (measured, not proven)."""


class Looks(NamedTuple):
    """Trials of one spell that a search makes at most.

    Attributes
    ----------
    found : int
        With the most likely constants: responses, subsets, and the climbs of a quick look.
    settled : int
        In each scenario, to weigh the best programmes and make them neat.
    fine : int
        At full accuracy, to make programmes neat where the constants are known; the climbs before are counted as work.
    found_new, settled_new : int
        How many of them are of a stroke that is first to be laid out over the offsets.
    """

    found: int
    settled: int
    fine: int
    found_new: int
    settled_new: int


def looks_of(strokes: int, spells: int) -> Looks:
    """How many trials a quick search makes at most.

    Parameters
    ----------
    strokes : int
        In the library.
    spells : int
        Allowed.

    Returns
    -------
    Looks
    """
    mixed = sum(20 * orders * count for count, orders in ((1, 1), (2, 2), (3, 6)) if count <= spells)
    slopes = spells * (spells + 1) // 2  # of one free number a spell; what comes before it is kept
    effort = EFFORT_UNCERTAIN
    climbs = (effort.starts + effort.rounds * effort.kept * effort.exchanged) * effort.climb
    found = 2 * strokes + mixed + climbs * (spells + 4 * slopes)
    settled = 40 * spells + 2 * 5 * (spells + slopes) + 2 * SETTLED * spells
    fine = 6 * SETTLED * spells
    return Looks(found, settled, fine, strokes + climbs * 4 * spells, (40 + 2) * spells)


class Pace(NamedTuple):
    """How fast trials go.

    Attributes
    ----------
    trial, new : float
        Of one spell; of one whose stroke is first to be laid out [s].
    evaluation, balance : float
        Of the wear rates, and of one contact for them [s].
    timed : float
        That the timing took [s].
    """

    trial: float
    new: float
    evaluation: float
    balance: float
    timed: float

    def of(self, trials: int, new: int) -> float:
        """What so many trials take, some of them of new strokes [s]."""
        return (trials - min(new, trials)) * self.trial + min(new, trials) * self.new


def propose_ahead(
    bench: Bench, limits: Limits, *, sessions: int = 1, time_limit: float | None = None, draws: int = 32,
    with_trade_off: bool = False, **known: Any,
) -> Ahead:  # fmt: skip
    """What ``propose`` would take, from some trials, a part of the floor and of the band that are timed.

    How many trials a search makes at most is known: by its stages for the quick look, by ``Effort.work`` for the long
    one. A search with uncertain constants ends with its quick look, or looks longer where that leaves more than the
    spread must leave; so there is a shortest and a longest time.

    Parameters
    ----------
    bench : Bench
    limits : Limits
    sessions : int
        Planned, with a test between them.
    time_limit : float, optional
        Seconds after which nothing new is looked into [s].
    draws : int
        Of the band.
    with_trade_off : bool
        Whether fewer minutes and spells are looked into as well.
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
    belief = known.get("belief") or prior(bench)
    start = known.get("start") or start_figure(bench)
    candidates = shapes(bench, limits)
    work = f"a search over {len(candidates)} strokes, up to {limits.spells} of them in {limits.minutes:g} minutes"
    if sessions > 1:
        work += f", for {sessions} sessions"
    if not candidates:
        return Ahead(work, 1 + draws, 0.0, 0.0, 0.0, "nothing", 0.0)
    trials = Trials(bench, limits, belief.best())
    state = _state(bench, start, COARSE, known)
    pace = _pace(trials, state, candidates)
    looks, certain = looks_of(len(candidates), limits.spells), belief.is_certain
    misfit = any(is_misfit(state, first_press(limits, lap), trials) for lap in bench.laps)
    quick = (1 + misfit) * pace.of(looks.found, looks.found_new)

    def pace_on(accuracy: Accuracy) -> Pace:
        on = Trials(bench, limits, belief.best(), accuracy)
        return _pace(on, _state(bench, start, accuracy, known), candidates)

    long = _long(pace_on(ROUGH), None if certain else pace)
    if certain:
        fine_pace = pace_on(replace(DEFAULT, offsets=FINE_OFFSETS))
        settle = looks.fine * fine_pace.new + 2 * FINE_WORK * fine_pace.evaluation
    else:
        settle = (1 + misfit) * (1 + len(scenarios(belief))) * pace.of(looks.settled, looks.settled_new)
    told = _told(bench, limits, candidates, draws, known)
    least, most = LEAST * (quick + settle), quick + settle + long + (0.0 if certain else settle)
    after = quick + settle + long * LATER_STARTS / EFFORT_CERTAIN.starts + told
    most += (sessions - 1) * after + with_trade_off * BUDGETS_WORK * pace.evaluation
    if time_limit is not None:
        least, most = min(least, time_limit), min(most, time_limit + LEAST * settle)
    return Ahead(work, 1 + draws, 0.0, told + least, told + most, f"{TIMED} trials of a spell", pace.timed)


def _long(rough: Pace, coarse: Pace | None) -> float:
    """What a long look takes, but for what comes after it [s].

    ``coarse`` where the constants are not known: then what many starts led to is refined.
    """
    many = EFFORT_CERTAIN.multistart
    refined = 0.0 if coarse is None else EFFORT_CERTAIN.work * coarse.evaluation
    return refined if many is None else many.work * rough.balance + refined


def _state(bench: Bench, start: StartFigure, accuracy: Accuracy, known: dict[str, Any]) -> State:
    """Glass and laps at the start, on the grids of an accuracy."""
    grid = on_grid(bench, start, accuracy)
    state = start_state(bench, grid.radius, grid.height, accuracy)
    laps = known.get("laps")
    return state if laps is None else replace(state, laps=laps.on_grids(bench, accuracy).laps)


def _pace(trials: Trials, state: State, candidates: tuple[Shape, ...]) -> Pace:
    """As many spells at a time as the search works, each of a stroke that is laid out for it."""
    some = [Trying(shape, 10.0) for shape in candidates[:: max(1, len(candidates) // (LOADED + TIMED))]]
    first, timed = some[:LOADED], some[LOADED : LOADED + TIMED] or some

    def work(tried: list[Trying]) -> None:
        in_parallel(lambda one: trials.after(state, one), tried)

    work(first)  # loads, and compiles where that is still to do
    before, balances = trials.work, trials.balances
    new = seconds_of(lambda: work(timed))
    evaluation = new / max(1, trials.work - before)
    balance = new / max(1, trials.balances - balances)
    again = min(new, seconds_of(lambda: work(timed)))
    return Pace(again / len(timed), new / len(timed), evaluation, balance, new + again)


def _told(bench: Bench, limits: Limits, candidates: tuple[Shape, ...], draws: int, known: dict[str, Any]) -> float:
    """What the floor takes, and the prediction with its band [s]."""
    state = _state(bench, known.get("start") or start_figure(bench), DEFAULT, known)

    pricing = Pricing(bench, state, limits, (known.get("belief") or prior(bench)).best(), DEFAULT)

    def columns(step: int) -> float:
        return seconds_of(lambda: pricing.wear(list(candidates[::step])))

    columns(max(1, len(candidates) // 4))  # loads
    some, more = (columns(step) for step in (16, 8))
    # a sixteenth of the strokes more took the difference
    floor = more + max(0.0, more - some) * 16.0 / len(candidates) * MADE * len(bench.laps)
    shape = candidates[len(candidates) // 2]
    spells = tuple(shape.spell(limits.minutes / limits.spells, limits.rate) for _ in range(limits.spells))
    band = predict_ahead(bench, Programme(spells=spells), draws=draws, **known)
    return floor + band.most


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
