"""A long global search for a programme that shares nothing with ``propose`` but the coupled engine and the limits.

Over family of stroke, length, sweep, overhang and minutes of every spell; strokes past the limit of reach are made
smaller and minutes past the budget shorter, so that every point stands for an allowed programme.

1. Differential evolution (SciPy), an island for every order of the pieces on top, on rough grids.
2. Least squares (SciPy) from the best distinct programmes of every island, on the grids of a trial run.
3. Offspring: programmes crossed from the best (spells swapped, put in another order, one drawn anew, numbers
   shaken), the best of a litter climbed from in its turn, for as long as runs are left.
4. Least squares from the best at full accuracy; then a simplex search (Nelder-Mead) from the best of all.
5. Whole minutes, as a proposal must have: of the best, every way of rounding them, sizes climbed from anew.

Nothing here uses the search's own refinement, subsets, climbs or floor.
"""

from __future__ import annotations

import itertools
from collections.abc import Callable
from contextlib import suppress
from dataclasses import dataclass, replace

import numpy as np
from scipy.optimize import differential_evolution, least_squares, minimize

from tests.helpers.any_stroke import any_limits
from tests.helpers.start_figures import StartCase
from wearsim.bench.bench import Bench
from wearsim.decide.coarse_engine import COARSE, CoarseEngine, PlannedSpell
from wearsim.decide.objective import Objective
from wearsim.decide.stroke_library import REACH_SIGMAS, StrokeSpec
from wearsim.errors import ContactError
from wearsim.wear.accuracy import DEFAULT, Accuracy
from wearsim.wear.constants import AS_STATED
from wearsim.wear.predict import gauge_for
from wearsim.wear.radial.engine import largest_offset
from wearsim.wear.state import State, start_state

Programme = tuple[PlannedSpell, ...]
# Full accuracy, on offsets shared by all strokes.
FINE = replace(DEFAULT, offsets=40)
# For the evolution: good to a few percent of the removal, at a third of the time.
ROUGH = replace(COARSE, glass_rings=20, pitch_rings=20, offsets=14, per_radius=8, tolerance=5e-2)
# Family, length, sweep, overhang, minutes.
NUMBERS = 5
LOW, HIGH = np.array([0.0, 0.06, -0.05, -0.05, -0.08]), np.array([1.0, 0.9, 0.45, 0.48, 1.0])
FREE = {"straight": (1, 4), "overhang": (1, 3, 4), "w": (1, 2, 3, 4), "oval": (1, 2, 3, 4)}
MINUTES = 4
LEAST_SWEEP = 0.02
STEP = 3e-3
BAD = 10.0


