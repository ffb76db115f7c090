"""Rounding: programmes of round sizes (a hundredth of the diameter or a quarter of one), whole minutes, no spell too short.

Rounding each number for itself throws away what the search won: a minute too many here wants a little less there. So
the slopes about a round programme say which *round* programmes near it are promising, several numbers changed at once,
and the coupled engine works those.

Where sizes may change, whole minutes come first, then sizes that make up for them. A minute is a coarse step: what rounding
it takes away or adds, the sizes can often give back. So for the most promising choices of whole minutes, by the slopes, the
sizes are brought down again by least squares, and of all ways of rounding every size up or down those that the slopes
promise most of are worked.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import suppress
from dataclasses import dataclass
from itertools import combinations, islice, product

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import lsq_linear

from wearsim.bench.bench import Bench
from wearsim.decide.coarse_engine import Plan, PlannedSpell, without_pressings, work_of
from wearsim.decide.least_squares import BoundedResiduals, Candidate, PlainResiduals, Refiner, cost_of, with_number
from wearsim.decide.limits import Limits, TimeUp
from wearsim.decide.repertoire import is_allowed
from wearsim.decide.stroke_library import SIZES, SMALLEST, StrokeSpec
from wearsim.errors import ContactError
from wearsim.kernels.arrays import Floats
from wearsim.parallel import in_threads

# Sizes are rounded to this, in diameters; where the constants are taken as known there is more to lose by it.
SIZE_STEP, FINE_STEP = 0.01, 0.0025
# An improvement below this is not worth another round [1].
LEAST_GAIN = 1e-3
# No number moves further than this many steps on one set of slopes.
MOST_ROUND_STEPS = 4
# Steps of length that go with one of the overhang, along the limit of reach.
ALONG_REACH = (2, 3)
# Spells of so many minutes or more step by so many [min].
LONG, LONG_STEP = 30.0, 5.0
# Round programmes worked on one set of slopes.
CANDIDATES = 6
# Choices of whole minutes whose sizes are brought down; evaluations of the residuals in each.
CHOICES, STEPS = 4, 6
# Ways of rounding the sizes that are worked for each, and those looked at for allowed ones.
ROUNDINGS, RANKED = 4, 200
# Sizes free to be rounded either way: with more, those that matter least are rounded to the nearest.
MOST_FREE = 12
# Damping of the sizes' answer to whole minutes, as a share of the largest slope.
_DAMPING = 1e-3

Steps = NDArray[np.int_]


def rounded_stroke(stroke: StrokeSpec, bench: Bench, limits: Limits, step: float = SIZE_STEP) -> StrokeSpec:
    """The allowed stroke with sizes of whole steps that is nearest."""
    if stroke.is_press:
        return stroke
    exact = np.array(list(stroke.free.values())) / step
    corners = sorted(
        product(*((np.floor(e + 1e-9), np.ceil(e - 1e-9)) for e in exact)),
        key=lambda corner: float(np.sum((np.array(corner) - exact) ** 2)),
    )
    for corner in corners:
        sizes = zip(stroke.free, corner, strict=True)
        nearest = stroke.with_sizes(**{name: round(step * float(number), 4) for name, number in sizes})
        if is_allowed(nearest, bench, limits):
            return nearest
    while not is_allowed(nearest, bench, limits) and nearest.length > 0.05:
        nearest = nearest.with_sizes(**{name: max(0.0, round(getattr(nearest, name) - step, 4)) for name in SIZES})
    return nearest


def rounded(plan: Plan, bench: Bench, limits: Limits, step: float = SIZE_STEP) -> Plan:
    """Sizes to steps of the diameter, minutes to whole ones, too short spells dropped."""
    out = [
        PlannedSpell(rounded_stroke(spell.stroke, bench, limits, step), float(round(spell.minutes)))
        for spell in plan
        if spell.stroke.is_press or round(spell.minutes) >= limits.shortest
    ]
    while work_of(tuple(out)) > limits.minutes:
        longest = max(range(len(out)), key=lambda i: out[i].work)
        out[longest] = PlannedSpell(out[longest].stroke, out[longest].minutes - 1.0)
    kept = tuple(spell for spell in out if spell.stroke.is_press or spell.minutes >= limits.shortest)
    return kept if without_pressings(kept) else ()


def whole_minutes(refiner: Refiner, plan: Plan) -> list[Plan]:
    """Programmes of whole minutes near one, with sizes improved again, not yet rounded.

    Raises
    ------
    ContactError
    TimeUp
    """
    timed, sizes = PlainResiduals(refiner, plan, "minutes"), BoundedResiduals(refiner, plan, "sizes")
    rest, by_minutes = timed.residuals(timed.start), timed.slopes(timed.start)
    begin = sizes.start
    by_sizes = sizes.slopes(begin) if begin.size else np.zeros((rest.size, 0))
    damped = np.vstack([by_sizes, _DAMPING * np.linalg.norm(by_sizes, axis=0).max(initial=0.0) * np.eye(begin.size)])
    bounds = (sizes.bounds[0] - begin, sizes.bounds[1] - begin)
    limits, exact = refiner.objective.limits, timed.start
    ranked = list[tuple[float, Plan]]()
    for minutes in product(*({np.floor(m), np.ceil(m)} for m in exact)):
        whole = np.array(minutes)
        if whole.sum() > limits.minutes or np.any(whole < limits.shortest):
            continue
        left = rest + by_minutes @ (whole - exact)
        move = np.zeros(begin.size)
        if begin.size:
            move = lsq_linear(damped, -np.append(left, move), bounds).x
        one = PlainResiduals(refiner, sizes.plan(begin + move), "minutes").plan(whole)
        ranked.append((float(np.linalg.norm(left + by_sizes @ move)), one))
    ranked.sort(key=lambda item: item[0])
    return [refiner.improve(one, steps=STEPS, free="sizes").plan for _, one in ranked[:CHOICES]]


def rounded_sizes(refiner: Refiner, plan: Plan, step: float) -> list[Plan]:
    """Ways of rounding every size up or down to steps in diameters, the most promising by the slopes first.

    Raises
    ------
    ContactError
    TimeUp
    """
    problem = PlainResiduals(refiner, plan, "sizes")
    if not problem.keys:
        return [plan]
    rest, slopes = problem.residuals(problem.start), problem.slopes(problem.start) * step
    exact = problem.start / step
    nearest = np.round(exact)
    choices = np.tile(nearest, (1, 1))
    for i in np.argsort(-np.linalg.norm(slopes, axis=0))[:MOST_FREE]:
        other = choices.copy()
        other[:, i] = np.floor(exact[i]) + np.ceil(exact[i]) - nearest[i]
        choices = np.unique(np.vstack([choices, other]), axis=0)
    squares = np.sum((rest[:, None] + slopes @ (choices - exact).T) ** 2, axis=0)
    order = np.argsort(squares, kind="stable")[:RANKED]
    return [problem.plan(np.round(step * choices[i], 4)) for i in order]


@dataclass(frozen=True)
class _Lattice:
    """Round programmes about one: ``keys`` name the numbers that step, ``rows`` their slopes a step."""

    base: Plan
    keys: list[tuple[int, str]]
    rest: Floats
    rows: Floats
    step: Floats

    def plan(self, steps: Steps) -> Plan:
        """The round programme that many steps away."""
        out = list(self.base)
        for (i, name), move in zip(self.keys, self.step * steps, strict=True):
            if move and name == "minutes":
                out[i] = with_number(out[i], name, out[i].minutes + float(move))
            elif move:
                out[i] = with_number(out[i], name, round(getattr(out[i].stroke, name) + float(move), 4))
        return tuple(out)

    def moves(self) -> Steps:
        """One number a step up or down, or two at once; a stroke shorter by a few and farther off centre by one."""
        one = np.eye(len(self.keys), dtype=int)
        single = [sign * row for row in one for sign in (-1, 1)]
        pairs = [s * a + t * b for a, b in combinations(one, 2) for s in (-1, 1) for t in (-1, 1)]
        sizes = dict(zip(self.keys, one, strict=True))
        slides = [
            sign * (count * row - sizes[i, "overhang"])
            for (i, name), row in sizes.items()
            if name == "length" and (i, "overhang") in sizes
            for count in ALONG_REACH
            for sign in (-1, 1)
        ]
        return np.array(single + pairs + slides)

    def squares(self, steps: Steps, moves: Steps) -> Floats:
        """Sum of squares by the slopes after each of the moves."""
        left = (self.rest + self.rows @ steps)[:, None] + self.rows @ moves.T
        return np.asarray(np.sum(left**2, axis=0))


class Rounder:
    """Takes a programme to the best round one near it.

    Parameters
    ----------
    refiner : Refiner
    step : float
        Of sizes, in diameters [1].
    is_workable : callable, optional
        Whether a programme can be worked: of those that can, the best is taken. By default all can.
    """

    def __init__(
        self, refiner: Refiner, step: float = SIZE_STEP, is_workable: Callable[[Candidate], bool] = lambda _: True
    ) -> None:
        self.refiner, self.step, self.is_workable = refiner, step, is_workable
        self.bench, self.limits = refiner.nominal.bench, refiner.objective.limits

    def best_near(self, plan: Plan, *, rounds: int = 4, sizes_too: bool = False) -> Candidate:
        """The best round programme near this one, on so many sets of slopes at most; sizes may change as well where said."""
        best = self.refiner.evaluate(rounded(plan, self.bench, self.limits, self.step))
        if sizes_too and self.step <= SIZE_STEP and without_pressings(best.plan):  # coarse steps gain nothing by it
            best = min((best, *self._evaluated(self._with_whole_minutes(plan))), key=cost_of)
        least = best.score.cost if self.is_workable(best) else np.inf
        for _ in range(rounds):
            if not without_pressings(best.plan):
                break
            better = self._better(best.plan, least, sizes_too)
            if better is None:
                break
            best, least = better, better.score.cost
        return best

    def _better(self, plan: Plan, least: float, sizes_too: bool) -> Candidate | None:
        """The best near a programme that can be worked and costs clearly less than the least so far, if there is one."""
        for plans in self._neighbours(plan, sizes_too):
            near = sorted(self._evaluated(iter(plans)), key=cost_of)
            better = (one for one in near if one.score.cost < least * (1.0 - LEAST_GAIN))
            workable = next(filter(self.is_workable, better), None)
            if workable is not None:
                return workable
        return None

    def _evaluated(self, plans: Iterator[Plan]) -> list[Candidate]:
        """Programmes scored, as many as there is time for."""
        with suppress(ContactError, TimeUp):
            return [one for one in in_threads(self._scored, list(plans)) if one is not None]
        return []

    def _scored(self, plan: Plan) -> Candidate | None:
        return None if self.refiner.clock.is_over else self.refiner.attempt(plan)

    def _with_whole_minutes(self, plan: Plan) -> Iterator[Plan]:
        """Round programmes near one, their sizes chosen after their minutes."""
        for whole in whole_minutes(self.refiner, plan):
            choices = rounded_sizes(self.refiner, whole, self.step)
            yield from islice(filter(self._keeps_limits, choices), ROUNDINGS)

    def _neighbours(self, plan: Plan, sizes_too: bool) -> Iterator[list[Plan]]:
        """Round programmes that the slopes promise most of, and those with a spell left out; then those one step away."""
        shorter = [(*plan[:i], *plan[i + 1 :]) for i in range(len(plan))]
        try:
            lattice = self._lattice(plan, sizes_too)
        except ContactError:
            yield shorter
            return
        except TimeUp:
            return
        yield self._descent(lattice) + shorter
        begin, single = np.zeros(len(lattice.keys), dtype=int), np.eye(len(lattice.keys), dtype=int)
        steps = self._ranked_moves(lattice, begin, np.vstack([single, -single]))
        yield [lattice.plan(one) for _, one in islice(steps, CANDIDATES)]

    def _lattice(self, plan: Plan, sizes_too: bool) -> _Lattice:
        problem = PlainResiduals(self.refiner, plan, "all" if sizes_too else "minutes")
        minutes = [LONG_STEP if one.minutes >= LONG else 1.0 for one in plan]
        step = np.array([minutes[i] if name == "minutes" else self.step for i, name in problem.keys])
        q, rows = np.linalg.qr(problem.slopes(problem.start) * step)
        return _Lattice(plan, problem.keys, q.T @ problem.residuals(problem.start), rows, step)

    def _descent(self, lattice: _Lattice) -> list[Plan]:
        """The way down by the slopes, its end's neighbours, and the middle of it, best by the slopes first."""
        moves = lattice.moves()
        steps = np.zeros(len(lattice.keys), dtype=int)
        path = [steps]
        lowest = float(lattice.squares(steps, 0 * moves[:1])[0])
        for _ in range(MOST_ROUND_STEPS * len(lattice.keys)):
            least, moved = next(self._ranked_moves(lattice, steps, moves), (np.inf, steps))
            if least >= lowest * (1.0 - LEAST_GAIN):
                break
            lowest, steps = least, moved
            path.append(steps)
        ends = [steps, path[len(path) // 2]]
        ends += [one for _, one in islice(self._ranked_moves(lattice, steps, moves), CANDIDATES - 2)]
        distinct = {tuple(one): one for one in ends if one.any()}
        return [lattice.plan(one) for one in distinct.values()]

    def _ranked_moves(self, lattice: _Lattice, steps: Steps, moves: Steps) -> Iterator[tuple[float, Steps]]:
        """Allowed moves from a place with their sums of squares, the most promising first."""
        squares = lattice.squares(steps, moves)
        for i in np.argsort(squares, kind="stable"):
            moved = steps + moves[i]
            if np.abs(moved).max() <= MOST_ROUND_STEPS and self._keeps_limits(lattice.plan(moved)):
                yield float(squares[i]), moved

    def _keeps_limits(self, plan: Plan) -> bool:
        """Whether a programme keeps every limit but the edge's."""
        limits = self.limits
        return work_of(plan) <= limits.minutes and all(
            spell.minutes >= limits.shortest
            and all(size >= SMALLEST[name] - 1e-9 for name, size in spell.stroke.free.items())
            and is_allowed(spell.stroke, self.bench, limits)
            for spell in without_pressings(plan)
        )
