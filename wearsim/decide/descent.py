"""Thousands of programmes brought down at once on a surrogate.

Batched steps after D. W. Marquardt, J. SIAM 11 (1963) 431 (from memory), each programme with its own damping, kept in
the cube of allowed strokes.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, fields, replace
from itertools import product

import numpy as np
from numpy.typing import NDArray

from wearsim.decide.objective import EDGE_WEIGHT, Objective
from wearsim.decide.surrogate import NUMBERS, Indices, Surrogate
from wearsim.wear.grid import Array

# Difference for slopes; a trilinear table has kinks, over which it looks away.
STEP = 0.02
# Minutes past the budget, weighed as in a refinement.
OVER = 50.0
# No number moves further in a step.
LONGEST = 0.25
# Programmes differ by more than this in some number [1].
CLEARLY = 0.1
# How far crossed programmes are shaken, one sigma [1].
SHAKEN = 0.15


@dataclass
class Batch:
    """Programmes and what the surrogate is taken to be about each.

    Removals are the surrogate's, ``shift`` a share of the minutes more, and for the whole programme ``offset + tilt
    (y - origin)`` more.

    Parameters
    ----------
    family : (N, S) ndarray of int
    y : (N, S, 4) ndarray
    shift : (N, S, k + 1) ndarray
        [m]
    offset : (N, k + 1) ndarray
        [m]
    tilt : (N, k + 1, 4 S) ndarray
        [m]
    origin : (N, 4 S) ndarray
    radius : (N,) ndarray
        How far a number may go from the origin [1].
    known : (N,) ndarray of bool
        Whether the coupled engine has put the shift right.
    """

    family: Indices
    y: Array
    shift: Array
    offset: Array
    tilt: Array
    origin: Array
    radius: Array
    known: NDArray[np.bool_]

    @staticmethod
    def fresh(family: Indices, y: Array, rows: int) -> Batch:
        """Programmes that nothing is known of but the table.

        Parameters
        ----------
        family : (N, S) ndarray of int
        y : (N, S, 4) ndarray
        rows : int
            Of a removal.
        """
        count = len(family)
        return Batch(
            family, y, np.zeros((*family.shape, rows)), np.zeros((count, rows)),
            np.zeros((count, rows, y[0].size)), y.reshape(count, -1).copy(), np.ones(count),
            np.zeros(count, dtype=bool),
        )  # fmt: skip

    @staticmethod
    def joined(batches: list[Batch]) -> Batch:
        """All programmes of several batches."""
        return Batch(*(np.concatenate([getattr(b, f.name) for b in batches]) for f in fields(Batch)))

    def pick(self, chosen: Indices) -> Batch:
        """Some of them."""
        return Batch(*(getattr(self, field.name)[chosen] for field in fields(self)))

    def more(self, y: Array) -> Array:
        """What the whole programme at ``y`` takes more than its spells, (N, k + 1) [m]."""
        away = y.reshape(len(y), -1) - self.origin
        return np.asarray(self.offset + np.matmul(self.tilt, away[:, :, None])[:, :, 0])


class Descent:
    """Steps down on a surrogate, many programmes at a time.

    Parameters
    ----------
    surrogate : Surrogate
    objective : Objective
    aim : float
        Share of the way that counts as the whole [1].
    """

    def __init__(self, surrogate: Surrogate, objective: Objective, aim: float) -> None:
        self.surrogate, self.objective, self.aim = surrogate, objective, aim

    def drawn(self, each: int, most: int, rng: np.random.Generator) -> Batch:
        """Random programmes, as many of every order of families, or of ``most`` orders where there are more."""
        spells = self.objective.limits.spells
        count = len(self.surrogate.families)
        if count**spells <= most:
            orders = np.array(list(product(range(count), repeat=spells)))
        else:
            orders = rng.integers(count, size=(most, spells))
        family = np.repeat(orders, each, axis=0)
        y = rng.random((len(family), spells, NUMBERS))
        y[:, :, 3] = rng.dirichlet(np.ones(spells), len(family)) * rng.uniform(0.3, 1.0, (len(family), 1))
        return Batch.fresh(family, y, self.surrogate.table.shape[-1])

    def spells(self, batch: Batch) -> Array:
        """Removal of every spell, (N, S, k + 1) [m]."""
        return self.surrogate.removal(batch.family, batch.y) + batch.y[..., 3:] * batch.shift

    def residuals(self, batch: Batch, gone: Array, y: Array) -> Array:
        """What is brought down, (N, m), as shares of the RMS at the start [1]."""
        objective, surrogate = self.objective, self.surrogate
        whole = gone.sum(axis=1) + batch.more(y)
        roll = surrogate.roll - whole[:, -1]
        beyond = EDGE_WEIGHT * np.maximum(0.0, np.abs(roll) - objective.roll_limit) * np.sign(roll)
        cancel = objective.limits.spread * gone[..., :-1].reshape(len(gone), -1)
        left = self.aim * surrogate.target - whole[:, :-1]
        over = OVER * np.maximum(0.0, y[..., 3].sum(axis=1) - 1.0)
        return np.concatenate(
            [np.concatenate([left, beyond[:, None], cancel], axis=1) / objective.rms_before, over[:, None]],
            axis=1,
        )

    def values(self, batch: Batch) -> Array:
        """Sum of squares of every programme [1]."""
        return np.asarray(np.sum(self.residuals(batch, self.spells(batch), batch.y) ** 2, axis=1))

    def down(self, batch: Batch, steps: int, is_late: Callable[[], bool] = lambda: False) -> Array:
        """Go down; the values at the end.

        Parameters
        ----------
        batch : Batch
            Moved in place.
        steps : int
        is_late : callable
            Whether to stop early.

        Returns
        -------
        (N,) ndarray
            Sums of squares [1].
        """
        damping = np.full(len(batch.y), 1e-2)
        gone = self.spells(batch)
        rows = self.residuals(batch, gone, batch.y)
        here: Array = np.sum(rows**2, axis=1)
        slopes = self._slopes(batch, gone, rows)
        for _ in range(steps):
            if is_late():
                break
            there = replace(batch, y=self._stepped(batch, rows, slopes, damping))
            new_gone = self.spells(there)
            new_rows = self.residuals(batch, new_gone, there.y)
            value = np.sum(new_rows**2, axis=1)
            better = value < here
            damping = np.clip(np.where(better, 0.3 * damping, 5.0 * damping), 1e-7, 1e4)
            moved = np.flatnonzero(better)
            if moved.size:
                batch.y[moved] = there.y[moved]
                gone[moved], rows[moved], here[moved] = new_gone[moved], new_rows[moved], value[moved]
                slopes[moved] = self._slopes(batch.pick(moved), gone[moved], rows[moved])
        return here

    def _slopes(self, batch: Batch, gone: Array, rows: Array) -> Array:
        """Slopes by differences, (N, m, 4 S): a number changes its own spell alone."""
        count, spells = batch.family.shape
        out = np.empty((count, rows.shape[1], spells, NUMBERS))
        for number in range(NUMBERS):
            step = np.where(batch.y[..., number] + STEP <= 1.0, STEP, -STEP)
            y = batch.y.copy()
            y[..., number] += step
            changed = self.surrogate.removal(batch.family, y) + y[..., 3:] * batch.shift
            for spell in range(spells):
                one_gone, one_y = gone.copy(), batch.y.copy()
                one_gone[:, spell] = changed[:, spell]
                one_y[:, spell] = y[:, spell]
                moved = self.residuals(batch, one_gone, one_y)
                out[:, :, spell, number] = (moved - rows) / step[:, spell, None]
        return out.reshape(count, rows.shape[1], -1)

    @staticmethod
    def _stepped(batch: Batch, rows: Array, slopes: Array, damping: Array) -> Array:
        """The damped step from every point, kept in the cube and near the origin.

        Numbers at a bound that want beyond it stay.
        """
        flat = batch.y.reshape(len(batch.y), -1)
        low = np.maximum(0.0, batch.origin - batch.radius[:, None])
        high = np.minimum(1.0, batch.origin + batch.radius[:, None])
        lean = np.matmul(rows[:, None, :], slopes)[:, 0]
        held = ((flat <= low) & (lean > 0.0)) | ((flat >= high) & (lean < 0.0))
        free = np.where(held, 0.0, 1.0)
        normal = np.matmul(slopes.transpose(0, 2, 1), slopes) * free[:, :, None] * free[:, None, :]
        scale: Array = np.einsum("nkk->nk", normal)
        diagonal = damping[:, None] * (scale + 1e-3 * scale.max(axis=1, keepdims=True)) + 1e-12 + (1.0 - free)
        normal[:, np.arange(flat.shape[1]), np.arange(flat.shape[1])] += diagonal
        step = -np.linalg.solve(normal, (lean * free)[..., None])[..., 0]
        step *= np.minimum(1.0, LONGEST / np.maximum(np.abs(step).max(axis=1, keepdims=True), 1e-300))
        return np.asarray(np.clip(flat + step, low, high).reshape(batch.y.shape))


def distinct(batch: Batch, values: Array, count: int, apart: float = CLEARLY) -> Indices:
    """The best, apart from each other in a family or in a number."""
    kept: list[int] = []
    alike: dict[bytes, list[Array]] = {}
    for i in np.argsort(values, kind="stable"):
        others = alike.setdefault(batch.family[i].tobytes(), [])
        if not others or np.abs(np.array(others) - batch.y[i]).max(axis=(1, 2)).min() > apart:
            others.append(batch.y[i])
            kept.append(int(i))
        if len(kept) == count:
            break
    return np.array(kept, dtype=int)


def crossed(parents: Batch, count: int, families: int, rng: np.random.Generator) -> Batch:
    """Programmes crossed from two parents each, the better ones more often.

    A spell of another, another order, a spell drawn anew, one with another piece or kind, or all shaken; what was known
    of the spells that stay is kept.

    Parameters
    ----------
    parents : Batch
        The best first.
    count, families : int
    rng : numpy.random.Generator
    """
    spells = parents.family.shape[1]
    one, two = (len(parents.y) * rng.random((2, count)) ** 1.5).astype(int)
    first, second = parents.pick(one), parents.pick(two)
    out = Batch.fresh(
        first.family.copy(), first.origin.reshape(first.y.shape).copy(), parents.offset.shape[1]
    )
    out.shift = first.shift.copy()
    other = second.origin.reshape(second.y.shape)
    ways, places, its = (rng.integers(n, size=count) for n in (5, spells, spells))
    for i, (way, place, from_) in enumerate(zip(ways, places, its, strict=True)):
        if way == 0:
            out.family[i, place], out.y[i, place] = second.family[i, from_], other[i, from_]
            out.shift[i, place] = second.shift[i, from_]
        elif way == 1:
            order = rng.permutation(spells)
            out.family[i], out.y[i], out.shift[i] = out.family[i, order], out.y[i, order], out.shift[i, order]
        elif way == 4:
            out.y[i] = np.clip(out.y[i] + SHAKEN * rng.normal(size=out.y[i].shape), 0.0, 1.0)
        else:
            out.family[i, place], out.shift[i, place] = rng.integers(families), 0.0
            if way == 2:
                out.y[i, place] = rng.random(NUMBERS)
    out.y[..., 3] *= np.minimum(1.0, 1.0 / np.maximum(out.y[..., 3].sum(axis=1, keepdims=True), 1e-9))
    out.origin = out.y.reshape(count, -1).copy()
    return out
