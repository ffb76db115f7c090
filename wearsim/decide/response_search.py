"""The search for a programme: responses of all strokes, best subsets, refinement, exchange of spells.

Which few strokes, by their responses alone: all singles and pairs, and the best triples that grow from them.

A response is the coupled engine's removal of one stroke from the present state, per minute, averaged over a
spell of some length: the lap's flow under that stroke is in it, the effect of the other spells is not.
"""

from __future__ import annotations

import itertools
from collections.abc import Callable
from dataclasses import dataclass, field, replace
from itertools import pairwise
from time import monotonic

import numpy as np
from numpy.typing import NDArray

from wearsim.decide.coarse_engine import Trials, Trying
from wearsim.decide.least_squares import Judged, Refiner, chunks, distinct, in_parallel
from wearsim.decide.limits import Clock
from wearsim.decide.multistart import Multistart, MultistartEffort
from wearsim.decide.objective import Objective
from wearsim.decide.stroke_library import Shape, shapes
from wearsim.errors import ContactError
from wearsim.kernels.arrays import Floats


@dataclass(frozen=True)
class Mix:
    """Columns and their minutes, and the sum of squares that the responses predict [m^2]."""

    columns: tuple[int, ...]
    minutes: tuple[float, ...]
    squares: float


def _singles(gram: Floats, lean: Floats, budget: float) -> tuple[Floats, Floats]:
    """Minutes of each column alone, and how much of the sum of squares it takes away."""
    minutes: Floats = np.clip(lean / np.diag(gram), 0.0, budget)
    gain: Floats = 2.0 * lean * minutes - np.diag(gram) * minutes**2
    return minutes, gain


def _pairs(gram: Floats, lean: Floats, budget: float) -> tuple[Floats, Floats, Floats]:
    """Minutes of the first and the second column of every pair (N, N), and what they take away."""
    own = np.diag(gram)
    det = own[:, None] * own - gram**2
    safe = np.where(det > 1e-9 * own[:, None] * own, det, np.inf)
    first = (own * lean[:, None] - gram * lean) / safe
    second = (own[:, None] * lean - gram * lean[:, None]) / safe
    over = first + second > budget
    # on the budget's edge: x1 + x2 = M
    curve = own[:, None] + own - 2.0 * gram
    edge = (lean[:, None] - lean + budget * (own - gram)) / np.where(curve > 0.0, curve, np.inf)
    first = np.where(over, edge, first)
    second = np.where(over, budget - edge, second)
    good = (first > 0.0) & (second > 0.0)
    first, second = np.where(good, first, 0.0), np.where(good, second, 0.0)
    gain = 2.0 * (lean[:, None] * first + lean * second)
    gain -= own[:, None] * first**2 + own * second**2 + 2.0 * gram * first * second
    return np.asarray(first), np.asarray(second), np.asarray(np.where(good, gain, -np.inf))


def _third(gram: Floats, lean: Floats, pair: tuple[int, int], budget: float) -> tuple[Floats, Floats]:
    """For a pair and every third column: minutes (N, 3) and what they take away (N,)."""
    count = lean.size
    matrix = np.empty((count, 3, 3))
    rows = np.array(pair)
    matrix[:, :2, :2] = gram[np.ix_(rows, rows)]
    matrix[:, :2, 2] = matrix[:, 2, :2] = gram[:, rows]
    matrix[:, 2, 2] = np.diag(gram)
    matrix += 1e-9 * np.trace(matrix, axis1=1, axis2=2)[:, None, None] * np.eye(3)
    right = np.empty((count, 3, 1))
    right[:, :2, 0] = lean[rows]
    right[:, 2, 0] = lean
    minutes = np.linalg.solve(matrix, right)[:, :, 0]
    total = minutes.sum(axis=1)
    minutes *= np.where(total > budget, budget / np.where(total > 0.0, total, 1.0), 1.0)[:, None]
    gain = 2.0 * np.einsum("ij,ij->i", right[:, :, 0], minutes)
    gain -= np.einsum("ij,ijk,ik->i", minutes, matrix, minutes)
    return np.asarray(minutes), np.asarray(np.where((minutes > 0.0).all(axis=1), gain, -np.inf))


def _unlike(mixes: list[Mix], group: NDArray[np.int_], most: int) -> list[Mix]:
    """The best ``most`` mixes, no two of the same groups of strokes."""
    seen: set[tuple[int, ...]] = set()
    kept = []
    for mix in sorted(mixes, key=lambda one: one.squares):
        key = tuple(sorted(int(group[c]) for c in mix.columns))
        if key not in seen:
            seen.add(key)
            kept.append(mix)
        if len(kept) == most:
            break
    return kept


