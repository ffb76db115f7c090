"""Every allowed stroke as a point of a unit cube: nothing in it tips, so that a search needs no fences.

Length between the shortest and the longest allowed, sweep as a share of what that length leaves room for, overhang as
a share of what both leave.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from wearsim.bench.bench import Bench
from wearsim.decide.library import FREE, HIGH, LOW, SPREAD_KEPT, Shape
from wearsim.decide.limits import Limits
from wearsim.wear.accuracy import DEFAULT
from wearsim.wear.grid import Array
from wearsim.wear.radial import largest_offset

SIZES = ("length", "sweep", "overhang")
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

    def sizes(self, y: Array, keeps_sweep: bool = False) -> Array:
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

    def point(self, shape: Shape) -> Array:
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

    def shaped(self, like: Shape, point: Array) -> Shape:
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
