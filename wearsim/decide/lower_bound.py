"""The linear floor: the best that any mix of the allowed strokes could do, with wear rates as they are now.

With h the present figure error, A the wear per minute of every allowed stroke and P the removal of piston and r^2,
the floor is the least ``||P (h - A x)||`` over minutes ``x >= 0`` with ``sum x <= M``: convex, without the limit
on the number of spells. With b = P h and B = P A, every y gives the bound (Lagrange duality)

    1/2 ||b - B x||^2  >=  b.y - 1/2 ||y||^2 - M max(0, max_j B_j.y)     for every allowed x,

so the residual of the solution, taken as y, proves how good it is.

The floor has to hold for strokes of every size, not only for a grid's. So strokes are added as they are needed, by column
generation (G. B. Dantzig and P. Wolfe, Decomposition principle for linear programs, 1960, from memory): given the
remainder y of a mix, a stroke whose wear per minute B has a ``B.y`` above that of the strokes in the mix would improve it.
Such strokes are sought in a grid, among strokes of random sizes, and by climbing in the sizes of the best of them.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np
from scipy.optimize import nnls

from wearsim.bench.bench import Bench
from wearsim.decide.limits import Limits
from wearsim.decide.stroke_library import (
    DRAWN_SHARES,
    FREE,
    LARGEST,
    SMALLEST,
    Reach,
    StrokeSpec,
    StrokeWear,
    allowed_strokes,
)
from wearsim.figure.metrics import FigureGauge
from wearsim.kernels.arrays import Floats
from wearsim.wear.accuracy import Accuracy
from wearsim.wear.constants import Constants
from wearsim.wear.state import State

# Columns that join a mix at once, and by what share of the largest product with the error one must lean on what is left.
COLUMNS_AT_ONCE, LEAST_PRICE = 40, 1e-9
# Strokes of random sizes for each piece on top and lap.
RANDOM_STROKES = 700
# How many of each kind, piece on top and lap climb, and by what steps in diameters.
CLIMBS_A_KIND = 3
STEPS = (0.06, 0.03, 0.015, 0.0075)
ROUNDS = 8
# A round that lowers the floor by less than this share of it is the last.
LEAST_GAIN = 0.002
# By this share the floor is put below the best mix found, for strokes that were never made: over the demo and the start
# figures of tests/decide the best mix of some 20,000 other random strokes was at most 0.026 of it lower.
UNSEEN_MARGIN = 0.1


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


def compressed(rows: Floats) -> Floats:
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
        The lowest RMS of any mix of these strokes within that time.
    """
    root = compressed(rms_root(gauge))
    scale = float(np.linalg.norm(root @ error))
    if scale == 0.0 or len(wear) == 0:
        return Floor(scale, scale, np.zeros(len(wear)))
    b = root @ error / scale
    columns = (root @ wear.T) / scale
    mix = _active_set(columns, b, minutes)
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


def _active_set(columns: Floats, b: Floats, minutes: float) -> Floats:
    """The same as :func:`_budgeted` on all columns, which takes ten times as long where there are a thousand.

    Columns that lean on what is left by more than those in the mix (the minutes' price) join it, until none does.
    """
    mix, inside, price = np.zeros(columns.shape[1]), np.zeros(columns.shape[1], dtype=bool), 0.0
    left, before = b, np.inf
    size = float(np.linalg.norm(columns, axis=0).max()) * float(np.linalg.norm(b))
    while float(np.linalg.norm(left)) < (1.0 - LEAST_PRICE) * before:
        before = float(np.linalg.norm(left))
        lean = np.where(inside, -np.inf, left @ columns)
        joining = np.argsort(-lean)[:COLUMNS_AT_ONCE]
        joining = joining[lean[joining] > price + LEAST_PRICE * size]
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


