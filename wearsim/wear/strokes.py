"""Strokes of a bench as paths of the top piece's centre: where it is, how fast, how far out (physics section 5).

And the draws and phases over which the path of a stroke is averaged.
"""

from __future__ import annotations

from dataclasses import replace
from functools import cache

import numpy as np

from wearsim.bench.programme import Stroke
from wearsim.kernels.arrays import Floats
from wearsim.kernels.stroke_path import follow_path, reach
from wearsim.wear.accuracy import Accuracy
from wearsim.wear.constants import Constants, normal_deviates

# Strokes after which a sweep that has not come round is taken to begin at any phase.
MOST_STROKES = 2000
# Hands feel it where a stroke comes so near to the offset at which the top piece tips off. A judgement.
FELT = 0.97
_NO_DEVIATION = np.array([[0.0, 0.0, 0.0, 0.0, 0.0, 0.5]])


def path_of(
    stroke: Stroke, moments: Floats, length: Floats | float = 1.0, sweep: Floats | float = 1.0, sweep_phase: float = 0.0
) -> tuple[Floats, Floats, Floats, Floats]:
    """Where the top piece's centre is, and how fast it moves.

    Parameters
    ----------
    stroke : Stroke
        On a bench, in metres.
    moments : ndarray, shape (k, n)
        Time in strokes since the spell began, one stroke a row [1].
    length, sweep : ndarray, shape (k,), or float
        Factors on the stroke's length and side sweep, row by row [1].
    sweep_phase : float
        Phase of the side sweep at the beginning, for a stroke that is swept [1].

    Returns
    -------
    tuple of ndarray, shape (k, n)
        Along and across the stroke [m], and the velocities along and across it [m/s].
    """
    kind, whole, side, overhang, per_sweep = stroke.numbers
    rows = np.ones(moments.shape[0])
    out = np.empty((*moments.shape, 4))
    moments = np.ascontiguousarray(moments, dtype=np.float64)
    follow_path(kind, whole * length * rows, side * sweep * rows, overhang, per_sweep, moments, sweep_phase, out)
    return out[..., 0], out[..., 1], out[..., 2] * stroke.frequency, out[..., 3] * stroke.frequency


def stroke_reach(stroke: Stroke) -> float:
    """Largest centre offset of the stroke as it is meant, without jitter [m]."""
    phases = sweep_phases(stroke.strokes_per_sweep, 1) if stroke.is_swept else np.zeros(1)
    return max(float(reach(*stroke.numbers, 0.0, 0.0, phase)) for phase in phases)


def made_by_hands(stroke: Stroke, constants: Constants, limit: float) -> Stroke:
    """The stroke that hands make of one that is meant: longer by their factor, to one side by their bias.

    Hands feel the top piece begin to tip: the stroke goes only as far towards that as keeps it within ``limit``, the offset
    at which it tips off [m].
    """
    factor, bias = constants.stroke_length, constants.overhang_bias
    if factor == 1.0 and bias == 0.0:
        return stroke
    made = _longer(stroke, factor, bias)
    far, meant, most = stroke_reach(made), stroke_reach(stroke), FELT * limit
    if far <= max(meant, most):
        return made
    share = max(0.0, (most - meant) / (far - meant))
    return _longer(stroke, 1.0 + share * (factor - 1.0), share * bias)


def _longer(stroke: Stroke, factor: float, bias: float) -> Stroke:
    return replace(
        stroke, length=stroke.length * factor, side_sweep=stroke.side_sweep * factor,
        side_overhang=stroke.side_overhang + bias,
    )  # fmt: skip


def sweep_phases(strokes_per_sweep: float, least: int) -> Floats:
    """Phases of the side sweep at which a W's strokes begin, in their order (n,) [1], about ``least`` of them.

    Stroke and sweep keep step (physics section 5): where some sweeps are a whole number of strokes, so many
    phases come up, and the count is a multiple of that.
    """
    period = 2.0 * strokes_per_sweep
    count = max(least, 128)
    for sweeps in range(1, 21):
        strokes = round(sweeps * period)
        if abs(sweeps * period - strokes) < 1e-9 * strokes and strokes <= MOST_STROKES:
            count = strokes * max(1, round(least / strokes))
            break
    return np.asarray(np.mod(np.arange(count) / period, 1.0))


@cache
def draws(count: int) -> Floats:
    """Low-discrepancy draws (count, 6): four normal deviates and two phases.

    An additive recurrence on the powers of the root of x^7 = x + 1, a generalisation of the golden ratio
    (from memory); always the same, so that the radial engine needs no seed.
    """
    root = 1.1127756842787055
    alpha = root ** -np.arange(1.0, 7.0)
    unit = np.mod(0.5 + np.arange(1, count + 1)[:, None] * alpha, 1.0)
    unit[:, :4] = normal_deviates(unit[:, :4])
    if count > 1:
        unit[:, :4] = (unit[:, :4] - unit[:, :4].mean(axis=0)) / unit[:, :4].std(axis=0)
    return unit


def draws_needed(stroke: Stroke, jitter: tuple[float, float], accuracy: Accuracy) -> tuple[Floats, int]:
    """Draws and phases that average a stroke: one draw where nothing varies from stroke to stroke."""
    varies = jitter != (0.0, 0.0)
    if stroke.is_swept:
        begin = sweep_phases(stroke.strokes_per_sweep, accuracy.draws if varies else 1)
        many = draws(begin.size).copy() if varies else _NO_DEVIATION.repeat(begin.size, axis=0)
        many[:, 4] = begin
        return many, accuracy.phases * (1 if varies else 16)
    if varies:
        return draws(accuracy.draws), accuracy.phases
    return _NO_DEVIATION, accuracy.phases * 128
