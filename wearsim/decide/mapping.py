"""Programmes to climb from: brought down on a surrogate that the coupled engine puts right where they lie.

Space mapping (J. W. Bandler et al., IEEE Trans. Microw. Theory Tech. 52 (2004) 337, from memory): the coupled engine
works the best distinct programmes, the surrogate of each is shifted to agree with it there, its slopes are tilted by
what the move before had got wrong (C. G. Broyden, Math. Comp. 19 (1965) 577, from memory), and they go down from there
again. A round costs one coupled run a programme, where least squares with slopes by differences cost a dozen. The best
get the engine's own slopes once or twice.

Nearly all of it is done on rough grids: they are wrong by some nanometres, but by nearly the same for programmes that
lie near each other. So a last few rounds on finer grids put that right as well.

Where programmes lie in many valleys, those between the best are found by crossing them: spells of two, in another
order, one drawn anew, or shaken; what comes of it goes the same way down.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np

from wearsim.decide.clock import TimeUp
from wearsim.decide.descent import CLEARLY, Batch, Descent, crossed, distinct
from wearsim.decide.library import Shape
from wearsim.decide.refine import Judged, Refiner, chunks, in_parallel
from wearsim.decide.surrogate import NUMBERS, Surrogate
from wearsim.errors import ContactError
from wearsim.wear.grid import Array

# Strokes of the table worked between looks at the clock.
AT_ONCE = 48
# What a programme counts whose contact could not be solved.
BAD = 1e3
# Moves shorter than this teach nothing of the slopes; how far numbers may go after the first coupled run.
SHORTEST, FIRST_RADIUS = 1e-3, 0.3
# Pools of programmes that are crossed apart from each other, and at the end together: one alone is soon all of one valley.
POOLS = 2
# In the second pool parents differ by more than this in some number [1]. A judgement.
FAR_APART = 0.25
# Difference for the engine's own slopes.
STEP = 0.01


@dataclass(frozen=True)
class MappingEffort:
    """How much is looked at.

    Parameters
    ----------
    orders, each : int
        Orders of families at most, and random programmes of each, in each pool.
    steps : tuple of (int, int)
        How many of the best go on, and how many steps down.
    rounds : tuple of int
        Programmes that the coupled engine works in each round on rough grids.
    sloped : tuple of (int, int)
        How many get the engine's own slopes, and rounds with those.
    waves, parents : int
        Times that the best so many of a pool are crossed, one pool after the other, before they are crossed together.
    crossed : tuple of int
        ``rounds`` of what was crossed.
    final : tuple of int
        Programmes of each round on finer grids.
    again : int
        Steps down between rounds.
    climbed : int
        Distinct programmes of the end that are climbed from.
    work : int
        Evaluations of the wear rates on rough grids after which no more is begun.
    seed : int
    """

    orders: int = 216
    each: int = 8
    steps: tuple[tuple[int, int], ...] = ((1728, 8), (700, 8), (250, 10))
    rounds: tuple[int, ...] = (160, 120, 90, 70)
    sloped: tuple[tuple[int, int], ...] = ((40, 5), (20, 5))
    waves: int = 8
    parents: int = 20
    crossed: tuple[int, ...] = (100, 70, 50)
    final: tuple[int, ...] = (60, 50, 40, 40, 30, 30)
    again: int = 5
    climbed: int = 12
    work: int = 450_000
    seed: int = 1

    def runs(self, spells: int) -> float:
        """Runs of a whole programme of so many spells after the first round, on rough grids, slopes counted in."""
        slopes = 2.0 * (spells + 1.0)
        sloped = sum(count * (1.0 + slopes + rounds) for count, rounds in self.sloped)
        first = POOLS * (sum(self.rounds) + sloped) - self.rounds[0]
        return first + (self.waves + 1) * (sum(self.crossed) + sloped)

    def less(self, share: float) -> MappingEffort:
        """So much of it [1]."""

        def of(count: int) -> int:
            return max(1, round(share * count))

        return replace(
            self,
            each=of(self.each),
            steps=tuple((of(count), steps) for count, steps in self.steps),
            rounds=tuple(map(of, self.rounds)),
            sloped=tuple((of(count), rounds) for count, rounds in self.sloped),
            crossed=tuple(map(of, self.crossed)),
            final=tuple(map(of, self.final)),
            work=of(self.work),
        )


def mapped(
    rough: Refiner, final: Refiner, effort: MappingEffort, is_late: Callable[[], bool],
    tell: Callable[[list[Judged]], None],
) -> list[Judged]:  # fmt: skip
    """Programmes near their best, all that were judged on the finer grids.

    Parameters
    ----------
    rough, final : Refiner
        Judge programmes in the same single scenario, on rough grids and on finer ones.
    effort : MappingEffort
    is_late : callable
        Looked at between rounds.
    tell : callable
        Called with what each round on the finer grids has judged.
    """

    def work_all(function: Callable[[Shape], Array | None], strokes: list[Shape]) -> list[Array | None]:
        out = list[Array | None]()
        for some in chunks(strokes, AT_ONCE):
            if is_late():
                raise TimeUp
            out += in_parallel(function, some)
            rough.evaluations += len(some)
        return out

    try:
        surrogate = Surrogate(rough.nominal, rough.objective, work_all)
    except TimeUp:
        return []
    if not surrogate.families:
        return []
    return _Mapping(surrogate, rough, final, effort, is_late, tell).run()


class _Mapping:
    def __init__(
        self, surrogate: Surrogate, rough: Refiner, final: Refiner, effort: MappingEffort,
        is_late: Callable[[], bool], tell: Callable[[list[Judged]], None],
    ) -> None:  # fmt: skip
        self.surrogate, self.rough, self.final, self.effort = surrogate, rough, final, effort
        self.is_late, self.tell = is_late, tell
        self.descent = Descent(surrogate, rough.objective, rough.aim)
        self.end = rough.nominal.work + effort.work

    def _over(self) -> bool:
        """Whether the time is up or the work on rough grids is done."""
        return self.is_late() or self.rough.nominal.work > self.end

    def run(self) -> list[Judged]:
        """Pools crossed apart, then together, and the best of them on finer grids."""
        rng = np.random.default_rng(self.effort.seed)
        pools = [self._pool(rng, first=not number) for number in range(POOLS)]
        for wave in range(self.effort.waves):
            if self._over():
                break
            which = wave % POOLS
            pools[which] = self._crossed(pools[which], (CLEARLY, FAR_APART)[which], rng)
        together = _joined(pools)
        if not self._over():
            together = self._crossed(together, CLEARLY, rng)
        return self._finished(*together)

    def _pool(self, rng: np.random.Generator, first: bool) -> tuple[Batch, Array]:
        """Programmes drawn and brought down; the first pool says what a run costs."""
        batch = self.descent.drawn(self.effort.each, self.effort.orders, rng)
        values = self.descent.values(batch)
        for count, steps in self.effort.steps:
            batch = batch.pick(distinct(batch, values, count))
            values = self.descent.down(batch, steps, self.is_late)
        batch = batch.pick(distinct(batch, values, self.effort.rounds[0]))
        before = self.rough.nominal.work
        _, values = self._round(batch, np.full(len(batch.y), np.inf), self.rough)
        if first:
            self._plan((self.rough.nominal.work - before) / len(batch.y))
        return self._wave(batch, values, self.effort.rounds[1:])

    def _crossed(
        self, pool: tuple[Batch, Array], apart: float, rng: np.random.Generator
    ) -> tuple[Batch, Array]:
        """A pool with what comes of crossing its best."""
        effort = self.effort
        parents = pool[0].pick(distinct(*pool, effort.parents, apart))
        young = crossed(parents, effort.crossed[0], len(self.surrogate.families), rng)
        return _joined([pool, self._wave(young, np.full(len(young.y), np.inf), effort.crossed)])

    def _plan(self, each: float) -> None:
        """Where runs of so much work are too dear for all that is to be done: less of everything, rather than half of it."""
        runs = self.effort.runs(self.rough.objective.limits.spells)
        share = (self.end - self.rough.nominal.work) / (each * runs)
        if 0.0 < share < 1.0:
            self.effort = replace(self.effort.less(share), final=self.effort.final)

    def _wave(self, batch: Batch, best: Array, counts: tuple[int, ...]) -> tuple[Batch, Array]:
        """Down on rough grids, fewer and fewer of them; the rest and their values."""
        for count in counts:
            if self._over():
                return batch, best
            chosen = distinct(batch, best, count)
            batch, best = batch.pick(chosen), best[chosen]
            _, best = self._round(batch, best, self.rough)
        for count, rounds in self.effort.sloped:
            chosen = distinct(batch, best, count)
            batch, best = batch.pick(chosen), best[chosen]
            self._tilt(batch)
            for _ in range(rounds):
                if self._over():
                    return batch, best
                _, best = self._round(batch, best, self.rough)
        return batch, best

    def _finished(self, batch: Batch, best: Array) -> list[Judged]:
        """The best on finer grids."""
        out = list[Judged]()
        for number, count in enumerate(self.effort.final):
            chosen = distinct(batch, best, count)
            batch, best = batch.pick(chosen), best[chosen]
            if number == 0:
                best = np.full(len(best), np.inf)
            judged, best = self._round(batch, best, self.final)
            out += judged
            self.tell(judged)
            if self.is_late():
                break
        return out

    def _round(self, batch: Batch, best: Array, judge: Refiner) -> tuple[list[Judged], Array]:
        """Down from what is known, then worked through the coupled engine and put right."""
        if np.isfinite(best).any():
            self.descent.down(batch, self.effort.again, self.is_late)
        return put_right(batch, best, self.surrogate, judge)

    def _tilt(self, batch: Batch) -> None:
        """Give the surrogates the engine's own slopes where they lie."""
        surrogate, rough = self.surrogate, self.rough
        objective, trials = rough.objective, rough.nominal
        batch.y = batch.origin.reshape(batch.y.shape).copy()
        count, spells = batch.family.shape
        slopes = np.full((*batch.offset.shape, spells, NUMBERS), np.nan)

        def one(i: int) -> None:
            family, y = batch.family[i], batch.y[i]
            used = np.flatnonzero(y[:, 3] > 0.0)
            try:
                states = trials.states(objective.start, surrogate.programme(family, y))
                end = surrogate.compressed(objective, objective.start.height - states[-1].height)
                for place, spell in enumerate(used):
                    for number in range(NUMBERS):
                        step = STEP if y[spell, number] + STEP <= 1.0 else -STEP
                        moved = y.copy()
                        moved[spell, number] += step
                        changed = surrogate.programme(family, moved)
                        last = trials.states(states[place], changed[place:])[-1]
                        there = surrogate.compressed(objective, objective.start.height - last.height)
                        slopes[i, :, spell, number] = (there - end) / step
            except ContactError:
                pass
            rough.evaluations += 1 + NUMBERS * len(used)

        in_parallel(one, list(range(count)))
        for spell in range(spells):
            for number in range(NUMBERS):
                step = np.where(batch.y[:, spell, number] + STEP <= 1.0, STEP, -STEP)
                moved = replace(batch, y=batch.y.copy())
                moved.y[:, spell, number] += step
                change = (self.descent.spells(moved) - self.descent.spells(batch))[:, spell] / step[:, None]
                own = slopes[:, :, spell, number] - change
                known = np.isfinite(own).all(axis=1)
                batch.tilt[known, :, spell * NUMBERS + number] = own[known]


