"""Improving a programme by least squares over the lengths, sweeps, overhangs and minutes of its spells.

The numbers are those of the cube of what is allowed, so that no programme is past its limits, or sizes and minutes as they
are. Residuals are the figure errors in every scenario, through the coupled engine; slopes are differences, for which a
change in one spell works only that spell and those after it again.
"""

from __future__ import annotations

from abc import ABC, abstractmethod
from collections.abc import Callable, Sequence
from contextlib import suppress
from dataclasses import dataclass
from itertools import product
from threading import Lock
from typing import Literal, TypeVar

import numpy as np
from scipy.optimize import least_squares

from wearsim.decide.coarse_engine import LONG, CoarseEngine, Plan, PlannedSpell, work_of
from wearsim.decide.limits import Clock, TimeUp
from wearsim.decide.objective import Objective, Scenario, Score, heights_of
from wearsim.decide.stroke_library import FREE, SIZES, StrokeSpec, UnitCube
from wearsim.errors import ContactError
from wearsim.kernels.arrays import Floats
from wearsim.parallel import in_threads
from wearsim.wear.state import State

Free = Literal["all", "sizes", "minutes"]
"""What may change: lengths, sweeps and overhangs, the minutes, or both. Kinds and pressings stay."""

# Programmes differ clearly by more than this in a size (in diameters) or in a share of the minutes. A judgement.
CLEAR_DIFFERENCE = 0.12
# A spell of less than this is left out of what is improved [min]. A judgement.
SHORTEST = 0.25
# Differences for slopes: in the cube, of a size in diameters, and of minutes.
_IN_CUBE, _OF_SIZE, _OF_MINUTES = 0.01, 0.01, 0.5
# A search begins no nearer than this to a bound [1].
_INSIDE = 1e-3
# Strokes kept: for slopes most spells are what they were.
_STROKES_KEPT = 64


T = TypeVar("T")


@dataclass(frozen=True)
class Candidate:
    """A programme and its score."""

    plan: Plan
    score: Score


def cost_of(candidate: Candidate) -> float:
    """What a search makes small, to sort by [m]."""
    return candidate.score.cost


class Refiner:
    """Scores and improves programmes in a set of scenarios, one engine each.

    Parameters
    ----------
    nominal : CoarseEngine
        With the most likely constants.
    clock : Clock, optional
        Ends an improvement where it stands; by default there is no limit.

    Attributes
    ----------
    evaluations : int
        Coupled runs of a whole programme or of its changed end.
    """

    def __init__(
        self,
        objective: Objective,
        engines: list[CoarseEngine],
        cases: tuple[Scenario, ...],
        nominal: CoarseEngine,
        clock: Clock | None = None,
    ) -> None:
        self.objective, self.engines, self.cases, self.nominal = objective, engines, cases, nominal
        self.clock = Clock() if clock is None else clock
        self.evaluations, self._counting = 0, Lock()

    def on(self, objective: Objective) -> Refiner:
        """The same engines with other limits."""
        return Refiner(objective, self.engines, self.cases, self.nominal, self.clock)

    def count(self, runs: int) -> None:
        """Count coupled runs: of all threads, as a search's work is measured by them."""
        with self._counting:
            self.evaluations += runs

    def evaluate(self, plan: Plan) -> Candidate:
        """Score a programme through the coupled engine."""
        start = self.objective.start
        runs = self.each(lambda engine, _: heights_of(engine.states(start, plan)), plan)
        if len(self.engines) == 1 and self.engines[0] is self.nominal:
            nominal = runs[0]
        else:
            nominal = heights_of(self.nominal.states(start, plan))
            self.count(1)
        self.count(len(runs))
        return Candidate(plan, self.objective.score(plan, runs, self.cases, nominal))

    def each(self, work: Callable[[CoarseEngine, int], T], plan: Plan) -> list[T]:
        """What each scenario's engine does with a programme, by its place; in threads where one takes longer than these."""
        workers = None if work_of(plan) >= LONG else 1
        return in_threads(work, self.engines, range(len(self.engines)), workers=workers)

    def attempt(self, plan: Plan) -> Candidate | None:
        """Score a programme; None where the contact cannot be solved."""
        try:
            return self.evaluate(plan)
        except ContactError:
            return None

    def improve(self, plan: Plan, steps: int = 10, free: Free = "all") -> Candidate:
        """Least squares from a programme, with so many evaluations of the residuals at most."""
        problem = BoundedResiduals(self, plan, free)
        if not problem.keys:
            return self.evaluate(plan)
        least, best = np.inf, plan

        def residuals(x: Floats) -> Floats:
            nonlocal least, best
            rows = problem.residuals(x)
            squares = float(rows @ rows)
            if squares < least:
                least, best = squares, problem.plan(x)
            return rows

        options = {"bounds": problem.bounds, "max_nfev": steps, "ftol": 3e-4, "xtol": 1e-3, "gtol": 1e-12}
        with suppress(ContactError, TimeUp):  # the best until then counts
            least_squares(residuals, problem.start, jac=problem.slopes, **options)
        return self.evaluate(without_short(best))


