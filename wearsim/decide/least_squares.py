"""Residuals and slopes about a programme: in the cube of what is allowed, or by its sizes and minutes as they are.

Slopes are differences through the coupled engine; a change in one spell works only that spell and those after it again.

Improving a programme: least squares over the lengths, sweeps, overhangs and minutes of all its spells.

Successive linearisation about the simulated programme (:mod:`wearsim.decide.least_squares`), every step through the coupled
engine in every scenario.
"""

from __future__ import annotations

from abc import ABC, abstractmethod
from collections.abc import Callable, Sequence
from contextlib import suppress
from dataclasses import dataclass, replace
from itertools import product
from typing import Literal, TypeVar

import numpy as np

from wearsim.decide.coarse_engine import Trials, Trying
from wearsim.decide.limits import Clock, TimeUp
from wearsim.decide.objective import Objective, Score, heights_of
from wearsim.decide.scenarios import Scenario
from wearsim.decide.stroke_library import FREE, SIZES, Cube, Shape
from wearsim.errors import ContactError
from wearsim.kernels.arrays import Floats
from wearsim.parallel import in_threads
from wearsim.wear.state import State

Free = Literal["all", "sizes", "minutes"]

# Differences for slopes: in the cube, of a share of the minutes, of a size in diameters, and of minutes.
_IN_CUBE, _OF_SIZE, _OF_MINUTES = 0.01, 0.01, 0.5
# A search begins no nearer than this to a bound [1].
_INSIDE = 1e-3
# Strokes kept: for slopes most spells are what they were.
_SHAPES_KEPT = 64


class _Numbers(ABC):
    """A programme as numbers."""

    start: Floats
    highest: Floats

    def __init__(self, refiner: Refiner, programme: tuple[Trying, ...]) -> None:
        self.refiner, self.template = refiner, programme
        self._last: tuple[bytes, tuple[Trying, ...], list[list[State]], Floats] | None = None

    @abstractmethod
    def programme(self, x: Floats) -> tuple[Trying, ...]:
        """The programme that numbers stand for.

        Parameters
        ----------
        x : (n,) ndarray
        """

    @abstractmethod
    def _step(self, x: Floats, column: int) -> float:
        """Difference for the slope by a number."""

    def residuals(self, x: Floats) -> Floats:
        """What the least squares bring down.

        Parameters
        ----------
        x : (n,) ndarray

        Returns
        -------
        (m,) ndarray
            Figure errors in all scenarios, relative to the one at the start [1].

        Raises
        ------
        ContactError
        TimeUp
        """
        return self._at(x)[2]

    def slopes(self, x: Floats) -> Floats:
        """Slopes of the residuals.

        Parameters
        ----------
        x : (n,) ndarray

        Returns
        -------
        (m, n) ndarray
            Forward differences; backward at an upper bound.

        Raises
        ------
        ContactError
        TimeUp
        """
        here, states, rows = self._at(x)
        out = np.empty((rows.size, x.size))
        for column in range(x.size):
            step = self._step(x, column)
            if x[column] + step > self.highest[column]:
                step = -step
            moved = x.copy()
            moved[column] += step
            programme = self.programme(moved)
            same = next((i for i, (one, two) in enumerate(zip(here, programme, strict=True)) if one != two), len(here))
            self.refiner.clock.check()
            runs = []
            for one, before in zip(self.refiner.trials, states, strict=True):
                changed = one.states(before[same], programme[same:])
                runs.append(heights_of(before[:same]) + heights_of(changed))
            self.refiner.evaluations += len(runs)
            out[:, column] = (self._rows(runs) - rows) / step
        return out

    def _at(self, x: Floats) -> tuple[tuple[Trying, ...], list[list[State]], Floats]:
        key = x.tobytes()
        if self._last is None or self._last[0] != key:
            programme = self.programme(x)
            start = self.refiner.objective.start
            self.refiner.clock.check()
            states = [one.states(start, programme) for one in self.refiner.trials]
            self.refiner.evaluations += len(states)
            self._last = key, programme, states, self._rows([heights_of(run) for run in states])
        return self._last[1:]

    def _rows(self, runs: list[list[Floats]]) -> Floats:
        refiner = self.refiner
        blocks = [
            np.sqrt(case.weight) * refiner.objective.residuals(run, refiner.aim)
            for case, run in zip(refiner.cases, runs, strict=True)
        ]
        return np.concatenate(blocks) / refiner.objective.rms_before


