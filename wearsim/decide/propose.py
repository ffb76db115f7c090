"""From bench and limits to a proposal."""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np

from wearsim.bench.bench import Bench
from wearsim.bench.programme import Programme
from wearsim.bench.toml_io import dump_programme
from wearsim.decide.binding import what_limits
from wearsim.decide.choice import TRIAL, Alternative, alternative, beside, simplest, worth_listing
from wearsim.decide.coarse_engine import Plan, PlannedSpell, is_same, plan_of
from wearsim.decide.good_enough import GoodEnough, good_enough
from wearsim.decide.least_squares import Candidate, cost_of
from wearsim.decide.limits import COMMON, Clock, Limits, usual_limits
from wearsim.decide.lower_bound import Pricing, floor_over_all_sizes
from wearsim.decide.proposal import EarlyStop, LaterSession, Proposal, stopped_early
from wearsim.decide.reasons import (
    NOTHING_LEFT,
    WORTHWHILE,
    edge_advice,
    lower_floor_advice,
    reason_for_none,
    reason_for_share,
    reason_to_stop,
    share_words,
)
from wearsim.decide.repertoire import is_allowed
from wearsim.decide.response_search import SearchProgress
from wearsim.decide.search import SHORT, Searched, SearchSchedule
from wearsim.decide.search_problem import ProposalProblem
from wearsim.decide.stroke_library import StrokeSpec
from wearsim.decide.trade_off import TradeOff, looked_into, trade_off
from wearsim.figure.aim import AIM
from wearsim.wear.accuracy import DEFAULT, Accuracy
from wearsim.wear.bench_risks import facet_print
from wearsim.wear.constants import IS_FACTOR, Belief, prior
from wearsim.wear.discrepancy import Discrepancy
from wearsim.wear.initial_figure import StartFigure, start_figure
from wearsim.wear.outcome import Outcome, share_of_the_way
from wearsim.wear.predict import BAND_DRAWS, Uncertainty, gauge_for, predict
from wearsim.wear.state import State

# What a session with a test after it leaves of the constants' spread: a factor of about 1.25. A judgement.
SPREAD_AFTER_SESSION = 0.25

# The radial engine's own error, as a share of the RMS of what is removed, piston and r^2 taken off (docs/planar.md) [1].
ENGINE_ERROR = 0.01
# Programmes that are worked at full accuracy before the best by that is chosen.
MOST_PREDICTED = 6