def best_mixes(
    responses: Floats,
    target: Floats,
    spread: float,
    budget: float,
    spells: int,
    group: NDArray[np.int_],
    most: int = 20,
) -> list[Mix]:
    """Best mixes of one, two and three strokes by their responses.

    Parameters
    ----------
    responses : (N, q) ndarray
        Removal per minute of each column, in rows whose norm is the RMS [m/min].
    target : (q,) ndarray
        Removal wanted, in the same rows [m].
    spread : float
        Relative spread of each stroke's removal [1]; makes large removals that cancel dear.
    budget : float
        Minutes in all [min].
    spells : int
        Columns at most; beyond three the triples stand for themselves.
    group : (N,) int ndarray
        Columns of the same group count as the same stroke when kinds of answer are told apart.
    most : int
        Mixes kept of each size.

    Returns
    -------
    list of Mix
    """
    gram = responses @ responses.T
    gram[np.diag_indices_from(gram)] *= 1.0 + spread**2
    lean = responses @ target
    whole = float(target @ target)
    minutes, gain = _singles(gram, lean, budget)
    order = np.argsort(-gain)[: 4 * most]
    singles = [Mix((int(i),), (float(minutes[i]),), whole - float(gain[i])) for i in order if minutes[i] > 0]
    found = _unlike(singles, group, most)
    if spells < 2:
        return found
    first, second, gain = _pairs(gram, lean, budget)
    gain[np.tril_indices_from(gain)] = -np.inf
    flat = np.argpartition(-gain, min(40 * most, gain.size - 1), axis=None)[: 40 * most]
    pairs = []
    for i, j in zip(*np.unravel_index(flat, gain.shape), strict=True):
        if np.isfinite(gain[i, j]) and group[i] != group[j]:
            both = (float(first[i, j]), float(second[i, j]))
            pairs.append(Mix((int(i), int(j)), both, whole - float(gain[i, j])))
    pairs = _unlike(pairs, group, 2 * most)
    found += pairs[:most]
    if spells < 3:
        return found
    triples = []
    for pair in pairs:
        i, j = pair.columns
        minutes3, gain3 = _third(gram, lean, (i, j), budget)
        gain3[(group == group[i]) | (group == group[j])] = -np.inf
        for k in np.argsort(-gain3)[:6]:
            if np.isfinite(gain3[k]):
                times = tuple(float(m) for m in minutes3[k])
                triples.append(Mix((i, j, int(k)), times, whole - float(gain3[k])))
    return found + _unlike(triples, group, most)


# Spell lengths over which responses are averaged [min].
SPELL_LENGTHS = (8.0, 20.0)
# Responses are worked a sixth of the strokes at a time, each a spread over all; mixes so many at a time. The
# time limit is looked at between them.
SPREADS, AT_ONCE = 6, 16


@dataclass
class Found:
    """What a search has seen: every judged programme, the best first once sorted.

    Parameters
    ----------
    judged : list of Judged
    evaluations : int
        Coupled runs of a whole programme or of its changed end.
    seconds : float
        [s]
    stopped : bool
        Whether the time limit ended it.
    """

    judged: list[Judged] = field(default_factory=list)
    evaluations: int = 0
    seconds: float = 0.0
    stopped: bool = False

    def best(self, count: int = 1) -> list[Judged]:
        """The best programmes by cost."""
        return sorted(self.judged, key=lambda one: one.score.cost)[:count]

    def take_in(self, later: Found) -> None:
        """Add what a search that followed has seen."""
        self.judged += later.judged
        self.evaluations += later.evaluations
        self.seconds += later.seconds
        self.stopped |= later.stopped


def responses(trials: Trials, objective: Objective, candidates: tuple[Shape, ...]) -> Floats:
    """Removal per minute of every stroke from the start, averaged over each of SPELL_LENGTHS.

    Returns
    -------
    (N, len(SPELL_LENGTHS), q) ndarray
        In rows whose norm is the RMS [m/min].
    """

    def one(shape: Shape) -> Floats:
        state, rows, done = objective.start, [], 0.0
        for minutes in SPELL_LENGTHS:
            state = trials.after(state, Trying(shape, minutes - done))
            done = minutes
            rows.append(objective.root @ (objective.start.height - state.height) / minutes)
        return np.array(rows)

    return np.array(in_parallel(one, list(candidates)))