class Ground:
    """One start figure on one accuracy: programmes in, rows to be brought down out."""

    def __init__(self, case: StartCase, plain_rms: bool, accuracy: Accuracy) -> None:
        self.bench: Bench = case.bench()
        self.plain = plain_rms
        self.limits = any_limits(minutes=case.minutes)
        start = case.start(self.bench, accuracy)
        state = start_state(self.bench, start.radius, start.height, accuracy)
        gauge = gauge_for(self.bench, start.radius)
        self.objective = Objective(gauge, state, self.limits, self.bench)
        self.trials = CoarseEngine(self.bench, self.limits, AS_STATED, accuracy)
        self.runs = 0
        lap = self.bench.lap(None)
        self.tip = {top: largest_offset(self.bench, lap, top, DEFAULT) for top in ("tool", "mirror")}

    def programme(self, x: np.ndarray, tops: tuple[str, ...]) -> Programme:
        """The allowed programme that numbers stand for, NUMBERS a spell."""
        limits, rows = self.limits, x.reshape(-1, NUMBERS)
        minutes = limits.minutes * np.maximum(0.0, rows[:, 4])
        minutes *= min(1.0, limits.minutes / max(minutes.sum(), 1e-9))
        return tuple(
            PlannedSpell(self._shape(row, top), float(m))
            for row, top, m in zip(rows, tops, minutes, strict=True)
            if m >= limits.shortest * (1.0 - 1e-9)
        )

    def _shape(self, row: np.ndarray, top: str) -> StrokeSpec:
        length, sweep, overhang = float(row[1]), float(row[2]), max(0.0, float(row[3]))
        hands, grown = self.bench.hands, 1.0 + REACH_SIGMAS * self.bench.hands.length_jitter
        if sweep < LEAST_SWEEP:
            sweep, kind = 0.0, "overhang" if overhang > 0.0 else "straight"
        else:
            kind = "w" if row[0] >= 0.5 else "oval"
        far = np.hypot(0.5 * grown * length, overhang + grown * sweep) * self.bench.mirror.diameter
        room = (self.limits.reach * self.tip[top] - REACH_SIGMAS * hands.centre_jitter) * (1.0 - 1e-9)
        less = min(1.0, room / far)
        if less * length < LOW[1]:  # as short as may be, and only its side made smaller
            side = np.sqrt(room**2 - (0.5 * grown * LOW[1] * self.bench.mirror.diameter) ** 2)
            less_side = side / ((overhang + grown * sweep) * self.bench.mirror.diameter)
            return StrokeSpec(top, None, kind, float(LOW[1]), float(less_side * sweep), float(less_side * overhang))
        return StrokeSpec(top, None, kind, float(less * length), float(less * sweep), float(less * overhang))

    def rows(self, states: list[State]) -> np.ndarray:
        """What is brought down, as shares of the RMS at the start [1]."""
        heights = [state.height for state in states]
        all_rows = self.objective.residuals(heights)
        if self.plain:
            all_rows = all_rows[: self.objective.root.shape[0] + 1]  # the figure and the edge beyond its limit
        return all_rows / self.objective.rms_before

    def value(self, programme: Programme, rows: np.ndarray) -> float:
        """What the search makes small [1]."""
        return float(np.linalg.norm(rows)) * (1.0 if self.plain else self.objective.effort(programme))

    def states(self, programme: Programme, before: list[State] | None = None) -> list[State]:
        """The start and the state after each spell, the first ones given."""
        self.runs += 1
        states = [self.objective.start] if before is None else list(before)
        for tried in programme[len(states) - 1 :]:
            states.append(self.trials.after(states[-1], tried))
        return states

    def judge(self, programme: Programme) -> float:
        """Value of a programme; BAD where the contact could not be solved."""
        try:
            return self.value(programme, self.rows(self.states(programme)))
        except ContactError:
            return BAD

    def allows(self, programme: Programme) -> bool:
        """Whether the edge keeps its limit."""
        height = self.states(programme)[-1].height
        return abs(self.objective.gauge.edge_roll(self.objective.gauge.error(height))) <= (
            self.objective.roll_limit * (1.0 + 1e-6)
        )


@dataclass(frozen=True)
class Point:
    """Numbers, the pieces on top and their value."""

    value: float
    x: np.ndarray
    tops: tuple[str, ...]


@dataclass(frozen=True)
class Effort:
    """How long to search.

    Parameters
    ----------
    population, generations : int
        Programmes of an island and generations of its evolution.
    polished : int
        Programmes of each island climbed from.
    runs : int
        Coupled runs after which no more offspring is made.
    parents, litter : int
        Programmes crossed; offspring of which the best is climbed from.
    refined, simplexed : int
        Programmes climbed from at full accuracy; those given to the simplex.
    seed : int
    """

    population: int = 40
    generations: int = 25
    polished: int = 4
    runs: int = 36_000
    parents: int = 12
    litter: int = 20
    refined: int = 6
    simplexed: int = 1
    seed: int = 1


def evolved(ground: Ground, tops: tuple[str, ...], population: np.ndarray, generations: int, seed: int,
            strategy: str = "currenttobest1bin") -> tuple[np.ndarray, np.ndarray]:  # fmt: skip
    """Population and values after some generations of differential evolution."""
    bounds = list(zip(np.tile(LOW, len(tops)), np.tile(HIGH, len(tops)), strict=True))
    found = differential_evolution(
        lambda x: ground.judge(ground.programme(x, tops)), bounds, init=population, maxiter=generations,
        strategy=strategy, mutation=(0.4, 0.9), recombination=0.8, tol=0.0, atol=0.0, polish=False, seed=seed,
    )  # fmt: skip
    return found.population, found.population_energies