def _joined(pools: list[tuple[Batch, Array]]) -> tuple[Batch, Array]:
    return Batch.joined([batch for batch, _ in pools]), np.concatenate([values for _, values in pools])


def put_right(batch: Batch, best: Array, surrogate: Surrogate, judge: Refiner) -> tuple[list[Judged], Array]:
    """Work a batch through the coupled engine and put its surrogates right.

    Programmes that came out worse than where they came from go back there, and may go less far from then on.

    Parameters
    ----------
    batch : Batch
        Changed in place.
    best : (N,) ndarray
        The best values so far; infinite where these grids have worked none [1].
    surrogate : Surrogate
    judge : Refiner

    Returns
    -------
    list of Judged
        What was worked.
    ndarray
        The best values so far, one a programme [1].
    """
    objective, trials = judge.objective, judge.nominal
    shortest = objective.limits.shortest / objective.limits.minutes
    batch.y[..., 3] *= np.minimum(1.0, 1.0 / np.maximum(batch.y[..., 3].sum(axis=1, keepdims=True), 1e-9))
    batch.y[..., 3] = np.where(batch.y[..., 3] < shortest, 0.0, batch.y[..., 3])
    first = surrogate.removal(batch.family, batch.y)
    gone = np.zeros_like(first)

    def one(i: int) -> Judged | None:
        programme = surrogate.programme(batch.family[i], batch.y[i])
        if not programme:
            return None
        try:
            states = trials.states(objective.start, programme)
        except ContactError:
            return None
        used = np.flatnonzero(batch.y[i, :, 3] > 0.0)
        gone[i, used] = [surrogate.compressed(objective, a.height - b.height) for a, b in pairwise(states)]
        return judge.judged(programme, states)

    done = in_parallel(one, list(range(len(batch.y))))
    values = np.array([BAD if item is None else item.score.cost / objective.rms_before for item in done])
    worked = np.array([item is not None for item in done])
    fresh = worked & ~np.isfinite(best)
    new = fresh & ~batch.known
    share = batch.y[..., 3:]
    batch.shift[new] = np.where(share > 0.0, (gone - first) / np.maximum(share, 1e-9), 0.0)[new]
    batch.known |= new
    stated = (first + share * batch.shift).sum(axis=1)
    flat = batch.y.reshape(len(batch.y), -1)
    away = flat - batch.origin
    length = np.sum(away**2, axis=1)
    learns = worked & ~fresh & (length > SHORTEST**2)
    wrong = gone.sum(axis=1) - stated - batch.more(batch.y)
    batch.tilt[learns] += (
        wrong[learns, :, None] * (away / np.maximum(length, SHORTEST**2)[:, None])[learns, None, :]
    )
    better = fresh | (worked & (values < best))
    batch.offset[better] = (gone.sum(axis=1) - stated)[better]
    batch.origin[better] = flat[better]
    batch.radius = np.clip(np.where(better, 2.0 * batch.radius, 0.4 * batch.radius), 1e-3, 1.0)
    batch.radius[new] = FIRST_RADIUS
    batch.y = batch.origin.reshape(batch.y.shape).copy()
    return [item for item in done if item is not None], np.where(better, values, best)