def _orders(programme: tuple[Trying, ...]) -> list[tuple[Trying, ...]]:
    return list(itertools.permutations(programme))


def _attempt(refiner: Refiner) -> Callable[[tuple[Trying, ...]], Judged | None]:
    def judge(programme: tuple[Trying, ...]) -> Judged | None:
        try:
            return refiner.judge(programme)
        except ContactError:
            return None

    return judge


@dataclass(frozen=True)
class Effort:
    """How much a search does.

    Parameters
    ----------
    steps : int
        Lengths in the grid of strokes.
    starts : int
        Programmes refined from the best subsets.
    climb : int
        Evaluations of the residuals in a refinement, at most.
    rounds : int
        Rounds of exchanging single spells of the best programmes.
    kept : int
        Programmes whose spells are exchanged in a round.
    exchanged : int
        Programmes that come of each and are refined.
    work : int
        Evaluations of the wear rates after which nothing new is refined; 0 for no limit.
    multistart : MultistartEffort, optional
        Many starts; by default none.
    """

    steps: int = 6
    starts: int = 8
    climb: int = 10
    rounds: int = 2
    kept: int = 3
    exchanged: int = 1
    work: int = 0
    multistart: MultistartEffort | None = None

    def less(self, starts: int) -> Effort:
        """The same with so many programmes refined first, and all else in proportion; with one, no multistart."""
        share = starts / self.starts
        many = None if self.multistart is None or starts < 2 else self.multistart.less(share)
        return replace(self, starts=starts, work=round(self.work * share), multistart=many)


