"""Programmes to climb from: brought down on a surrogate that the coupled engine puts right where they lie.

Space mapping (J. W. Bandler et al., IEEE Trans. Microw. Theory Tech. 52 (2004) 337, from memory): the coupled engine
works the best distinct programmes, the surrogate of each is shifted to agree with it there, its slopes are tilted by
what the move before had got wrong (C. G. Broyden, Math. Comp. 19 (1965) 577, from memory), and they go down from there
again. A round costs one coupled run a programme, where least squares with slopes by differences cost a dozen.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np

from wearsim.decide.clock import TimeUp
from wearsim.decide.descent import Batch, Descent, distinct
from wearsim.decide.library import Shape
from wearsim.decide.refine import Judged, Refiner, chunks, in_parallel
from wearsim.decide.surrogate import Surrogate
from wearsim.decide.trial import Trials
from wearsim.errors import ContactError
from wearsim.wear.grid import Array

# Strokes of the table worked between looks at the clock.
AT_ONCE = 48
# What a programme counts whose contact could not be solved.
BAD = 1e3
# Moves shorter than this teach nothing of the slopes; how far numbers may go after the first coupled run.
SHORTEST, FIRST_RADIUS = 1e-3, 0.3


@dataclass(frozen=True)
class MappingEffort:
    """How much is looked at.

    Parameters
    ----------
    orders, each : int
        Orders of families at most, and random programmes of each.
    steps : tuple of (int, int)
        How many of the best go on, and how many steps down.
    rounds : tuple of int
        Programmes that the coupled engine works in each round.
    again : int
        Steps down between rounds.
    climbed : int
        Distinct programmes of the end that are climbed from.
    seed : int
    """

    orders: int = 64
    each: int = 48
    steps: tuple[tuple[int, int], ...] = ((3072, 8), (1200, 8), (500, 12))
    rounds: tuple[int, ...] = (
        300, 240, 200, 160, 140, 120, 100, 100, 80, 60, 60, 40, 40, 30, 30, 30, 30, 30,
    )  # fmt: skip
    again: int = 5
    climbed: int = 12
    seed: int = 1

    def less(self, share: float) -> MappingEffort:
        """So much of it [1]."""
        return replace(
            self,
            each=max(1, round(share * self.each)),
            steps=tuple((max(1, round(share * count)), steps) for count, steps in self.steps),
            rounds=tuple(max(1, round(share * count)) for count in self.rounds),
        )


def mapped(
    refiner: Refiner, trials: Trials, effort: MappingEffort, is_late: Callable[[], bool],
    tell: Callable[[list[Judged]], None],
) -> list[Judged]:  # fmt: skip
    """Programmes near their best, all that the coupled engine has judged.

    Parameters
    ----------
    refiner : Refiner
        Judges programmes in one scenario.
    trials : Trials
        The same scenario.
    effort : MappingEffort
    is_late : callable
        Looked at between rounds.
    tell : callable
        Called with what each round has judged.
    """
    objective = refiner.objective

    def work_all(function: Callable[[Shape], Array | None], strokes: list[Shape]) -> list[Array | None]:
        out = list[Array | None]()
        for some in chunks(strokes, AT_ONCE):
            if is_late():
                raise TimeUp
            out += in_parallel(function, some)
        return out

    try:
        surrogate = Surrogate(trials, objective, work_all)
    except TimeUp:
        return []
    if not surrogate.families:
        return []
    descent = Descent(surrogate, objective, refiner.aim)
    out: list[Judged] = []
    batch = descent.drawn(effort.each, effort.orders, effort.seed)
    values = descent.values(batch)
    for count, steps in effort.steps:
        batch = batch.pick(distinct(batch, values, count))
        values = descent.down(batch, steps, is_late)
    best = np.full(len(batch.y), np.inf)
    for number, count in enumerate(effort.rounds):
        chosen = distinct(batch, values if number == 0 else best, count)
        batch, best = batch.pick(chosen), best[chosen]
        if number > 0:
            descent.down(batch, effort.again, is_late)
        judged, best = _put_right(batch, best, surrogate, refiner, trials)
        out += judged
        tell(judged)
        if is_late():
            break
    return out


def _put_right(
    batch: Batch, best: Array, surrogate: Surrogate, refiner: Refiner, trials: Trials
) -> tuple[list[Judged], Array]:
    """Work a batch through the coupled engine and put its surrogates right.

    Programmes that came out worse than where they came from go back there, and may go less far from then on.

    Returns
    -------
    list of Judged
        What was worked.
    ndarray
        The best values so far, one a programme [1].
    """
    objective = refiner.objective
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
        gone[i, used] = [surrogate.compressed(a.height - b.height) for a, b in pairwise(states)]
        return refiner.judged(programme, states)

    done = in_parallel(one, list(range(len(batch.y))))
    values = np.array([BAD if item is None else item.score.cost / objective.rms_before for item in done])
    worked = np.array([item is not None for item in done])
    fresh = worked & ~np.isfinite(best)
    share = batch.y[..., 3:]
    batch.shift[fresh] = np.where(share > 0.0, (gone - first) / np.maximum(share, 1e-9), 0.0)[fresh]
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
    batch.radius[fresh] = FIRST_RADIUS
    batch.y = batch.origin.reshape(batch.y.shape).copy()
    return [item for item in done if item is not None], np.where(better, values, best)
