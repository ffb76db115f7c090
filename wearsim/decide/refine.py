"""Improving a programme: least squares over the lengths, sweeps, overhangs and minutes of all its spells.

Successive linearisation about the simulated programme: every step works the programme through the coupled engine
in every scenario, with the slopes by differences; a change in one spell works only that spell and those after it
again.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, replace
from typing import Literal, TypeVar

import numpy as np

from wearsim.bench.bench import Bench
from wearsim.decide.clock import Clock, TimeUp
from wearsim.decide.library import FREE, HIGH, LOW, SPREAD_KEPT, Shape
from wearsim.decide.limits import Limits
from wearsim.decide.objective import Objective, Score, heights_of
from wearsim.decide.scenarios import Scenario
from wearsim.decide.trial import Trials, Trying
from wearsim.errors import ContactError
from wearsim.wear.accuracy import DEFAULT
from wearsim.wear.grid import Array
from wearsim.wear.offsets import stroke_bound
from wearsim.wear.radial import largest_offset
from wearsim.wear.state import State

Free = Literal["all", "sizes", "minutes"]
In = TypeVar("In")
Out = TypeVar("Out")

_STEP = 0.01
# What a stroke past the limit of reach costs: this many times the start figure per diameter.
_BEYOND = 200.0


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
        try:
            solved = least_squares(
                problem.residuals, problem.start, jac=problem.slopes, bounds=problem.bounds, max_nfev=steps,
                x_scale=problem.scale, ftol=3e-4, xtol=1e-3, gtol=1e-12,
            )  # fmt: skip
        except (ContactError, TimeUp):
            return self.judge(programme)
        found = problem.programme(solved.x)
        return self.judge(tuple(tried for tried in found if tried.minutes >= 0.25))


class Problem:
    """Residuals and slopes of one programme's free numbers."""

    def __init__(self, refiner: Refiner, programme: tuple[Trying, ...], free: Free) -> None:
        self.refiner, self.template = refiner, programme
        self.keys = [
            (i, name)
            for i, tried in enumerate(programme)
            if not tried.shape.is_press
            for name in (
                *(FREE[tried.shape.kind] if free != "minutes" else ()),
                *(("minutes",) if free != "sizes" else ()),
            )
        ]
        limits = refiner.objective.limits
        low = [LOW.get(name, 0.0) for _, name in self.keys]
        high = [HIGH.get(name, limits.minutes) for _, name in self.keys]
        values = [
            tried.minutes if name == "minutes" else getattr(tried.shape, name)
            for tried, name in ((programme[i], name) for i, name in self.keys)
        ]
        self.bounds = (np.array(low), np.array(high))
        inside = 1e-3 * (self.bounds[1] - self.bounds[0])
        self.start = np.clip(values, self.bounds[0] + inside, self.bounds[1] - inside)
        self.scale = np.array([5.0 if name == "minutes" else 0.1 for _, name in self.keys])
        self._last: tuple[bytes, list[list[State]], Array] | None = None

    def programme(self, x: Array) -> tuple[Trying, ...]:
        """The programme that free numbers stand for.

        Parameters
        ----------
        x : ndarray, shape (n,)
            The free numbers, as :attr:`keys` names them: minutes, and sizes in diameters.

        Returns
        -------
        tuple of Trying
            The template with these numbers in it.
        """
        shapes = [tried.shape for tried in self.template]
        minutes = [tried.minutes for tried in self.template]
        for (i, name), value in zip(self.keys, x, strict=True):
            if name == "minutes":
                minutes[i] = float(value)
            else:
                shapes[i] = shapes[i].with_size(name, float(value))
        return tuple(Trying(shape, m) for shape, m in zip(shapes, minutes, strict=True))

    def _extra(self, programme: tuple[Trying, ...]) -> Array:
        """Rows for the budget of minutes and the limit of reach."""
        objective, trials = self.refiner.objective, self.refiner.nominal
        limits, bench = objective.limits, trials.bench
        over = max(0.0, sum(t.work for t in programme) - limits.minutes) / limits.minutes
        return np.array([50.0 * over, *(_BEYOND * beyond_reach(t.shape, bench, limits) for t in programme)])

    def _all_rows(self, runs: list[list[Array]], programme: tuple[Trying, ...]) -> Array:
        """Residuals relative to the figure error at the start [1]."""
        refiner = self.refiner
        blocks = [
            np.sqrt(case.weight) * refiner.objective.residuals(run, refiner.aim)
            for case, run in zip(refiner.cases, runs, strict=True)
        ]
        return np.concatenate([np.concatenate(blocks) / refiner.objective.rms_before, self._extra(programme)])

    def _states(self, x: Array) -> tuple[list[list[State]], Array]:
        key = x.tobytes()
        if self._last is not None and self._last[0] == key:
            return self._last[1], self._last[2]
        programme = self.programme(x)
        start = self.refiner.objective.start
        self.refiner.clock.check()
        states = [one.states(start, programme) for one in self.refiner.trials]
        self.refiner.evaluations += len(states)
        rows = self._all_rows([heights_of(run) for run in states], programme)
        self._last = (key, states, rows)
        return states, rows

    def residuals(self, x: Array) -> Array:
        """What the least squares bring down.

        Parameters
        ----------
        x : ndarray, shape (n,)
            The free numbers, as :attr:`keys` names them: minutes, and sizes in diameters.

        Returns
        -------
        ndarray, shape (m,)
            Figure errors to be brought down, relative to the one at the start, then the limits [1].

        Raises
        ------
        TimeUp
        """
        return self._states(x)[1]

    def slopes(self, x: Array) -> Array:
        """Slopes of the residuals; only what follows a changed spell is worked again.

        Parameters
        ----------
        x : ndarray, shape (n,)
            The free numbers, as :attr:`keys` names them: minutes, and sizes in diameters.

        Returns
        -------
        ndarray, shape (m, n)
            Forward differences; backward at an upper bound [1].

        Raises
        ------
        TimeUp
        """
        states, rows = self._states(x)
        out = np.empty((rows.size, x.size))
        for column, (i, name) in enumerate(self.keys):
            step = max(0.5, 0.03 * x[column]) if name == "minutes" else _STEP
            if x[column] + step > self.bounds[1][column]:
                step = -step
            moved = x.copy()
            moved[column] += step
            programme = self.programme(moved)
            runs = []
            self.refiner.clock.check()
            for one, before in zip(self.refiner.trials, states, strict=True):
                changed = one.states(before[i], programme[i:])
                runs.append(heights_of(before[:i]) + heights_of(changed))
            self.refiner.evaluations += len(runs)
            out[:, column] = (self._all_rows(runs, programme) - rows) / step
        return out


def beyond_reach(shape: Shape, bench: Bench, limits: Limits) -> float:
    """How far a stroke, the hands' spread included, goes past the limit of reach, in diameters [1]."""
    if shape.is_press:
        return 0.0
    hands, diameter = bench.hands, bench.mirror.diameter
    tip = largest_offset(bench, bench.lap(shape.lap), shape.on_top, DEFAULT)
    factor = 1.0 + SPREAD_KEPT * hands.length_jitter
    grown = replace(shape, length=shape.length * factor, sweep=shape.sweep * factor)
    far = stroke_bound(grown.stroke(diameter, limits.rate)) + SPREAD_KEPT * hands.centre_jitter
    return float(max(0.0, far - limits.reach * tip) / diameter)


def in_parallel(function: Callable[[In], Out], items: Sequence[In], workers: int = 2) -> list[Out]:
    """Map on the machine's cores, in order; the kernels let go of the lock."""
    with ThreadPoolExecutor(max_workers=workers) as pool:
        return list(pool.map(function, items))


def chunks(items: Sequence[In], size: int) -> list[Sequence[In]]:
    """A list in pieces of ``size``, the last with what is left."""
    return [items[i : i + size] for i in range(0, len(items), size)]