# A short trial may leave this factor of the present RMS [1]. A judgement.
HARMLESS = 1.02

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
    aim: float = AIM,
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
        Programmes that the long search refines first where any stroke is allowed and the constants are known; by default 4.
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
        Whether programmes for fewer minutes and fewer spells are looked into as well, which takes about as long again.
    aim : float
        Strehl ratio inside the unmasked aperture at which to stop [1] (:mod:`wearsim.figure.aim`).
    progress : callable, optional
        Called with a stage's name and the best cost so far [m].

    Returns
    -------
    Proposal
        With an empty programme where nothing allowed is better than stopping.
    """
    clock = Clock(time_limit)
    limits = usual_limits(minutes=minutes, spells=spells) if limits is None else limits
    belief, own = prior(bench) if belief is None else belief, discrepancy or Discrepancy()
    limits = limits.settled(bench).with_certainty(belief.is_certain)
    start = start_figure(bench, accuracy) if start is None else start
    if not belief.is_certain:  # what differs between sessions counts as one more uncertainty of the wear
        belief, own = belief.with_session_spread(own.spread), replace(own, spread=0.0)

    first = _Proposing(bench, limits, belief, start, laps, accuracy, clock, seed, draws, progress, own, aim)
    work = first.with_own_edge_limit()
    searched = SearchSchedule(work, progress).run(starts)
    return work.proposal(limits, searched, work.choose(searched), sessions, with_trade_off)


def with_programme(
    bench: Bench, proposal: Proposal, chosen: Alternative, *, seed: int = 0, draws: int = BAND_DRAWS,
    accuracy: Accuracy = DEFAULT, belief: Belief | None = None, start: StartFigure | None = None,
    laps: State | None = None, discrepancy: Discrepancy | None = None,
) -> Proposal:  # fmt: skip
    """A proposal with another programme of its table of choices in the place of the proposed one."""
    belief, own = prior(bench) if belief is None else belief, discrepancy or Discrepancy()
    start = start_figure(bench, accuracy) if start is None else start
    work = _Proposing(
        bench, proposal.limits, belief, start, laps, accuracy, Clock(), seed, draws, None, own, AIM
    )  # fmt: skip
    programme, outcome = work._as_programme(chosen.candidate.plan), work._predict(chosen.candidate.plan, draws)
    share, band = work.share(outcome), None if outcome.band is None else outcome.band.share
    reason = (
        f"taken from the table of choices ({chosen.name.lower()}), this is expected to remove {share_words(share, band)}. "
        "Test, record, and continue from there"
    )
    return replace(
        proposal, programme=programme, outcome=outcome, share=share, early=work._early(programme),
        expected_rms=chosen.expected_rms, later=(), advice=(),
        pressings=work._uncertain.pressings(bench, programme), reason=reason,
    )  # fmt: skip


_Choice = tuple[Programme, Outcome, str]
"""A programme, what it is predicted to do, and why it goes as far as it goes."""


@dataclass(frozen=True, eq=False)
class _Proposing(ProposalProblem):
    """One proposal in the making."""

    seed: int
    draws: int
    progress: SearchProgress | None
    discrepancy: Discrepancy
    aim: float

    def with_own_edge_limit(self) -> _Proposing:
        """The same where the edge keeps its limit; where it is beyond it already, with what it is as its limit."""
        present = abs(self.objective.roll_before) / self.bench.light.wavelength
        return replace(self, limits=replace(self.limits, edge_limit=max(present, self.limits.edge_limit)))

    def proposal(
        self, limits: Limits, searched: Searched, choice: _Choice, sessions: int, with_trade_off: bool
    ) -> Proposal:
        """What is chosen, with all that is said of it; ``limits`` are those that were asked for."""
        programme, outcome, reason = choice
        floor = self.floor()
        advice = (*edge_advice(outcome, limits, self.bench.light.wavelength), *lower_floor_advice(self, limits, floor))
        later, no_more = self._later(programme, outcome, sessions)
        least = max(floor, self._least(outcome)) if programme.spells else 0.0
        choices, early = self._choices(searched, programme, least), self._early(programme)
        advice = (*early.advice(outcome), *advice)
        if programme.spells:
            advice = (*what_limits(self, limits, choices[0].candidate, searched.uncommon), *advice)
        elif choices:  # something is left to do
            advice = (*what_limits(self, limits, self.for_figures().evaluate(()), None), *advice)
        return Proposal(
            programme=programme,
            outcome=outcome,
            floor=floor,
            trade_off=self._trade_off(searched, programme) if with_trade_off else (),
            choices=choices,
            expected_rms=max(self.expected(plan_of(programme)), least),
            stopped_rms=self.expected(()),
            least_rms=least,
            share=self.share(outcome),
            reason=reason,
            advice=advice,
            early=early,
            later=later,
            limits=limits,
            pressings=self._uncertain.pressings(self.bench, programme),
            evaluations=searched.pool.evaluations,
            seconds=searched.pool.seconds,
            stopped=searched.pool.stopped,
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
        spells = (
            one.stroke.spell(one.minutes, self.limits.strokes_a_minute, turn)
            for one, turn in zip(plan, turns, strict=True)
        )
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

    def choose(self, searched: Searched) -> _Choice:
        """The programme to propose, better than stopping at full accuracy, or the empty one, and why."""
        before = self.objective.rms_before
        limit = self.objective.roll_limit * 1.02
        ordered = self._in_order(searched.candidates)
        for one in ordered:
            if not one.plan or one.score.expected_rms >= (1.0 - WORTHWHILE) * before:
                continue
            outcome = self._predict(one.plan)
            keeps_edge = abs(outcome.edge_roll) <= limit
            if outcome.surface_rms < outcome.numbers_before.surface_rms and keeps_edge:
                outcome = self._predict(one.plan, self.draws) if self.draws else outcome
                if self.is_good_enough:
                    return self._as_programme(()), self._predict(()), self._to_stop(outcome)
                band = None if outcome.band is None else outcome.band.share
                reason = reason_for_share(self.belief, self.limits, self.share(outcome), band)
                return self._as_programme(one.plan), outcome, reason
        reason = self._to_stop(None) if self.is_good_enough else self._for_none(ordered, searched.uncommon)
        return self._as_programme(()), self._predict(()), reason

    def _in_order(self, candidates: list[Candidate]) -> list[Candidate]:
        """The one to propose first: the simplest of those as good as the best, or the best where any stroke is allowed."""
        if self.limits.repertoire == COMMON:
            return simplest(self.bench, candidates)
        return self._by_prediction(candidates) if self.is_certain else sorted(candidates, key=cost_of)

    def _by_prediction(self, best: list[Candidate]) -> list[Candidate]:
        """The best by the figure that is shown: on offsets of their own strokes, not on shared ones."""

        def cost(one: Candidate) -> float:
            return self._predict(one.plan).surface_rms * self.objective.effort(one.plan)

        return sorted((one for one in sorted(best, key=cost_of)[:MOST_PREDICTED] if one.plan), key=cost)

    @cached_property
    def _good(self) -> GoodEnough:
        """How the glass as it is stands to the aim."""
        return good_enough(self.start, gauge_for(self.bench, self.start.radius), self.aim, self.seed)

    @property
    def is_good_enough(self) -> bool:
        """Whether the glass as it is reaches the aim for nearly all that its measurement leaves possible."""
        return self._good.verdict == "yes"

    def _for_none(self, ordered: list[Candidate], uncommon: Candidate | None) -> str:
        rms, measured = self.objective.rms_before, self.measured
        return reason_for_none(rms, ordered, uncommon, self._trial is not None, self.start.not_round, measured)

    def _to_stop(self, outcome: Outcome | None) -> str:
        return reason_to_stop(self._good, self.objective.rms_before, outcome, self.start.not_round)

    def _choices(self, searched: Searched, programme: Programme, least: float) -> tuple[Alternative, ...]:
        """The table of choices, none of which promises less than an RMS [m]; empty where the aim is reached.

        Where nothing is proposed, what is left: uncommon strokes where they help, and the textbook stroke or a short trial.
        """
        plan, proposed = plan_of(programme), None
        if plan:
            proposed = min(searched.candidates, key=lambda one: (not is_same(one.plan, plan), one.score.expected_rms))
        elif self.is_good_enough or self.objective.rms_before < NOTHING_LEFT:
            return ()
        better = [one for one in searched.candidates if plan and one.score.expected_rms < self.objective.rms_before]

        def promised(rms: float) -> float:
            return max(float(np.hypot(rms, self.measured)), least)

        stopped = self.objective.rms_before
        found = beside(self.bench, proposed, better, searched.handbook, searched.uncommon, promised, stopped)
        trial = None if plan else self._trial
        trials = () if trial is None else (alternative(TRIAL, trial, self.bench, promised),)
        return worth_listing((*trials, *found), self.expected(()))

    @cached_property
    def _trial(self) -> Candidate | None:
        """A plain stroke, as short as a spell may be, and shorter where that would harm: to learn from, so none where the
        constants are known. The one that keeps a sphere; with a smaller lap a straight one of half its size."""
        if self.is_certain:
            return None
        lap, step = self.bench.laps[0], self.size_step
        half = round(step * round(0.5 * lap.diameter / self.bench.mirror.diameter / step), 4)
        plain = (("one-third", 1.0 / 3.0), ("straight", half))
        strokes = (StrokeSpec(top, lap.name, *one) for one in plain for top in self.limits.pieces)
        allowed = [one for one in strokes if is_allowed(one, self.bench, self.limits)][:2]
        lengths = {self.limits.shortest: None, min(SHORT, self.limits.shortest): None}
        tried = [self.for_figures().attempt((PlannedSpell(one, minutes),)) for minutes in lengths for one in allowed]
        found = [one for one in tried if one is not None]
        least = min((one.score.expected_rms for one in found), default=0.0)
        harmless = max(HARMLESS * self.objective.rms_before, least)
        return next((one for one in found if one.score.expected_rms <= harmless), None)

    def share(self, outcome: Outcome) -> float:
        """Share of the error that it removes [1]."""
        return share_of_the_way(outcome.before, outcome.removal, gauge_for(self.bench, self.start.radius))

    def expected(self, plan: Plan) -> float:
        """Root of the expected mean square figure error, the measurement's own band included [m]."""
        rms = self.objective.rms_before
        if plan:
            rms = self.for_figures().evaluate(plan).score.expected_rms
        return float(np.hypot(rms, self.measured))

    def _least(self, outcome: Outcome) -> float:
        """What nobody can promise to better: the channels' print, and the engine's own error [m]."""
        gauge = gauge_for(self.bench, self.start.radius)
        return max(facet_print(self.bench), ENGINE_ERROR * gauge.aperture.rms(gauge.error(outcome.removal)))

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

    def _trade_off(self, searched: Searched, programme: Programme) -> tuple[TradeOff, ...]:
        """The results with fewer minutes and spells, searched."""
        if not programme.spells or self.clock.leaves_out("results with fewer minutes and spells"):
            return ()
        if self.progress is not None:
            self.progress("fewer minutes", self.objective.rms_before)
        candidates, evaluated = looked_into(self, searched, plan_of(programme))
        ends = (self.objective.rms_before, self.measured, 1.02 * self.objective.roll_limit)
        return trade_off(candidates, self.limits, *ends, evaluated)

    def _later(self, programme: Programme, outcome: Outcome, sessions: int) -> tuple[tuple[LaterSession, ...], str]:
        """Sessions after the first, if each goes as predicted and its test narrows the constants down; why no more.

        A session starts from the glass that the one before is predicted to leave, known as well as the first test knows
        the glass of today. Its band is over draws of that test's error and of the constants as they are believed to be
        known then. What the sessions before may really leave is in their own bands: a test is followed by a new proposal.
        """
        later: list[LaterSession] = []
        sigma = np.sqrt(np.diag(self.belief.covariance))
        narrowed = np.where(IS_FACTOR, np.minimum(sigma, SPREAD_AFTER_SESSION), sigma)
        belief = Belief(self.belief.mean, np.diag(narrowed**2))
        height = outcome.height
        for number in range(2, sessions + 1):
            if not programme.spells:
                return (), "there is nothing to do in the first session"
            if self.clock.leaves_out(f"session {number}" if number == sessions else f"sessions {number} to {sessions}"):
                return tuple(later), "the time limit was reached"
            start = StartFigure(self.start.radius, height, self.start.root)
            limits = replace(self.limits, beyond=False)
            work = replace(self, belief=belief, start=start, laps=None, limits=limits, seed=self.seed + number)
            done, result, reason = work.choose(SearchSchedule(work).run(2))
            if not done.spells:
                return tuple(later), f"after session {number - 1} {reason}"
            later.append(LaterSession(done, result, work.expected(plan_of(done))))
            height = result.height
        return tuple(later), ""