class Pricing(StrokeWear):
    """Strokes made as the floor wants them, and their wear at one state.

    Its grids are those of the accuracy; strokes are drawn more coarsely, as the search draws them.
    """

    def __init__(self, bench: Bench, state: State, limits: Limits, constants: Constants, accuracy: Accuracy) -> None:
        drawn = replace(accuracy, draws=min(64, accuracy.draws), phases=min(16, accuracy.phases))
        super().__init__(bench, state, limits, constants, drawn)
        self._reaches = {
            (on_top, lap.name): Reach(bench, limits, on_top, lap.name) for lap in bench.laps for on_top in limits.pieces
        }

    def random_strokes(self, count: int, seed: int = 0) -> list[StrokeSpec]:
        """Allowed strokes of random sizes, ``count`` drawn for each piece on top and lap: some reach too far however cut."""
        rng = np.random.default_rng(seed)
        found = []
        for on_top, lap in self._reaches:
            kinds = rng.choice(list(DRAWN_SHARES), size=count, p=list(DRAWN_SHARES.values()))
            for kind, part in zip(map(str, kinds), rng.random((count, 3)).tolist(), strict=True):
                shares = zip(SMALLEST, part, strict=True)
                sizes = {name: _size(name, share) for name, share in shares if name in FREE[kind]}
                stroke = self._cut_to_reach(StrokeSpec(on_top, lap, kind, **sizes))
                if stroke is not None:
                    found.append(stroke)
        return found

    def _cut_to_reach(self, stroke: StrokeSpec) -> StrokeSpec | None:
        """The stroke, its overhang cut to what reach allows: the strokes at that limit are often the wanted ones."""
        allows = self._reaches[stroke.on_top, stroke.lap].allows
        if allows(stroke.length, stroke.sweep, stroke.overhang):
            return stroke
        if "overhang" not in FREE[stroke.kind] or not allows(stroke.length, stroke.sweep, 0.0):
            return None
        low, high = 0.0, stroke.overhang
        for _ in range(8):
            middle = 0.5 * (low + high)
            low, high = (middle, high) if allows(stroke.length, stroke.sweep, middle) else (low, middle)
        return stroke.with_sizes(overhang=low)

    def neighbours(self, stroke: StrokeSpec, step: float) -> Iterator[StrokeSpec]:
        """The allowed strokes with one size larger or smaller by ``step`` diameters, their overhang cut to the reach.

        Yields
        ------
        StrokeSpec
            At most two for each free size.
        """
        for name, size in stroke.free.items():
            for change in (step, -step):
                moved = self._cut_to_reach(
                    stroke.with_sizes(**{name: min(max(size + change, SMALLEST[name]), LARGEST[name])})
                )
                if moved is not None:
                    yield moved


def _size(name: str, share: float) -> float:
    """A size at a share of its range: small lengths and sweeps, which work on one zone alone, as often as large ones."""
    low, high = SMALLEST[name], LARGEST[name]
    return low * (high / low) ** share if low > 0.0 else low + share * (high - low)


def floor_over_all_sizes(pricing: Pricing, gauge: FigureGauge, error: Floats, minutes: float) -> Floor:
    """The linear floor over the strokes of every allowed size, from a figure error (n,) [m] within so many minutes [min].

    Its ``rms`` is the proven bound for the strokes that were made, lowered by UNSEEN_MARGIN for those that were not.
    """
    strokes = [*allowed_strokes(pricing.bench, pricing.limits), *pricing.random_strokes(RANDOM_STROKES)]
    wear = pricing.columns(strokes)
    root = rms_root(gauge)
    floor = linear_floor(gauge, error, wear, minutes)
    for _ in range(ROUNDS):
        left = root @ (error - floor.minutes @ wear)
        more, columns = _generated(pricing, strokes, wear, floor.minutes, root.T @ left)
        if not more:
            break
        strokes += more
        wear = np.vstack([wear, columns])
        before, floor = floor, linear_floor(gauge, error, wear, minutes)
        if floor.reached > (1.0 - LEAST_GAIN) * before.reached:
            break
    return Floor((1.0 - UNSEEN_MARGIN) * floor.rms, floor.reached, floor.minutes)


def _generated(
    pricing: Pricing, strokes: list[StrokeSpec], wear: Floats, mix: Floats, direction: Floats
) -> tuple[list[StrokeSpec], Floats]:
    """Strokes met while climbing in price from the best of each kind and from those in the mix, and their wear."""
    climbers = _climb_starts(strokes, wear @ direction, mix)
    known, found, columns = set(strokes), list[StrokeSpec](), [np.empty((0, wear.shape[1]))]
    for step in STEPS:
        neighbours = [
            (moved, place) for place, (one, _) in enumerate(climbers) for moved in pricing.neighbours(one, step)
        ]
        fresh: dict[StrokeSpec, int] = {}
        for moved, place in neighbours:
            if moved not in known:
                fresh.setdefault(moved, place)
        if not fresh:
            continue
        known |= fresh.keys()
        columns.append(pricing.columns(list(fresh)))
        for (stroke, place), price in zip(fresh.items(), columns[-1] @ direction, strict=True):
            if price > climbers[place][1]:
                climbers[place] = (stroke, float(price))
        found += fresh
    return found, np.vstack(columns)


def _climb_starts(strokes: list[StrokeSpec], price: Floats, mix: Floats) -> list[tuple[StrokeSpec, float]]:
    """The strokes in the mix and the best of each kind, piece on top and lap, with their prices."""
    out = [(strokes[i], float(price[i])) for i in np.flatnonzero(mix > 0.0)]
    groups: dict[tuple[str, str | None, str], int] = {}
    for i in np.argsort(-price):
        group = (strokes[i].on_top, strokes[i].lap, strokes[i].kind)
        groups[group] = groups.get(group, 0) + 1
        if groups[group] <= CLIMBS_A_KIND:
            out.append((strokes[i], float(price[i])))
    return out
