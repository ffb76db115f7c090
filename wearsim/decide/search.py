"""The search for a programme: responses of all strokes, best subsets, coupled checks, refinement, rounding."""

from __future__ import annotations

import itertools
import time
from collections.abc import Callable
from dataclasses import dataclass, field

import numpy as np

from wearsim.decide.library import Shape, is_allowed, shapes
from wearsim.decide.objective import Objective
from wearsim.decide.refine import Judged, Refiner, in_parallel
from wearsim.decide.subset import best_mixes
from wearsim.decide.trial import Trials, Trying
from wearsim.errors import ContactError
from wearsim.wear.grid import Array

# Spell lengths over which responses are averaged [min].
SPELL_LENGTHS = (8.0, 20.0)


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


def responses(trials: Trials, objective: Objective, candidates: tuple[Shape, ...]) -> Array:
    """Removal per minute of every stroke from the start, averaged over each of SPELL_LENGTHS.

    Returns
    -------
    (N, len(SPELL_LENGTHS), q) ndarray
        In rows whose norm is the RMS [m/min].
    """

    def one(shape: Shape) -> Array:
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


def _distinct(judged: list[Judged], count: int) -> list[Judged]:
    """The best ``count`` programmes that differ in the kind of some spell or clearly in a size."""
    kept: list[Judged] = []
    seen: set[tuple[object, ...]] = set()
    for one in sorted(judged, key=lambda item: item.score.cost):
        key = tuple(
            (t.shape.on_top, t.shape.lap, t.shape.kind, round(t.shape.length, 1), round(t.shape.overhang, 1))
            for t in one.programme
        )
        if key not in seen:
            seen.add(key)
            kept.append(one)
        if len(kept) == count:
            break
    return kept


def search(
    refiner: Refiner, trials: Trials, objective: Objective, *, steps: int = 6, starts: int = 8,
    time_limit: float | None = None, progress: Callable[[str, float], None] | None = None,
) -> Found:  # fmt: skip
    """Search programmes of up to the allowed number of spells.

    Parameters
    ----------
    refiner : Refiner
        Judges programmes; works one scenario here, see its ``aim``.
    trials : Trials
        With the most likely constants.
    objective : Objective
    steps : int
        Lengths in the grid of strokes.
    starts : int
        Programmes refined.
    time_limit : float, optional
        Seconds after which no new start is refined [s]. With one the result depends on the machine's speed.
    progress : callable, optional
        Called with a stage's name and the best cost so far [m].
    """
    began = time.monotonic()
    limits = objective.limits
    found = Found()

    def out_of_time() -> bool:
        return time_limit is not None and time.monotonic() - began > time_limit

    def tell(stage: str) -> None:
        if progress is not None:
            best = min((one.score.cost for one in found.judged), default=objective.rms_before)
            progress(stage, best)

    candidates = shapes(trials.bench, limits, steps)
    if not candidates:
        return found
    tell("responses")
    table = responses(trials, objective, candidates)
    count, lengths, size = table.shape
    group = np.repeat(np.arange(count), lengths)
    mixes = best_mixes(
        table.reshape(-1, size), refiner.aim * (objective.root @ objective.error), limits.removal_spread,
        limits.minutes, limits.spells, group,
    )  # fmt: skip
    tell("subsets")
    tried = [
        order
        for mix in mixes
        for order in _orders(
            tuple(Trying(candidates[group[c]], m) for c, m in zip(mix.columns, mix.minutes, strict=True))
        )
    ]
    found.judged += [one for one in in_parallel(_attempt(refiner), tried) if one is not None]
    tell("coupled checks")
    for chunk in _chunks(_distinct(found.judged, starts), 2):
        if out_of_time():
            found.stopped = True
            break
        found.judged += in_parallel(lambda one: refiner.improve(one.programme), chunk)
        tell("refining")
    found.evaluations = refiner.evaluations + count
    found.seconds = time.monotonic() - began
    return found


def _chunks(items: list[Judged], size: int) -> list[list[Judged]]:
    return [items[i : i + size] for i in range(0, len(items), size)]


def rounded(programme: tuple[Trying, ...], objective: Objective, trials: Trials) -> tuple[Trying, ...]:
    """Sizes to a hundredth of the diameter, minutes to whole ones, too short spells dropped."""
    limits = objective.limits
    out = []
    for tried in programme:
        shape = tried.shape
        neat = Shape(
            shape.on_top, shape.lap, shape.kind, round(shape.length, 2), round(shape.sweep, 2),
            round(shape.overhang, 2),
        )  # fmt: skip
        while not is_allowed(neat, trials.bench, limits) and neat.length > 0.05:
            neat = Shape(
                neat.on_top, neat.lap, neat.kind, round(neat.length - 0.01, 2),
                max(0.0, round(neat.sweep - 0.01, 2)), max(0.0, round(neat.overhang - 0.01, 2)),
            )  # fmt: skip
        minutes = float(round(tried.minutes))
        if minutes >= limits.shortest:
            out.append(Trying(neat, minutes))
    while sum(t.minutes for t in out) > limits.minutes:
        longest = max(range(len(out)), key=lambda i: out[i].minutes)
        out[longest] = Trying(out[longest].shape, out[longest].minutes - 1.0)
    return tuple(t for t in out if t.minutes >= limits.shortest)
