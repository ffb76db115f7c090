"""From bench and limits to a proposal."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import numpy as np

from wearsim.bench.bench import Bench
from wearsim.bench.programme import Programme
from wearsim.bench.toml_io import dump_programme
from wearsim.decide.coarse_engine import Trying, tried_of
from wearsim.decide.least_squares import Judged
from wearsim.decide.limits import Clock, Limits
from wearsim.decide.lower_bound import Pricing, floor_over_all_sizes
from wearsim.decide.problem import Situation
from wearsim.decide.proposal import EarlyStop, LaterSession, Proposal, stopped_early
from wearsim.decide.reasons import WORTHWHILE, edge_advice, lower_floor_advice, why, why_not
from wearsim.decide.response_search import Found
from wearsim.decide.search import Look, Progress
from wearsim.decide.trade_off import Budgets, TradeOff, trade_off
from wearsim.wear.accuracy import DEFAULT, Accuracy
from wearsim.wear.constants import NAMES, Belief, prior
from wearsim.wear.initial_figure import StartFigure, start_figure
from wearsim.wear.outcome import Outcome, share_of_the_way
from wearsim.wear.predict import BAND_DRAWS, gauge_for, predict
from wearsim.wear.state import State

# What a session with a test after it leaves of the constants' spread: a factor of about 1.25. A judgement.
SPREAD_AFTER_SESSION = 0.25

# The mirror is turned by a fifth of a turn between spells (common practice, no source) [rad].
TURN = 0.4 * np.pi


def propose(
    bench: Bench,
    minutes: float = 60.0,
    spells: int = 3,
    *,
    limits: Limits | None = None,
    sessions: int = 1,
    starts: int | None = None,
    time_limit: float | None = None,
    seed: int = 0,
    draws: int = BAND_DRAWS,
    accuracy: Accuracy = DEFAULT,
    belief: Belief | None = None,
    start: StartFigure | None = None,
    laps: State | None = None,
    with_trade_off: bool = False,
    progress: Progress | None = None,
) -> Proposal:
    """The programme to work next.

    Parameters
    ----------
    bench : Bench
    minutes : float
        Work allowed in all, pressing not counted [min].
    spells : int
        Different strokes at most.
    limits : Limits, optional
        All the limits and costs; ``minutes`` and ``spells`` are then its own.
    sessions : int
        Sessions planned, with a test between them; the first in detail.
    starts : int, optional
        Programmes that the search refines first, of each origin; by default 4.
    time_limit : float, optional
        Of the whole call [s]. What is begun then is ended early or left out, and the proposal says so; what a proposal
        cannot do without comes after it: the best programme made neat and predicted with its band, and the floor.
    seed : int
        Of the band's draws.
    draws : int
        Of the band.
    accuracy : Accuracy
        Of the final prediction.
    belief, start, laps : optional
        What a mirror's folder knows better than the bench.
    with_trade_off : bool
        Whether programmes for fewer minutes and fewer spells are looked into as well, which takes about half as long
        again.
    progress : callable, optional
        Called with a stage's name and the best cost so far [m].

    Returns
    -------
    Proposal
        With an empty programme where nothing allowed is better than stopping.
    """
    clock = Clock(time_limit)
    limits = Limits(minutes=minutes, spells=spells) if limits is None else limits
    belief = prior(bench) if belief is None else belief
    limits = limits.knowing(belief.is_certain)
    start = start_figure(bench, accuracy) if start is None else start
    work, found, programme, outcome, reason = _within_edge_limit(
        lambda allowed: _Work(bench, allowed, belief, start, laps, accuracy, clock), limits, starts, progress,
        seed, draws,
    )  # fmt: skip
    floor = work.floor()
    advice = (
        *edge_advice(outcome, limits, bench.light.wavelength),
        *lower_floor_advice(bench, limits, start, floor, work.objective, belief, clock),
    )
    later, no_more = _later(bench, work, programme, outcome, sessions, seed, draws)
    bought = _trade_off(work, found, programme, progress) if with_trade_off else ()
    return Proposal(
        programme=programme,
        outcome=outcome,
        floor=floor,
        expected_rms=work.expected(programme),
        share=work.share(outcome),
        aim=work.aim,
        reason=reason,
        advice=advice,
        trade_off=bought,
        early=work.early(programme, seed, draws),
        later=later,
        limits=limits,
        evaluations=found.evaluations,
        seconds=found.seconds,
        stopped=found.stopped,
        no_more_sessions=no_more,
        left_out=tuple(clock.left_out),
    )


def _within_edge_limit(
    prepare: Callable[[Limits], _Work], limits: Limits, starts: int | None, progress: Progress | None, seed: int,
    draws: int,
) -> tuple[_Work, Found, Programme, Outcome, str]:  # fmt: skip
    """Search within the limit on the edge roll; where the edge is beyond it and stays so, within what it is."""
    work = prepare(limits)
    found, best = Look(work, progress).run(starts)
    chosen = work.choose(best, seed, draws)
    present = abs(work.objective.roll_before) / work.bench.light.wavelength
    if chosen[0].spells or present <= limits.edge_limit:
        return work, found, *chosen
    if found.stopped or work.clock.leaves_out("programmes that keep the edge where it is, beyond its limit"):
        return work, found, *chosen
    work = prepare(replace(limits, edge_limit=present))
    again, best = Look(work, progress).run(starts)
    found.take_in(again)
    return work, found, *work.choose(best, seed, draws)


def _trade_off(work: _Work, found: Found, programme: Programme, progress: Progress | None) -> tuple[TradeOff, ...]:
    """What fewer minutes and spells buy, looked into."""
    if not programme.spells or work.clock.leaves_out("what minutes and spells buy"):
        return ()
    budgets = Budgets(work, found.judged, tried_of(programme))
    if progress is not None:
        progress("fewer minutes", budgets.judged[0].score.cost)
    budgets.look()
    limit = 1.02 * work.objective.roll_limit
    return trade_off(budgets.judged, work.limits, work.objective.rms_before, work.measured, limit, budgets.looked)


class _Work(Situation):
    """One proposal in the making."""

    def as_programme(self, tried: tuple[Trying, ...]) -> Programme:
        """The programme as a person would write it."""
        first = next((place for place, one in enumerate(tried) if not one.shape.is_press), 0)
        made = Programme(
            spells=tuple(
                one.shape.spell(one.minutes, self.limits.rate, TURN if place > first else 0.0)
                for place, one in enumerate(tried)
            )
        )
        return made.model_copy(update={"text": dump_programme(made)})

    def predict(self, programme: Programme, seed: int, draws: int) -> Outcome:
        """The coupled engine at full accuracy."""
        return predict(
            self.bench, programme, seed=seed, draws=draws, accuracy=self.accuracy, belief=self.belief,
            start=self.start, laps=self.laps,
        )  # fmt: skip

    def choose(self, best: list[Judged], seed: int, draws: int) -> tuple[Programme, Outcome, str]:
        """The best programme that is better than stopping at full accuracy, or the empty one, and why."""
        before = self.objective.rms_before
        limit = self.objective.roll_limit * 1.02
        for judged in self._as_told(best) if self.is_certain else best:
            if not judged.programme or judged.score.expected_rms >= (1.0 - WORTHWHILE) * before:
                continue
            programme = self.as_programme(judged.programme)
            outcome = self.predict(programme, seed, 0)
            keeps_edge = abs(outcome.edge_roll) <= limit
            if outcome.surface_rms < outcome.numbers_before.surface_rms and keeps_edge:
                outcome = self.predict(programme, seed, draws) if draws else outcome
                band = None if outcome.band is None else outcome.band.share
                return programme, outcome, why(self.belief, self.limits, self.share(outcome), band)
        empty = self.as_programme(())
        return empty, self.predict(empty, seed, 0), why_not(self.objective.rms_before, best)

    def _as_told(self, best: list[Judged]) -> list[Judged]:
        """The best by the figure that is told: on offsets of their own strokes, not on shared ones."""

        def told(judged: Judged) -> float:
            outcome = self.predict(self.as_programme(judged.programme), 0, 0)
            return outcome.surface_rms * self.objective.dearness(judged.programme)

        return sorted((one for one in best if one.programme), key=told)

    def share(self, outcome: Outcome) -> float:
        """Share of the way that it goes [1]."""
        return share_of_the_way(outcome.before, outcome.removal, gauge_for(self.bench, self.start.radius))

    def expected(self, programme: Programme) -> float:
        """Root of the expected mean square figure error, the measurement's own band included [m]."""
        if not programme.spells:
            return float(np.hypot(self.objective.rms_before, self.measured))
        return float(np.hypot(self.judge_closely().judge(tried_of(programme)).score.expected_rms, self.measured))

    @property
    def measured(self) -> float:
        """RMS of the measurement's own uncertainty [m]."""
        gauge = gauge_for(self.bench, self.start.radius)
        root = self.start.root
        return float(np.sqrt(np.sum((gauge.aperture.rms_matrix() @ root) * root)))

    def floor(self) -> float:
        """The linear floor at the present state [m]."""
        gauge = gauge_for(self.bench, self.start.radius)
        pricing = Pricing(self.bench, self.state(self.accuracy), self.limits, self.belief.best(), self.accuracy)
        error = gauge.error(self.start.height)
        return floor_over_all_sizes(pricing, gauge, error, self.limits.minutes).rms

    def early(self, programme: Programme, seed: int, draws: int) -> EarlyStop:
        """The figure against minutes of work, with its band."""
        tried, objective = tried_of(programme), self.objective
        return stopped_early(
            self.nominal, objective.start, objective.gauge, tried, self.belief, self.start, seed=seed, draws=draws
        )


