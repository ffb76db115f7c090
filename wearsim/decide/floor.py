"""The linear floor: the best that any mix of the allowed strokes could do, wear rates frozen.

With h the present figure error, A the wear per minute of every allowed stroke and P the removal of piston and r^2,
the floor is the least ``||P (h - A x)||`` over minutes ``x >= 0`` with ``sum x <= M``: convex, without the limit
on the number of spells. With b = P h and B = P A, every y gives the bound (Lagrange duality)

    1/2 ||b - B x||^2  >=  b.y - 1/2 ||y||^2 - M max(0, max_j B_j.y)     for every allowed x,

so the residual of the solution, taken as y, proves how good it is.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from wearsim.figure.numbers import FigureGauge
from wearsim.wear.grid import Array

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
    minutes: Array


def rms_root(gauge: FigureGauge) -> Array:
    """Matrix L (q, n) with ``||L p||`` the RMS of the levelled profile p over the clear aperture."""
    aperture = gauge.aperture
    return np.asarray(np.sqrt(aperture.weights)[:, None] * (aperture.matrix @ aperture.levelling_matrix()))


def _compressed(rows: Array) -> Array:
    """The same norms with no more rows than columns."""
    return np.asarray(np.linalg.qr(rows, mode="r")) if rows.shape[0] > rows.shape[1] else rows


def linear_floor(gauge: FigureGauge, error: Array, wear: Array, minutes: float) -> Floor:
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


def _budgeted(columns: Array, b: Array, minutes: float) -> Array:
    """Non-negative least squares with ``sum x <= minutes``."""
    # slow to import, and a dry run does not come by here
    from scipy.optimize import nnls

    mix, _ = nnls(columns, b, maxiter=20 * columns.shape[1])
    if mix.sum() <= minutes:
        return np.asarray(mix)
    # the budget binds: a heavy row holds the sum, then the sum is set exactly
    heavy = 1e4 * float(np.abs(columns).max())
    rows = np.vstack([columns, np.full(columns.shape[1], heavy)])
    mix, _ = nnls(rows, np.append(b, heavy * minutes), maxiter=20 * columns.shape[1])
    return np.asarray(mix * min(1.0, minutes / mix.sum()))


def _few_at_a_time(columns: Array, b: Array, minutes: float) -> Array:
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


def _bound(columns: Array, b: Array, y: Array, minutes: float) -> float:
    """Best bound along the multiples of ``y``, as a norm."""
    lean = float(b @ y) - minutes * max(0.0, float((columns.T @ y).max()))
    size = float(y @ y)
    if lean <= 0.0 or size == 0.0:
        return 0.0
    return lean / float(np.sqrt(size))  # max over s of s lean - s^2 size / 2 is lean^2 / (2 size)