class _Residuals(ABC):
    """A programme as numbers, and what the least squares bring down.

    ``keys`` name the spell and the size or minutes of every number, ``start`` are those of the programme it was made
    from, ``highest`` their upper bounds.
    """

    keys: list[tuple[int, str]]
    start: Floats
    highest: Floats

    def __init__(self, refiner: Refiner, plan: Plan) -> None:
        self.refiner, self.template = refiner, plan
        self.spells = [i for i, spell in enumerate(plan) if not spell.stroke.is_press]
        self._last: tuple[bytes, Plan, list[list[State]], Floats] | None = None

    @abstractmethod
    def plan(self, x: Floats) -> Plan:
        """The programme that numbers (n,) stand for."""

    @abstractmethod
    def _step(self, x: Floats, column: int) -> float:
        """Difference for the slope by a number."""

    def residuals(self, x: Floats) -> Floats:
        """Figure errors (m,) in all scenarios, relative to the one at the start [1]; of several scenarios times the effort.

        Raises
        ------
        ContactError
        TimeUp
        """
        return self._at(x)[2]

    def slopes(self, x: Floats) -> Floats:
        """Slopes (m, n) of the residuals: forward differences, backward at an upper bound.

        Raises
        ------
        ContactError
        TimeUp
        """
        base, states, rows = self._at(x)

        def slope(column: int) -> Floats:
            step = self._step(x, column)
            if x[column] + step > self.highest[column]:
                step = -step
            moved = x.copy()
            moved[column] += step
            return (self._residuals_from(base, states, self.plan(moved)) - rows) / step

        return np.array(in_threads(slope, range(x.size))).reshape(x.size, rows.size).T

    def _residuals_from(self, base: Plan, states: list[list[State]], plan: Plan) -> Floats:
        """Residuals of a programme that begins like ``base``."""
        shared = next((i for i, (one, two) in enumerate(zip(base, plan, strict=True)) if one != two), len(base))
        self.refiner.clock.check()

        def run(engine: CoarseEngine, place: int) -> list[Floats]:
            before = states[place]
            return heights_of([*before[:shared], *engine.states(before[shared], plan[shared:])])

        runs = self.refiner.each(run, plan[shared:])
        self.refiner.count(len(runs))
        return self._rows(plan, runs)

    def _at(self, x: Floats) -> tuple[Plan, list[list[State]], Floats]:
        key = x.tobytes()
        if self._last is None or self._last[0] != key:
            plan, start = self.plan(x), self.refiner.objective.start
            self.refiner.clock.check()
            states = self.refiner.each(lambda engine, _: engine.states(start, plan), plan)
            self.refiner.count(len(states))
            self._last = key, plan, states, self._rows(plan, [heights_of(run) for run in states])
        return self._last[1:]

    def _rows(self, plan: Plan, runs: list[list[Floats]]) -> Floats:
        objective = self.refiner.objective
        pairs = zip(self.refiner.cases, runs, strict=True)
        blocks = [np.sqrt(case.weight) * objective.residuals(run) for case, run in pairs]
        # with the constants known the minutes are bound by the figure, and the climbs are scored with the effort afterwards
        effort = objective.effort(plan) if len(runs) > 1 else 1.0
        return np.concatenate(blocks) * (effort / objective.rms_before)


