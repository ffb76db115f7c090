"""A table of responses that stands in for the coupled engine where thousands of programmes are looked at.

Every allowed stroke is a point of a unit cube (:mod:`wearsim.decide.cube`). The coupled engine works the strokes of a
grid over the cube from the present state, and their removals are interpolated. That the lap comes from
one spell to the next as the spell before left it is not in the table; :mod:`wearsim.decide.mapping` puts it right.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from itertools import product

import numpy as np
from numpy.typing import NDArray

from wearsim.decide.cube import Cube
from wearsim.decide.library import Shape
from wearsim.decide.objective import ZONES, Objective
from wearsim.decide.trial import Trials, Trying
from wearsim.errors import ContactError
from wearsim.wear.grid import Array

Indices = NDArray[np.int_]

# Nodes over length, sweep and overhang.
NODES = (7, 5, 5)
# Minutes after which removals are tabled, as shares of all minutes.
TIMES = (0.07, 0.2, 0.45)
# Rows of removal are kept in the directions that matter to this share of the largest.
KEPT = 3e-4
# Length, sweep, overhang as shares of what there is room for; minutes as a share of all.
NUMBERS = 4


@dataclass(frozen=True)
class Family:
    """Strokes of one kind with one piece on top and one lap: ``w``, ``oval``, or ``straight`` with its overhang.

    The first two narrow to the third, which is one of its own because the best strokes are often straight.
    """

    on_top: str
    lap: str | None
    kind: str


class Surrogate:
    """Removals of all allowed strokes from the present state, interpolated.

    Parameters
    ----------
    trials : Trials
    objective : Objective
    work_all : callable
        Maps a function over a list of strokes.

    Attributes
    ----------
    families : list of Family
        Those that some stroke is allowed of.
    target : (k,) ndarray
        The figure error at the start in the rows kept [m].
    roll : float
        The edge roll at the start [m].
    lost : ndarray of bool
        Strokes of the grid whose contact could not be solved: they are tabled as removing nothing.
    """

    def __init__(
        self, trials: Trials, objective: Objective,
        work_all: Callable[[Callable[[Shape], Array | None], list[Shape]], list[Array | None]],
    ) -> None:  # fmt: skip
        self.trials, self.objective = trials, objective
        limits, bench = objective.limits, trials.bench
        laps = [None] if len(bench.laps) == 1 else [lap.name for lap in bench.laps]
        self.cubes = {
            (top, lap): cube
            for top, lap in product(limits.on_top, laps)
            if not (cube := Cube(bench, limits, top, lap)).is_empty
        }
        self.minutes = np.array([max(1.0, share * limits.minutes) for share in TIMES])
        self.families = [
            Family(top, lap, kind) for top, lap in self.cubes for kind in ("w", "oval", "straight")
        ]
        grid = np.stack(np.meshgrid(*(np.linspace(0.0, 1.0, n) for n in NODES), indexing="ij"), axis=-1)
        nodes = grid.reshape(-1, 3)
        wanted = [[self.shape(f, y) for y in nodes] for f in self.families]
        unlike = list(dict.fromkeys(shape for row in wanted for shape in row))
        worked = dict(zip(unlike, work_all(self._rates, unlike), strict=True))
        size = ZONES + 1
        missing = np.full((len(TIMES), size), np.nan)
        table = np.array(
            [[missing if (rates := worked[s]) is None else rates for s in row] for row in wanted]
        )
        self._compress(table)

    def _rates(self, shape: Shape) -> Array | None:
        """Mean removal per minute in rows, the edge roll's last, up to each of the times [m/min]."""
        objective, state = self.objective, self.objective.start
        out, done = [], 0.0
        try:
            for minutes in self.minutes:
                state = self.trials.after(state, Trying(shape, float(minutes - done)))
                done = float(minutes)
                out.append(self.rows(objective, objective.start.height - state.height) / done)
        except ContactError:
            return None
        return np.array(out)

    @staticmethod
    def rows(objective: Objective, removal: Array) -> Array:
        """Rows of a removal whose norm is its RMS, the same on all grids, and the edge roll that it takes away [m]."""
        return np.append(objective.zones @ removal, objective.gauge.edge_roll(removal))

    def _compress(self, table: Array) -> None:
        """Keep the directions that matter; strokes that could not be worked remove nothing."""
        objective = self.objective
        rows = table[..., :-1].reshape(-1, table.shape[-1] - 1)
        target = self.rows(objective, objective.error)[:-1]
        lengths = np.linalg.norm(rows, axis=1, keepdims=True)
        scaled = np.vstack(
            [np.nan_to_num(rows / np.maximum(lengths, 1e-300)), target / np.linalg.norm(target)]
        )
        _, values, axes = np.linalg.svd(scaled, full_matrices=False)
        self.axes = axes[values > KEPT * values[0]]
        self.target = self.axes @ target
        self.roll = objective.roll_before
        kept = np.concatenate([table[..., :-1] @ self.axes.T, table[..., -1:]], axis=-1)
        self.lost = np.isnan(kept).any(axis=(-1, -2)).reshape(len(self.families), *NODES)
        self.table = np.nan_to_num(kept).reshape(len(self.families), *NODES, *kept.shape[-2:])

    def compressed(self, objective: Objective, removal: Array) -> Array:
        """Rows kept of a removal on an objective's grids, the edge roll's last [m]."""
        rows = self.rows(objective, removal)
        return np.append(self.axes @ rows[:-1], rows[-1])

    def removal(self, family: Indices, y: Array) -> Array:
        """Removals of single spells from the present state.

        Parameters
        ----------
        family : (...) ndarray of int
        y : (..., 4) ndarray
            Points of the cube, and minutes as shares of all.

        Returns
        -------
        (..., k + 1) ndarray
            In the rows kept, the edge roll's last [m].
        """
        counts = np.array(NODES)
        place = np.clip(y[..., :3], 0.0, 1.0) * (counts - 1)
        below = np.minimum(place.astype(int), counts - 2)
        part = place - below
        minutes = y[..., 3] * self.objective.limits.minutes
        when = np.clip(np.interp(minutes, self.minutes, np.arange(len(TIMES))), 0.0, len(TIMES) - 1.0)
        early = np.minimum(when.astype(int), len(TIMES) - 2)
        late = when - early
        out = np.zeros((*y.shape[:-1], self.table.shape[-1]))
        for a, b, c in product((0, 1), repeat=3):
            weight = np.prod(
                [p if s else 1.0 - p for s, p in zip((a, b, c), np.moveaxis(part, -1, 0), strict=True)],
                axis=0,
            )
            node = (family, below[..., 0] + a, below[..., 1] + b, below[..., 2] + c)
            out += (weight * (1.0 - late))[..., None] * self.table[(*node, early)]
            out += (weight * late)[..., None] * self.table[(*node, early + 1)]
        return np.asarray(out * minutes[..., None])

    def shape(self, family: Family, y: Array) -> Shape:
        """The stroke that a point of the cube stands for."""
        point = np.where([True, family.kind != "straight", True], y[:3], 0.0)
        length, sweep, overhang = (float(s) for s in self.cubes[family.on_top, family.lap].sizes(point))
        if sweep > 0.0:
            return Shape(family.on_top, family.lap, family.kind, length, sweep, overhang)
        if overhang > 0.0:
            return Shape(family.on_top, family.lap, "overhang", length, 0.0, overhang)
        return Shape(family.on_top, family.lap, "straight", length)

    def programme(self, family: Indices, y: Array) -> tuple[Trying, ...]:
        """The programme that points of the cube stand for; those of no minutes are left out.

        Parameters
        ----------
        family : (S,) ndarray of int
        y : (S, 4) ndarray
        """
        minutes = self.objective.limits.minutes
        return tuple(
            Trying(self.shape(self.families[f], point), float(minutes * point[3]))
            for f, point in zip(family, y, strict=True)
            if point[3] > 0.0
        )
