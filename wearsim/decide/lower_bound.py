"""Strokes of any size, made as the linear floor wants them: the floor is to hold for every stroke, not for a grid's.

Column generation (Dantzig and Wolfe, Oper. Res. 8 (1960) 101, from memory): given what a mix leaves, y, a stroke whose
wear per minute B leans on it, ``B.y`` above that of the strokes in the mix, would better the mix. Such strokes are looked
for among a grid, among strokes of random sizes, and by climbing in the sizes of the best of them.

The linear floor: the best that any mix of the allowed strokes could do, wear rates frozen.

With h the present figure error, A the wear per minute of every allowed stroke and P the removal of piston and r^2,
the floor is the least ``||P (h - A x)||`` over minutes ``x >= 0`` with ``sum x <= M``: convex, without the limit
on the number of spells. With b = P h and B = P A, every y gives the bound (Lagrange duality)

    1/2 ||b - B x||^2  >=  b.y - 1/2 ||y||^2 - M max(0, max_j B_j.y)     for every allowed x,

so the residual of the solution, taken as y, proves how good it is.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from math import hypot

import numpy as np
from scipy.optimize import nnls

from wearsim.bench.bench import Bench
from wearsim.decide.limits import Limits
from wearsim.decide.stroke_library import FREE, HIGH, LOW, SPREAD_KEPT, Shape, shapes
from wearsim.figure.metrics import FigureGauge
from wearsim.kernels.arrays import Floats
from wearsim.wear.accuracy import DEFAULT, Accuracy
from wearsim.wear.constants import Constants
from wearsim.wear.radial.engine import largest_offset
from wearsim.wear.radial.offset_basis import OffsetBasis, offset_basis, path_matrix
from wearsim.wear.state import State

# Columns that join a mix at once, and by what share of the largest product with the error one must lean on what is left.
JOINING, LEANING = 40, 1e-9


@dataclass(frozen=True)
class Floor:
    """The linear floor.

    Parameters
    ----------
    rms : float
        Proven lower bound of the RMS figure error [m].
    reached : float
        RMS figure error of the mix found; equal to ``rms`` but for rounding [m].
    minutes : (N,) ndarray
        Minutes of each stroke in that mix [min].
    """

    rms: float
    reached: float
    minutes: Floats


def rms_root(gauge: FigureGauge) -> Floats:
    """Matrix L (q, n) with ``||L p||`` the RMS of the levelled profile p over the clear aperture."""
    aperture = gauge.aperture
    return np.asarray(np.sqrt(aperture.weights)[:, None] * (aperture.matrix @ aperture.levelling_matrix()))


def _compressed(rows: Floats) -> Floats:
    """The same norms with no more rows than columns."""
    return np.asarray(np.linalg.qr(rows, mode="r")) if rows.shape[0] > rows.shape[1] else rows


def linear_floor(gauge: FigureGauge, error: Floats, wear: Floats, minutes: float) -> Floor:
    """Floor of the frozen problem.

    Parameters
    ----------
    gauge : FigureGauge
    error : (n,) ndarray
        Present figure error [m].
    wear : (N, n) ndarray
        Wear per minute of every allowed stroke [m/min].
    minutes : float
        Work allowed in all [min].

    Returns
    -------
    Floor
    """
    root = _compressed(rms_root(gauge))
    scale = float(np.linalg.norm(root @ error))
    if scale == 0.0 or len(wear) == 0:
        return Floor(scale, scale, np.zeros(len(wear)))
    b = root @ error / scale
    columns = (root @ wear.T) / scale
    mix = _few_at_a_time(columns, b, minutes)
    residual = b - columns @ mix
    bound = _bound(columns, b, residual, minutes)
    return Floor(scale * bound, scale * float(np.linalg.norm(residual)), mix)


def _budgeted(columns: Floats, b: Floats, minutes: float) -> Floats:
    """Non-negative least squares with ``sum x <= minutes``."""
    mix, _ = nnls(columns, b, maxiter=20 * columns.shape[1])
    if mix.sum() <= minutes:
        return np.asarray(mix)
    # the budget binds: a heavy row holds the sum, then the sum is set exactly
    heavy = 1e4 * float(np.abs(columns).max())
    rows = np.vstack([columns, np.full(columns.shape[1], heavy)])
    mix, _ = nnls(rows, np.append(b, heavy * minutes), maxiter=20 * columns.shape[1])
    return np.asarray(mix * min(1.0, minutes / mix.sum()))


def _few_at_a_time(columns: Floats, b: Floats, minutes: float) -> Floats:
    """The same as :func:`_budgeted` on all columns, which takes ten times as long where there are a thousand.

    Columns that lean on what is left by more than those in the mix (the minutes' price) join it, until none does.
    """
    mix, inside, price = np.zeros(columns.shape[1]), np.zeros(columns.shape[1], dtype=bool), 0.0
    left, before = b, np.inf
    size = float(np.linalg.norm(columns, axis=0).max()) * float(np.linalg.norm(b))
    while float(np.linalg.norm(left)) < (1.0 - LEANING) * before:
        before = float(np.linalg.norm(left))
        lean = np.where(inside, -np.inf, left @ columns)
        joining = np.argsort(-lean)[:JOINING]
        joining = joining[lean[joining] > price + LEANING * size]
        if not len(joining):
            break
        inside[joining] = True
        mix = np.zeros(columns.shape[1])
        mix[inside] = _budgeted(columns[:, inside], b, minutes)
        inside = mix > 0.0
        left = b - columns @ mix
        is_bound = mix.sum() >= minutes * (1.0 - 1e-9)
        price = float((left @ columns[:, inside]).min()) if is_bound else 0.0
    return mix


def _bound(columns: Floats, b: Floats, y: Floats, minutes: float) -> float:
    """Best bound along the multiples of ``y``, as a norm."""
    lean = float(b @ y) - minutes * max(0.0, float((columns.T @ y).max()))
    size = float(y @ y)
    if lean <= 0.0 or size == 0.0:
        return 0.0
    return lean / float(np.sqrt(size))  # max over s of s lean - s^2 size / 2 is lean^2 / (2 size)


# Strokes of random sizes for each piece on top and lap, and how often each kind is drawn.
SCATTERED = 700
KINDS = {"straight": 0.05, "overhang": 0.2, "w": 0.35, "oval": 0.4}
# How many of each kind, piece on top and lap climb, and by what steps in diameters.
CLIMBERS = 3
STEPS = (0.06, 0.03, 0.015, 0.0075)
ROUNDS = 8
# A round that lowers the floor by less than this share of it is the last.
ENOUGH = 0.002
# By this share the floor is put below the best mix found, for strokes that were never made: over the demo and the start
# figures of tests/decide the best mix of some 20,000 other random strokes was at most 0.026 of it lower.
NEVER_MADE = 0.1


class Pricing:
    """Wear of strokes at one state, each made when asked for.

    Parameters
    ----------
    bench : Bench
    state : State
        On the grids of ``accuracy``.
    limits : Limits
    constants : Constants
    accuracy : Accuracy
        Its grids; strokes are drawn more coarsely, as the search draws them.
    """

    def __init__(self, bench: Bench, state: State, limits: Limits, constants: Constants, accuracy: Accuracy) -> None:
        self.bench, self.state, self.limits, self.constants = bench, state, limits, constants
        self.accuracy = replace(accuracy, draws=min(64, accuracy.draws), phases=min(16, accuracy.phases))
        self._farthest: dict[tuple[str, str | None], float] = {}
        self._bases: dict[tuple[str, str | None], OffsetBasis] = {}

    def wear(self, candidates: list[Shape]) -> Floats:
        """Wear per minute, (N, n) [m/min].

        Parameters
        ----------
        candidates : list of Shape

        Returns
        -------
        (N, n) ndarray
        """
        out = np.zeros((len(candidates), self.state.radius.size))
        hands, diameter = self.bench.hands, self.bench.mirror.diameter
        jitter = (hands.length_jitter, hands.centre_jitter)
        for on_top, lap in {(one.on_top, one.lap) for one in candidates}:
            rows = [i for i, one in enumerate(candidates) if (one.on_top, one.lap) == (on_top, lap)]
            basis = self._basis(on_top, lap)
            strokes = [candidates[i].stroke(diameter, self.limits.rate) for i in rows]
            weights = path_matrix(strokes, jitter, basis.offset, basis.cases, on_top, self.accuracy)
            out[rows] = 60.0 * basis.wear(weights, self.bench.preston * self.constants.preston)
        return out

    def _basis(self, on_top: str, lap: str | None) -> OffsetBasis:
        if (on_top, lap) not in self._bases:
            self._bases[on_top, lap] = offset_basis(
                self.bench, self.state, on_top, self.bench.lap(lap), constants=self.constants,
                accuracy=self.accuracy,
            )  # fmt: skip
        return self._bases[on_top, lap]

    def scattered(self, count: int, seed: int = 0) -> list[Shape]:
        """Allowed strokes of random kinds and sizes.

        Parameters
        ----------
        count : int
            Drawn for each piece on top and lap; some of them reach too far however they are cut.
        seed : int

        Returns
        -------
        list of Shape
        """
        rng = np.random.default_rng(seed)
        found = []
        for lap in self.bench.laps:
            for on_top in self.limits.on_top:
                kinds = rng.choice(list(KINDS), size=count, p=list(KINDS.values()))
                for kind, part in zip(map(str, kinds), rng.random((count, 3)), strict=True):
                    sizes = {
                        name: _size(name, float(share))
                        for name, share in zip(LOW, part, strict=True)
                        if name in FREE[kind]
                    }
                    shape = self._pulled_in(Shape(on_top, lap.name, kind, **sizes))
                    if shape is not None:
                        found.append(shape)
        return found

    def _pulled_in(self, shape: Shape) -> Shape | None:
        """The stroke, its overhang cut to what reach allows: the strokes at that limit are often the wanted ones."""
        if self._is_allowed(shape, shape.overhang):
            return shape
        if "overhang" not in FREE[shape.kind] or not self._is_allowed(shape, 0.0):
            return None
        low, high = 0.0, shape.overhang
        for _ in range(8):
            middle = 0.5 * (low + high)
            low, high = (middle, high) if self._is_allowed(shape, middle) else (low, middle)
        return shape.with_size("overhang", low)

    def _is_allowed(self, shape: Shape, overhang: float) -> bool:
        """As :func:`~wearsim.decide.stroke_library.is_allowed`, with this overhang, in numbers alone: it is asked often."""
        if (shape.on_top, shape.lap) not in self._farthest:
            tip = largest_offset(self.bench, self.bench.lap(shape.lap), shape.on_top, DEFAULT)
            kept = SPREAD_KEPT * self.bench.hands.centre_jitter
            self._farthest[shape.on_top, shape.lap] = (self.limits.reach * tip - kept) / self.bench.mirror.diameter
        grown = 1.0 + SPREAD_KEPT * self.bench.hands.length_jitter
        far = hypot(0.5 * grown * shape.length, overhang + grown * shape.sweep)
        return far <= self._farthest[shape.on_top, shape.lap]

    def beside(self, shape: Shape, step: float) -> Iterator[Shape]:
        """The allowed strokes with one size larger or smaller.

        Parameters
        ----------
        shape : Shape
        step : float
            In diameters of the mirror [1].

        Yields
        ------
        Shape
            Its overhang cut to what reach allows.
        """
        for name in FREE[shape.kind]:
            for change in (step, -step):
                value = float(np.clip(getattr(shape, name) + change, LOW[name], HIGH[name]))
                moved = self._pulled_in(shape.with_size(name, value))
                if moved is not None:
                    yield moved


def _size(name: str, share: float) -> float:
    """A size at a share of its range: small lengths and sweeps, which work on one zone alone, as often as large ones."""
    low, high = LOW[name], HIGH[name]
    return low * (high / low) ** share if low > 0.0 else low + share * (high - low)


def floor_over_all_sizes(pricing: Pricing, gauge: FigureGauge, error: Floats, minutes: float) -> Floor:
    """The linear floor over the strokes of every allowed size.

    Parameters
    ----------
    pricing : Pricing
    gauge : FigureGauge
    error : (n,) ndarray
        Present figure error [m].
    minutes : float
        Work allowed in all [min].

    Returns
    -------
    Floor
        ``rms`` is the proven bound for the strokes that were made, lowered by NEVER_MADE for those that were not.
    """
    made = list(shapes(pricing.bench, pricing.limits)) + pricing.scattered(SCATTERED)
    wear = pricing.wear(made)
    root = rms_root(gauge)
    floor = linear_floor(gauge, error, wear, minutes)
    for _ in range(ROUNDS):
        left = root @ (error - floor.minutes @ wear)
        more, columns = _climbed(pricing, made, wear, floor.minutes, root.T @ left)
        if not more:
            break
        made += more
        wear = np.vstack([wear, columns])
        before, floor = floor, linear_floor(gauge, error, wear, minutes)
        if floor.reached > (1.0 - ENOUGH) * before.reached:
            break
    return Floor((1.0 - NEVER_MADE) * floor.rms, floor.reached, floor.minutes)


def _climbed(
    pricing: Pricing, made: list[Shape], wear: Floats, mix: Floats, direction: Floats
) -> tuple[list[Shape], Floats]:
    """Strokes met while climbing in price from the best of each kind and from those in the mix, and their wear."""
    price = wear @ direction
    groups: dict[tuple[str, str | None, str], int] = {}
    climbers: list[tuple[Shape, float]] = [(made[i], float(price[i])) for i in np.flatnonzero(mix > 0.0)]
    for i in np.argsort(-price):
        group = (made[i].on_top, made[i].lap, made[i].kind)
        groups[group] = groups.get(group, 0) + 1
        if groups[group] <= CLIMBERS:
            climbers.append((made[i], float(price[i])))
    known, met, columns = set(made), [], [np.empty((0, wear.shape[1]))]
    for step in STEPS:
        tried: list[Shape] = []
        owner: list[int] = []
        for place, (shape, _) in enumerate(climbers):
            for moved in pricing.beside(shape, step):
                if moved not in known:
                    known.add(moved)
                    tried.append(moved)
                    owner.append(place)
        if not tried:
            continue
        columns.append(pricing.wear(tried))
        for shape, place, value in zip(tried, owner, columns[-1] @ direction, strict=True):
            if value > climbers[place][1]:
                climbers[place] = (shape, float(value))
        met += tried
    return met, np.vstack(columns)
