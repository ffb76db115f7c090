"""The library: every stroke that is allowed, and what each wears per minute at the present state.

Two ways to all allowed strokes: a grid of sizes for those that are to be listed, and a unit cube of which every point is
an allowed stroke, so that a search needs no fences. One rule, :class:`Reach`, says what is allowed.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from scipy.spatial import cKDTree

from wearsim.bench.bench import Bench
from wearsim.bench.fields import Extent
from wearsim.bench.lap import Lap
from wearsim.bench.programme import STROKES, Spell, Stroke
from wearsim.decide.limits import Limits
from wearsim.kernels.arrays import Floats
from wearsim.wear.accuracy import DEFAULT, Accuracy
from wearsim.wear.constants import AS_STATED, Constants
from wearsim.wear.initial_figure import start_figure
from wearsim.wear.radial.engine import largest_offset
from wearsim.wear.radial.offset_basis import OffsetBasis, offset_basis, path_matrix
from wearsim.wear.radial.path_weights import speed_law
from wearsim.wear.state import State, start_state

# The kinds of strokes, and the sizes that each is free in.
SIZES = ("length", "sweep", "overhang")
FREE = {
    name: tuple(
        size for size, key in zip(SIZES, ("length", "side_sweep", "side_overhang"), strict=True) if key in kind.uses
    )
    for name, kind in STROKES.items()
}
SWEEPING = tuple(kind for kind, sizes in FREE.items() if "sweep" in sizes)
# How often each kind is drawn where the floor draws strokes of random sizes; and the kinds that a search draws, for which
# "straight" is an overhang of none.
DRAWN_SHARES = {"straight": 0.05, "overhang": 0.2, "w": 0.35, "oval": 0.4}
SEARCHED_KINDS = ("overhang", *SWEEPING)
# How far sizes may go, in diameters of the mirror.
SMALLEST = {"length": 0.06, "sweep": 0.02, "overhang": 0.0}
LARGEST = {"length": 0.9, "sweep": 0.45, "overhang": 0.48}
# Strokes of a W in one traverse: at most, and at least where it is narrow for its length; what a W advances by per stroke is
# then a tenth of its length or more where the sweep is a fifth of it or more.
STROKES_PER_SWEEP, FEWEST_PER_SWEEP = 8.0, 4.0
LEAST_ADVANCE = 0.1

# A stroke is refused where this many sigma of the hands' spread would carry it past the limit of reach.
REACH_SIGMAS = 2.0
# The cube's strokes keep off the limit of reach by rounding.
_INSIDE = 1.0 - 1e-6
# A library averages over eight poses of every drawn stroke: of 400 strokes of the demo the worst column then errs by
# 0.2% of its norm, as with 24 poses, in 0.4 of the time (tests/benchmarks/test_library.py).
LIBRARY = replace(DEFAULT, phases=8)
# Strokes whose path weights are held at a time: 5 MB with three load cases.
_CHUNK = 4096
# Leading components of the columns' directions by which neighbours are looked for, and columns asked at a time.
_LEADING, _ASKED = 8, 16
# Lengths in the finest grid that a count is sought in: on the demo it makes more than a million strokes.
MOST_STEPS = 200


@dataclass(frozen=True)
class StrokeSpec:
    """A stroke without its minutes: lengths as fractions of the mirror's diameter.

    Parameters
    ----------
    on_top : {"tool", "mirror"}
    lap : str or None
        The lap's name; None for the only one.
    kind : {"straight", "overhang", "w", "oval", "press"}
    length, sweep, overhang : float
        Fractions of the mirror's diameter [1]; nothing for a pressing.
    """

    on_top: str
    lap: str | None
    kind: str
    length: float
    sweep: float = 0.0
    overhang: float = 0.0

    @property
    def is_press(self) -> bool:
        """Whether it is cold pressing, at rest."""
        return self.kind == "press"

    @property
    def free(self) -> dict[str, float]:
        """The sizes that a stroke of this kind is free in, by name."""
        return {name: getattr(self, name) for name in FREE[self.kind]}

    def stroke_on(self, diameter: float, rate: float) -> Stroke:
        """The stroke on a mirror of this diameter [m] at this rate [strokes/min]."""
        lengths = (self.length * diameter, self.sweep * diameter, self.overhang * diameter)
        kind = "straight" if self.kind == "one-third" else self.kind
        return Stroke(kind, *lengths, self.strokes_per_sweep, rate / 60.0)

    @property
    def strokes_per_sweep(self) -> float:
        """Strokes in a traverse, so that hands see the W advance."""
        most = 2.0 * self.sweep / (LEAST_ADVANCE * self.length) if self.kind == "w" else STROKES_PER_SWEEP
        return min(STROKES_PER_SWEEP, max(FEWEST_PER_SWEEP, float(np.floor(most + 1e-6))))

    def with_sizes(self, **sizes: float) -> StrokeSpec:
        """The same with some of ``length``, ``sweep``, ``overhang`` changed."""
        old = {"length": self.length, "sweep": self.sweep, "overhang": self.overhang}
        return StrokeSpec(self.on_top, self.lap, self.kind, **{**old, **sizes})

    def spell(self, minutes: float, rate: float, turn: float = 0.0) -> Spell:
        """The spell that keeps it up for some minutes, the mirror turned by ``turn`` [rad] before it."""
        keys: dict[str, object] = {"stroke": self.kind, "on_top": self.on_top, "lap": self.lap, "minutes": minutes}
        if not self.is_press:
            keys |= {"rate": rate, "turn": turn}
        if "strokes_per_sweep" in STROKES[self.kind].uses:
            keys["strokes_per_sweep"] = self.strokes_per_sweep
        names = {"length": "length", "sweep": "side_sweep", "overhang": "side_overhang"}
        return Spell.model_validate(keys | {names[size]: Extent(value) for size, value in self.free.items()})


class Reach:
    """How far strokes with one piece on top and one lap may go: the rule of what is allowed.

    A stroke keeps off tipping, the hands' spread included; it is judged by the corner of its box. ``farthest`` is the
    largest offset of a stroke whose middle does not wander [m], ``growth`` that of lengths and sweeps by the spread [1].
    """

    def __init__(self, bench: Bench, limits: Limits, on_top: str, lap: str | None) -> None:
        tip = largest_offset(bench, bench.lap(lap), on_top, DEFAULT)
        self.diameter = bench.mirror.diameter
        self.farthest = limits.reach * tip - REACH_SIGMAS * bench.hands.centre_jitter
        self.growth = 1.0 + REACH_SIGMAS * bench.hands.length_jitter

    def allows(self, length: Any, sweep: Any, overhang: Any) -> Any:
        """Whether strokes of these sizes in diameters, floats or arrays, are allowed."""
        room = self.farthest / self.diameter
        side = overhang + self.growth * sweep
        return (0.5 * self.growth * length) ** 2 + side**2 <= room * abs(room)


def is_within_reach(stroke: StrokeSpec, reach: Reach) -> bool:
    """Whether a stroke keeps off tipping, the hands' spread included; a pressing does."""
    return stroke.is_press or bool(reach.allows(stroke.length, stroke.sweep, stroke.overhang))