class Problem(_Numbers):
    """Numbers that may go anywhere between bounds of their own: every programme is within the limits.

    Strokes are points of :class:`wearsim.decide.stroke_library.Cube`. Minutes are the work of all spells as a share of
    what is allowed, and of what the spells before have left of it the share that each takes; the last takes the rest.

    Parameters
    ----------
    refiner : Refiner
    programme : tuple of Trying
    free : {"all", "sizes", "minutes"}
        What may change: lengths, sweeps and overhangs, the minutes, or both. Kinds and pressings stay.

    Attributes
    ----------
    keys : list of (int, str)
        Spell and name of every number.
    start : (n,) ndarray
    bounds : tuple of (n,) ndarray
    """

    def __init__(self, refiner: Refiner, programme: tuple[Trying, ...], free: Free = "all") -> None:
        super().__init__(refiner, programme)
        bench, limits = refiner.nominal.bench, refiner.objective.limits
        self.allowed = limits.minutes
        self.spells = [i for i, tried in enumerate(programme) if not tried.shape.is_press]
        shapes = {i: programme[i].shape for i in self.spells}
        self.cubes = {i: Cube(bench, limits, shape.on_top, shape.lap) for i, shape in shapes.items()}
        self.points = {i: self.cubes[i].point(shape) for i, shape in shapes.items()}
        self.takes_sizes = free != "minutes"
        self._shapes: dict[tuple[int, bytes], Shape] = {}
        self.keys: list[tuple[int, str]] = []
        start: list[float] = []
        if self.takes_sizes:
            sized = [(i, s) for i, s in product(self.spells, range(len(SIZES))) if SIZES[s] in FREE[shapes[i].kind]]
            self.keys += [(i, SIZES[s]) for i, s in sized]
            start += [self.points[i][s] for i, s in sized]
        if free != "sizes" and self.spells:
            self.keys += [(i, "minutes") for i in self.spells]
            start += self._shares([programme[i].minutes for i in self.spells])
        count = len(self.keys)
        self.bounds = (np.zeros(count), np.ones(count))
        self.highest = self.bounds[1]
        self.start = np.clip(start, _INSIDE, 1.0 - _INSIDE)

    def _shares(self, minutes: list[float]) -> list[float]:
        """The numbers that minutes stand for: the whole, then each but the last of what is left."""
        left = sum(minutes)
        out = [left / self.allowed]
        for m in minutes[:-1]:
            out.append(m / left if left > 0.0 else 0.0)
            left -= m
        return out

    def programme(self, x: Floats) -> tuple[Trying, ...]:
        """The programme that numbers stand for.

        Parameters
        ----------
        x : (n,) ndarray
            As :attr:`keys` names them.

        Returns
        -------
        tuple of Trying
            The template with these numbers in it.
        """
        points = {i: point.copy() for i, point in self.points.items()}
        shares = list[float]()
        for (i, name), value in zip(self.keys, x, strict=True):
            if name == "minutes":
                shares.append(float(value))
            else:
                points[i][SIZES.index(name)] = value
        minutes = {i: self.template[i].minutes for i in self.spells}
        if shares:
            left = shares[0] * self.allowed
            for i, share in zip(self.spells, [*shares[1:], 1.0], strict=True):
                minutes[i] = share * left
                left -= minutes[i]
        out = list(self.template)
        for i in self.spells:
            out[i] = Trying(self._shape(i, points[i]), minutes[i])
        return tuple(out)

    def _shape(self, i: int, point: Floats) -> Shape:
        if not self.takes_sizes:
            return self.template[i].shape
        key = i, point.tobytes()
        if key not in self._shapes:
            if len(self._shapes) > _SHAPES_KEPT:
                self._shapes.clear()
            self._shapes[key] = self.cubes[i].shaped(self.template[i].shape, point)
        return self._shapes[key]

    def _step(self, x: Floats, column: int) -> float:
        return _IN_CUBE