class BoundedResiduals(_Residuals):
    """Numbers that may go anywhere between bounds of their own: every programme is within the limits.

    Strokes are points of :class:`wearsim.decide.stroke_library.UnitCube`. Minutes are the work of all spells as a share
    of what is allowed, and of what the spells before have left of it the share that each takes; the last takes the rest.
    """

    def __init__(self, refiner: Refiner, plan: Plan, free: Free = "all") -> None:
        super().__init__(refiner, plan)
        bench, limits = refiner.nominal.bench, refiner.objective.limits
        self.allowed = limits.minutes
        strokes = {i: plan[i].stroke for i in self.spells}
        self.cubes = {i: UnitCube(bench, limits, stroke.on_top, stroke.lap) for i, stroke in strokes.items()}
        self.points = {i: self.cubes[i].point(stroke) for i, stroke in strokes.items()}
        self.takes_sizes = free != "minutes"
        self._strokes: dict[tuple[int, bytes], StrokeSpec] = {}
        self.keys, start = [], list[float]()
        if self.takes_sizes:
            sizes = [(i, s) for i, s in product(self.spells, range(len(SIZES))) if SIZES[s] in FREE[strokes[i].kind]]
            self.keys += [(i, SIZES[s]) for i, s in sizes]
            start += [self.points[i][s] for i, s in sizes]
        if free != "sizes" and self.spells:
            self.keys += [(i, "minutes") for i in self.spells]
            start += self._shares([plan[i].minutes for i in self.spells])
        self.bounds = (np.zeros(len(start)), np.ones(len(start)))
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

    def plan(self, x: Floats) -> Plan:
        """The programme that numbers (n,) stand for."""
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
            out[i] = PlannedSpell(self._stroke(i, points[i]), minutes[i])
        return tuple(out)

    def _stroke(self, i: int, point: Floats) -> StrokeSpec:
        if not self.takes_sizes:
            return self.template[i].stroke
        key = i, point.tobytes()
        if key not in self._strokes:
            if len(self._strokes) > _STROKES_KEPT:
                self._strokes.clear()
            self._strokes[key] = self.cubes[i].stroke(self.template[i].stroke, point)
        return self._strokes[key]

    def _step(self, x: Floats, column: int) -> float:
        return _IN_CUBE


class PlainResiduals(_Residuals):
    """Sizes in diameters and minutes as they are, for the slopes about a programme; nothing keeps them within limits."""

    def __init__(self, refiner: Refiner, plan: Plan, free: Free = "all") -> None:
        super().__init__(refiner, plan)
        self.keys, start = [], list[float]()
        for i in self.spells:
            numbers = plan[i].stroke.free if free != "minutes" else {}
            if free != "sizes":
                numbers["minutes"] = plan[i].minutes
            self.keys += [(i, name) for name in numbers]
            start += numbers.values()
        self.start = np.array(start, dtype=float)
        self.highest = np.full(len(start), np.inf)

    def plan(self, x: Floats) -> Plan:
        """The programme that numbers (n,) stand for."""
        out = list(self.template)
        for (i, name), value in zip(self.keys, x, strict=True):
            out[i] = with_number(out[i], name, float(value))
        return tuple(out)

    def _step(self, x: Floats, column: int) -> float:
        if self.keys[column][1] == "minutes":
            return max(_OF_MINUTES, 0.03 * float(x[column]))
        return _OF_SIZE


def with_number(spell: PlannedSpell, name: str, value: float) -> PlannedSpell:
    """A spell with its minutes or one of its sizes changed."""
    if name == "minutes":
        return PlannedSpell(spell.stroke, value)
    return PlannedSpell(spell.stroke.with_sizes(**{name: value}), spell.minutes)


def distinct_programmes(candidates: Sequence[Candidate], count: int) -> list[Candidate]:
    """The best ``count`` programmes that differ in some spell's piece on top or lap, or clearly in a number.

    A straight stroke and an oval of next to no width are the same here.
    """
    kept: list[Candidate] = []
    seen: dict[tuple[object, ...], list[Floats]] = {}
    for one in sorted(candidates, key=cost_of):
        pieces = tuple((spell.stroke.on_top, spell.stroke.lap) for spell in one.plan)
        numbers = _numbers(one.plan)
        if all(np.abs(numbers - other).max(initial=0.0) > CLEAR_DIFFERENCE for other in seen.get(pieces, [])):
            seen.setdefault(pieces, []).append(numbers)
            kept.append(one)
        if len(kept) == count:
            break
    return kept


def _numbers(plan: Plan) -> Floats:
    """Sizes, and each spell's share of the minutes."""
    total = sum(spell.minutes for spell in plan) or 1.0
    rows = [(s.stroke.length, s.stroke.sweep, s.stroke.overhang, s.minutes / total) for s in plan]
    return np.array(rows).ravel()


def without_short(plan: Plan) -> Plan:
    """A programme without spells of next to no minutes."""
    return tuple(spell for spell in plan if spell.minutes >= SHORTEST)
