"""Programmes that a person can work: sizes to a hundredth of the diameter or a quarter of one, whole minutes,
no spell too short.

Rounding each number for itself throws away what the search won: a minute too many here wants a little less there. So
the slopes about a neat programme say which *neat* programmes near it are promising, several numbers changed at once,
and the coupled engine judges those.

Whole minutes first, then sizes that make up for them, then the neat sizes that do it best.

A minute is a coarse step: what rounding it takes away or adds, the sizes can often give back. So for the most
promising choices of whole minutes, by the slopes, the sizes are brought down again by least squares, and of all ways of
rounding every size up or down those that the slopes promise most of are worked.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from itertools import combinations, islice, product

import numpy as np
from numpy.typing import NDArray

from wearsim.decide.coarse_engine import Trials, Trying, worked
from wearsim.decide.least_squares import Judged, Nearby, Problem, Refiner
from wearsim.decide.limits import TimeUp
from wearsim.decide.objective import Objective
from wearsim.decide.stroke_library import FREE, LOW, SIZES, Shape, is_allowed
from wearsim.errors import ContactError
from wearsim.kernels.arrays import Floats

Programme = tuple[Trying, ...]

# Choices of whole minutes whose sizes are brought down; evaluations of the residuals in each.
CHOICES, STEPS = 4, 6
# Ways of rounding the sizes that are worked for each, and those looked at for allowed ones.
WORKED, LOOKED_AT = 4, 200
# Sizes free to be rounded either way: with more, those that matter least are rounded to the nearest.
EITHER_WAY = 12
# Damping of the sizes' answer to whole minutes, as a share of the largest slope.
_DAMPING = 1e-3


def whole_minutes(refiner: Refiner, programme: Programme) -> list[Programme]:
    """Programmes of whole minutes near one, sizes brought down anew, not yet neat.

    Parameters
    ----------
    refiner : Refiner
    programme : tuple of Trying

    Raises
    ------
    ContactError
    TimeUp
    """
    from scipy.optimize import lsq_linear  # slow to import

    timed, sized = Nearby(refiner, programme, "minutes"), Problem(refiner, programme, "sizes")
    rest, by_minutes = timed.residuals(timed.start), timed.slopes(timed.start)
    begin = sized.start
    by_sizes = sized.slopes(begin) if begin.size else np.zeros((rest.size, 0))
    damped = np.vstack([by_sizes, _DAMPING * np.linalg.norm(by_sizes, axis=0).max(initial=0.0) * np.eye(begin.size)])
    bounds = (sized.bounds[0] - begin, sized.bounds[1] - begin)
    limits = refiner.objective.limits
    exact = timed.start
    promised = list[tuple[float, Programme]]()
    for minutes in product(*({np.floor(m), np.ceil(m)} for m in exact)):
        whole = np.array(minutes)
        if whole.sum() > limits.minutes or np.any(whole < limits.shortest):
            continue
        left = rest + by_minutes @ (whole - exact)
        move = np.zeros(begin.size)
        if begin.size:
            move = lsq_linear(damped, -np.append(left, move), bounds).x
        of_sizes = sized.programme(begin + move)
        one = Nearby(refiner, of_sizes, "minutes").programme(whole)
        promised.append((float(np.linalg.norm(left + by_sizes @ move)), one))
    promised.sort(key=lambda item: item[0])
    return [refiner.improve(one, steps=STEPS, free="sizes").programme for _, one in promised[:CHOICES]]


def neat_sizes(refiner: Refiner, programme: Programme, step: float) -> list[Programme]:
    """Ways of rounding every size up or down, the most promising by the slopes first.

    Parameters
    ----------
    refiner : Refiner
    programme : tuple of Trying
        Of whole minutes.
    step : float
        Of the sizes, in diameters [1].

    Raises
    ------
    ContactError
    TimeUp
    """
    problem = Nearby(refiner, programme, "sizes")
    if not problem.keys:
        return [programme]
    rest, slopes = problem.residuals(problem.start), problem.slopes(problem.start) * step
    exact = problem.start / step
    near = np.round(exact)
    ways = np.tile(near, (1, 1))
    for i in np.argsort(-np.linalg.norm(slopes, axis=0))[:EITHER_WAY]:
        other = ways.copy()
        other[:, i] = np.floor(exact[i]) + np.ceil(exact[i]) - near[i]
        ways = np.unique(np.vstack([ways, other]), axis=0)
    squares = np.sum((rest[:, None] + slopes @ (ways - exact).T) ** 2, axis=0)
    order = np.argsort(squares, kind="stable")[:LOOKED_AT]
    return [problem.programme(np.round(step * ways[i], 4)) for i in order]


def settled_whole(
    refiner: Refiner, programme: Programme, step: float, is_neat: Callable[[Programme], bool]
) -> list[Judged]:
    """Neat programmes near one, judged.

    Parameters
    ----------
    refiner : Refiner
    programme : tuple of Trying
    step : float
        Of the sizes, in diameters [1].
    is_neat : callable
        Whether a programme keeps the limits.
    """
    out = list[Judged]()
    try:
        for whole in whole_minutes(refiner, programme):
            ways = (one for one in neat_sizes(refiner, whole, step) if is_neat(one))
            for one in islice(ways, WORKED):
                refiner.clock.check()
                out.append(refiner.judge(one))
    except (ContactError, TimeUp):
        pass
    return out


# Sizes are rounded to this, in diameters; where the constants are taken as known there is more to lose by it.
SIZE_STEP, FINE_STEP = 0.01, 0.0025
# An improvement below this is not worth another look [1].
WORTH_IT = 1e-3
# No number moves further than this many steps on one set of slopes.
FARTHEST = 4
# Neat programmes judged on one set of slopes.
JUDGED = 6

Steps = NDArray[np.int_]


def neat_shape(shape: Shape, trials: Trials, objective: Objective, step: float = SIZE_STEP) -> Shape:
    """The allowed stroke with sizes of whole steps that is nearest."""
    if shape.is_press:
        return shape
    names = [name for name in SIZES if name in FREE[shape.kind]]
    exact = np.array([getattr(shape, name) for name in names]) / step
    corners = sorted(
        product(*((np.floor(e + 1e-9), np.ceil(e - 1e-9)) for e in exact)),
        key=lambda corner: float(np.sum((np.array(corner) - exact) ** 2)),
    )
    for corner in corners:
        neat = shape
        for name, number in zip(names, corner, strict=True):
            neat = neat.with_size(name, round(step * float(number), 4))
        if is_allowed(neat, trials.bench, objective.limits):
            return neat
    while not is_allowed(neat, trials.bench, objective.limits) and neat.length > 0.05:
        neat = _smaller(neat, step)
    return neat


def _smaller(shape: Shape, step: float) -> Shape:
    """A step less in every size."""
    sizes = {name: max(0.0, round(getattr(shape, name) - step, 4)) for name in SIZES}
    return replace(shape, **sizes)


def rounded(
    programme: tuple[Trying, ...], objective: Objective, trials: Trials, step: float = SIZE_STEP
) -> tuple[Trying, ...]:
    """Sizes to steps of the diameter, minutes to whole ones, too short spells dropped."""
    limits = objective.limits
    out = [
        Trying(neat_shape(tried.shape, trials, objective, step), float(round(tried.minutes)))
        for tried in programme
        if tried.shape.is_press or round(tried.minutes) >= limits.shortest
    ]
    while sum(t.work for t in out) > limits.minutes:
        longest = max(range(len(out)), key=lambda i: out[i].work)
        out[longest] = Trying(out[longest].shape, out[longest].minutes - 1.0)
    kept = tuple(t for t in out if t.shape.is_press or t.minutes >= limits.shortest)
    return kept if worked(kept) else ()


@dataclass(frozen=True)
class _Lattice:
    """Neat programmes about one: ``keys`` name the numbers that step, ``rows`` their slopes a step."""

    base: tuple[Trying, ...]
    keys: list[tuple[int, str]]
    rest: Floats
    rows: Floats
    step: float

    def programme(self, steps: Steps) -> tuple[Trying, ...]:
        """The neat programme that many steps away."""
        out = list(self.base)
        for (i, name), count in zip(self.keys, steps, strict=True):
            if count == 0:
                continue
            if name == "minutes":
                out[i] = Trying(out[i].shape, out[i].minutes + float(count))
            else:
                value = round(getattr(out[i].shape, name) + self.step * float(count), 4)
                out[i] = Trying(out[i].shape.with_size(name, value), out[i].minutes)
        return tuple(out)

    def moves(self) -> Steps:
        """One number a step up or down, or two at once."""
        one = np.eye(len(self.keys), dtype=int)
        single = [sign * row for row in one for sign in (-1, 1)]
        pairs = [s * a + t * b for a, b in combinations(one, 2) for s in (-1, 1) for t in (-1, 1)]
        return np.array(single + pairs)

    def squares(self, steps: Steps, moves: Steps) -> Floats:
        """Sum of squares by the slopes after each of the moves."""
        left = (self.rest + self.rows @ steps)[:, None] + self.rows @ moves.T
        return np.asarray(np.sum(left**2, axis=0))


class Settler:
    """Takes a programme to the best neat one near it.

    Parameters
    ----------
    refiner : Refiner
        Judges.
    objective : Objective
    trials : Trials
    step : float
        Of the sizes, in diameters [1].
    """

    def __init__(self, refiner: Refiner, objective: Objective, trials: Trials, step: float = SIZE_STEP) -> None:
        self.refiner, self.objective, self.trials, self.step = refiner, objective, trials, step

    def settle(self, programme: tuple[Trying, ...], *, rounds: int = 4, sizes_too: bool = False) -> Judged:
        """The best neat programme near this one.

        Parameters
        ----------
        programme : tuple of Trying
        rounds : int
            Sets of slopes at most.
        sizes_too : bool
            Whether sizes may change as well as minutes.
        """
        best = self.refiner.judge(rounded(programme, self.objective, self.trials, self.step))
        if sizes_too and worked(best.programme):
            near = settled_whole(self.refiner, programme, self.step, self._is_neat)
            best = min((best, *near), key=lambda one: one.score.cost)
        for _ in range(rounds):
            if not worked(best.programme):
                break
            tried = self._tried(best.programme, sizes_too)
            better = min(tried, key=lambda one: one.score.cost, default=best)
            if better.score.cost >= best.score.cost * (1.0 - WORTH_IT):
                break
            best = better
        return best

    def _tried(self, programme: tuple[Trying, ...], sizes_too: bool) -> list[Judged]:
        """Promising programmes judged, as many as there is time for."""
        tried: list[Judged] = []
        try:
            for other in self._promising(programme, sizes_too):
                self.refiner.clock.check()
                tried.append(self.refiner.judge(other))
        except TimeUp:
            pass
        return tried

    def _promising(self, programme: tuple[Trying, ...], sizes_too: bool) -> list[tuple[Trying, ...]]:
        """Neat programmes that the slopes promise something of, and those with a spell left out."""
        without = [(*programme[:i], *programme[i + 1 :]) for i in range(len(programme))]
        try:
            return [*self._downhill(self._lattice(programme, sizes_too)), *without]
        except ContactError:
            return without

    def _lattice(self, programme: tuple[Trying, ...], sizes_too: bool) -> _Lattice:
        problem = Nearby(self.refiner, programme, "all" if sizes_too else "minutes")
        step = np.array([1.0 if name == "minutes" else self.step for _, name in problem.keys])
        q, rows = np.linalg.qr(problem.slopes(problem.start) * step)
        return _Lattice(programme, problem.keys, q.T @ problem.residuals(problem.start), rows, self.step)

    def _downhill(self, lattice: _Lattice) -> list[tuple[Trying, ...]]:
        """The way down by the slopes, its end's neighbours, and the middle of it, best by the slopes first."""
        moves = lattice.moves()
        steps = np.zeros(len(lattice.keys), dtype=int)
        way = [steps]
        here = float(lattice.squares(steps, 0 * moves[:1])[0])
        for _ in range(FARTHEST * len(lattice.keys)):
            nearby = self._allowed_by_promise(lattice, steps, moves, 1)
            if not nearby or nearby[0][0] >= here * (1.0 - WORTH_IT):
                break
            here, steps = nearby[0]
            way.append(steps)
        ends = [steps, way[len(way) // 2]]
        ends += [one for _, one in self._allowed_by_promise(lattice, steps, moves, JUDGED - 2)]
        unlike = {tuple(one): one for one in ends if one.any()}
        return [lattice.programme(one) for one in unlike.values()]

    def _allowed_by_promise(
        self, lattice: _Lattice, steps: Steps, moves: Steps, count: int
    ) -> list[tuple[float, Steps]]:
        """The ``count`` most promising allowed moves from a place, with their sums of squares."""
        squares = lattice.squares(steps, moves)
        out: list[tuple[float, Steps]] = []
        for i in np.argsort(squares, kind="stable"):
            there = steps + moves[i]
            if np.abs(there).max() <= FARTHEST and self._is_neat(lattice.programme(there)):
                out.append((float(squares[i]), there))
            if len(out) == count:
                break
        return out

    def _is_neat(self, programme: tuple[Trying, ...]) -> bool:
        """Whether a programme keeps every limit but the edge's."""
        limits = self.objective.limits
        if sum(tried.work for tried in programme) > limits.minutes:
            return False
        return all(
            tried.shape.is_press
            or (
                tried.minutes >= limits.shortest
                and all(getattr(tried.shape, n) >= LOW[n] - 1e-9 for n in FREE[tried.shape.kind])
                and is_allowed(tried.shape, self.trials.bench, limits)
            )
            for tried in programme
        )