def _later(
    bench: Bench, work: _Work, programme: Programme, outcome: Outcome, sessions: int, seed: int, draws: int
) -> tuple[tuple[LaterSession, ...], str]:
    """Sessions after the first, if each goes as predicted and its test narrows the constants down; why no more.

    A session starts from the glass that the one before is predicted to leave, known as well as the first test knows the
    glass of today. Its band is over draws of that test's error and of the constants as they are believed to be known
    then. What the sessions before may really leave is in their own bands: whoever has tested proposes anew.
    """
    later: list[LaterSession] = []
    spread = np.minimum(np.sqrt(np.diag(work.belief.covariance)), SPREAD_AFTER_SESSION)
    belief = Belief(work.belief.mean, np.diag(spread**2) if len(NAMES) else work.belief.covariance)
    height = outcome.height
    for number in range(2, sessions + 1):
        if not programme.spells:
            return (), "there is nothing to do in the first"
        if work.clock.leaves_out(_sessions(number, sessions)):
            return tuple(later), "the time limit came first"
        start = StartFigure(work.start.radius, height, work.start.root)
        next_work = _Work(bench, work.limits, belief, start, None, work.accuracy, work.clock)
        _, best = Look(next_work).run(2)
        done, result, reason = next_work.choose(best, seed + number, draws)
        if not done.spells:
            return tuple(later), f"after session {number - 1} {reason}"
        later.append(LaterSession(done, result, next_work.expected(done)))
        height = result.height
    return tuple(later), ""


def _sessions(first: int, last: int) -> str:
    return f"session {first}" if first == last else f"sessions {first} to {last}"
