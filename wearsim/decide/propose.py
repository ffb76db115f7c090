"""From bench and limits to a proposal."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import numpy as np

from wearsim.bench.bench import Bench
from wearsim.bench.files import dump_programme
from wearsim.bench.programme import Programme
from wearsim.decide.advise import beyond_the_edge_limit, lower_floor_advice
from wearsim.decide.limits import Limits
from wearsim.decide.neat import Settler
from wearsim.decide.objective import Objective
from wearsim.decide.pressing import first_press, is_misfit, with_pressing
from wearsim.decide.pricing import Pricing, floor_over_all_sizes
from wearsim.decide.proposal import EarlyStop, LaterSession, Proposal
from wearsim.decide.reasons import NOTHING_LEFT, WORTHWHILE, why, why_not
from wearsim.decide.refine import Judged, Refiner
from wearsim.decide.scenarios import Scenario, scenarios, share_to_aim_for
from wearsim.decide.search import Effort, Found, Search, distinct
from wearsim.decide.stopped import stopped_early
from wearsim.decide.trade_off import trade_off
from wearsim.decide.trial import COARSE, Trials, Trying, tried_of
from wearsim.wear.accuracy import DEFAULT, Accuracy
from wearsim.wear.constants import NAMES, Belief, prior
from wearsim.wear.outcome import Outcome
from wearsim.wear.predict import BAND_DRAWS, gauge_for, predict
from wearsim.wear.start import StartFigure, on_grid, start_figure
from wearsim.wear.state import State, start_state

# Costs that differ by less than this are the same. A judgement.
SAME_COST = 0.03
# What a session with a test after it leaves of the constants' spread: a factor of about 1.25. A judgement.
SPREAD_AFTER_SESSION = 0.25

# The mirror is turned by a fifth of a turn between spells (common practice, no source) [rad].
TURN = 0.4 * np.pi
# Offsets shared by all strokes at full accuracy.
FINE_OFFSETS = 44
# With the constants known there is more to gain by looking longer.
EFFORT_CERTAIN = Effort(
    starts=16, climb=6, heats=((10, 9), (4, 15)), rounds=2, kept=3, exchanged=3, scouts=160, work=220_000,
    shares=(0.45, 0.7),
)  # fmt: skip
EFFORT_UNCERTAIN = Effort(starts=4, rounds=1, kept=1)
# The long search looks again where the quick one leaves more than this times what the removal's spread alone must
# leave, and this share of the figure error. Judgements.
BEYOND_SPREAD, ALWAYS_LEFT = 1.2, 0.1

Progress = Callable[[str, float], None]


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
        Programmes that the search refines first, of each origin; by default 16, or 4 where the constants are uncertain.
    time_limit : float, optional
        [s]
    seed : int
        Of the band's draws.
    draws : int
        Of the band.
    accuracy : Accuracy
        Of the final prediction.
    belief, start, laps : optional
        What a mirror's folder knows better than the bench.
    progress : callable, optional
        Called with a stage's name and the best cost so far [m].

    Returns
    -------
    Proposal
        With an empty programme where nothing allowed is better than stopping.
    """
    limits = Limits(minutes=minutes, spells=spells) if limits is None else limits
    belief = prior(bench) if belief is None else belief
    start = start_figure(bench, accuracy) if start is None else start
    work, found, programme, outcome, reason = _within_edge_limit(
        lambda allowed: _Work(bench, allowed, belief, start, laps, accuracy), limits, starts, time_limit,
        progress, seed, draws,
    )  # fmt: skip
    floor = work.floor()
    rest = None if time_limit is None else max(0.0, time_limit - found.seconds)
    later = _later(bench, work, programme, outcome, sessions, rest) if programme.spells else ()
    return Proposal(
        programme=programme,
        outcome=outcome,
        floor=floor,
        expected_rms=work.expected(programme),
        share=work.share(outcome),
        aim=work.aim,
        reason=reason,
        advice=(
            *beyond_the_edge_limit(outcome, limits, bench.light.wavelength),
            *lower_floor_advice(bench, limits, start, floor, work.objective, belief),
        ),
        trade_off=trade_off(found.judged, limits, work.objective.rms_before, work.measured),
        early=work.early(programme, seed, draws),
        later=later,
        limits=limits,
        evaluations=found.evaluations,
        seconds=found.seconds,
        stopped=found.stopped,
    )


def _within_edge_limit(
    prepare: Callable[[Limits], _Work], limits: Limits, starts: int | None, time_limit: float | None,
    progress: Progress | None, seed: int, draws: int,
) -> tuple[_Work, Found, Programme, Outcome, str]:  # fmt: skip
    """Search within the limit on the edge roll; where the edge is beyond it and stays so, within what it is."""
    work = prepare(limits)
    found, best = work.find(starts, time_limit, progress)
    chosen = work.choose(best, seed, draws)
    present = abs(work.objective.roll_before) / work.bench.light.wavelength
    if chosen[0].spells or present <= limits.edge_limit or found.stopped:
        return work, found, *chosen
    work = prepare(replace(limits, edge_limit=present))
    rest = None if time_limit is None else max(0.0, time_limit - found.seconds)
    again, best = work.find(starts, rest, progress)
    found.take_in(again)
    return work, found, *work.choose(best, seed, draws)


