"""The search for a programme: responses of all strokes, best subsets, many starts, refinement.

A response is the coupled engine's removal of one stroke from the present state, per minute, averaged over a
spell of some length: the lap's flow under that stroke is in it, the effect of the other spells is not. By responses alone
a first choice of few strokes is made: all singles and pairs, and the best triples that grow from them.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass, field, replace
from itertools import permutations
from time import monotonic

import numpy as np
from numpy.typing import NDArray

from wearsim.decide.coarse_engine import CoarseEngine, Plan, PlannedSpell, chunks
from wearsim.decide.least_squares import Candidate, Refiner, cost_of, distinct_programmes
from wearsim.decide.limits import Clock
from wearsim.decide.multistart import Multistart, MultistartBudget
from wearsim.decide.objective import Objective
from wearsim.decide.stroke_library import StrokeSpec, allowed_strokes
from wearsim.kernels.arrays import Floats
from wearsim.parallel import in_threads

SearchProgress = Callable[[str, float], None]
"""Called with a stage's name and the best cost so far [m]."""

# Spell lengths over which responses are averaged [min].
SPELL_LENGTHS = (8.0, 20.0)
# Responses are worked a sixth of the strokes at a time, each a spread over all; mixes so many at a time, and climbs. Time
# and work are looked at between them.
PASSES, BATCH, CLIMBS_AT_ONCE = 6, 16, 2


@dataclass(frozen=True)
class Mix:
    """Columns and their minutes, and the sum of squares that the responses predict [m^2]."""

    columns: tuple[int, ...]
    minutes: tuple[float, ...]
    squares: float