class Nearby(_Numbers):
    """Sizes and minutes as they are, for the slopes about a programme; nothing keeps them within the limits.

    Parameters
    ----------
    refiner : Refiner
    programme : tuple of Trying
    free : {"all", "sizes", "minutes"}

    Attributes
    ----------
    keys : list of (int, str)
        Spell and name of every number.
    start : (n,) ndarray
        Sizes in diameters [1], minutes [min].
    """

    def __init__(self, refiner: Refiner, programme: tuple[Trying, ...], free: Free = "all") -> None:
        super().__init__(refiner, programme)
        self.keys = [
            (i, name)
            for i, tried in enumerate(programme)
            if not tried.shape.is_press
            for name in (
                *(FREE[tried.shape.kind] if free != "minutes" else ()),
                *(("minutes",) if free != "sizes" else ()),
            )
        ]
        values = [
            programme[i].minutes if name == "minutes" else getattr(programme[i].shape, name) for i, name in self.keys
        ]
        self.start = np.array(values, dtype=float)
        self.highest = np.full(len(values), np.inf)

    def programme(self, x: Floats) -> tuple[Trying, ...]:
        """The programme that numbers stand for.

        Parameters
        ----------
        x : (n,) ndarray
            As :attr:`keys` names them.
        """
        out = list(self.template)
        for (i, name), value in zip(self.keys, x, strict=True):
            if name == "minutes":
                out[i] = Trying(out[i].shape, float(value))
            else:
                out[i] = Trying(out[i].shape.with_size(name, float(value)), out[i].minutes)
        return tuple(out)

    def _step(self, x: Floats, column: int) -> float:
        if self.keys[column][1] == "minutes":
            return max(_OF_MINUTES, 0.03 * float(x[column]))
        return _OF_SIZE


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
        return self._with_aim(programme, self.objective.score(programme, runs, self.cases, nominal[-1]), nominal)

    def judged(self, programme: tuple[Trying, ...], states: list[State]) -> Judged:
        """Score a programme from states that its only scenario, the most likely, has been worked through."""
        self.evaluations += 1
        run = heights_of(states)
        return self._with_aim(programme, self.objective.score(programme, [run], self.cases, run[-1]), run)

    def _with_aim(self, programme: tuple[Trying, ...], score: Score, nominal: list[Floats]) -> Judged:
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

        def residuals(x: Floats) -> Floats:
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
    seen: dict[tuple[object, ...], list[Floats]] = {}
    for one in sorted(judged, key=lambda item: item.score.cost):
        pieces = tuple((t.shape.on_top, t.shape.lap) for t in one.programme)
        numbers = _numbers(one.programme)
        if all(np.abs(numbers - other).max(initial=0.0) > CLEARLY for other in seen.get(pieces, [])):
            seen.setdefault(pieces, []).append(numbers)
            kept.append(one)
        if len(kept) == count:
            break
    return kept


def _numbers(programme: tuple[Trying, ...]) -> Floats:
    """Sizes, and each spell's share of the minutes."""
    total = sum(t.minutes for t in programme) or 1.0
    rows = [(t.shape.length, t.shape.sweep, t.shape.overhang, t.minutes / total) for t in programme]
    return np.array(rows).ravel()


def kept(programme: tuple[Trying, ...]) -> tuple[Trying, ...]:
    """A programme without spells of next to no minutes."""
    return tuple(tried for tried in programme if tried.minutes >= SHORTEST)


def in_parallel(function: Callable[[In], Out], items: Sequence[In], workers: int | None = None) -> list[Out]:
    """Map on the machine's cores, in order; the kernels let go of the lock."""
    return in_threads(function, items, workers=workers)


def chunks(items: Sequence[In], size: int) -> list[Sequence[In]]:
    """A list in pieces of ``size``, the last with what is left."""
    return [items[i : i + size] for i in range(0, len(items), size)]
