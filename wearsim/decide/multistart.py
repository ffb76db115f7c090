"""Many starts, climbed from in rounds: after each the less promising half is left behind.

Programmes of few spells have hundreds of valleys, and which one a climb ends in cannot be seen from where it begins
(A. H. G. Rinnooy Kan, G. T. Timmer, Math. Program. 39 (1987) 27, from memory: so starts are drawn evenly). Hundreds are
drawn, all in the cube of allowed strokes, and climbed from on rough grids. How they stand after two dozen coupled runs
says little, after twice that much. The best go on at nearly full accuracy; then spells of the best are exchanged,
redrawn or of another kind, and what comes of it goes the same way.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from functools import partial
from itertools import product

import numpy as np

from wearsim.decide.coarse_engine import In, Out, Plan, PlannedSpell, chunks
from wearsim.decide.gauss_newton import GaussNewton, gauss_newton
from wearsim.decide.least_squares import Candidate, Refiner, cost_of, distinct_programmes, without_short
from wearsim.decide.limits import TimeUp
from wearsim.decide.stroke_library import DRAWN, StrokeSpec, UnitCube
from wearsim.errors import ContactError
from wearsim.kernels.arrays import Floats
from wearsim.parallel import in_threads

Place = tuple[str, str | None]
"""Piece on top and lap of a spell."""
Order = tuple[Place, ...]

# Climbs between looks at the clock.
AT_ONCE = 24
# Climbs that are scored on the finer grids though the time is up.
AT_LEAST = 3
# Orders that are drawn evenly from, at most.
ORDERS = 1024
# A balance on the finer grids, and what a coupled run takes beside its balances, in balances on rough grids of some 0.85 us
# each (measured on six of the start figures of tests/decide).
AS_NEAR, A_RUN = 1.75, 235.0
# Crossing that leaves more than this share of the cost has brought nothing [1].
BETTER = 0.99
# How far numbers are shaken, one sigma [1].
SHAKEN = 0.1


@dataclass(frozen=True)
class Rounds:
    """Coupled runs of every climb in each round, and the share of the climbs that goes on after each but the last [1].

    The runs are those for three spells; as many more for more, whose slopes take more.
    """

    runs: tuple[int, ...]
    kept: tuple[float, ...]

    @property
    def mean_runs(self) -> float:
        """Runs of a start, on the average."""
        on, total = 1.0, 0.0
        for runs, share in zip(self.runs, (*self.kept, 0.0), strict=True):
            total += on * runs
            on *= share
        return total


@dataclass(frozen=True)
class MultistartBudget:
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
    rounds : Rounds
        On rough grids.
    near, near_runs : int
        How many of the best go on at nearly full accuracy, and for how many coupled runs each.
    parents, crossed : int
        How many of the best are crossed, again and again, and what comes of it each time.
    patience : int
        Times without a better one after which there are new starts.
    crossed_rounds : Rounds
        Of those, on rough grids.
    crossed_near, crossed_runs : int
        How many of those go on at nearly full accuracy, and for how many coupled runs each.
    handed_on : int
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
    rounds: Rounds = Rounds((22, 14, 20, 20), (0.6, 0.6, 0.5))
    near: int = 20
    near_runs: int = 40
    parents: int = 12
    crossed: int = 48
    patience: int = 3
    crossed_rounds: Rounds = Rounds((22, 14), (0.5,))
    crossed_near: int = 10
    crossed_runs: int = 30
    handed_on: int = 12
    work: int = 24_000_000
    begun: float = 0.3
    seed: int = 2

    def scaled(self, share: float) -> MultistartBudget:
        """So much of it [1]."""
        names = ("starts", "later", "subsets", "near", "crossed", "crossed_near", "work")
        return replace(self, **{name: max(1, round(share * getattr(self, name))) for name in names})


class Multistart:
    """Programmes near their best, from many starts.

    Parameters
    ----------
    rough, near : Refiner
        Score programmes in the same single scenario, on rough grids and on finer ones.
    budget : MultistartBudget
    is_late, report : callable
        Asked between climbs; called with programmes scored on the finer grids, as they come.
    """

    def __init__(
        self,
        rough: Refiner,
        near: Refiner,
        budget: MultistartBudget,
        is_late: Callable[[], bool],
        report: Callable[[list[Candidate]], None],
    ) -> None:
        self.rough, self.near, self.budget = rough, near, budget
        self.is_late, self.report = is_late, report
        self.rng = np.random.default_rng(budget.seed)
        limits, bench = rough.objective.limits, rough.nominal.bench
        laps = [None] if len(bench.laps) == 1 else [lap.name for lap in bench.laps]
        cubes = {place: UnitCube(bench, limits, *place) for place in product(limits.on_top, laps)}
        self.cubes = {place: cube for place, cube in cubes.items() if not cube.is_empty}
        self.minutes, self.spells = limits.minutes, limits.spells
        self.orders = _orders(list(self.cubes), self.spells, budget.seed)
        self.before = 0.0
        self.before = self._spent()

    def _spent(self) -> float:
        """Work so far, in contacts balanced on rough grids."""
        runs = self.rough.evaluations + self.near.evaluations
        return self.rough.nominal.balances + AS_NEAR * self.near.nominal.balances + A_RUN * runs - self.before

    def run(self, first: list[Plan]) -> list[Candidate]:
        """Programmes scored on the finer grids, begun from ``first`` as well."""
        if not self.cubes or self.is_late():
            return []
        budget = self._afforded()
        evenly = [self.orders[i] for i in self.rng.permutation(len(self.orders))]
        starts = [*first[: budget.subsets], *self._drawn(budget.starts, evenly)]
        best = self._closer(self._raced(starts, budget.rounds), budget.near, budget.near_runs)
        least, stalled = np.inf, budget.patience
        while best and not self._is_over():
            if stalled < budget.patience:
                fresh = self._bred(best, budget)
            else:
                fresh, stalled = self._begun_anew(best, budget, evenly), 0
            if not fresh:
                break
            best += fresh
            now = min(map(cost_of, best))
            least, stalled = (now, 0) if now < BETTER * least else (least, stalled + 1)
        return best

    def _bred(self, best: list[Candidate], budget: MultistartBudget) -> list[Candidate]:
        """What comes of crossing the best."""
        parents = [one.plan for one in distinct_programmes(best, budget.parents)]
        climbs = self._raced(self._crossed(parents, budget.crossed), budget.crossed_rounds)
        return self._closer(climbs, budget.crossed_near, budget.crossed_runs)

    def _begun_anew(self, best: list[Candidate], budget: MultistartBudget, evenly: list[Order]) -> list[Candidate]:
        """What comes of new starts of the orders that the best have."""
        orders = [_order(one.plan) for one in distinct_programmes(best, budget.leading)]
        orders = [order for order in orders if len(order) == self.spells] or evenly
        climbs = self._raced(self._drawn(budget.later, orders), budget.rounds)
        return self._closer(climbs, budget.near // 2, budget.near_runs)

    def _is_over(self) -> bool:
        """Whether the time is up or the work done."""
        return self.is_late() or self._spent() > self.budget.work

    def _afforded(self) -> MultistartBudget:
        """As many starts as the work allows, by what a few runs take here."""
        budget, engine = self.budget, self.rough.nominal
        before, runs = engine.balances, 0
        for plan in self._drawn(AT_ONCE, self.orders):
            try:
                engine.states(self.rough.objective.start, plan)
                runs += 1
            except ContactError:
                continue
        if runs == 0:
            return budget
        # slopes work two thirds of a programme of three spells again
        each = (engine.balances - before) / runs * (self.spells + 1) / (2 * self.spells) + A_RUN
        wanted = each * budget.rounds.mean_runs * (self.spells / 3.0) * (budget.starts + budget.subsets)
        share = min(1.0, budget.begun * budget.work / wanted)
        return replace(budget.scaled(share), work=budget.work)

    def _stroke(self, place: Place, kind: str, point: Floats) -> StrokeSpec:
        return self.cubes[place].stroke(StrokeSpec(*place, kind, 0.0), point)

    def _drawn(self, count: int, orders: list[Order]) -> list[Plan]:
        """Random programmes of straight strokes, of one order of pieces on top and laps after the other."""
        rng, out = self.rng, list[Plan]()
        for number in range(count):
            minutes = self.minutes * rng.uniform(0.3, 1.0) * rng.dirichlet(np.ones(self.spells))
            spells = zip(orders[number % len(orders)], minutes, strict=True)
            out.append(tuple(PlannedSpell(self._stroke(at, DRAWN[0], rng.random(3)), float(m)) for at, m in spells))
        return out

    def _raced(self, plans: list[Plan], rounds: Rounds) -> list[GaussNewton]:
        """Climbs on rough grids, the best first."""

        def begun(plan: Plan) -> GaussNewton | None:
            try:
                climb = GaussNewton(self.rough, plan)
            except (ContactError, TimeUp):
                return None
            return _gone_on(self._for_spells(rounds.runs[0]) - 1, climb)

        climbs = self._all(begun, plans)
        for share, runs in zip(rounds.kept, rounds.runs[1:], strict=True):
            climbs.sort(key=lambda one: one.cost)
            climbs = climbs[: max(1, round(share * len(climbs)))]
            going = self._all(partial(_gone_on, self._for_spells(runs)), climbs)
            if len(going) < len(climbs):
                break
        return sorted(climbs, key=lambda one: one.cost)

    def _for_spells(self, runs: int) -> int:
        return max(2, round(runs * self.spells / 3.0))

    def _all(self, function: Callable[[In], Out | None], items: Sequence[In]) -> list[Out]:
        out = list[Out]()
        for some in chunks(items, AT_ONCE):
            if self.is_late():
                break
            out += [one for one in in_threads(function, some) if one is not None]
        return out

    def _closer(self, climbs: list[GaussNewton], count: int, runs: int) -> list[Candidate]:
        """The best on finer grids; where the time is up, some as they stand."""
        if self.is_late():
            standing = (self.near.attempt(without_short(climb.plan)) for climb in climbs[:AT_LEAST])
            out = [one for one in standing if one is not None]
            self.report(out)
            return out
        best = distinct_programmes(self._all(GaussNewton.candidate, climbs[: 2 * count]), count)
        plans, out = [one.plan for one in best], []
        for some in chunks(plans, AT_ONCE):
            done = self._all(lambda plan: gauss_newton(self.near, plan, self._for_spells(runs)), some)
            self.report(done)
            out += done
        return out

    def _crossed(self, parents: list[Plan], count: int) -> list[Plan]:
        """Programmes that come of the best, the better ones more often."""
        return [self._child(parents) for _ in range(count)]

    def _child(self, parents: list[Plan]) -> Plan:
        """One of the ways: a spell of another, another order, another kind, a spell drawn anew, or all shaken."""
        rng = self.rng
        one, two = (parents[int(len(parents) * rng.random() ** 1.5)] for _ in range(2))
        out, place = list(one), int(rng.integers(len(one)))
        way = rng.integers(5)
        if way == 0:
            out[place] = two[int(rng.integers(len(two)))]
        elif way == 1:
            out = [out[i] for i in rng.permutation(len(out))]
        elif way == 2:
            kind = DRAWN[int(rng.integers(len(DRAWN)))]
            out[place] = self._moved(out[place], kind, SHAKEN * np.abs(rng.normal(size=4)) * (0, 1, 0, 0))
        elif way == 3:
            at = list(self.cubes)[int(rng.integers(len(self.cubes)))]
            kind = DRAWN[int(rng.integers(len(DRAWN)))]
            out[place] = PlannedSpell(self._stroke(at, kind, rng.random(3)), out[place].minutes)
        else:
            out = [self._moved(spell, spell.stroke.kind, SHAKEN * rng.normal(size=4)) for spell in out]
        total = sum(spell.minutes for spell in out)
        less = min(1.0, self.minutes / total) if total > 0.0 else 1.0
        return tuple(PlannedSpell(spell.stroke, less * spell.minutes) for spell in out)

    def _moved(self, spell: PlannedSpell, kind: str, move: Floats) -> PlannedSpell:
        """A spell with its point of the cube and its minutes moved."""
        place = (spell.stroke.on_top, spell.stroke.lap)
        point = np.clip(self.cubes[place].point(spell.stroke) + move[:3], 0.0, 1.0)
        minutes = spell.minutes + move[3] * self.minutes
        return PlannedSpell(self._stroke(place, kind, point), float(np.clip(minutes, 0.0, self.minutes)))


def _gone_on(runs: int, climb: GaussNewton) -> GaussNewton | None:
    try:
        climb.run(runs)
    except TimeUp:
        return None
    return climb


def _orders(places: list[Place], spells: int, seed: int) -> list[Order]:
    """Every order of pieces on top and laps, or some where there are very many."""
    if len(places) ** spells <= ORDERS:
        return list(product(places, repeat=spells))
    rows = np.random.default_rng(seed).integers(len(places), size=(ORDERS, spells))
    return [tuple(places[i] for i in row) for row in rows]


def _order(plan: Plan) -> Order:
    return tuple((spell.stroke.on_top, spell.stroke.lap) for spell in plan)
