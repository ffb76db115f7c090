"""The library: every allowed stroke, and what each wears per minute at the present state.

Every allowed stroke as a point of a unit cube: nothing in it tips, so that a search needs no fences.

Length between the shortest and the longest allowed, sweep as a share of what that length leaves room for, overhang as
a share of what both leave.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

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
from wearsim.wear.radial.offset_basis import offset_basis, path_matrix
from wearsim.wear.state import State, start_state
from wearsim.wear.strokes import stroke_bound

STROKES_PER_SWEEP = 8.0
# A stroke is refused where this many sigma of the hands' spread would carry it past the limit of reach.
SPREAD_KEPT = 2.0
SIZES = ("length", "sweep", "overhang")
# Sizes that a stroke of each kind is free in, and how far they may go, in diameters of the mirror.
FREE = {
    name: tuple(
        size for size, key in zip(SIZES, ("length", "side_sweep", "side_overhang"), strict=True) if key in kind.uses
    )
    for name, kind in STROKES.items()
}
LOW = {"length": 0.06, "sweep": 0.02, "overhang": 0.0}
HIGH = {"length": 0.9, "sweep": 0.45, "overhang": 0.48}
# A library averages over eight poses of every drawn stroke: of 400 strokes of the demo the worst column then errs by
# 0.2 % of its norm, as with 24 poses, in 0.4 of the time (tests/benchmarks/test_library.py).
LIBRARY = replace(DEFAULT, phases=8)
# Strokes whose path weights are held at a time: 5 MB with three load cases.
_CHUNK = 4096
# Leading components of the columns' directions by which neighbours are looked for, and columns asked at a time.
_LEADING, _ASKED = 8, 16
# Lengths in the finest grid that a count is sought in: on the demo it makes more than a million strokes.
_MOST_STEPS = 200


@dataclass(frozen=True)
class Shape:
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

    def stroke(self, diameter: float, rate: float) -> Stroke:
        """The stroke on a mirror of this diameter [m] at this rate [strokes/min]."""
        return Stroke(
            self.kind, self.length * diameter, self.sweep * diameter, self.overhang * diameter,
            STROKES_PER_SWEEP, rate / 60.0,
        )  # fmt: skip

    def with_size(self, name: str, value: float) -> Shape:
        """The same with one of ``length``, ``sweep``, ``overhang`` changed."""
        sizes = {"length": self.length, "sweep": self.sweep, "overhang": self.overhang, name: value}
        return Shape(self.on_top, self.lap, self.kind, **sizes)

    def spell(self, minutes: float, rate: float, turn: float = 0.0) -> Spell:
        """The spell that keeps it up for some minutes, the mirror turned by ``turn`` [rad] before it."""
        if self.is_press:
            press = {"stroke": "press", "on_top": self.on_top, "lap": self.lap, "minutes": minutes}
            return Spell.model_validate(press)
        keys: dict[str, object] = {
            "on_top": self.on_top, "stroke": self.kind, "length": Extent(self.length), "rate": rate,
            "minutes": minutes, "lap": self.lap, "turn": turn,
        }  # fmt: skip
        uses = STROKES[self.kind].uses
        if "side_sweep" in uses:
            keys["side_sweep"] = Extent(self.sweep)
        if "side_overhang" in uses:
            keys["side_overhang"] = Extent(self.overhang)
        if "strokes_per_sweep" in uses:
            keys["strokes_per_sweep"] = STROKES_PER_SWEEP
        return Spell.model_validate(keys)


@dataclass(frozen=True)
class Library:
    """Strokes and their wear per minute.

    Parameters
    ----------
    shapes : tuple of Shape
    radius : (n,) ndarray
        [m]
    wear : (N, n) ndarray
        Glass removed per minute at the present state, wear frozen [m/min].
    """

    shapes: tuple[Shape, ...]
    radius: Floats
    wear: Floats

    def __len__(self) -> int:
        return len(self.shapes)


def is_allowed(shape: Shape, bench: Bench, limits: Limits) -> bool:
    """Whether a stroke keeps off tipping, the hands' spread included."""
    if shape.is_press:
        return True
    tip = largest_offset(bench, bench.lap(shape.lap), shape.on_top, DEFAULT)
    hands, diameter = bench.hands, bench.mirror.diameter
    factor = 1.0 + SPREAD_KEPT * hands.length_jitter
    grown = Shape(shape.on_top, shape.lap, shape.kind, shape.length * factor, shape.sweep * factor, shape.overhang)
    far = stroke_bound(grown.stroke(diameter, limits.rate)) + SPREAD_KEPT * hands.centre_jitter
    return far <= limits.reach * tip


