"""Looking for the best programme: a search with the most likely constants, then the best weighed and made neat.

Whether a programme is better with a cold pressing in it, and where.

A pressing lets the lap follow the glass as it now is. It moves no glass and counts no minutes of work, but it is a
thing more to do: it must lower the cost clearly.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from functools import partial

import numpy as np

from wearsim.bench.lap import Lap
from wearsim.decide.coarse_engine import COARSE, NEAR, ROUGH, Trials, Trying
from wearsim.decide.gauss_newton import climbed
from wearsim.decide.least_squares import Judged, Refiner, chunks, distinct, in_parallel
from wearsim.decide.limits import Limits
from wearsim.decide.multistart import MultistartEffort
from wearsim.decide.problem import Situation
from wearsim.decide.reasons import NOTHING_LEFT
from wearsim.decide.response_search import Effort, Found, Search
from wearsim.decide.rounding import Settler
from wearsim.decide.stroke_library import Shape
from wearsim.wear.state import State, lap_name

# Lengths of a pressing that are tried [min]. Judgements.
PRESSINGS = (5.0, 15.0)
# A pressing must lower the cost by this share. A judgement.
WORTH_PRESSING = 0.05
# A lap fits the glass where a pressing would move its pitch by less than this share of what the load presses it in.
# A judgement.
FITS = 0.1


def first_press(limits: Limits, lap: Lap) -> Trying:
    """The pressing of a lap before any stroke."""
    return Trying(Shape(limits.on_top[0], lap.name, "press", 0.0), PRESSINGS[-1])


def is_misfit(start: State, press: Trying, trials: Trials) -> bool:
    """Whether a pressing would change the shape of a lap enough to matter.

    Parameters
    ----------
    start : State
    press : Trying
    trials : Trials
    """
    lap = trials.bench.lap(press.shape.lap)
    name = lap_name(lap)
    moved = trials.after(start, press).laps[name].height - start.laps[name].height
    load = trials.bench.load_on("tool" if press.shape.on_top == "tool" else "mirror", lap)
    give = load / (np.pi * min(trials.bench.mirror.radius, lap.radius) ** 2 * lap.stiffness)
    return float(np.std(moved)) > FITS * give / trials.constants.stiffness


def with_pressing(found: list[Judged], settler: Settler, *, sizes_too: bool = False) -> list[Judged]:
    """The cheapest programme with the pressing that helps it most, its minutes worked over.

    Parameters
    ----------
    found : list of Judged
        Neat programmes.
    settler : Settler
    sizes_too : bool
        Whether sizes may change as well as minutes.

    Returns
    -------
    list of Judged
        One programme, or none where no pressing helps clearly.
    """
    best = min(found, key=lambda one: one.score.cost, default=None)
    if best is None:
        return []
    programme = best.programme
    top = settler.objective.limits.on_top[0]
    tried = [
        settler.refiner.judge((*programme[:place], Trying(_press(top, before), minutes), *programme[place:]))
        for place, before in enumerate(programme)
        for minutes in PRESSINGS
    ]
    promising = min(tried, key=lambda one: one.score.cost, default=best)
    if promising.score.cost >= best.score.cost:
        return []
    pressed = settler.settle(promising.programme, sizes_too=sizes_too)
    return [pressed] if pressed.score.cost <= (1.0 - WORTH_PRESSING) * best.score.cost else []


def _press(on_top: str, before: Trying) -> Shape:
    """A pressing of the lap that the spell after it uses."""
    return Shape(on_top, before.shape.lap, "press", 0.0)


# Costs that differ by less than this are the same. A judgement.
SAME_COST = 0.03
# With the constants known there is more to gain by looking longer.
EFFORT_CERTAIN = Effort(starts=4, climb=3, rounds=0, work=60_000, multistart=MultistartEffort())
# At full accuracy: programmes climbed from and coupled runs of each, in turn; those made neat; and evaluations of the
# wear rates after which no further one is begun, and as many again for making neat.
FINE_CLIMBS, SETTLED, FINE_WORK = ((4, 20), (3, 40)), 3, 80_000
EFFORT_UNCERTAIN = Effort(starts=4, rounds=1, kept=1)
# The long search looks again where the quick one leaves more than this times what the removal's spread alone must
# leave, and this share of the figure error. Judgements.
BEYOND_SPREAD, ALWAYS_LEFT = 1.2, 0.1

Progress = Callable[[str, float], None]


class Look:
    """A look for the best programme in a situation.

    Parameters
    ----------
    situation : Situation
    progress : callable, optional
        Called with a stage's name and the best cost so far [m].
    """

    def __init__(self, situation: Situation, progress: Progress | None = None) -> None:
        self.situation, self.progress = situation, progress
        self.seen, self.best = Found(), list[Judged]()

    def run(self, starts: int | None = None) -> tuple[Found, list[Judged]]:
        """Look, quickly and then longer where that promises something.

        Parameters
        ----------
        starts : int, optional
            Programmes refined first, of each origin; by default what the effort has.

        Returns
        -------
        Found
            All that was seen.
        list of Judged
            What can be worked, the most promising first.
        """
        situation = self.situation
        if situation.objective.rms_before < NOTHING_LEFT:
            return self.seen, []
        leads = self._leads()
        quick_first = not situation.is_certain or len(leads) > 1
        for effort in (EFFORT_UNCERTAIN, EFFORT_CERTAIN) if quick_first else (EFFORT_CERTAIN,):
            if starts is not None:
                effort = effort.less(starts)
            reached = []
            for lead in leads:
                if self.seen.judged and self._is_late():
                    break
                reached.append(self._after(lead, effort))
            least = min((one.score.expected_rms for one in self.best), default=np.inf)
            if self._is_late() or (not situation.is_certain and least < self._good_enough()):
                break
            leads = [leads[int(np.argmin(reached))]]  # the longer look follows the better beginning
        if self.progress is not None and self.best:
            self.progress("whole minutes", min(one.score.cost for one in self.best))
        return self.seen, _by_promise(self.best)

    def _is_late(self) -> bool:
        if self.situation.clock.is_over:
            self.seen.stopped = True
        return self.seen.stopped

    def _after(self, lead: tuple[Trying, ...], effort: Effort) -> float:
        """Search and settle after what comes first; the lowest cost."""
        situation = self.situation
        refiner = situation.judge_likely(lead)
        grids = None
        if effort.multistart is not None:
            finer = NEAR if situation.is_certain else COARSE
            grids = situation.judge_likely(lead, ROUGH), situation.judge_likely(lead, finer)
        found = Search(
            refiner, situation.nominal, refiner.objective, effort, situation.clock, self.progress, grids
        ).run()
        found.judged = [replace(one, programme=(*lead, *one.programme)) for one in found.judged]
        settled = self._settle_certain(found) if situation.is_certain else self._settle_uncertain(found)
        self.best += settled
        self.seen.take_in(found)
        return min((one.score.cost for one in settled), default=np.inf)

    def _leads(self) -> list[tuple[Trying, ...]]:
        """What may come before the first stroke: nothing, or a pressing where some lap does not fit the glass."""
        situation = self.situation
        pressings = [first_press(situation.limits, lap) for lap in situation.bench.laps]
        start, nominal = situation.objective.start, situation.nominal
        poor = [one for one in pressings if is_misfit(start, one, nominal)]
        return [(), tuple(poor)] if poor else [()]

    def _good_enough(self) -> float:
        """Expected RMS that a quick search may end with [m].

        With the removal known up to a log-normal factor of variance v, the best share of the way still leaves
        ``sqrt(1 - exp(-v))`` of the figure error (physics section 9).
        """
        must = float(np.sqrt(-np.expm1(-self.situation.belief.covariance[0, 0])))
        return (BEYOND_SPREAD * must + ALWAYS_LEFT) * self.situation.objective.rms_before

    def _settle_uncertain(self, found: Found) -> list[Judged]:
        """The best programmes weighed in every scenario, their minutes worked over and made whole."""
        robust = self.situation.judge_in_all()
        settler = Settler(robust, robust.objective, robust.nominal, self.situation.size_step)
        best: list[Judged] = []
        for one in distinct(found.judged, 2):
            if best and self._is_late():
                break
            worked_over = robust.improve(one.programme, steps=5, free="minutes")
            best.append(settler.settle(worked_over.programme))
        if not self._is_late():
            best += with_pressing(best, settler)
        found.evaluations += robust.evaluations
        return best

    def _settle_certain(self, found: Found) -> list[Judged]:
        """The best programmes worked over at full accuracy, then made neat: what is left is small by now."""
        fine = self.situation.judge_fine()
        settler = Settler(fine, fine.objective, fine.nominal, self.situation.size_step)
        end = fine.nominal.work + FINE_WORK
        tops = list(distinct(found.judged, FINE_CLIMBS[0][0]))
        for count, runs in FINE_CLIMBS:
            tops.sort(key=lambda item: item.score.cost)
            for place in range(0, min(count, len(tops)), 2):
                if self._is_late() or fine.nominal.work > end:
                    break
                pair = tops[place : min(place + 2, count)]
                climb = partial(_climbed, fine, runs)
                tops[place : place + len(pair)] = in_parallel(climb, pair)
        tops.sort(key=lambda item: item.score.cost)
        best: list[Judged] = []
        for some in chunks(tops[:SETTLED], 2):
            if best and (self._is_late() or fine.nominal.work > end + FINE_WORK):
                break
            best += in_parallel(lambda one: settler.settle(one.programme, sizes_too=True), some)
        if not self._is_late():
            best += with_pressing(best, settler, sizes_too=True)
        found.evaluations += fine.evaluations
        return best


def _climbed(judge: Refiner, runs: int, one: Judged) -> Judged:
    return climbed(judge, one.programme, runs) or one


def _by_promise(best: list[Judged]) -> list[Judged]:
    """Cheapest first; of those that cost the same within what the costs' judgements resolve, the smallest RMS."""
    least = min((one.score.cost for one in best), default=0.0)
    return sorted(
        best, key=lambda one: (0, one.score.rms) if one.score.cost <= (1.0 + SAME_COST) * least else (1, one.score.cost)
    )
