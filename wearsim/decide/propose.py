"""From bench and limits to a proposal."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from wearsim.bench.bench import Bench
from wearsim.bench.programme import Programme
from wearsim.bench.toml_io import dump_programme
from wearsim.decide.coarse_engine import Plan, plan_of
from wearsim.decide.least_squares import Candidate
from wearsim.decide.limits import Clock, Limits
from wearsim.decide.lower_bound import Pricing, floor_over_all_sizes
from wearsim.decide.proposal import EarlyStop, LaterSession, Proposal, stopped_early
from wearsim.decide.reasons import WORTHWHILE, edge_advice, lower_floor_advice, reason_for_none, reason_for_share
from wearsim.decide.response_search import CandidatePool, SearchProgress
from wearsim.decide.search import SearchSchedule
from wearsim.decide.search_problem import ProposalProblem
from wearsim.decide.trade_off import Budgets, TradeOff, trade_off
from wearsim.wear.accuracy import DEFAULT, Accuracy
from wearsim.wear.constants import IS_FACTOR, Belief, prior
from wearsim.wear.discrepancy import Discrepancy
from wearsim.wear.initial_figure import StartFigure, start_figure
from wearsim.wear.outcome import Outcome, share_of_the_way
from wearsim.wear.predict import BAND_DRAWS, Uncertainty, gauge_for, predict
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
    discrepancy: Discrepancy | None = None,
    with_trade_off: bool = False,
    progress: SearchProgress | None = None,
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
        cannot do without comes after it: the best programme rounded and predicted with its band, and the floor.
    seed : int
        Of the band's draws.
    draws : int
        Of the band.
    accuracy : Accuracy
        Of the final prediction.
    belief, start, laps, discrepancy : optional
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
    belief, own = prior(bench) if belief is None else belief, discrepancy or Discrepancy()
    limits = limits.with_certainty(belief.is_certain)
    start = start_figure(bench, accuracy) if start is None else start
    if not belief.is_certain:  # what differs between sessions counts as one more uncertainty of the wear
        belief, own = belief.with_session_spread(own.spread), replace(own, spread=0.0)

    first = _Proposing(bench, limits, belief, start, laps, accuracy, clock, seed, draws, progress, own)
    work, pool, choice = first.within_edge_limit(starts)
    return work.proposal(limits, pool, choice, sessions, with_trade_off)


_Choice = tuple[Programme, Outcome, str]
"""A programme, what it is predicted to do, and why it goes as far as it goes."""


@dataclass(frozen=True, eq=False)
class _Proposing(ProposalProblem):
    """One proposal in the making."""

    seed: int
    draws: int
    progress: SearchProgress | None
    discrepancy: Discrepancy

    def within_edge_limit(self, starts: int | None) -> tuple[_Proposing, CandidatePool, _Choice]:
        """Search within the limit on the edge roll; where the edge is beyond it and stays so, within what it is."""
        pool, best = SearchSchedule(self, self.progress).run(starts)
        choice = self.choose(best)
        present = abs(self.objective.roll_before) / self.bench.light.wavelength
        if choice[0].spells or present <= self.limits.edge_limit or pool.stopped:
            return self, pool, choice
        if self.clock.leaves_out("programmes that keep the edge where it is, beyond its limit"):
            return self, pool, choice
        work = replace(self, limits=replace(self.limits, edge_limit=present))
        again, best = SearchSchedule(work, work.progress).run(starts)
        pool.add_pool(again)
        return work, pool, work.choose(best)

    def proposal(
        self, limits: Limits, pool: CandidatePool, choice: _Choice, sessions: int, with_trade_off: bool
    ) -> Proposal:
        """What is chosen, with all that is said of it; ``limits`` are those that were asked for."""
        programme, outcome, reason = choice
        floor = self.floor()
        advice = (*edge_advice(outcome, limits, self.bench.light.wavelength), *lower_floor_advice(self, limits, floor))
        later, no_more = self._later(programme, outcome, sessions)
        return Proposal(
            programme=programme,
            outcome=outcome,
            floor=floor,
            trade_off=self._trade_off(pool, programme) if with_trade_off else (),
            expected_rms=self.expected(programme),
            share=self.share(outcome),
            aim=self.aim,
            reason=reason,
            advice=advice,
            early=self._early(programme),
            later=later,
            limits=limits,
            pressings=self._uncertain.pressings(self.bench, programme),
            evaluations=pool.evaluations,
            seconds=pool.seconds,
            stopped=pool.stopped,
            no_more_sessions=no_more,
            left_out=tuple(self.clock.left_out),
        )

    @property
    def _uncertain(self) -> Uncertainty:
        """Everything that the band is drawn over."""
        return Uncertainty(self.belief, self.start, self.laps, self.discrepancy)

    def _as_programme(self, plan: Plan) -> Programme:
        """The programme as a person would write it."""
        first = next((place for place, one in enumerate(plan) if not one.stroke.is_press), 0)
        turns = [TURN if place > first else 0.0 for place in range(len(plan))]
        spells = (one.stroke.spell(one.minutes, self.limits.rate, turn) for one, turn in zip(plan, turns, strict=True))
        made = Programme(spells=tuple(spells))
        return made.model_copy(update={"text": dump_programme(made)})

    def _predict(self, plan: Plan, draws: int = 0) -> Outcome:
        """The coupled engine at full accuracy."""
        return predict(
            self.bench,
            self._as_programme(plan),
            seed=self.seed,
            draws=draws,
            accuracy=self.accuracy,
            belief=self.belief,
            start=self.start,
            laps=self.laps,
            discrepancy=self.discrepancy,
        )

    def choose(self, best: list[Candidate]) -> _Choice:
        """The best programme that is better than stopping at full accuracy, or the empty one, and why."""
        before = self.objective.rms_before
        limit = self.objective.roll_limit * 1.02
        for one in self._by_prediction(best) if self.is_certain else best:
            if not one.plan or one.score.expected_rms >= (1.0 - WORTHWHILE) * before:
                continue
            outcome = self._predict(one.plan)
            keeps_edge = abs(outcome.edge_roll) <= limit
            if outcome.surface_rms < outcome.numbers_before.surface_rms and keeps_edge:
                outcome = self._predict(one.plan, self.draws) if self.draws else outcome
                band = None if outcome.band is None else outcome.band.share
                reason = reason_for_share(self.belief, self.limits, self.share(outcome), band)
                return self._as_programme(one.plan), outcome, reason
        return self._as_programme(()), self._predict(()), reason_for_none(before, best)

    def _by_prediction(self, best: list[Candidate]) -> list[Candidate]:
        """The best by the figure that is shown: on offsets of their own strokes, not on shared ones."""

        def cost(one: Candidate) -> float:
            return self._predict(one.plan).surface_rms * self.objective.effort(one.plan)

        return sorted((one for one in best if one.plan), key=cost)

    def share(self, outcome: Outcome) -> float:
        """Share of the way that it goes [1]."""
        return share_of_the_way(outcome.before, outcome.removal, gauge_for(self.bench, self.start.radius))

    def expected(self, programme: Programme) -> float:
        """Root of the expected mean square figure error, the measurement's own band included [m]."""
        rms = self.objective.rms_before
        if programme.spells:
            rms = self.for_figures().evaluate(plan_of(programme)).score.expected_rms
        return float(np.hypot(rms, self.measured))

    def floor(self) -> float:
        """The linear floor at the present state [m]."""
        gauge = gauge_for(self.bench, self.start.radius)
        pricing = Pricing(self.bench, self.state(self.accuracy), self.limits, self.belief.best(), self.accuracy)
        error = gauge.error(self.start.height)
        return floor_over_all_sizes(pricing, gauge, error, self.limits.minutes).rms

    def _early(self, programme: Programme) -> EarlyStop:
        """The figure against minutes of work, with its band."""
        of = (self.objective.start, self.objective.gauge, plan_of(programme), self.belief, self.start, self.discrepancy)
        return stopped_early(self.nominal, *of, seed=self.seed, draws=self.draws)

    def _trade_off(self, pool: CandidatePool, programme: Programme) -> tuple[TradeOff, ...]:
        """What fewer minutes and spells buy, looked into."""
        if not programme.spells or self.clock.leaves_out("what minutes and spells buy"):
            return ()
        budgets = Budgets(self, pool.candidates, plan_of(programme))
        if self.progress is not None:
            self.progress("fewer minutes", budgets.candidates[0].score.cost)
        budgets.run()
        ends = (self.objective.rms_before, self.measured, 1.02 * self.objective.roll_limit)
        return trade_off(budgets.candidates, self.limits, *ends, budgets.evaluated)

    def _later(self, programme: Programme, outcome: Outcome, sessions: int) -> tuple[tuple[LaterSession, ...], str]:
        """Sessions after the first, if each goes as predicted and its test narrows the constants down; why no more.

        A session starts from the glass that the one before is predicted to leave, known as well as the first test knows
        the glass of today. Its band is over draws of that test's error and of the constants as they are believed to be
        known then. What the sessions before may really leave is in their own bands: whoever has tested proposes anew.
        """
        later: list[LaterSession] = []
        sigma = np.sqrt(np.diag(self.belief.covariance))
        narrowed = np.where(IS_FACTOR, np.minimum(sigma, SPREAD_AFTER_SESSION), sigma)
        belief = Belief(self.belief.mean, np.diag(narrowed**2))
        height = outcome.height
        for number in range(2, sessions + 1):
            if not programme.spells:
                return (), "there is nothing to do in the first"
            if self.clock.leaves_out(f"session {number}" if number == sessions else f"sessions {number} to {sessions}"):
                return tuple(later), "the time limit came first"
            start = StartFigure(self.start.radius, height, self.start.root)
            work = replace(self, belief=belief, start=start, laps=None, seed=self.seed + number)
            _, best = SearchSchedule(work).run(2)
            done, result, reason = work.choose(best)
            if not done.spells:
                return tuple(later), f"after session {number - 1} {reason}"
            later.append(LaterSession(done, result, work.expected(done)))
            height = result.height
        return tuple(later), ""