class Subsets:
    """Mixes of few columns: ``gram`` has their products, their own spread in it, ``slope`` those with the target."""

    def __init__(
        self, responses: Floats, target: Floats, spread: float, budget: float, group: NDArray[np.int_]
    ) -> None:
        self.gram = responses @ responses.T
        self.gram[np.diag_indices_from(self.gram)] *= 1.0 + spread**2
        self.diagonal, self.slope = np.diag(self.gram), responses @ target
        self.total, self.budget, self.group = float(target @ target), budget, group

    def _mix(self, columns: Iterable[int], minutes: Iterable[float], gain: float) -> Mix:
        return Mix(tuple(map(int, columns)), tuple(map(float, minutes)), self.total - float(gain))

    def best_of_groups(self, mixes: list[Mix], most: int) -> list[Mix]:
        """The best ``most`` mixes, no two of the same groups of strokes."""
        kept: dict[tuple[int, ...], Mix] = {}
        for mix in sorted(mixes, key=lambda one: one.squares):
            kept.setdefault(tuple(sorted(int(self.group[c]) for c in mix.columns)), mix)
        return list(kept.values())[:most]

    def singles(self, most: int) -> list[Mix]:
        """The best columns alone."""
        minutes = np.clip(self.slope / self.diagonal, 0.0, self.budget)
        gain = 2.0 * self.slope * minutes - self.diagonal * minutes**2
        return [self._mix((i,), (minutes[i],), gain[i]) for i in np.argsort(-gain)[:most] if minutes[i] > 0]

    def best(self, count: int, most: int, piece: NDArray[np.int_] | None = None) -> list[Mix]:
        """The best mixes of one, two or three columns; with pieces given, (N,), of two pieces at least."""
        if count == 1:
            return self.best_of_groups(self.singles(4 * most), most)
        pairs = self.best_of_groups(self.pairs(40 * most, piece), 2 * most)
        return pairs[:most] if count == 2 else self.best_of_groups(self.triples(pairs, 6), most)

    def pairs(self, most: int, piece: NDArray[np.int_] | None = None) -> list[Mix]:
        """The best pairs of columns of two strokes, of two pieces where these are given (N,)."""
        first, second, gain = self._all_pairs()
        gain[np.tril_indices_from(gain)] = -np.inf
        if piece is not None:
            gain[piece[:, None] == piece] = -np.inf
        flat = np.argpartition(-gain, min(most, gain.size - 1), axis=None)[:most]
        return [
            self._mix((i, j), (first[i, j], second[i, j]), gain[i, j])
            for i, j in zip(*np.unravel_index(flat, gain.shape), strict=True)
            if np.isfinite(gain[i, j]) and self.group[i] != self.group[j]
        ]

    def _all_pairs(self) -> tuple[Floats, Floats, Floats]:
        """Minutes of the first and the second column of every pair (N, N), and what they take away."""
        gram, diagonal, slope, budget = self.gram, self.diagonal, self.slope, self.budget
        det = diagonal[:, None] * diagonal - gram**2
        safe = np.where(det > 1e-9 * diagonal[:, None] * diagonal, det, np.inf)
        first = (diagonal * slope[:, None] - gram * slope) / safe
        second = (diagonal[:, None] * slope - gram * slope[:, None]) / safe
        over = first + second > budget
        # on the budget's edge: x1 + x2 = M
        curve = diagonal[:, None] + diagonal - 2.0 * gram
        edge = (slope[:, None] - slope + budget * (diagonal - gram)) / np.where(curve > 0.0, curve, np.inf)
        first = np.where(over, edge, first)
        second = np.where(over, budget - edge, second)
        good = (first > 0.0) & (second > 0.0)
        first, second = np.where(good, first, 0.0), np.where(good, second, 0.0)
        gain = 2.0 * (slope[:, None] * first + slope * second)
        gain -= diagonal[:, None] * first**2 + diagonal * second**2 + 2.0 * gram * first * second
        return np.asarray(first), np.asarray(second), np.asarray(np.where(good, gain, -np.inf))

    def triples(self, pairs: list[Mix], most: int) -> list[Mix]:
        """The best thirds to each of the pairs."""
        out = []
        for i, j in (pair.columns for pair in pairs):
            minutes, gain = self._all_thirds(i, j)
            gain[(self.group == self.group[i]) | (self.group == self.group[j])] = -np.inf
            order = np.argsort(-gain)[:most]
            out += [self._mix((i, j, k), minutes[k], gain[k]) for k in order if np.isfinite(gain[k])]
        return out

    def _all_thirds(self, i: int, j: int) -> tuple[Floats, Floats]:
        """For a pair and every third column: minutes (N, 3) and what they take away (N,)."""
        count, rows = self.slope.size, np.array((i, j))
        matrix = np.empty((count, 3, 3))
        matrix[:, :2, :2] = self.gram[np.ix_(rows, rows)]
        matrix[:, :2, 2] = matrix[:, 2, :2] = self.gram[:, rows]
        matrix[:, 2, 2] = self.diagonal
        matrix += 1e-9 * np.trace(matrix, axis1=1, axis2=2)[:, None, None] * np.eye(3)
        right = np.empty((count, 3, 1))
        right[:, :2, 0] = self.slope[rows]
        right[:, 2, 0] = self.slope
        minutes = np.linalg.solve(matrix, right)[:, :, 0]
        total = minutes.sum(axis=1)
        minutes *= np.where(total > self.budget, self.budget / np.where(total > 0.0, total, 1.0), 1.0)[:, None]
        gain = 2.0 * np.einsum("ij,ij->i", right[:, :, 0], minutes)
        gain -= np.einsum("ij,ijk,ik->i", minutes, matrix, minutes)
        return np.asarray(minutes), np.asarray(np.where((minutes > 0.0).all(axis=1), gain, -np.inf))