class UnitCube(Reach):
    """The allowed strokes with one piece on top and one lap as points of a unit cube.

    Length between the shortest and the longest allowed, sweep as a share of what that length leaves room for, overhang as
    a share of what both leave.
    """

    def __init__(self, bench: Bench, limits: Limits, on_top: str, lap: str | None) -> None:
        super().__init__(bench, limits, on_top, lap)
        self.room = _INSIDE * self.farthest / self.diameter
        self.longest = min(LARGEST["length"], 2.0 * self.room / self.growth)

    @property
    def is_empty(self) -> bool:
        """Whether no stroke is allowed."""
        return self.longest <= SMALLEST["length"]

    def sizes(self, y: Floats, keeps_sweep: bool = False) -> Floats:
        """Length, sweep and overhang in diameters [1] of points (..., 3) of the cube.

        A sweep below the least is that where ``keeps_sweep``, and none otherwise.
        """
        length = SMALLEST["length"] + y[..., 0] * (self.longest - SMALLEST["length"])
        side = np.sqrt(np.maximum(0.0, self.room**2 - (0.5 * self.growth * length) ** 2))
        widest = np.minimum(LARGEST["sweep"], side / self.growth)
        sweep = y[..., 1] * widest
        least = np.minimum(SMALLEST["sweep"], widest) if keeps_sweep else 0.0
        sweep = np.where(sweep < SMALLEST["sweep"], least, sweep)
        overhang = y[..., 2] * np.minimum(LARGEST["overhang"], side - self.growth * sweep)
        return np.stack([length, sweep, overhang], axis=-1)

    def point(self, stroke: StrokeSpec) -> Floats:
        """The point (3,) of a stroke, or of the nearest allowed one by its length, sweep and overhang in turn."""
        span = self.longest - SMALLEST["length"]
        y0 = min(1.0, max(0.0, (stroke.length - SMALLEST["length"]) / span)) if span > 0.0 else 0.0
        _, sweep, _ = self.sizes(np.array([y0, 1.0, 0.0]))
        y1 = min(1.0, stroke.sweep / sweep) if sweep > 0.0 else 0.0
        _, _, overhang = self.sizes(np.array([y0, y1, 1.0]))
        y2 = min(1.0, stroke.overhang / overhang) if overhang > 0.0 else 0.0
        return np.array([y0, y1, y2])

    def stroke(self, like: StrokeSpec, point: Floats) -> StrokeSpec:
        """The stroke that a point (3,) stands for, of the kind and with what lies on top as in ``like``."""
        free = FREE[like.kind]
        inside = np.where([name in free for name in SIZES], point, 0.0)
        length, sweep, overhang = self.sizes(inside, keeps_sweep="sweep" in free)
        return like.with_sizes(length=float(length), sweep=float(sweep), overhang=float(overhang))