def climbed(ground: Ground, point: Point, most: int, minutes_too: bool = True) -> Point:
    """Least squares from a point, over the sizes that its strokes have, and their minutes."""
    programme = ground.programme(point.x, point.tops)
    if not programme:
        return point
    kept = [
        i
        for i, m in enumerate(point.x.reshape(-1, NUMBERS)[:, 4] * ground.limits.minutes)
        if m >= ground.limits.shortest * (1.0 - 1e-9)
    ]
    if len(kept) != len(programme):
        return point
    tops = tuple(point.tops[i] for i in kept)
    whole = point.x.reshape(-1, NUMBERS)[kept].copy()
    whole[:, 4] *= min(1.0, 1.0 / whole[:, 4].sum())
    for row, tried in zip(whole, programme, strict=True):  # sizes as they were made to fit
        row[1] = tried.stroke.length
        row[2] = tried.stroke.sweep or LOW[2]
        row[3] = tried.stroke.overhang or LOW[3]
    free = [(i, j) for i, tried in enumerate(programme) for j in FREE[tried.stroke.kind] if minutes_too or j != MINUTES]
    low = np.array(
        [[0.0, LOW[1], LEAST_SWEEP, 0.0, ground.limits.shortest / ground.limits.minutes][j] for _, j in free]
    )
    high = np.array([HIGH[j] for _, j in free])
    best = [Point(ground.judge(programme), whole.ravel(), tops)]

    def full(x: np.ndarray) -> np.ndarray:
        out = whole.copy()
        for (i, j), value in zip(free, x, strict=True):
            out[i, j] = value
        return out.ravel()

    last: dict[bytes, tuple[Programme, list[State], np.ndarray]] = {}

    def at(x: np.ndarray) -> tuple[Programme, list[State], np.ndarray]:
        key = x.tobytes()
        if key not in last:
            last.clear()
            tried = ground.programme(full(x), tops)
            states = ground.states(tried)
            rows = ground.rows(states)
            last[key] = tried, states, rows
            value = ground.value(tried, rows)
            if value < best[0].value:
                best[0] = Point(value, full(x), tops)
        return last[key]

    def slopes(x: np.ndarray) -> np.ndarray:
        base, states, rows = at(x)
        out = np.zeros((rows.size, x.size))
        for column in range(x.size):
            step = STEP if x[column] + STEP <= high[column] else -STEP
            moved = x.copy()
            moved[column] += step
            tried = ground.programme(full(moved), tops)
            same = next((i for i, (one, two) in enumerate(zip(base, tried, strict=True)) if one != two), len(base))
            out[:, column] = (ground.rows(ground.states(tried, states[: same + 1])) - rows) / step
        return out

    x0 = np.clip([whole[i, j] for i, j in free], low + 1e-6, high - 1e-6)
    with suppress(ContactError):  # what was found until then counts
        least_squares(
            lambda x: at(x)[2], x0, jac=slopes, bounds=(low, high), x_scale=0.1, max_nfev=most, ftol=1e-5,
            xtol=1e-5, gtol=1e-12,
        )  # fmt: skip
    return best[0]


def simplexed(ground: Ground, point: Point, most: int) -> Point:
    """A simplex search from a point, over all its numbers but the families."""
    whole = point.x.reshape(-1, NUMBERS)

    def full(x: np.ndarray) -> np.ndarray:
        return np.clip(np.column_stack([whole[:, 0], x.reshape(len(whole), -1)]), LOW, HIGH).ravel()

    start = whole[:, 1:].ravel()
    corners = start + np.vstack([np.zeros(start.size), 0.02 * np.eye(start.size)])
    found = minimize(
        lambda x: ground.judge(ground.programme(full(x), point.tops)), start, method="Nelder-Mead",
        options={"maxfev": most, "initial_simplex": corners, "xatol": 1e-6, "fatol": 1e-6, "adaptive": True},
    )  # fmt: skip
    done = Point(float(found.fun), full(found.x), point.tops)
    return min(point, done, key=lambda one: one.value)


def whole_minutes(ground: Ground, point: Point, most: int) -> Point:
    """The best point of whole minutes near one: every way of rounding them up or down, its sizes climbed anew."""
    rows = point.x.reshape(-1, NUMBERS)
    limits, found = ground.limits, [Point(BAD, point.x, point.tops)]
    exact = limits.minutes * rows[:, MINUTES] * min(1.0, 1.0 / rows[:, MINUTES].sum())
    for minutes in itertools.product(*({np.floor(m), np.ceil(m)} for m in exact)):
        worked = [m for m in minutes if m >= limits.shortest]
        if not worked or sum(minutes) > limits.minutes:
            continue
        whole = rows.copy()
        whole[:, MINUTES] = np.array(minutes) / limits.minutes
        found.append(climbed(ground, Point(np.inf, whole.ravel(), point.tops), most, minutes_too=False))
    return min(found, key=lambda one: one.value)


def distinct(points: list[Point], count: int) -> list[Point]:
    """The best, apart from each other by a tenth of a range in some number or in a piece on top."""
    kept: list[Point] = []
    for one in sorted(points, key=lambda point: point.value):
        if all(
            one.tops != other.tops or np.abs((one.x - other.x) / np.tile(HIGH - LOW, len(one.tops))).max() > 0.1
            for other in kept
        ):
            kept.append(one)
        if len(kept) == count:
            break
    return kept