class _Work:
    """One proposal in the making."""

    def __init__(
        self, bench: Bench, limits: Limits, belief: Belief, start: StartFigure, laps: State | None,
        accuracy: Accuracy,
    ) -> None:  # fmt: skip
        self.bench, self.limits, self.belief, self.start = bench, limits, belief, start
        self.laps, self.accuracy = laps, accuracy
        coarse = on_grid(bench, start, COARSE)
        state = start_state(bench, coarse.radius, coarse.height, COARSE)
        if laps is not None:
            state = replace(state, laps=laps.on_grids(bench, COARSE).laps)
        gauge = gauge_for(bench, coarse.radius)
        self.objective = Objective(gauge, state, limits, bench.light.wavelength)
        self.nominal = Trials(bench, limits, belief.best())
        self.cases = scenarios(belief)
        self.aim = share_to_aim_for(belief)
        self._trials: list[Trials] | None = None

    @property
    def trials(self) -> list[Trials]:
        """One a scenario, made when first needed."""
        if self._trials is None:
            self._trials = (
                [self.nominal]
                if len(self.cases) == 1
                else [Trials(self.bench, self.limits, case.constants) for case in self.cases]
            )
        return self._trials

    def find(
        self, starts: int | None, time_limit: float | None, progress: Progress | None
    ) -> tuple[Found, list[Judged]]:
        """Search with the most likely constants, then weigh the best in every scenario."""
        certain = len(self.cases) == 1
        one = (Scenario(self.belief.best(), 1.0),)
        aim = 1.0 if certain else self.aim
        if self.objective.rms_before < NOTHING_LEFT:
            return Found(), []
        seen, best, leads = Found(), list[Judged](), self._leads()
        quick_first = not certain or len(leads) > 1
        for effort in (EFFORT_UNCERTAIN, EFFORT_CERTAIN) if quick_first else (EFFORT_CERTAIN,):
            if starts is not None:
                effort = replace(effort, starts=starts, work=effort.work * starts // effort.starts)
            reached = []
            for lead in leads:
                rest = None if time_limit is None else max(0.0, time_limit - seen.seconds)
                objective = self.objective.after(self.nominal.states(self.objective.start, lead)[-1])
                refiner = Refiner(objective, [self.nominal], one, self.nominal, aim)
                found = Search(refiner, self.nominal, objective, effort, rest, progress).run()
                found.judged = [replace(o, programme=(*lead, *o.programme)) for o in found.judged]
                settled = self._settle_certain(found) if certain else self._settle_uncertain(found)
                reached.append(min((o.score.cost for o in settled), default=np.inf))
                best += settled
                seen.take_in(found)
            least = min((o.score.expected_rms for o in best), default=np.inf)
            if seen.stopped or (not certain and least < self._good_enough()):
                break
            leads = [leads[int(np.argmin(reached))]]  # the longer look follows the better beginning
        if progress is not None and best:
            progress("whole minutes", min(one.score.cost for one in best))
        return seen, _by_promise(best)

    def _leads(self) -> list[tuple[Trying, ...]]:
        """What may come before the first stroke: nothing, or a pressing where some lap does not fit the glass."""
        pressings = [first_press(self.limits, lap) for lap in self.bench.laps]
        poor = [one for one in pressings if is_misfit(self.objective.start, one, self.nominal)]
        return [(), tuple(poor)] if poor else [()]

    def _good_enough(self) -> float:
        """Expected RMS that a quick search may end with [m].

        With the removal known up to a log-normal factor of variance v, the best share of the way still leaves
        ``sqrt(1 - exp(-v))`` of the figure error (physics section 9).
        """
        must = float(np.sqrt(-np.expm1(-self.belief.covariance[0, 0])))
        return (BEYOND_SPREAD * must + ALWAYS_LEFT) * self.objective.rms_before

    def _settle_uncertain(self, found: Found) -> list[Judged]:
        """The best programmes weighed in every scenario, their minutes worked over and made whole."""
        robust = Refiner(self.objective, self.trials, self.cases, self.nominal)
        settler = Settler(robust, self.objective, self.nominal)
        best = [
            settler.settle(robust.improve(one.programme, steps=5, shapes_too=False).programme)
            for one in distinct(found.judged, 2)
        ]
        best += with_pressing(best, settler)
        found.judged = [robust.judge(item.programme) for item in found.best(40)] + best
        found.evaluations += robust.evaluations
        return best

    def _settle_certain(self, found: Found) -> list[Judged]:
        """The best programmes worked over at full accuracy, then made neat: what is left is small by now."""
        fine = _Fine(self)
        settler = Settler(fine.refiner, fine.objective, fine.trials)
        climbed = [fine.refiner.improve(one.programme, steps=4) for one in distinct(found.judged, 4)]
        climbed.sort(key=lambda item: item.score.cost)
        best = [settler.settle(one.programme, sizes_too=True) for one in climbed[:3]]
        best += with_pressing(best, settler, sizes_too=True)
        found.judged += best
        found.evaluations += fine.refiner.evaluations
        return best

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
        for judged in best:
            if not judged.programme or judged.score.expected_rms >= (1.0 - WORTHWHILE) * before:
                continue
            programme = self.as_programme(judged.programme)
            outcome = self.predict(programme, seed, draws)
            keeps_edge = abs(outcome.edge_roll) <= limit
            if outcome.surface_rms < outcome.numbers_before.surface_rms and keeps_edge:
                return programme, outcome, why(self.belief, self.limits, self.share(outcome))
        empty = self.as_programme(())
        return empty, self.predict(empty, seed, 0), why_not(self.objective.rms_before, best)

    def share(self, outcome: Outcome) -> float:
        """Share of the way: the removal's part along the figure error, in squares [1]."""
        gauge = gauge_for(self.bench, self.start.radius)
        removed = gauge.aperture.level(outcome.removal)
        weights = gauge.aperture.rms_matrix()
        whole = float(outcome.before @ weights @ outcome.before)
        return float(removed @ weights @ outcome.before) / whole if whole > 0.0 else 0.0

    def expected(self, programme: Programme) -> float:
        """Root of the expected mean square figure error, the measurement's own band included [m]."""
        if not programme.spells:
            return float(np.hypot(self.objective.rms_before, self.measured))
        refiner = Refiner(self.objective, self.trials, self.cases, self.nominal)
        return float(np.hypot(refiner.judge(tried_of(programme)).score.expected_rms, self.measured))

    @property
    def measured(self) -> float:
        """RMS of the measurement's own uncertainty [m]."""
        gauge = gauge_for(self.bench, self.start.radius)
        root = self.start.root
        return float(np.sqrt(np.sum((gauge.aperture.rms_matrix() @ root) * root)))

    def floor(self) -> float:
        """The linear floor at the present state [m]."""
        gauge = gauge_for(self.bench, self.start.radius)
        state = start_state(self.bench, self.start.radius, self.start.height, self.accuracy)
        if self.laps is not None:
            state = replace(state, laps=self.laps.on_grids(self.bench, self.accuracy).laps)
        pricing = Pricing(self.bench, state, self.limits, self.belief.best(), self.accuracy)
        error = gauge.error(self.start.height)
        return floor_over_all_sizes(pricing, gauge, error, self.limits.minutes).rms

    def early(self, programme: Programme, seed: int, draws: int) -> EarlyStop:
        """The figure against minutes of work, with its band."""
        tried, objective = tried_of(programme), self.objective
        return stopped_early(
            self.nominal,
            objective.start,
            objective.gauge,
            tried,
            self.belief,
            self.start,
            seed=seed,
            draws=draws,
        )


def _by_promise(best: list[Judged]) -> list[Judged]:
    """Cheapest first; of those that cost the same within what the costs' judgements resolve, the smallest RMS."""
    least = min((one.score.cost for one in best), default=0.0)
    return sorted(
        best,
        key=lambda one: (
            (0, one.score.rms) if one.score.cost <= (1.0 + SAME_COST) * least else (1, one.score.cost)
        ),
    )


class _Fine:
    """Objective, trials and refiner at full accuracy with the most likely constants."""

    def __init__(self, work: _Work) -> None:
        accuracy = replace(work.accuracy, offsets=FINE_OFFSETS)
        start = on_grid(work.bench, work.start, accuracy)
        state = start_state(work.bench, start.radius, start.height, accuracy)
        if work.laps is not None:
            state = replace(state, laps=work.laps.on_grids(work.bench, accuracy).laps)
        gauge = gauge_for(work.bench, start.radius)
        constants = work.belief.best()
        self.objective = Objective(gauge, state, work.limits, work.bench.light.wavelength)
        self.trials = Trials(work.bench, work.limits, constants, accuracy)
        one = (Scenario(constants, 1.0),)
        self.refiner = Refiner(self.objective, [self.trials], one, self.trials)


def _later(
    bench: Bench, work: _Work, programme: Programme, outcome: Outcome, sessions: int, rest: float | None
) -> tuple[LaterSession, ...]:
    """Sessions after the first, if it goes as predicted and its test narrows the constants down."""
    later = []
    spread = np.minimum(np.sqrt(np.diag(work.belief.covariance)), SPREAD_AFTER_SESSION)
    belief = Belief(work.belief.mean, np.diag(spread**2) if len(NAMES) else work.belief.covariance)
    height = outcome.height
    for _ in range(sessions - 1):
        start = StartFigure(work.start.radius, height, work.start.root)
        next_work = _Work(bench, work.limits, belief, start, None, work.accuracy)
        seen, best = next_work.find(2, rest, None)
        rest = None if rest is None else max(0.0, rest - seen.seconds)
        done, result, _ = next_work.choose(best, 0, 0)
        if not done.spells:
            break
        later.append(LaterSession(done, result.surface_rms, next_work.expected(done)))
        height = result.height
    return tuple(later)
