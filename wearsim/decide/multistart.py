"""Many starts, climbed from in rounds: after each the less promising half is left behind.

Programmes of few spells have hundreds of local minima, and where a climb ends cannot be seen from where it begins, so
starts are drawn evenly (A. H. G. Rinnooy Kan and G. T. Timmer, Stochastic global optimization methods, 1987, from memory).
Hundreds are drawn, all in the cube of allowed strokes, and climbed from on coarse grids. Their order after two dozen
coupled runs says little, after twice as many a lot. The best go on at nearly full accuracy; then spells of the best are
exchanged, redrawn or changed in kind, and the results treated in the same way.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from functools import partial
from itertools import product

import numpy as np

from wearsim.decide.coarse_engine import Item, Plan, PlannedSpell, Result, chunks
from wearsim.decide.gauss_newton import GaussNewton, gauss_newton
from wearsim.decide.least_squares import Candidate, Refiner, cost_of, distinct_programmes, without_short
from wearsim.decide.limits import TimeUp
from wearsim.decide.stroke_library import SEARCHED_KINDS, StrokeSpec, UnitCube
from wearsim.errors import ContactError
from wearsim.kernels.arrays import Floats
from wearsim.parallel import in_threads

TopAndLap = tuple[str, str | None]
"""Piece on top and lap of a spell."""
Order = tuple[TopAndLap, ...]

# Climbs between looks at the clock.
BATCH = 24
# Climbs that are scored on the finer grids though the time is up.
LEAST_CLIMBS = 3
# Orders that are drawn evenly from, at most.
MOST_ORDERS = 1024
# A balance on the finer grids, and what a coupled run takes beside its balances, in balances on rough grids of some 0.85 us
# each (measured on six of the start figures of tests/decide).
FINE_BALANCE, RUN_OVERHEAD = 1.75, 235.0
# Crossing that leaves more than this share of the cost has brought nothing [1].
STALL_SHARE = 0.99
# How far numbers are shaken, one sigma [1].
SHAKE_SIGMA = 0.1


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
    fine, fine_runs : int
        How many of the best go on at nearly full accuracy, and for how many coupled runs each.
    parents, crossed : int
        How many of the best are crossed, again and again, and what comes of it each time.
    patience : int
        Times without a better one after which there are new starts.
    crossed_rounds : Rounds
        Of those, on rough grids.
    crossed_fine, crossed_runs : int
        How many of those go on at nearly full accuracy, and for how many coupled runs each.
    best_kept : int
        Distinct programmes handed on.
    work, starts_share : int, float
        What all takes, about, in contacts balanced on rough grids, other work counted as so many of them; and the share of
        it that the starts may take [1]: where they would take more, all of it is less.
    seed : int
    """

    starts: int = 180
    later: int = 120
    leading: int = 8
    subsets: int = 40
    rounds: Rounds = Rounds((22, 14, 20, 20), (0.6, 0.6, 0.5))
    fine: int = 20
    fine_runs: int = 40
    parents: int = 12
    crossed: int = 48
    patience: int = 3
    crossed_rounds: Rounds = Rounds((22, 14), (0.5,))
    crossed_fine: int = 10
    crossed_runs: int = 30
    best_kept: int = 12
    work: int = 24_000_000
    starts_share: float = 0.3
    seed: int = 2

    def scaled(self, share: float) -> MultistartBudget:
        """So much of it [1]."""
        names = ("starts", "later", "subsets", "fine", "crossed", "crossed_fine", "work")
        return replace(self, **{name: max(1, round(share * getattr(self, name))) for name in names})