def _grid(steps: int) -> Iterator[tuple[str, float, float, float]]:
    """Kind, length, sweep and overhang on a grid of ``steps`` lengths."""
    lengths = np.linspace(0.1, 0.8, steps)
    sides = np.linspace(0.05, 0.45, max(3, steps // 2 + 1))
    for length in map(float, lengths):
        yield from ((kind, length, 0.0, 0.0) for kind in FREE if FREE[kind] == ("length",))
        for side in map(float, sides):
            yield from ((kind, length, 0.0, side) for kind in FREE if FREE[kind] == ("length", "overhang"))
            for kind in (kind for kind in FREE if "sweep" in FREE[kind]):
                yield kind, length, side, 0.0
                for aside in map(float, sides):
                    yield kind, length, side, aside


def _within_reach(kinds: list[str], sizes: Floats, bench: Bench, limits: Limits, lap: Lap, on_top: str) -> Floats:
    """:func:`is_allowed` of many strokes with one lap at once, (N,) bool."""
    hands, diameter = bench.hands, bench.mirror.diameter
    factor = 1.0 + SPREAD_KEPT * hands.length_jitter
    length, sweep, overhang = (sizes * [factor, factor, 1.0] * diameter).T
    side = overhang + np.where(["sweep" in FREE[kind] for kind in kinds], sweep, 0.0)
    far = np.hypot(0.5 * length, side) + SPREAD_KEPT * hands.centre_jitter
    return np.asarray(far <= limits.reach * largest_offset(bench, lap, on_top, DEFAULT))


def _allowed(
    bench: Bench, limits: Limits, steps: int, laps: tuple[Lap, ...]
) -> tuple[list[tuple[str, float, float, float]], list[tuple[Lap, str, list[int]]]]:
    """The grid's kinds and sizes; for every lap and piece on top which of them are allowed."""
    grid = list(_grid(steps))
    kinds, sizes = [one[0] for one in grid], np.array([one[1:] for one in grid])
    return grid, [
        (lap, on_top, np.flatnonzero(_within_reach(kinds, sizes, bench, limits, lap, on_top)).tolist())
        for lap in laps
        for on_top in limits.on_top
    ]


def steps_for(bench: Bench, limits: Limits, count: int) -> int:
    """The smallest number of lengths in the grid that makes at least so many allowed strokes.

    Parameters
    ----------
    bench : Bench
    limits : Limits
    count : int

    Raises
    ------
    ValueError
        Where no grid does.
    """

    def made(steps: int) -> int:
        return sum(len(rows) for _, _, rows in _allowed(bench, limits, steps, tuple(bench.laps))[1])

    high = 2
    while (most := made(high)) < count:
        if high >= _MOST_STEPS:
            raise ValueError(f"count: {count} strokes, expected at most {most}, of the finest grid")
        high = min(2 * high, _MOST_STEPS)
    low = high // 2
    while high - low > 1:
        middle = (low + high) // 2
        low, high = (low, middle) if made(middle) >= count else (middle, high)
    return high


def shapes(bench: Bench, limits: Limits, steps: int = 8, lap: Lap | None = None) -> tuple[Shape, ...]:
    """Every allowed stroke on a grid.

    Parameters
    ----------
    bench : Bench
    limits : Limits
    steps : int
        Lengths in the grid; the number of strokes grows as its cube.
    lap : Lap, optional
        Only with this lap; by default with every lap of the bench.
    """
    grid, groups = _allowed(bench, limits, steps, tuple(bench.laps) if lap is None else (lap,))
    return tuple(Shape(on_top, one.name, *grid[i]) for one, on_top, rows in groups for i in rows)


def wear_columns(
    bench: Bench, state: State, candidates: tuple[Shape, ...], limits: Limits,
    constants: Constants = AS_STATED, accuracy: Accuracy = DEFAULT,
) -> Floats:  # fmt: skip
    """Wear per minute of strokes at a state, (N, n) [m/min]; path weights are held for some thousands at a time."""
    out = np.zeros((len(candidates), state.radius.size))
    jitter = (bench.hands.length_jitter, bench.hands.centre_jitter)
    groups = sorted({(shape.on_top, shape.lap or "") for shape in candidates})
    for on_top, name in groups:
        rows = np.array([i for i, s in enumerate(candidates) if (s.on_top, s.lap or "") == (on_top, name)])
        lap = bench.lap(name or None)
        basis = offset_basis(bench, state, on_top, lap, constants=constants, accuracy=accuracy)
        for chunk in np.array_split(rows, -(-rows.size // _CHUNK)):
            strokes = [candidates[i].stroke(bench.mirror.diameter, limits.rate) for i in chunk]
            weights = path_matrix(strokes, jitter, basis.offset, basis.cases, on_top, accuracy)
            out[chunk] = 60.0 * basis.wear(weights, bench.preston * constants.preston)
    return out


def thinned(columns: Floats, closeness: float = 1e-3) -> Floats:
    """Indices of the columns that no other dominates.

    A stroke is dominated by one whose wear per minute has the same shape (to ``closeness``, relative to its own
    size) and is faster: no mix needs it.

    Parameters
    ----------
    columns : (N, n) ndarray
        Wear per minute [m/min].
    closeness : float
        Largest difference in shape [1].

    Returns
    -------
    (K,) int ndarray
        Ascending.
    """
    size = np.linalg.norm(columns, axis=1)
    order = np.argsort(-size, kind="stable")
    order = order[size[order] > 0.0]  # the fastest first
    directions = columns[order] / size[order, None]
    tree, leading = _neighbours(directions)
    alive, kept = np.ones(order.size, dtype=bool), []
    place = 0
    while place < order.size:
        asked = place + np.flatnonzero(alive[place : place + _ASKED])
        balls = tree.query_ball_point(leading[asked], closeness * (1.0 + 1e-6) + 1e-12, return_sorted=False)
        for i, ball in zip(asked, balls, strict=True):
            if alive[i]:
                kept.append(order[i])
                near = np.asarray(ball)
                alive[near[directions[near] @ directions[i] > 1.0 - 0.5 * closeness**2]] = False
        place += _ASKED
    return np.sort(np.array(kept, dtype=int))


def _neighbours(directions: Floats) -> tuple[Any, Floats]:
    """A tree of the directions' leading components, and these: never farther apart than the directions are."""
    # slow to import, and a dry run does not come by here
    from scipy.spatial import cKDTree

    if len(directions) == 0:
        return cKDTree(np.empty((0, 1))), np.empty((0, 1))
    axes = np.linalg.eigh(directions.T @ directions)[1][:, ::-1][:, :_LEADING]
    leading = directions @ axes
    return cKDTree(leading), leading


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
    candidates = shapes(bench, limits, steps)
    columns = wear_columns(bench, state, candidates, limits, constants, accuracy)
    if thin:
        kept = thinned(columns)
        candidates, columns = tuple(candidates[i] for i in kept), columns[kept]
    return Library(candidates, state.radius, columns)


_INSIDE = 1.0 - 1e-6


class Cube:
    """The unit cube of a bench's allowed strokes with one piece on top and one lap.

    Parameters
    ----------
    bench : Bench
    limits : Limits
    on_top : str
    lap : str or None
    """

    def __init__(self, bench: Bench, limits: Limits, on_top: str, lap: str | None) -> None:
        hands, diameter = bench.hands, bench.mirror.diameter
        tip = largest_offset(bench, bench.lap(lap), on_top, DEFAULT)
        self.grown = 1.0 + SPREAD_KEPT * hands.length_jitter
        self.room = _INSIDE * (limits.reach * tip - SPREAD_KEPT * hands.centre_jitter) / diameter
        self.longest = min(HIGH["length"], 2.0 * self.room / self.grown)

    @property
    def is_empty(self) -> bool:
        """Whether no stroke is allowed."""
        return self.longest <= LOW["length"]

    def sizes(self, y: Floats, keeps_sweep: bool = False) -> Floats:
        """Length, sweep and overhang in diameters of points of the cube [1].

        Parameters
        ----------
        y : (..., 3) ndarray
        keeps_sweep : bool
            Whether a sweep below the least is that, and not none.
        """
        length = LOW["length"] + y[..., 0] * (self.longest - LOW["length"])
        side = np.sqrt(np.maximum(0.0, self.room**2 - (0.5 * self.grown * length) ** 2))
        widest = np.minimum(HIGH["sweep"], side / self.grown)
        sweep = y[..., 1] * widest
        least = np.minimum(LOW["sweep"], widest) if keeps_sweep else 0.0
        sweep = np.where(sweep < LOW["sweep"], least, sweep)
        overhang = y[..., 2] * np.minimum(HIGH["overhang"], side - self.grown * sweep)
        return np.stack([length, sweep, overhang], axis=-1)

    def point(self, shape: Shape) -> Floats:
        """The point that stands for a stroke, or for the nearest allowed one by its length, sweep and overhang in turn.

        Parameters
        ----------
        shape : Shape

        Returns
        -------
        (3,) ndarray
        """
        span = self.longest - LOW["length"]
        y0 = min(1.0, max(0.0, (shape.length - LOW["length"]) / span)) if span > 0.0 else 0.0
        _, sweep, _ = self.sizes(np.array([y0, 1.0, 0.0]))
        y1 = min(1.0, shape.sweep / sweep) if sweep > 0.0 else 0.0
        _, _, overhang = self.sizes(np.array([y0, y1, 1.0]))
        y2 = min(1.0, shape.overhang / overhang) if overhang > 0.0 else 0.0
        return np.array([y0, y1, y2])

    def shaped(self, like: Shape, point: Floats) -> Shape:
        """The stroke of a kind that a point stands for.

        Parameters
        ----------
        like : Shape
            Says the kind and what lies on top.
        point : (3,) ndarray
        """
        free = FREE[like.kind]
        inside = np.where([name in free for name in SIZES], point, 0.0)
        length, sweep, overhang = self.sizes(inside, keeps_sweep="sweep" in free)
        return replace(like, length=float(length), sweep=float(sweep), overhang=float(overhang))