class Search:
    """Searches programmes of up to the allowed number of spells.

    Parameters
    ----------
    refiner : Refiner
        Judges programmes; works one scenario here, see its ``aim``.
    trials : Trials
        With the most likely constants.
    objective : Objective
    effort : Effort
    clock : Clock, optional
        Where its time is over nothing new is begun; with a limit the result depends on the machine's speed.
    progress : callable, optional
        Called with a stage's name and the best cost so far [m].
    grids : tuple of (Refiner, Refiner), optional
        The same judge on rough grids and on those that programmes are to be judged on: for an effort with many starts.
    """

    def __init__(
        self, refiner: Refiner, trials: Trials, objective: Objective, effort: Effort,
        clock: Clock | None = None, progress: Callable[[str, float], None] | None = None,
        grids: tuple[Refiner, Refiner] | None = None,
    ) -> None:  # fmt: skip
        self.grids = grids
        self.refiner, self.trials, self.objective, self.effort = refiner, trials, objective, effort
        self.clock, self.progress = Clock() if clock is None else clock, progress
        self.found = Found()
        self.work_before = trials.work

    def run(self) -> Found:
        """Everything, in order; what was found when the time limit came where it comes first."""
        began = monotonic()
        self.candidates = shapes(self.trials.bench, self.objective.limits, self.effort.steps)
        if self.candidates:
            self._tell("responses")
            self._respond()
            self._subsets()
            starts = distinct(self.found.judged, self.effort.starts)
            many = self._from_many()
            if self.grids is None or self.grids[1].nominal is self.trials:
                self._refine(starts + many, "refining")
            for _ in range(self.effort.rounds):
                self._exchange()
            judges = (self.refiner, *(self.grids or ()))
            self.found.evaluations = sum(judge.evaluations for judge in judges) + len(self.candidates)
        self.found.seconds = monotonic() - began
        return self.found

    def _respond(self) -> None:
        """Responses of the candidates; where the time ends, of a spread over them, and they are the candidates then."""
        order, tables = list[int](), list[Floats]()
        for first in range(min(SPREADS, len(self.candidates))):
            if order and self._is_late():
                break
            order += (some := list(range(first, len(self.candidates), SPREADS)))
            tables.append(responses(self.trials, self.objective, tuple(self.candidates[i] for i in some)))
        table = np.concatenate(tables)[np.argsort(order)]
        self.candidates = tuple(self.candidates[i] for i in sorted(order))
        count, lengths, size = table.shape
        self.responses = table.reshape(-1, size)
        self.group = np.repeat(np.arange(count), lengths)

    def _tell(self, stage: str) -> None:
        if self.progress is not None:
            best = min((one.score.cost for one in self.found.judged), default=self.objective.rms_before)
            self.progress(stage, best)

    def _judge(self, programmes: list[tuple[Trying, ...]]) -> list[Judged]:
        done = list[Judged]()
        for some in chunks(programmes, AT_ONCE):
            if self.found.judged and self._is_late():
                break
            fresh = [one for one in in_parallel(_attempt(self.refiner), some) if one is not None]
            self.found.judged += fresh
            done += fresh
        return done

    def _is_late(self) -> bool:
        if self.clock.is_over:
            self.found.stopped = True
        return self.found.stopped

    def _over(self) -> bool:
        """Whether the time or the work is spent."""
        return self._is_late() or 0 < self.effort.work < self._done

    @property
    def _done(self) -> int:
        """Work of this search so far."""
        return self.trials.work - self.work_before

    def _refine(self, starts: list[Judged], stage: str) -> None:
        for chunk in chunks(starts, 2):
            if self._over():
                break
            self.found.judged += in_parallel(
                lambda one: self.refiner.improve(one.programme, steps=self.effort.climb), chunk
            )
            self._tell(stage)

    def _subsets(self) -> None:
        """Best mixes by their responses, in every order, through the coupled engine."""
        limits, objective = self.objective.limits, self.objective
        target = self.refiner.aim * (objective.root @ objective.error)
        mixes = best_mixes(self.responses, target, limits.spread, limits.minutes, limits.spells, self.group)
        self._tell("subsets")
        tried = [
            order
            for mix in mixes
            for order in _orders(
                tuple(Trying(self.candidates[self.group[c]], m) for c, m in zip(mix.columns, mix.minutes, strict=True))
            )
        ]
        self._judge(tried)
        self._tell("coupled checks")

    def _from_many(self) -> list[Judged]:
        """The best of many starts, those of the subsets among them."""
        effort = self.effort.multistart
        if effort is None or self.grids is None or self._is_late():
            return []

        def tell(judged: list[Judged]) -> None:
            self.found.judged += judged
            self._tell("many starts")

        self._tell("many starts")
        first = [one.programme for one in distinct(self.found.judged, effort.subsets)]
        return distinct(Multistart(*self.grids, effort, self._is_late, tell).run(first), effort.climbed)

    def _exchange(self) -> None:
        """Every spell of the best programmes against every stroke of the library, and one spell more."""
        fresh: list[Judged] = []
        for one in distinct(self.found.judged, self.effort.kept):
            fresh += distinct(self._judge(self._exchanges(one.programme)), self.effort.exchanged)
        self._tell("exchanging")
        self._refine(fresh, "refining")

    def _exchanges(self, programme: tuple[Trying, ...], most: int = 8) -> list[tuple[Trying, ...]]:
        """The most promising exchanges by their responses: a spell replaced, or one put first or last."""
        objective, limits = self.objective, self.objective.limits
        heights = [state.height for state in self.trials.states(objective.start, programme)]
        gone = [objective.root @ (one - two) for one, two in pairwise(heights)]
        spare = limits.minutes - sum(tried.minutes for tried in programme)
        # (what stays before, what stays after, removal of the rest, minutes free)
        places = [
            (programme[:i], programme[i + 1 :], sum(gone) - gone[i], spare + programme[i].minutes)
            for i in range(len(programme))
        ]
        if len(programme) < limits.spells and spare >= limits.shortest:
            places += [(programme, (), sum(gone), spare), ((), programme, sum(gone), spare)]
        ranked = []
        for before, after, rest, free in places:
            minutes, squares = self._best_minutes(np.asarray(rest), free)
            for column in np.argsort(squares)[:most]:
                if minutes[column] >= limits.shortest:
                    shape = self.candidates[self.group[column]]
                    new = (*before, Trying(shape, float(minutes[column])), *after)
                    ranked.append((float(squares[column]), new))
        ranked.sort(key=lambda item: item[0])
        return [new for _, new in ranked[: 2 * most]]

    def _best_minutes(self, rest: Floats, free: float) -> tuple[Floats, Floats]:
        """Minutes of every column beside the removal of the rest, and the sum of squares left."""
        objective, spread = self.objective, self.objective.limits.spread
        target = self.refiner.aim * (objective.root @ objective.error) - rest
        own = np.sum(self.responses**2, axis=1)
        lean = self.responses @ target
        minutes = np.clip(lean / ((1.0 + spread**2) * own), 0.0, max(0.0, free))
        squares = target @ target - 2.0 * minutes * lean + (1.0 + spread**2) * own * minutes**2
        return minutes, squares