class Multistart:
    """Programmes near their best, from many starts.

    Parameters
    ----------
    rough, fine : Refiner
        Score programmes in the same single scenario, on rough grids and on finer ones.
    budget : MultistartBudget
    is_late, report : callable
        Asked between climbs; called with programmes scored on the finer grids, as they come.
    """

    def __init__(
        self,
        rough: Refiner,
        fine: Refiner,
        budget: MultistartBudget,
        is_late: Callable[[], bool],
        report: Callable[[list[Candidate]], None],
    ) -> None:
        self.rough, self.fine, self.budget = rough, fine, budget
        self.is_late, self.report = is_late, report
        self.rng = np.random.default_rng(budget.seed)
        limits, bench = rough.objective.limits, rough.nominal.bench
        laps = [None] if len(bench.laps) == 1 else [lap.name for lap in bench.laps]
        cubes = {place: UnitCube(bench, limits, *place) for place in product(limits.pieces, laps)}
        self.cubes = {place: cube for place, cube in cubes.items() if not cube.is_empty}
        self.minutes, self.spells = limits.minutes, limits.spells
        self.orders = _orders(list(self.cubes), self.spells, budget.seed)
        self.before = 0.0
        self.before = self._spent()

    def _spent(self) -> float:
        """Work so far, in contacts balanced on rough grids."""
        runs = self.rough.evaluations + self.fine.evaluations
        return (
            self.rough.nominal.balances + FINE_BALANCE * self.fine.nominal.balances + RUN_OVERHEAD * runs - self.before
        )

    def run(self, first: list[Plan]) -> list[Candidate]:
        """Programmes scored on the finer grids, begun from ``first`` as well."""
        if not self.cubes or self.is_late():
            return []
        budget = self._affordable()
        evenly = [self.orders[i] for i in self.rng.permutation(len(self.orders))]
        starts = [*first[: budget.subsets], *self._drawn(budget.starts, evenly)]
        best = self._on_fine_grids(self._halved(starts, budget.rounds), budget.fine, budget.fine_runs)
        least, stalls = np.inf, budget.patience
        while best and not self._is_over():
            if stalls < budget.patience:
                offspring = self._offspring(best, budget)
            else:
                offspring, stalls = self._restarted(best, budget, evenly), 0
            if not offspring:
                break
            best += offspring
            now = min(map(cost_of, best))
            least, stalls = (now, 0) if now < STALL_SHARE * least else (least, stalls + 1)
        return best

    def _offspring(self, best: list[Candidate], budget: MultistartBudget) -> list[Candidate]:
        """What comes of crossing the best."""
        parents = [one.plan for one in distinct_programmes(best, budget.parents)]
        climbs = self._halved(self._crossed(parents, budget.crossed), budget.crossed_rounds)
        return self._on_fine_grids(climbs, budget.crossed_fine, budget.crossed_runs)

    def _restarted(self, best: list[Candidate], budget: MultistartBudget, evenly: list[Order]) -> list[Candidate]:
        """What comes of new starts of the orders that the best have."""
        orders = [_order(one.plan) for one in distinct_programmes(best, budget.leading)]
        orders = [order for order in orders if len(order) == self.spells] or evenly
        climbs = self._halved(self._drawn(budget.later, orders), budget.rounds)
        return self._on_fine_grids(climbs, budget.fine // 2, budget.fine_runs)

    def _is_over(self) -> bool:
        """Whether the time is up or the work done."""
        return self.is_late() or self._spent() > self.budget.work

    def _affordable(self) -> MultistartBudget:
        """As many starts as the work allows, by what a few runs take here."""
        budget, engine = self.budget, self.rough.nominal
        before, runs = engine.balances, 0
        for plan in self._drawn(BATCH, self.orders):
            try:
                engine.states(self.rough.objective.start, plan)
                runs += 1
            except ContactError:
                continue
        if runs == 0:
            return budget
        # slopes work two thirds of a programme of three spells again
        each = (engine.balances - before) / runs * (self.spells + 1) / (2 * self.spells) + RUN_OVERHEAD
        wanted = each * budget.rounds.mean_runs * (self.spells / 3.0) * (budget.starts + budget.subsets)
        share = min(1.0, budget.starts_share * budget.work / wanted)
        return replace(budget.scaled(share), work=budget.work)

    def _stroke(self, place: TopAndLap, kind: str, point: Floats) -> StrokeSpec:
        return self.cubes[place].stroke(StrokeSpec(*place, kind, 0.0), point)

    def _drawn(self, count: int, orders: list[Order]) -> list[Plan]:
        """Random programmes of straight strokes, of one order of pieces on top and laps after the other."""
        rng, out = self.rng, list[Plan]()
        for number in range(count):
            minutes = self.minutes * rng.uniform(0.3, 1.0) * rng.dirichlet(np.ones(self.spells))
            spells = zip(orders[number % len(orders)], minutes, strict=True)
            out.append(
                tuple(PlannedSpell(self._stroke(at, SEARCHED_KINDS[0], rng.random(3)), float(m)) for at, m in spells)
            )
        return out

    def _halved(self, plans: list[Plan], rounds: Rounds) -> list[GaussNewton]:
        """Climbs on rough grids, the best first."""

        def climb_from(plan: Plan) -> GaussNewton | None:
            try:
                climb = GaussNewton(self.rough, plan)
            except (ContactError, TimeUp):
                return None
            return _continued(self._runs_for(rounds.runs[0]) - 1, climb)

        climbs = self._in_batches(climb_from, plans)
        for share, runs in zip(rounds.kept, rounds.runs[1:], strict=True):
            climbs.sort(key=lambda one: one.cost)
            climbs = climbs[: max(1, round(share * len(climbs)))]
            going = self._in_batches(partial(_continued, self._runs_for(runs)), climbs)
            if len(going) < len(climbs):
                break
        return sorted(climbs, key=lambda one: one.cost)

    def _runs_for(self, runs: int) -> int:
        return max(2, round(runs * self.spells / 3.0))

    def _in_batches(self, function: Callable[[Item], Result | None], items: Sequence[Item]) -> list[Result]:
        out = list[Result]()
        for batch in chunks(items, BATCH):
            if self.is_late():
                break
            out += [one for one in in_threads(function, batch) if one is not None]
        return out

    def _on_fine_grids(self, climbs: list[GaussNewton], count: int, runs: int) -> list[Candidate]:
        """The best on finer grids; where the time is up, some as they stand."""
        if self.is_late():
            scored = (self.fine.attempt(without_short(climb.plan)) for climb in climbs[:LEAST_CLIMBS])
            out = [one for one in scored if one is not None]
            self.report(out)
            return out
        best = distinct_programmes(self._in_batches(GaussNewton.candidate, climbs[: 2 * count]), count)
        plans, out = [one.plan for one in best], []
        for batch in chunks(plans, BATCH):
            done = self._in_batches(lambda plan: gauss_newton(self.fine, plan, self._runs_for(runs)), batch)
            self.report(done)
            out += done
        return out

    def _crossed(self, parents: list[Plan], count: int) -> list[Plan]:
        """Programmes that come of the best, the better ones more often."""
        return [self._child(parents) for _ in range(count)]

    def _child(self, parents: list[Plan]) -> Plan:
        """One of the ways: a spell of another, another order, another kind, a spell drawn again, or all shaken."""
        rng = self.rng
        one, two = (parents[int(len(parents) * rng.random() ** 1.5)] for _ in range(2))
        out, place = list(one), int(rng.integers(len(one)))
        operator = rng.integers(5)
        if operator == 0:
            out[place] = two[int(rng.integers(len(two)))]
        elif operator == 1:
            out = [out[i] for i in rng.permutation(len(out))]
        elif operator == 2:
            kind = SEARCHED_KINDS[int(rng.integers(len(SEARCHED_KINDS)))]
            out[place] = self._moved(out[place], kind, SHAKE_SIGMA * np.abs(rng.normal(size=4)) * (0, 1, 0, 0))
        elif operator == 3:
            at = list(self.cubes)[int(rng.integers(len(self.cubes)))]
            kind = SEARCHED_KINDS[int(rng.integers(len(SEARCHED_KINDS)))]
            out[place] = PlannedSpell(self._stroke(at, kind, rng.random(3)), out[place].minutes)
        else:
            out = [self._moved(spell, spell.stroke.kind, SHAKE_SIGMA * rng.normal(size=4)) for spell in out]
        total = sum(spell.minutes for spell in out)
        less = min(1.0, self.minutes / total) if total > 0.0 else 1.0
        return tuple(PlannedSpell(spell.stroke, less * spell.minutes) for spell in out)

    def _moved(self, spell: PlannedSpell, kind: str, move: Floats) -> PlannedSpell:
        """A spell with its point of the cube and its minutes moved."""
        place = (spell.stroke.on_top, spell.stroke.lap)
        point = np.clip(self.cubes[place].point(spell.stroke) + move[:3], 0.0, 1.0)
        minutes = spell.minutes + move[3] * self.minutes
        return PlannedSpell(self._stroke(place, kind, point), float(np.clip(minutes, 0.0, self.minutes)))


def _continued(runs: int, climb: GaussNewton) -> GaussNewton | None:
    try:
        climb.run(runs)
    except TimeUp:
        return None
    return climb


def _orders(places: list[TopAndLap], spells: int, seed: int) -> list[Order]:
    """Every order of pieces on top and laps, or some where there are very many."""
    if len(places) ** spells <= MOST_ORDERS:
        return list(product(places, repeat=spells))
    rows = np.random.default_rng(seed).integers(len(places), size=(MOST_ORDERS, spells))
    return [tuple(places[i] for i in row) for row in rows]


def _order(plan: Plan) -> Order:
    return tuple((spell.stroke.on_top, spell.stroke.lap) for spell in plan)
