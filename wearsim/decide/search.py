"""The schedule of a search: strokes that hands do first, in every scenario; then, where asked, all that mechanics allows.

A pressing lets the lap follow the glass as it now is. It moves no glass and counts no minutes of work, but it is a
thing more to do: it must lower the cost clearly.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import cached_property, partial
from time import monotonic

import numpy as np

from wearsim.bench.lap import Lap
from wearsim.decide.choice import AS_GOOD, is_workable
from wearsim.decide.coarse_engine import NEAR, ROUGH, CoarseEngine, Plan, PlannedSpell, chunks, without_pressings
from wearsim.decide.gauss_newton import gauss_newton
from wearsim.decide.handbook import Complaint, complaint_of, handbook_stroke
from wearsim.decide.least_squares import Candidate, Refiner, cost_of, distinct_programmes
from wearsim.decide.limits import ANY, COMMON, Limits
from wearsim.decide.multistart import MultistartBudget
from wearsim.decide.objective import Objective
from wearsim.decide.reasons import NOTHING_LEFT
from wearsim.decide.repertoire import common_strokes, size_step
from wearsim.decide.response_search import CLIMBS_AT_ONCE, CandidatePool, ResponseSearch, SearchBudget, SearchProgress
from wearsim.decide.robust_search import REFINED, Found, RobustSearch, choices_of_pieces, of_pieces, pieces_of
from wearsim.decide.rounding import Rounder
from wearsim.decide.search_problem import ProposalProblem
from wearsim.decide.stroke_library import StrokeSpec, allowed_strokes
from wearsim.parallel import in_threads
from wearsim.wear.state import State, lap_name

# Lengths of a pressing that are tried [min]. Judgements.
PRESSINGS = (5.0, 15.0)
# A pressing must lower the cost by this share. A judgement.
PRESSING_GAIN = 0.05
# A lap fits the glass where a pressing would move its pitch by less than this share of what the load presses it in.
# A judgement.
FIT_SHARE = 0.1
# With the constants known and any stroke allowed there is much to gain by looking longer.
BUDGET_CERTAIN = SearchBudget(starts=4, refinement=3, work=60_000, multistart=MultistartBudget())
# At full accuracy: programmes climbed from and coupled runs of each, in turn; those rounded; and evaluations of the
# wear rates after which no further one is begun, and as many again for rounding.
FINE_CLIMBS, ROUNDED, FINE_WORK = ((4, 20), (3, 40)), 3, 80_000
# Shortest spell that is looked for at need [min], where the best of usual ones leaves more than this share [1]. Judgements.
SHORT, LITTLE = 2.0, 0.65
# Shorter spells are tried where the best has a spell of no more than this many times the usual shortest [1]. A judgement.
NEARLY_SHORTEST = 1.5
# Factor by which strokes may press or lift off more where gentle ones leave more than that [1]. A judgement.
SLACK = 2.0
# Mixes of so many spells of any stroke that are refined where these are only shown beside common ones. A judgement, for
# the time it takes.
FEW = {1: 3, 2: 1}
# Lengths of the grid of all strokes, where the constants are uncertain.
GRID_STEPS = 5


def opening_press(limits: Limits, lap: Lap) -> PlannedSpell:
    """The pressing of a lap before any stroke."""
    return PlannedSpell(StrokeSpec(limits.pieces[0], lap.name, "press", 0.0), PRESSINGS[-1])


def needs_pressing(start: State, press: PlannedSpell, engine: CoarseEngine) -> bool:
    """Whether a pressing would change the shape of a lap enough to matter."""
    bench, lap = engine.bench, engine.bench.lap(press.stroke.lap)
    name = lap_name(lap)
    moved = engine.after(start, press).laps[name].height - start.laps[name].height
    load = bench.load_on("tool" if press.stroke.on_top == "tool" else "mirror", lap)
    give = load / (np.pi * min(bench.mirror.radius, lap.radius) ** 2 * lap.stiffness)
    return float(np.std(moved)) > FIT_SHARE * give / engine.constants.stiffness


def with_pressing(found: list[Candidate], rounder: Rounder, *, sizes_too: bool = False) -> list[Candidate]:
    """The cheapest of round programmes with the pressing that helps it most, its minutes, or sizes too, worked over.

    One programme, or none where no pressing helps clearly.
    """
    best = min(found, key=cost_of, default=None)
    if best is None:
        return []
    plan, top = best.plan, rounder.limits.pieces[0]
    tried = [
        rounder.refiner.evaluate((*plan[:place], PlannedSpell(press, minutes), *plan[place:]))
        for place, press in enumerate(StrokeSpec(top, spell.stroke.lap, "press", 0.0) for spell in plan)
        for minutes in PRESSINGS
    ]
    best_pressed = min(tried, key=cost_of, default=best)
    if best_pressed.score.cost >= best.score.cost:
        return []
    pressed = rounder.best_near(best_pressed.plan, sizes_too=sizes_too)
    return [pressed] if pressed.score.cost <= (1.0 - PRESSING_GAIN) * best.score.cost else []


@dataclass
class Searched:
    """What a search came to.

    Parameters
    ----------
    pool : CandidatePool
        All that was met, and what it took.
    candidates : list of Candidate
        Programmes that can be worked, whole steps.
    handbook : (str, Candidate) or None
        What a handbook would do: the complaint and the stroke in words, and the programme.
    uncommon : Candidate or None
        The best of any stroke, looked for where common ones improve the figure little.
    common : list of CommonSearch
        Searches over common strokes by what comes first, for other limits.
    """

    pool: CandidatePool
    candidates: list[Candidate] = field(default_factory=list)
    handbook: tuple[Complaint, Candidate] | None = None
    uncommon: Candidate | None = None
    common: list[CommonSearch] = field(default_factory=list)

    def within(self, minutes: float, spells: int) -> list[Candidate]:
        """What a search with so many minutes and spells comes to."""
        found: list[Candidate] = []
        for search in self.common:
            objective = search.refiner.objective
            less = replace(objective.limits, minutes=minutes, spells=spells)
            found += search.programmes(objective.limited(less))
        return found


class CommonSearch:
    """Looks for programmes of common strokes after what comes first; rougher ones where gentle ones gain little."""

    def __init__(self, problem: ProposalProblem, opening: Plan, progress: SearchProgress | None) -> None:
        if not problem.is_certain:  # what any stroke adds comes on top of all that common ones give
            problem = replace(problem, limits=replace(problem.limits, repertoire=COMMON))
        self.problem, self.opening, self.progress = problem, opening, progress
        self.refiner = problem.refiner_after(opening)
        self.strokes = common_strokes(problem.bench, problem.limits)
        self.met: list[Candidate] = []
        self.known: list[Candidate] = []  # programmes found by other means, without what comes first

    @cached_property
    def gentle(self) -> RobustSearch:
        """Over strokes that press and lift off no more than they should."""
        return RobustSearch(self.refiner, self.strokes, size_step(self.problem.bench), self.progress)

    @cached_property
    def _rough(self) -> RobustSearch | None:
        return self.gentle.rougher(SLACK)

    def programmes(self, objective: Objective) -> list[Candidate]:
        """Programmes that hands would do throughout, what comes first included."""
        found = self._looked_for(self.gentle, objective)
        if not self._gains(found, objective) and not self.refiner.clock.is_over and self._rough is not None:
            found = _better(found, self._looked_for(self._rough, objective, found))
        return found

    def _looked_for(
        self, search: RobustSearch, objective: Objective, usual: Sequence[Candidate] = ()
    ) -> list[Candidate]:
        """Of usual spells, and of shorter ones where glass wears so fast that usual ones better it little."""
        limits = objective.limits
        found = self._worked_out(search.run(objective, partial(_bar, usual), self.known))
        if not limits.short_at_need or self._gains(found, objective) or self.refiner.clock.is_over:
            return found

        def most(pieces: tuple[str, ...]) -> float:
            best = min(of_pieces(found, pieces), key=cost_of, default=None)
            shortest = 0.0 if best is None else min(one.minutes for one in without_pressings(best.plan))
            is_asked = shortest <= NEARLY_SHORTEST * limits.shortest
            return min(_bar(usual, pieces), _bar(found, pieces)) if is_asked else 0.0

        if not any(map(most, choices_of_pieces(limits.pieces))):
            return found
        short = objective.limited(replace(limits, shortest=SHORT))
        return _better(found, self._worked_out(search.run(short, most)))

    def _gains(self, found: list[Candidate], objective: Objective) -> bool:
        """Whether some programme improves on the figure by more than a little."""
        return any(one.score.expected_rms <= LITTLE * objective.rms_before for one in found)

    def begin_with(self, one: Candidate) -> None:
        """Know the best of its kind near a programme that was found by other means, where it can be worked."""
        done = self.gentle.refined(self.refiner, replace(one, plan=one.plan[len(self.opening) :]))
        if without_pressings(done.plan) and is_workable(self.refiner, self.gentle.gentle, done):
            self.known.append(done)

    def _worked_out(self, found: Found) -> list[Candidate]:
        self.met += [replace(one, plan=(*self.opening, *one.plan)) for one in found.met]
        return [replace(one, plan=(*self.opening, *one.plan)) for one in found.all]


def _bar(usual: Sequence[Candidate], pieces: Iterable[str]) -> float:
    """What a less usual programme with these pieces on top may cost at most to be of interest [m]."""
    return min(map(cost_of, of_pieces(usual, pieces)), default=np.inf) / AS_GOOD


def _better(usual: list[Candidate], more: list[Candidate]) -> list[Candidate]:
    """The usual programmes, and less usual ones that are better than all of them: those with the same pieces on top whose
    best is better than the usual ones by a tenth. So whoever may use both pieces has all that either alone would offer."""

    def least(those: Iterable[Candidate]) -> float:
        return min((one.score.expected_rms for one in those), default=np.inf)

    kept = list(usual)
    for pieces in {tuple(sorted(pieces_of(one))): None for one in more}:
        own = [one for one in more if pieces_of(one) == set(pieces)]
        if least(own) < min(least(of_pieces(usual, pieces)) / AS_GOOD, least(usual)):
            kept += own
    return kept


class SearchSchedule:
    """Searches for the best programmes of a problem."""

    def __init__(self, problem: ProposalProblem, progress: SearchProgress | None = None) -> None:
        self.problem, self.progress = problem, progress
        self.pool = CandidatePool(clock=problem.clock)

    def run(self, starts: int | None = None) -> Searched:
        """Look for programmes; ``starts`` scales the long search where any stroke is allowed and the constants are known."""
        began, problem, done = monotonic(), self.problem, Searched(self.pool)
        if problem.objective.rms_before < NOTHING_LEFT:
            return done
        for opening in self._openings():
            if done.candidates and self.pool.is_late():
                break
            self._common(opening, done)
            if problem.limits.repertoire == ANY:
                done.candidates += self._any(opening, starts)
        if not self.pool.is_late():
            done.candidates += self._pressed(done.candidates)
        least = min((one.score.expected_rms for one in done.candidates), default=np.inf)
        asked = problem.limits.repertoire == COMMON and problem.limits.beyond
        if asked and not self.pool.is_late() and least > LITTLE * problem.objective.rms_before:
            done.uncommon = self._uncommon(min(map(cost_of, done.candidates), default=np.inf))
        self.pool.seconds = monotonic() - began
        return done

    def _common(self, opening: Plan, done: Searched) -> None:
        """Strokes of the repertoire, and what a handbook would do."""
        search = CommonSearch(self.problem, opening, self.progress)
        done.common.append(search)
        if done.handbook is None:
            done.handbook = self._handbook(opening, search.gentle)
            if done.handbook is not None:
                done.candidates.append(done.handbook[1])
                search.begin_with(done.handbook[1])
        done.candidates += search.programmes(search.refiner.objective)
        self.pool.candidates += search.met
        self.pool.evaluations += search.refiner.evaluations

    def _handbook(self, opening: Plan, search: RobustSearch) -> tuple[Complaint, Candidate] | None:
        problem, refiner = self.problem, search.refiner
        objective = refiner.objective
        complaint = complaint_of(objective.gauge, objective.error)
        stroke = handbook_stroke(complaint, problem.bench, problem.limits)
        if stroke is None:
            return None
        begun = refiner.attempt((PlannedSpell(stroke, 0.25 * problem.limits.minutes),))
        if begun is None:
            return None
        done = search.refined(refiner, begun, only_minutes=True)
        if not done.plan and not problem.is_certain:  # a trial still shows how the glass wears
            done = refiner.attempt((PlannedSpell(stroke, problem.limits.shortest),)) or done
        return (complaint, replace(done, plan=(*opening, *done.plan))) if done.plan else None

    def _any(self, opening: Plan, starts: int | None) -> list[Candidate]:
        """All that the mechanics allows."""
        problem = self.problem
        if not problem.is_certain:
            found = self._over_any_stroke(opening, REFINED).run()
            self.pool.candidates += found.met
            return found.all
        budget = BUDGET_CERTAIN if starts is None else BUDGET_CERTAIN.scaled(starts)
        refiner, grids = problem.most_likely(opening), None
        if budget.multistart is not None:
            grids = problem.most_likely(opening, ROUGH), problem.most_likely(opening, NEAR)
        pool = ResponseSearch(refiner, budget, self.progress, grids).run()
        pool.candidates = [replace(one, plan=(*opening, *one.plan)) for one in pool.candidates]
        best = self._round_certain(pool)
        self.pool.add_pool(pool)
        return best

    def _over_any_stroke(self, opening: Plan, refined: Mapping[int, int]) -> RobustSearch:
        """Over strokes of all sizes, those between a grid's found from there."""
        problem = replace(self.problem, limits=replace(self.problem.limits, repertoire=ANY))
        strokes = allowed_strokes(problem.bench, problem.limits, GRID_STEPS)
        return RobustSearch(
            problem.refiner_after(opening), strokes, self.problem.size_step, self.progress, np.inf, refined
        )

    def _uncommon(self, most: float) -> Candidate | None:
        """The best of one or two spells of any stroke that costs at most so much [m]."""
        search = self._over_any_stroke((), FEW)
        few = search.refiner.objective.limits
        few = replace(few, spells=min(few.spells, max(FEW)))
        return min(search.run(search.refiner.objective.limited(few), lambda _: most).all, key=cost_of, default=None)

    def _openings(self) -> list[Plan]:
        """What may come before the first stroke: nothing, or a pressing where some lap does not fit the glass."""
        problem = self.problem
        if not problem.is_certain:  # laps are pressed as the card asks then
            return [()]
        pressings = [opening_press(problem.limits, lap) for lap in problem.bench.laps]
        unfit = [one for one in pressings if needs_pressing(problem.objective.start, one, problem.nominal)]
        return [(), tuple(unfit)] if unfit else [()]

    def _pressed(self, found: list[Candidate]) -> list[Candidate]:
        """The best with a pressing, where the constants are known: else laps are pressed as the card asks."""
        if not self.problem.is_certain or self.problem.limits.repertoire != ANY:
            return []
        return with_pressing(found, Rounder(self.problem.at_full_accuracy(), self.problem.size_step), sizes_too=True)

    def _round_certain(self, pool: CandidatePool) -> list[Candidate]:
        """The best programmes worked over at full accuracy, then rounded: what is left is small by now."""
        fine = self.problem.at_full_accuracy()
        rounder = Rounder(fine, self.problem.size_step)
        end = fine.nominal.work + FINE_WORK
        climbed = self._climbed_in_turn(fine, distinct_programmes(pool.candidates, FINE_CLIMBS[0][0]), end)
        best: list[Candidate] = []
        for batch in chunks(climbed[:ROUNDED], CLIMBS_AT_ONCE):
            if best and (self.pool.is_late() or fine.nominal.work > end + FINE_WORK):
                break
            best += in_threads(lambda one: rounder.best_near(one.plan, sizes_too=True), batch)
        pool.evaluations += fine.evaluations
        return best

    def _climbed_in_turn(self, fine: Refiner, climbed: list[Candidate], end: int) -> list[Candidate]:
        """The best first, climbed from as long as time and work allow."""
        for count, runs in FINE_CLIMBS:
            climbed.sort(key=cost_of)
            for place in range(0, min(count, len(climbed)), CLIMBS_AT_ONCE):
                if self.pool.is_late() or fine.nominal.work > end:
                    break
                batch = climbed[place : min(place + CLIMBS_AT_ONCE, count)]
                climbed[place : place + len(batch)] = in_threads(partial(_climbed, fine, runs), batch)
        return sorted(climbed, key=cost_of)


def _climbed(fine: Refiner, runs: int, one: Candidate) -> Candidate:
    return gauss_newton(fine, one.plan, runs) or one