def _grid(steps: int) -> Iterator[tuple[str, float, float, float]]:
    """Kind, length, sweep and overhang on a grid of ``steps`` lengths."""
    lengths = np.linspace(0.1, 0.8, steps)
    sides = np.linspace(0.05, 0.45, max(3, steps // 2 + 1)).tolist()
    for length in map(float, lengths):
        yield from ((kind, length, 0.0, 0.0) for kind, sizes in FREE.items() if sizes == ("length",))
        for side in sides:
            yield from ((kind, length, 0.0, side) for kind, sizes in FREE.items() if sizes == ("length", "overhang"))
            for kind in SWEEPING:
                for aside in (0.0, *sides):
                    yield kind, length, side, aside


def _allowed(
    bench: Bench, limits: Limits, steps: int, laps: tuple[Lap, ...]
) -> tuple[list[tuple[str, float, float, float]], list[tuple[Lap, str, list[int]]]]:
    """The grid's kinds and sizes; for every lap and piece on top which of them are allowed."""
    grid = list(_grid(steps))
    sizes = np.array([one[1:] for one in grid]).T
    return grid, [
        (lap, on_top, np.flatnonzero(Reach(bench, limits, on_top, lap.name).allows(*sizes)).tolist())
        for lap in laps
        for on_top in limits.settled(bench).pieces
    ]


def allowed_strokes(bench: Bench, limits: Limits, steps: int = 8, lap: Lap | None = None) -> tuple[StrokeSpec, ...]:
    """Every allowed stroke on a grid of so many lengths, with one lap or with every one of the bench.

    The number of strokes grows as the cube of ``steps``.
    """
    grid, groups = _allowed(bench, limits, steps, tuple(bench.laps) if lap is None else (lap,))
    return tuple(StrokeSpec(on_top, one.name, *grid[i]) for one, on_top, rows in groups for i in rows)


def steps_for(bench: Bench, limits: Limits, count: int) -> int:
    """The smallest number of lengths in the grid that makes at least so many allowed strokes.

    Raises
    ------
    ValueError
        Where no grid does.
    """

    def made(steps: int) -> int:
        return sum(len(rows) for _, _, rows in _allowed(bench, limits, steps, tuple(bench.laps))[1])

    high = 2
    while (most := made(high)) < count:
        if high >= MOST_STEPS:
            raise ValueError(f"count: {count} strokes, expected at most {most}, of the finest grid")
        high = min(2 * high, MOST_STEPS)
    low = high // 2
    while high - low > 1:
        middle = (low + high) // 2
        low, high = (low, middle) if made(middle) >= count else (middle, high)
    return high


class StrokeWear:
    """What strokes wear at one state on the grids of an accuracy, wear frozen."""

    def __init__(
        self, bench: Bench, state: State, limits: Limits, constants: Constants = AS_STATED, accuracy: Accuracy = DEFAULT
    ) -> None:
        self.bench, self.state, self.limits = bench, state, limits.settled(bench)
        self.constants, self.accuracy = constants, accuracy
        self._bases: dict[tuple[str, str | None], OffsetBasis] = {}

    def _basis(self, on_top: str, lap: str | None) -> OffsetBasis:
        if (on_top, lap) not in self._bases:
            self._bases[on_top, lap] = offset_basis(
                self.bench, self.state, on_top, self.bench.lap(lap), constants=self.constants, accuracy=self.accuracy
            )
        return self._bases[on_top, lap]

    def columns(self, strokes: Sequence[StrokeSpec]) -> Floats:
        """Wear per minute, (N, n) [m/min]; path weights are held for some thousands of strokes at a time."""
        out = np.zeros((len(strokes), self.state.radius.size))
        hands, diameter = self.bench.hands, self.bench.mirror.diameter
        jitter, law = (hands.length_jitter, hands.centre_jitter), speed_law(self.bench, self.constants)
        for on_top, lap in {(one.on_top, one.lap) for one in strokes}:
            rows = np.array([i for i, one in enumerate(strokes) if (one.on_top, one.lap) == (on_top, lap)])
            basis = self._basis(on_top, lap)
            for chunk in np.array_split(rows, -(-rows.size // _CHUNK)):
                paths = [strokes[i].stroke_on(diameter, self.limits.strokes_a_minute) for i in chunk]
                weights = path_matrix(paths, jitter, basis.offset, basis.cases, on_top, self.accuracy, law)
                out[chunk] = 60.0 * basis.wear(weights, self.bench.preston * self.constants.preston)
        return out


@dataclass(frozen=True)
class Library:
    """Strokes, and what each wears per minute at the present state, wear frozen.

    Attributes
    ----------
    strokes : tuple of StrokeSpec
        N of them.
    radius : ndarray, shape (n,)
        [m]
    wear : ndarray, shape (N, n)
        [m/min]
    """

    strokes: tuple[StrokeSpec, ...]
    radius: Floats
    wear: Floats

    def __len__(self) -> int:
        return len(self.strokes)


def library(
    bench: Bench, *, limits: Limits | None = None, steps: int = 8, count: int | None = None,
    state: State | None = None, constants: Constants = AS_STATED, accuracy: Accuracy = LIBRARY,
    thin: bool = True,
) -> Library:  # fmt: skip
    """Every allowed stroke as a column of wear per minute at the present state.

    Parameters
    ----------
    bench : Bench
    limits : Limits, optional
    steps : int
        Lengths in the grid; on the demo 8 makes some 270 strokes, 60 some 39,000 and 108 some 200,000, a
        minute's work of one core and, while it works, twice the memory of the columns.
    count : int, optional
        At least so many allowed strokes, before thinning; in the place of ``steps``.
    state : State, optional
        By default the bench's figure and fresh laps.
    constants : Constants
    accuracy : Accuracy
    thin : bool
        Drop dominated strokes (:func:`thinned`).

    Returns
    -------
    Library
        The strokes, and what each wears per minute.

    Raises
    ------
    ValueError
        Where no grid makes ``count`` strokes.
    """
    limits = Limits() if limits is None else limits
    steps = steps if count is None else steps_for(bench, limits, count)
    if state is None:
        start = start_figure(bench, accuracy)
        state = start_state(bench, start.radius, start.height, accuracy)
    strokes = allowed_strokes(bench, limits, steps)
    columns = StrokeWear(bench, state, limits, constants, accuracy).columns(strokes)
    if thin:
        kept = thinned(columns)
        strokes, columns = tuple(strokes[i] for i in kept), columns[kept]
    return Library(strokes, state.radius, columns)


def thinned(columns: Floats, closeness: float = 1e-3) -> Floats:
    """Indices (K,), ascending, of the columns (N, n) [m/min] that no other dominates.

    A stroke is dominated by one whose wear per minute has the same shape (to ``closeness``, relative to its own
    size) and is faster: no mix needs it.
    """
    size = np.linalg.norm(columns, axis=1)
    order = np.argsort(-size, kind="stable")
    order = order[size[order] > 0.0]  # the fastest first
    directions = columns[order] / size[order, None]
    tree, leading = _neighbours(directions)
    undominated, kept = np.ones(order.size, dtype=bool), []
    place = 0
    while place < order.size:
        asked = place + np.flatnonzero(undominated[place : place + _ASKED])
        neighbourhoods = tree.query_ball_point(leading[asked], closeness * (1.0 + 1e-6) + 1e-12, return_sorted=False)
        for i, neighbourhood in zip(asked, neighbourhoods, strict=True):
            if undominated[i]:
                kept.append(order[i])
                neighbours = np.asarray(neighbourhood)
                undominated[neighbours[directions[neighbours] @ directions[i] > 1.0 - 0.5 * closeness**2]] = False
        place += _ASKED
    return np.sort(np.array(kept, dtype=int))


def _neighbours(directions: Floats) -> tuple[Any, Floats]:
    """A tree of the directions' leading components, and these: never farther apart than the directions are."""
    if len(directions) == 0:
        return cKDTree(np.empty((0, 1))), np.empty((0, 1))
    axes = np.linalg.eigh(directions.T @ directions)[1][:, ::-1][:, :_LEADING]
    leading = directions @ axes
    return cKDTree(leading), leading
