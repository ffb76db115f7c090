"""Improving a programme: least squares over the lengths, sweeps, overhangs and minutes of all its spells.

Successive linearisation about the simulated programme (:mod:`wearsim.decide.problem`), every step through the coupled
engine in every scenario.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from concurrent.futures import ThreadPoolExecutor
from contextlib import suppress
from dataclasses import dataclass, replace
from typing import TypeVar

import numpy as np

from wearsim.decide.clock import Clock, TimeUp
from wearsim.decide.objective import Objective, Score, heights_of
from wearsim.decide.problem import Free, Problem
from wearsim.decide.scenarios import Scenario
from wearsim.decide.trial import Trials, Trying
from wearsim.errors import ContactError
from wearsim.wear.grid import Array
from wearsim.wear.state import State

In = TypeVar("In")
Out = TypeVar("Out")

# Programmes differ clearly by more than this in a size (in diameters) or in a share of the minutes. A judgement.
CLEARLY = 0.12
# A spell of less than this is left out of what is improved [min]. A judgement.
SHORTEST = 0.25


@dataclass(frozen=True)
class Judged:
    """A programme and its score."""

    programme: tuple[Trying, ...]
    score: Score


class Refiner:
    """Judges and improves programmes in a set of scenarios.

    Parameters
    ----------
    objective : Objective
    trials : list of Trials
        One a scenario; the first is not special.
    cases : tuple of Scenario
    nominal : Trials
        With the most likely constants.
    aim : float
        Share of the way to go that stands for the spread of the constants while one scenario alone is
        worked (:func:`wearsim.decide.scenarios.share_to_aim_for`).
    clock : Clock, optional
        Ends an improvement where it stands; by default there is no limit.
    """

    def __init__(
        self, objective: Objective, trials: list[Trials], cases: tuple[Scenario, ...], nominal: Trials,
        aim: float = 1.0, clock: Clock | None = None,
    ) -> None:  # fmt: skip
        self.clock = Clock() if clock is None else clock
        self.objective, self.trials, self.cases, self.nominal, self.aim = (
            objective, trials, cases, nominal, aim,
        )  # fmt: skip
        self.evaluations = 0

    def judge(self, programme: tuple[Trying, ...]) -> Judged:
        """Score a programme through the coupled engine."""
        start = self.objective.start
        runs = [heights_of(one.states(start, programme)) for one in self.trials]
        self.evaluations += len(self.trials)
        if len(self.trials) == 1 and self.trials[0] is self.nominal:
            nominal = runs[0]
        else:
            nominal = heights_of(self.nominal.states(start, programme))
            self.evaluations += 1
        return self._with_aim(
            programme, self.objective.score(programme, runs, self.cases, nominal[-1]), nominal
        )

    def judged(self, programme: tuple[Trying, ...], states: list[State]) -> Judged:
        """Score a programme from states that its only scenario, the most likely, has been worked through."""
        self.evaluations += 1
        run = heights_of(states)
        return self._with_aim(programme, self.objective.score(programme, [run], self.cases, run[-1]), run)

    def _with_aim(self, programme: tuple[Trying, ...], score: Score, nominal: list[Array]) -> Judged:
        if self.aim != 1.0:
            expected = float(np.sqrt(np.sum(self.objective.residuals(nominal, self.aim) ** 2)))
            score = replace(score, cost=expected * self.objective.dearness(programme))
        return Judged(programme, score)

    def improve(self, programme: tuple[Trying, ...], steps: int = 10, free: Free = "all") -> Judged:
        """Least squares from a programme.

        Parameters
        ----------
        programme : tuple of Trying
        steps : int
            Evaluations of the residuals at most.
        free : {"all", "sizes", "minutes"}
            What may change: lengths, sweeps and overhangs, the minutes, or both.
        """
        # slow to import, and a dry run does not come by here
        from scipy.optimize import least_squares

        problem = Problem(self, programme, free)
        if not problem.keys:
            return self.judge(programme)
        least, best = np.inf, programme

        def residuals(x: Array) -> Array:
            nonlocal least, best
            rows = problem.residuals(x)
            squares = float(rows @ rows)
            if squares < least:
                least, best = squares, problem.programme(x)
            return rows

        with suppress(ContactError, TimeUp):  # the best until then counts
            least_squares(
                residuals, problem.start, jac=problem.slopes, bounds=problem.bounds, max_nfev=steps,
                ftol=3e-4, xtol=1e-3, gtol=1e-12,
            )  # fmt: skip
        return self.judge(kept(best))


def distinct(judged: list[Judged], count: int) -> list[Judged]:
    """The best ``count`` programmes that differ in some spell's piece on top or lap, or clearly in a number.

    A straight stroke and an oval of next to no width are the same here.
    """
    kept: list[Judged] = []
    seen: dict[tuple[object, ...], list[Array]] = {}
    for one in sorted(judged, key=lambda item: item.score.cost):
        pieces = tuple((t.shape.on_top, t.shape.lap) for t in one.programme)
        numbers = _numbers(one.programme)
        if all(np.abs(numbers - other).max(initial=0.0) > CLEARLY for other in seen.get(pieces, [])):
            seen.setdefault(pieces, []).append(numbers)
            kept.append(one)
        if len(kept) == count:
            break
    return kept


def _numbers(programme: tuple[Trying, ...]) -> Array:
    """Sizes, and each spell's share of the minutes."""
    total = sum(t.minutes for t in programme) or 1.0
    rows = [(t.shape.length, t.shape.sweep, t.shape.overhang, t.minutes / total) for t in programme]
    return np.array(rows).ravel()


def kept(programme: tuple[Trying, ...]) -> tuple[Trying, ...]:
    """A programme without spells of next to no minutes."""
    return tuple(tried for tried in programme if tried.minutes >= SHORTEST)


def in_parallel(function: Callable[[In], Out], items: Sequence[In], workers: int = 2) -> list[Out]:
    """Map on the machine's cores, in order; the kernels let go of the lock."""
    with ThreadPoolExecutor(max_workers=workers) as pool:
        return list(pool.map(function, items))


def chunks(items: Sequence[In], size: int) -> list[Sequence[In]]:
    """A list in pieces of ``size``, the last with what is left."""
    return [items[i : i + size] for i in range(0, len(items), size)]
