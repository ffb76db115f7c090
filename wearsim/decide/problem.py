"""Residuals and slopes about a programme: in the cube of what is allowed, or by its sizes and minutes as they are.

Slopes are differences through the coupled engine; a change in one spell works only that spell and those after it again.
"""

from __future__ import annotations

from abc import ABC, abstractmethod
from itertools import product
from typing import TYPE_CHECKING, Literal

import numpy as np

from wearsim.decide.cube import SIZES, Cube
from wearsim.decide.library import FREE, Shape
from wearsim.decide.objective import heights_of
from wearsim.decide.trial import Trying
from wearsim.wear.grid import Array
from wearsim.wear.state import State

if TYPE_CHECKING:
    from wearsim.decide.refine import Refiner

Free = Literal["all", "sizes", "minutes"]

# Differences for slopes: in the cube, of a share of the minutes, of a size in diameters, and of minutes.
_IN_CUBE, _OF_SIZE, _OF_MINUTES = 0.01, 0.01, 0.5
# A search begins no nearer than this to a bound [1].
_INSIDE = 1e-3
# Strokes kept: for slopes most spells are what they were.
_SHAPES_KEPT = 64


class _Numbers(ABC):
    """A programme as numbers."""

    start: Array
    highest: Array

    def __init__(self, refiner: Refiner, programme: tuple[Trying, ...]) -> None:
        self.refiner, self.template = refiner, programme
        self._last: tuple[bytes, tuple[Trying, ...], list[list[State]], Array] | None = None

    @abstractmethod
    def programme(self, x: Array) -> tuple[Trying, ...]:
        """The programme that numbers stand for.

        Parameters
        ----------
        x : (n,) ndarray
        """

    @abstractmethod
    def _step(self, x: Array, column: int) -> float:
        """Difference for the slope by a number."""

    def residuals(self, x: Array) -> Array:
        """What the least squares bring down.

        Parameters
        ----------
        x : (n,) ndarray

        Returns
        -------
        (m,) ndarray
            Figure errors in all scenarios, relative to the one at the start [1].

        Raises
        ------
        ContactError
        TimeUp
        """
        return self._at(x)[2]

    def slopes(self, x: Array) -> Array:
        """Slopes of the residuals.

        Parameters
        ----------
        x : (n,) ndarray

        Returns
        -------
        (m, n) ndarray
            Forward differences; backward at an upper bound.

        Raises
        ------
        ContactError
        TimeUp
        """
        here, states, rows = self._at(x)
        out = np.empty((rows.size, x.size))
        for column in range(x.size):
            step = self._step(x, column)
            if x[column] + step > self.highest[column]:
                step = -step
            moved = x.copy()
            moved[column] += step
            programme = self.programme(moved)
            same = next(
                (i for i, (one, two) in enumerate(zip(here, programme, strict=True)) if one != two),
                len(here),
            )
            self.refiner.clock.check()
            runs = []
            for one, before in zip(self.refiner.trials, states, strict=True):
                changed = one.states(before[same], programme[same:])
                runs.append(heights_of(before[:same]) + heights_of(changed))
            self.refiner.evaluations += len(runs)
            out[:, column] = (self._rows(runs) - rows) / step
        return out

    def _at(self, x: Array) -> tuple[tuple[Trying, ...], list[list[State]], Array]:
        key = x.tobytes()
        if self._last is None or self._last[0] != key:
            programme = self.programme(x)
            start = self.refiner.objective.start
            self.refiner.clock.check()
            states = [one.states(start, programme) for one in self.refiner.trials]
            self.refiner.evaluations += len(states)
            self._last = key, programme, states, self._rows([heights_of(run) for run in states])
        return self._last[1:]

    def _rows(self, runs: list[list[Array]]) -> Array:
        refiner = self.refiner
        blocks = [
            np.sqrt(case.weight) * refiner.objective.residuals(run, refiner.aim)
            for case, run in zip(refiner.cases, runs, strict=True)
        ]
        return np.concatenate(blocks) / refiner.objective.rms_before


