"""Many starts, climbed from in heats: after each the less promising half is left behind.

Programmes of few spells have hundreds of valleys, and which one a climb ends in cannot be told from where it begins
(A. H. G. Rinnooy Kan, G. T. Timmer, Math. Program. 39 (1987) 27, from memory: so starts are drawn evenly). Hundreds are
drawn, all in the cube of allowed strokes, and climbed from on rough grids. How they stand after two dozen coupled runs
says little, after twice that much. The best go on at nearly full accuracy; then spells of the best are exchanged,
redrawn or of another kind, and what comes of it goes the same way.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import partial
from itertools import product
from typing import TypeVar

import numpy as np

from wearsim.decide.coarse_engine import Trying
from wearsim.decide.gauss_newton import Climb, climbed
from wearsim.decide.least_squares import Judged, Refiner, chunks, distinct, in_parallel, kept
from wearsim.decide.limits import TimeUp
from wearsim.decide.stroke_library import Cube, Shape
from wearsim.errors import ContactError
from wearsim.kernels.arrays import Floats

In = TypeVar("In")
Out = TypeVar("Out")
Programme = tuple[Trying, ...]
# Piece on top and lap of every spell.
Order = tuple[tuple[str, str | None], ...]

# Climbs between looks at the clock.
AT_ONCE = 24
# Climbs that are judged on the finer grids though the time is up.
AT_LEAST = 3
# Orders that are drawn evenly from, at most.
ORDERS = 1024
# Kinds of strokes that are drawn; "straight" is an overhang of none.
KINDS = ("overhang", "w", "oval")
# A balance on the finer grids, and what a coupled run takes beside its balances, in balances on rough grids of some 0.85 us
# each (measured on six of the start figures of tests/decide).
AS_NEAR, A_RUN = 1.75, 235.0
# Crossing that leaves more than this share of the cost has brought nothing [1].
BETTER = 0.99
# How far numbers are shaken, one sigma [1].
SHAKEN = 0.1


@dataclass(frozen=True)
class Heats:
    """Coupled runs of every climb in each heat, and the share of the climbs that goes on.

    Parameters
    ----------
    runs : tuple of int
        For three spells; as many more for more, whose slopes take more.
    kept : tuple of float
        After each heat but the last [1].
    """

    runs: tuple[int, ...]
    kept: tuple[float, ...]

    @property
    def each(self) -> float:
        """Runs of a start, on the average."""
        on, total = 1.0, 0.0
        for runs, share in zip(self.runs, (*self.kept, 0.0), strict=True):
            total += on * runs
            on *= share
        return total


@dataclass(frozen=True)
class MultistartEffort:
    """How much is looked at.

    Parameters
    ----------
    starts, later : int
        Random programmes of straight strokes: at first, evenly of every order of pieces on top and laps; and then, and
        whenever crossing has brought nothing for a while, of the orders that the best have.
    leading : int
        How many of the best say which orders those are.
    subsets : int
        Programmes of the best subsets that are begun from as well.
    heats : Heats
        On rough grids.
    near, near_runs : int
        How many of the best go on at nearly full accuracy, and for how many coupled runs each.
    parents, crossed : int
        How many of the best are crossed, again and again, and what comes of it each time.
    patience : int
        Times without a better one after which there are new starts.
    crossed_heats : Heats
        Of those, on rough grids.
    crossed_near, crossed_runs : int
        How many of those go on at nearly full accuracy, and for how many coupled runs each.
    climbed : int
        Distinct programmes handed on.
    work, begun : int, float
        What all takes, about, in contacts balanced on rough grids, other work counted as so many of them; and the share of
        it that the starts may take [1]: where they would take more, all of it is less.
    seed : int
    """

    starts: int = 180
    later: int = 120
    leading: int = 8
    subsets: int = 40
    heats: Heats = Heats((22, 14, 20, 20), (0.6, 0.6, 0.5))
    near: int = 20
    near_runs: int = 40
    parents: int = 12
    crossed: int = 48
    patience: int = 3
    crossed_heats: Heats = Heats((22, 14), (0.5,))
    crossed_near: int = 10
    crossed_runs: int = 30
    climbed: int = 12
    work: int = 24_000_000
    begun: float = 0.3
    seed: int = 2

    def less(self, share: float) -> MultistartEffort:
        """So much of it [1]."""

        def of(count: int) -> int:
            return max(1, round(share * count))

        return replace(
            self, starts=of(self.starts), later=of(self.later), subsets=of(self.subsets), near=of(self.near),
            crossed=of(self.crossed), crossed_near=of(self.crossed_near), work=of(self.work),
        )  # fmt: skip


class Multistart:
    """Programmes near their best, from many starts.

    Parameters
    ----------
    rough, near : Refiner
        Judge programmes in the same single scenario, on rough grids and on finer ones.
    effort : MultistartEffort
    is_late : callable
        Looked at between climbs.
    tell : callable
        Called with programmes judged on the finer grids, as they come.
    """

    def __init__(
        self, rough: Refiner, near: Refiner, effort: MultistartEffort, is_late: Callable[[], bool],
        tell: Callable[[list[Judged]], None],
    ) -> None:  # fmt: skip
        self.rough, self.near, self.effort = rough, near, effort
        self.is_late, self.tell = is_late, tell
        self.rng = np.random.default_rng(effort.seed)
        limits, bench = rough.objective.limits, rough.nominal.bench
        laps = [None] if len(bench.laps) == 1 else [lap.name for lap in bench.laps]
        self.cubes = {
            (top, lap): cube
            for top, lap in product(limits.on_top, laps)
            if not (cube := Cube(bench, limits, top, lap)).is_empty
        }
        self.minutes, self.spells = limits.minutes, limits.spells
        self.orders = _orders(list(self.cubes), self.spells, effort.seed)
        self.before = 0.0
        self.before = self._spent()

    def _spent(self) -> float:
        """Work so far, in contacts balanced on rough grids."""
        runs = self.rough.evaluations + self.near.evaluations
        return self.rough.nominal.balances + AS_NEAR * self.near.nominal.balances + A_RUN * runs - self.before

    def run(self, first: list[Programme]) -> list[Judged]:
        """Programmes judged on the finer grids.

        Parameters
        ----------
        first : list of tuple of Trying
            Begun from as well.
        """
        if not self.cubes or self.is_late():
            return []
        effort = self._afforded()
        evenly = [self.orders[i] for i in self.rng.permutation(len(self.orders))]
        starts = [*first[: effort.subsets], *self._drawn(effort.starts, evenly)]
        best = self._closer(self._raced(starts, effort.heats), effort.near, effort.near_runs)
        least, stalled = np.inf, effort.patience
        while best and not self._is_over():
            before = len(best)
            if stalled < effort.patience:
                young = self._crossed(distinct(best, effort.parents), effort.crossed)
                climbs = self._raced(young, effort.crossed_heats)
                best += self._closer(climbs, effort.crossed_near, effort.crossed_runs)
            else:
                leading = [_order(one.programme) for one in distinct(best, effort.leading)]
                leading = [order for order in leading if len(order) == self.spells] or evenly
                starts = self._drawn(effort.later, leading)
                best += self._closer(self._raced(starts, effort.heats), effort.near // 2, effort.near_runs)
                stalled = 0
            if len(best) == before:
                break
            now = min(one.score.cost for one in best)
            least, stalled = (now, 0) if now < BETTER * least else (least, stalled + 1)
        return best

    def _is_over(self) -> bool:
        """Whether the time is up or the work done."""
        return self.is_late() or self._spent() > self.effort.work

    def _afforded(self) -> MultistartEffort:
        """As many starts as the work allows, by what a few runs take here."""
        effort, trials = self.effort, self.rough.nominal
        before, runs = trials.balances, 0
        for programme in self._drawn(AT_ONCE, self.orders):
            try:
                trials.states(self.rough.objective.start, programme)
                runs += 1
            except ContactError:
                continue
        if runs == 0:
            return effort
        # slopes work two thirds of a programme of three spells again
        each = (trials.balances - before) / runs * (self.spells + 1) / (2 * self.spells) + A_RUN
        wanted = each * effort.heats.each * (self.spells / 3.0) * (effort.starts + effort.subsets)
        share = min(1.0, effort.begun * effort.work / wanted)
        return replace(effort.less(share), work=effort.work)

    def _shape(self, place: tuple[str, str | None], kind: str, point: Floats) -> Shape:
        top, lap = place
        return self.cubes[place].shaped(Shape(top, lap, kind, 0.0), point)

    def _drawn(self, count: int, orders: list[Order]) -> list[Programme]:
        """Random programmes of straight strokes, of one order of pieces on top and laps after the other."""
        rng, out = self.rng, list[Programme]()
        for number in range(count):
            minutes = self.minutes * rng.uniform(0.3, 1.0) * rng.dirichlet(np.ones(self.spells))
            out.append(
                tuple(
                    Trying(self._shape(place, KINDS[0], rng.random(3)), float(m))
                    for place, m in zip(orders[number % len(orders)], minutes, strict=True)
                )
            )
        return out

    def _raced(self, programmes: list[Programme], heats: Heats) -> list[Climb]:
        """Climbs on rough grids, the best first."""

        def begun(programme: Programme) -> Climb | None:
            try:
                climb = Climb(self.rough, programme)
                climb.go(self._for_spells(heats.runs[0]) - 1)
            except (ContactError, TimeUp):
                return None
            return climb

        climbs = self._all(begun, programmes)
        for share, runs in zip(heats.kept, heats.runs[1:], strict=True):
            climbs.sort(key=lambda one: one.cost)
            climbs = climbs[: max(1, round(share * len(climbs)))]
            going = self._all(partial(_gone, self._for_spells(runs)), climbs)
            if len(going) < len(climbs):
                break
        return sorted(climbs, key=lambda one: one.cost)

    def _for_spells(self, runs: int) -> int:
        return max(2, round(runs * self.spells / 3.0))

    def _all(self, function: Callable[[In], Out | None], items: list[In]) -> list[Out]:
        out = list[Out]()
        for some in chunks(items, AT_ONCE):
            if self.is_late():
                break
            out += [one for one in in_parallel(function, some) if one is not None]
        return out

    def _closer(self, climbs: list[Climb], count: int, runs: int) -> list[Judged]:
        """The best on finer grids; where the time is up, some as they stand."""
        if self.is_late():
            standing = map(self._as_it_stands, climbs[:AT_LEAST])
            out = [judged for judged in standing if judged is not None]
            self.tell(out)
            return out
        out = []

        def one(judged: Judged) -> Judged | None:
            return climbed(self.near, judged.programme, self._for_spells(runs))

        for some in chunks(distinct(self._all(_judged, climbs[: 2 * count]), count), AT_ONCE):
            done = self._all(one, list(some))
            self.tell(done)
            out += done
        return out

    def _as_it_stands(self, climb: Climb) -> Judged | None:
        try:
            return self.near.judge(kept(climb.programme))
        except ContactError:
            return None

    def _crossed(self, parents: list[Judged], count: int) -> list[Programme]:
        """Programmes that come of the best, the better ones more often."""
        return [self._child(parents) for _ in range(count)]

    def _child(self, parents: list[Judged]) -> Programme:
        """One of the ways: a spell of another, another order, another kind, a spell drawn anew, or all shaken."""
        rng = self.rng
        one, two = (parents[int(len(parents) * rng.random() ** 1.5)].programme for _ in range(2))
        out, place = list(one), int(rng.integers(len(one)))
        way = rng.integers(5)
        if way == 0:
            out[place] = two[int(rng.integers(len(two)))]
        elif way == 1:
            out = [out[i] for i in rng.permutation(len(out))]
        elif way == 2:
            kind = KINDS[int(rng.integers(len(KINDS)))]
            out[place] = self._moved(out[place], kind, SHAKEN * np.abs(rng.normal(size=4)) * (0, 1, 0, 0))
        elif way == 3:
            key = list(self.cubes)[int(rng.integers(len(self.cubes)))]
            kind = KINDS[int(rng.integers(len(KINDS)))]
            out[place] = Trying(self._shape(key, kind, rng.random(3)), out[place].minutes)
        else:
            out = [self._moved(tried, tried.shape.kind, SHAKEN * rng.normal(size=4)) for tried in out]
        total = sum(tried.minutes for tried in out)
        less = min(1.0, self.minutes / total) if total > 0.0 else 1.0
        return tuple(Trying(tried.shape, less * tried.minutes) for tried in out)

    def _moved(self, tried: Trying, kind: str, move: Floats) -> Trying:
        """A spell with its point of the cube and its minutes moved."""
        shape = tried.shape
        place = (shape.on_top, shape.lap)
        point = np.clip(self.cubes[place].point(shape) + move[:3], 0.0, 1.0)
        minutes = tried.minutes + move[3] * self.minutes
        return Trying(self._shape(place, kind, point), float(np.clip(minutes, 0.0, self.minutes)))


def _gone(runs: int, climb: Climb) -> Climb | None:
    try:
        climb.go(runs)
    except TimeUp:
        return None
    return climb


def _orders(places: list[tuple[str, str | None]], spells: int, seed: int) -> list[Order]:
    """Every order of pieces on top and laps, or some where there are very many."""
    if len(places) ** spells <= ORDERS:
        return list(product(places, repeat=spells))
    rows = np.random.default_rng(seed).integers(len(places), size=(ORDERS, spells))
    return [tuple(places[i] for i in row) for row in rows]


def _order(programme: Programme) -> Order:
    return tuple((tried.shape.on_top, tried.shape.lap) for tried in programme)


def _judged(climb: Climb) -> Judged | None:
    try:
        return climb.judged()
    except ContactError:
        return None