def offspring(ground: Ground, parents: list[Point], rng: np.random.Generator) -> Point:
    """A programme crossed from two of the best, its value not yet known."""
    one, two = (parents[int(len(parents) * rng.random() ** 1.5)] for _ in range(2))
    spells = ground.limits.spells
    pool = [(row.copy(), top) for p in (one, two) for row, top in zip(p.x.reshape(-1, NUMBERS), p.tops, strict=True)]
    first = len(one.tops)
    chosen = pool[:first] + [pool[first + int(rng.integers(len(two.tops)))] for _ in range(spells - first)]
    way = int(rng.integers(4))
    place = int(rng.integers(spells))
    if way == 0:
        chosen[place] = pool[first + int(rng.integers(len(two.tops)))]
    elif way == 1:
        chosen = [chosen[i] for i in rng.permutation(spells)]
    elif way == 2:
        chosen[place] = LOW + (HIGH - LOW) * rng.random(NUMBERS), str(rng.choice(("tool", "mirror")))
    else:
        chosen = [
            (np.clip(row + 0.15 * (HIGH - LOW) * rng.normal(size=NUMBERS), LOW, HIGH), top) for row, top in chosen
        ]
    return Point(np.inf, np.concatenate([row for row, _ in chosen]), tuple(top for _, top in chosen))


def islands(rough: Ground, effort: Effort, rng: np.random.Generator) -> list[Point]:
    """The best distinct programmes of every island's evolution."""
    out: list[Point] = []
    spells = rough.limits.spells
    for tops in itertools.product(("tool", "mirror"), repeat=spells):
        low, high = np.tile(LOW, spells), np.tile(HIGH, spells)
        population = low + (high - low) * rng.random((effort.population, NUMBERS * spells))
        population, values = evolved(rough, tops, population, effort.generations, effort.seed)
        points = [Point(float(v), x, tops) for x, v in zip(population, values, strict=True)]
        out += distinct(points, effort.polished)
    return sorted(out, key=lambda point: point.value)


def searched(
    case: StartCase, plain_rms: bool, effort: Effort, tell: Callable[[str], None]
) -> tuple[Programme, Programme, int]:
    """The best programme that the whole search found, the best of whole minutes, and the coupled runs it took."""
    rough, coarse, fine = (Ground(case, plain_rms, accuracy) for accuracy in (ROUGH, COARSE, FINE))
    rng = np.random.default_rng(effort.seed)
    starts = islands(rough, effort, rng)
    tell(f"evolved {starts[0].value:.4f} runs {rough.runs}")
    short = distinct([climbed(coarse, point, 8) for point in starts], len(starts) // 2)
    done = [climbed(coarse, point, 20) for point in short]
    tell(f"climbed {min(point.value for point in done):.4f} runs {rough.runs + coarse.runs}")
    while rough.runs + coarse.runs < effort.runs:
        parents = distinct(done, effort.parents)
        litter = [offspring(coarse, parents, rng) for _ in range(effort.litter)]
        judged = [replace(p, value=rough.judge(rough.programme(p.x, p.tops))) for p in litter]
        child = climbed(coarse, min(judged, key=lambda point: point.value), 8)
        if child.value < 2.0 * parents[-1].value:
            child = climbed(coarse, child, 20)
        done.append(child)
    tell(f"offspring {min(point.value for point in done):.4f} runs {rough.runs + coarse.runs}")
    refined = [climbed(fine, point, 12) for point in distinct(done, effort.refined)]
    refined.sort(key=lambda point: point.value)
    tell(f"refined {refined[0].value:.4f} runs {rough.runs + coarse.runs + fine.runs}")
    last = [simplexed(fine, point, 300) for point in refined[: effort.simplexed]] + refined
    last.sort(key=lambda point: point.value)
    best = next((one for one in last if fine.allows(fine.programme(one.x, one.tops))), last[0])
    tell(f"simplex {best.value:.4f} runs {rough.runs + coarse.runs + fine.runs}")
    whole = [whole_minutes(fine, point, 12) for point in distinct(last, effort.refined)]
    whole.sort(key=lambda point: point.value)
    neat = next((one for one in whole if fine.allows(fine.programme(one.x, one.tops))), whole[0])
    tell(f"whole minutes {neat.value:.4f} runs {rough.runs + coarse.runs + fine.runs}")
    runs = rough.runs + coarse.runs + fine.runs
    return fine.programme(best.x, best.tops), fine.programme(neat.x, neat.tops), runs