class Problem(_Numbers):
    """Numbers that may go anywhere between bounds of their own: every programme is within the limits.

    Strokes are points of :class:`wearsim.decide.cube.Cube`. Minutes are the work of all spells as a share of what is
    allowed, and of what the spells before have left of it the share that each takes; the last takes what is left.

    Parameters
    ----------
    refiner : Refiner
    programme : tuple of Trying
    free : {"all", "sizes", "minutes"}
        What may change: lengths, sweeps and overhangs, the minutes, or both. Kinds and pressings stay.

    Attributes
    ----------
    keys : list of (int, str)
        Spell and name of every number.
    start : (n,) ndarray
    bounds : tuple of (n,) ndarray
    """

    def __init__(self, refiner: Refiner, programme: tuple[Trying, ...], free: Free = "all") -> None:
        super().__init__(refiner, programme)
        bench, limits = refiner.nominal.bench, refiner.objective.limits
        self.allowed = limits.minutes
        self.spells = [i for i, tried in enumerate(programme) if not tried.shape.is_press]
        shapes = {i: programme[i].shape for i in self.spells}
        self.cubes = {i: Cube(bench, limits, shape.on_top, shape.lap) for i, shape in shapes.items()}
        self.points = {i: self.cubes[i].point(shape) for i, shape in shapes.items()}
        self.takes_sizes = free != "minutes"
        self._shapes: dict[tuple[int, bytes], Shape] = {}
        self.keys: list[tuple[int, str]] = []
        start: list[float] = []
        if self.takes_sizes:
            sized = [
                (i, s) for i, s in product(self.spells, range(len(SIZES))) if SIZES[s] in FREE[shapes[i].kind]
            ]
            self.keys += [(i, SIZES[s]) for i, s in sized]
            start += [self.points[i][s] for i, s in sized]
        if free != "sizes" and self.spells:
            self.keys += [(i, "minutes") for i in self.spells]
            start += self._shares([programme[i].minutes for i in self.spells])
        count = len(self.keys)
        self.bounds = (np.zeros(count), np.ones(count))
        self.highest = self.bounds[1]
        self.start = np.clip(start, _INSIDE, 1.0 - _INSIDE)

    def _shares(self, minutes: list[float]) -> list[float]:
        """The numbers that minutes stand for: the whole, then each but the last of what is left."""
        left = sum(minutes)
        out = [left / self.allowed]
        for m in minutes[:-1]:
            out.append(m / left if left > 0.0 else 0.0)
            left -= m
        return out

    def programme(self, x: Array) -> tuple[Trying, ...]:
        """The programme that numbers stand for.

        Parameters
        ----------
        x : (n,) ndarray
            As :attr:`keys` names them.

        Returns
        -------
        tuple of Trying
            The template with these numbers in it.
        """
        points = {i: point.copy() for i, point in self.points.items()}
        shares = list[float]()
        for (i, name), value in zip(self.keys, x, strict=True):
            if name == "minutes":
                shares.append(float(value))
            else:
                points[i][SIZES.index(name)] = value
        minutes = {i: self.template[i].minutes for i in self.spells}
        if shares:
            left = shares[0] * self.allowed
            for i, share in zip(self.spells, [*shares[1:], 1.0], strict=True):
                minutes[i] = share * left
                left -= minutes[i]
        out = list(self.template)
        for i in self.spells:
            out[i] = Trying(self._shape(i, points[i]), minutes[i])
        return tuple(out)

    def _shape(self, i: int, point: Array) -> Shape:
        if not self.takes_sizes:
            return self.template[i].shape
        key = i, point.tobytes()
        if key not in self._shapes:
            if len(self._shapes) > _SHAPES_KEPT:
                self._shapes.clear()
            self._shapes[key] = self.cubes[i].shaped(self.template[i].shape, point)
        return self._shapes[key]

    def _step(self, x: Array, column: int) -> float:
        return _IN_CUBE


class Nearby(_Numbers):
    """Sizes and minutes as they are, for the slopes about a programme; nothing keeps them within the limits.

    Parameters
    ----------
    refiner : Refiner
    programme : tuple of Trying
    free : {"all", "sizes", "minutes"}

    Attributes
    ----------
    keys : list of (int, str)
        Spell and name of every number.
    start : (n,) ndarray
        Sizes in diameters [1], minutes [min].
    """

    def __init__(self, refiner: Refiner, programme: tuple[Trying, ...], free: Free = "all") -> None:
        super().__init__(refiner, programme)
        self.keys = [
            (i, name)
            for i, tried in enumerate(programme)
            if not tried.shape.is_press
            for name in (
                *(FREE[tried.shape.kind] if free != "minutes" else ()),
                *(("minutes",) if free != "sizes" else ()),
            )
        ]
        values = [
            programme[i].minutes if name == "minutes" else getattr(programme[i].shape, name)
            for i, name in self.keys
        ]
        self.start = np.array(values, dtype=float)
        self.highest = np.full(len(values), np.inf)

    def programme(self, x: Array) -> tuple[Trying, ...]:
        """The programme that numbers stand for.

        Parameters
        ----------
        x : (n,) ndarray
            As :attr:`keys` names them.
        """
        out = list(self.template)
        for (i, name), value in zip(self.keys, x, strict=True):
            if name == "minutes":
                out[i] = Trying(out[i].shape, float(value))
            else:
                out[i] = Trying(out[i].shape.with_size(name, float(value)), out[i].minutes)
        return tuple(out)

    def _step(self, x: Array, column: int) -> float:
        if self.keys[column][1] == "minutes":
            return max(_OF_MINUTES, 0.03 * float(x[column]))
        return _OF_SIZE