def best_mixes(
    responses: Floats,
    target: Floats,
    spread: float,
    budget: float,
    spells: int,
    group: NDArray[np.int_],
    most: int = 20,
) -> list[Mix]:
    """Best mixes of one, two and three strokes by their responses; beyond three columns the triples stand for themselves.

    Parameters
    ----------
    responses : (N, q) ndarray
        Removal per minute of each column, in rows whose norm is the RMS [m/min].
    target : (q,) ndarray
        Removal wanted, in the same rows [m].
    spread : float
        Relative spread of each stroke's removal [1]; makes large removals that cancel cost more.
    budget : float
        Minutes in all [min].
    spells : int
        Columns at most.
    group : (N,) int ndarray
        Columns of the same group are of the same stroke.
    most : int
        Mixes kept of each size.
    """
    subsets = Subsets(responses, target, spread, budget, group)
    return [mix for count in range(1, min(spells, 3) + 1) for mix in subsets.best(count, most)]


@dataclass
class CandidatePool:
    """What a search has met: every programme that was scored, and what it took.

    Parameters
    ----------
    candidates : list of Candidate
    evaluations : int
        Coupled runs of a whole programme or of its changed end.
    seconds : float
        [s]
    stopped : bool
        Whether the time limit ended it.
    clock : Clock
        With a limit the result depends on the machine's speed.
    """

    candidates: list[Candidate] = field(default_factory=list)
    evaluations: int = 0
    seconds: float = 0.0
    stopped: bool = False
    clock: Clock = field(default_factory=Clock)

    def is_late(self) -> bool:
        """Whether the time is over: nothing new is begun then."""
        self.stopped |= self.clock.is_over
        return self.stopped

    def add_pool(self, later: CandidatePool) -> None:
        """Add what a search that followed has met."""
        self.candidates += later.candidates
        self.evaluations += later.evaluations
        self.seconds += later.seconds
        self.stopped |= later.stopped


def responses(engine: CoarseEngine, objective: Objective, strokes: tuple[StrokeSpec, ...]) -> Floats:
    """Removal per minute of every stroke from the start, averaged over each of SPELL_LENGTHS [m/min].

    Of the shape (N, len(SPELL_LENGTHS), q), in rows whose norm is the RMS.
    """

    def one(stroke: StrokeSpec) -> Floats:
        state, rows, done = objective.start, [], 0.0
        for minutes in SPELL_LENGTHS:
            state = engine.after(state, PlannedSpell(stroke, minutes - done))
            done = minutes
            rows.append(objective.root @ (objective.start.height - state.height) / minutes)
        return np.array(rows)

    return np.array(in_threads(one, strokes))


@dataclass(frozen=True)
class SearchBudget:
    """How much a search does.

    Parameters
    ----------
    steps : int
        Lengths in the grid of strokes.
    starts : int
        Programmes refined from the best subsets.
    refinement : int
        Evaluations of the residuals in a refinement, at most.
    work : int
        Evaluations of the wear rates after which nothing new is refined; 0 for no limit.
    multistart : MultistartBudget, optional
        Many starts; by default none.
    """

    steps: int = 6
    starts: int = 8
    refinement: int = 10
    work: int = 0
    multistart: MultistartBudget | None = None

    def scaled(self, starts: int) -> SearchBudget:
        """The same with so many programmes refined first, and all else in proportion; with one, no multistart."""
        share = starts / self.starts
        many = None if self.multistart is None or starts < 2 else self.multistart.scaled(share)
        return replace(self, starts=starts, work=round(self.work * share), multistart=many)


class ResponseSearch:
    """Searches programmes of up to the allowed number of spells.

    Parameters
    ----------
    refiner : Refiner
        Scores programmes; works one scenario here, that of the most likely constants; its clock ends the search.
    budget : SearchBudget
    progress : callable, optional
    grids : tuple of (Refiner, Refiner), optional
        The same on rough grids and on those that programmes are to be scored on: for a budget with many starts.
    """

    def __init__(
        self,
        refiner: Refiner,
        budget: SearchBudget,
        progress: SearchProgress | None = None,
        grids: tuple[Refiner, Refiner] | None = None,
    ) -> None:
        self.refiner, self.budget, self.grids = refiner, budget, grids
        self.engine, self.objective = refiner.nominal, refiner.objective
        self.progress, self.pool = progress, CandidatePool(clock=refiner.clock)
        self.work_before = self.engine.work

    def run(self) -> CandidatePool:
        """Everything, in order; what was met when the time limit came where it comes first."""
        began = monotonic()
        self.strokes = allowed_strokes(self.engine.bench, self.objective.limits, self.budget.steps)
        if self.strokes:
            self._report("responses")
            self._work_responses()
            self._try_subsets()
            starts = distinct_programmes(self.pool.candidates, self.budget.starts)
            many = self._from_many_starts()
            if self.grids is None or self.grids[1].nominal is self.engine:
                self._refine(starts + many)
            refiners = (self.refiner, *(self.grids or ()))
            self.pool.evaluations = sum(one.evaluations for one in refiners) + len(self.strokes)
        self.pool.seconds = monotonic() - began
        return self.pool

    def _report(self, stage: str) -> None:
        if self.progress is not None:
            self.progress(stage, min(map(cost_of, self.pool.candidates), default=self.objective.rms_before))

    def _is_spent(self) -> bool:
        """Whether the time or the work is spent."""
        return self.pool.is_late() or 0 < self.budget.work < self.engine.work - self.work_before

    def _work_responses(self) -> None:
        """Responses of the strokes; where the time ends, of a spread over them, and the search has only those then."""
        order, tables = list[int](), list[Floats]()
        for first in range(min(PASSES, len(self.strokes))):
            if order and self.pool.is_late():
                break
            order += (batch := list(range(first, len(self.strokes), PASSES)))
            tables.append(responses(self.engine, self.objective, tuple(self.strokes[i] for i in batch)))
        table = np.concatenate(tables)[np.argsort(order)]
        self.strokes = tuple(self.strokes[i] for i in sorted(order))
        count, lengths, size = table.shape
        self.responses = table.reshape(-1, size)
        self.group = np.repeat(np.arange(count), lengths)

    def _evaluated(self, plans: list[Plan]) -> list[Candidate]:
        """Programmes through the coupled engine, as many as there is time for."""
        done = list[Candidate]()
        for batch in chunks(plans, BATCH):
            if self.pool.candidates and self.pool.is_late():
                break
            fresh = [one for one in in_threads(self.refiner.attempt, batch) if one is not None]
            self.pool.candidates += fresh
            done += fresh
        return done

    def _refine(self, starts: list[Candidate]) -> None:
        def refined(one: Candidate) -> Candidate:
            return self.refiner.improve(one.plan, steps=self.budget.refinement)

        for batch in chunks(starts, CLIMBS_AT_ONCE):
            if self._is_spent():
                break
            self.pool.candidates += in_threads(refined, batch)
            self._report("refining")

    @property
    def _target(self) -> Floats:
        """Removal wanted, in rows whose norm is the RMS [m]."""
        return np.asarray(self.objective.root @ self.objective.error)

    def _try_subsets(self) -> None:
        """Best mixes by their responses, in every order, through the coupled engine."""
        limits = self.objective.limits
        mixes = best_mixes(self.responses, self._target, limits.spread, limits.minutes, limits.spells, self.group)
        self._report("subsets")
        plans = list[Plan]()
        for mix in mixes:
            spells = [self._spell(column, m) for column, m in zip(mix.columns, mix.minutes, strict=True)]
            plans += permutations(spells)
        self._evaluated(plans)
        self._report("coupled checks")

    def _spell(self, column: int, minutes: float) -> PlannedSpell:
        return PlannedSpell(self.strokes[self.group[column]], minutes)

    def _from_many_starts(self) -> list[Candidate]:
        """The best of many starts, those of the subsets among them."""
        budget = self.budget.multistart
        if budget is None or self.grids is None or self.pool.is_late():
            return []

        def report(candidates: list[Candidate]) -> None:
            self.pool.candidates += candidates
            self._report("many starts")

        self._report("many starts")
        first = [one.plan for one in distinct_programmes(self.pool.candidates, budget.subsets)]
        return distinct_programmes(
            Multistart(*self.grids, budget, self.pool.is_late, report).run(first), budget.best_kept
        )
