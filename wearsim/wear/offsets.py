"""What a stroke spends at each centre offset: its path and its time, averaged over the hands' spread."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache, lru_cache

import numpy as np
from scipy.special import ndtri

from wearsim.bench.programme import Stroke
from wearsim.kernels.path import path_weights, reach
from wearsim.wear.accuracy import Accuracy
from wearsim.wear.cases import LoadCases
from wearsim.wear.grid import Array

KIND = {"straight": 0, "one-third": 0, "overhang": 0, "w": 1, "oval": 2}


@dataclass(frozen=True)
class OffsetWeights:
    """Weights of a stroke over centre offset and load case.

    Parameters
    ----------
    offset : (n_e,) ndarray
        Centre offsets [m].
    path : (n_e, M) ndarray
        Path per second travelled at each [m/s].
    time : (n_e, M) ndarray
        Share of time spent at each [1].
    left_out : float
        Share of the jittered strokes that would tip off and are left out [1].
    """

    offset: Array
    path: Array
    time: Array
    left_out: float

    @property
    def mean_speed(self) -> float:
        """Mean speed of the top piece's centre [m/s]."""
        return float(self.path.sum())


def stroke_reach(stroke: Stroke) -> float:
    """Largest centre offset of the stroke as it is meant, without jitter [m]."""
    return float(_reach(stroke, stroke.length, stroke.side_sweep, 0.0, 0.0))


def _reach(stroke: Stroke, length: float, sweep: float, x: float, y: float) -> float:
    kind = KIND[stroke.kind]
    return float(reach(kind, length, sweep, stroke.side_overhang, stroke.strokes_per_sweep, x, y))


@cache
def draws(count: int) -> Array:
    """Low-discrepancy draws (count, 5): four normal deviates and a phase.

    An additive recurrence on the powers of the root of x^6 = x + 1, a generalisation of the golden ratio
    (from memory); always the same, so that the radial engine needs no seed.
    """
    root = 1.1347241384015194
    alpha = root ** -np.arange(1.0, 6.0)
    unit = np.mod(0.5 + np.arange(1, count + 1)[:, None] * alpha, 1.0)
    unit[:, :4] = ndtri(unit[:, :4])
    return unit


def offset_weights(
    stroke: Stroke, jitter: tuple[float, float], top_is_tool: bool, cases: LoadCases, limit: float,
    accuracy: Accuracy,
) -> OffsetWeights:  # fmt: skip
    """Path and time of a stroke over centre offset.

    Parameters
    ----------
    stroke : Stroke
    jitter : (float, float)
        Relative spread of length and sweep [1], spread of the centre [m].
    top_is_tool : bool
    cases : LoadCases
    limit : float
        Offset at which the top piece tips off [m].
    accuracy : Accuracy
    """
    return _weights(
        stroke, jitter, top_is_tool, cases.position.tobytes(), cases.bins, cases.headings, limit, accuracy
    )


def draws_needed(stroke: Stroke, jitter: tuple[float, float], accuracy: Accuracy) -> tuple[Array, int]:
    """Draws and phases that average a stroke: one draw where nothing varies from stroke to stroke."""
    if jitter != (0.0, 0.0):
        return draws(accuracy.draws), accuracy.phases
    if KIND[stroke.kind] == 1:
        n = accuracy.draws
        return np.column_stack([np.zeros((n, 4)), (np.arange(n) + 0.5) / n]), accuracy.phases * 2
    return np.zeros((1, 5)), accuracy.phases * 16


@lru_cache(maxsize=4096)
def _weights(
    stroke: Stroke, jitter: tuple[float, float], top_is_tool: bool, positions: bytes, bins: int,
    headings: int, limit: float, accuracy: Accuracy,
) -> OffsetWeights:  # fmt: skip
    many, phases = draws_needed(stroke, jitter, accuracy)
    spread = np.abs(jitter[1] * many[:, 2:4]).max()
    factor = 1.0 + jitter[0] * max(0.0, float(many[:, :2].max()))
    most = _reach(stroke, stroke.length * factor, stroke.side_sweep * factor, spread, spread)
    line = KIND[stroke.kind] == 0 or (KIND[stroke.kind] == 1 and stroke.side_sweep == 0.0)
    least = max(0.0, abs(stroke.side_overhang) - spread) if line else 0.0
    most = min(most, limit)
    offset = np.linspace(least, max(most, least + 1e-6), accuracy.offsets)
    cases = len(np.frombuffer(positions)) // 2
    path, time = np.zeros((offset.size, cases)), np.zeros((offset.size, cases))
    left_out = path_weights(
        KIND[stroke.kind], stroke.length, stroke.side_sweep, stroke.side_overhang,
        stroke.strokes_per_sweep, stroke.frequency, np.array(jitter), many, phases, limit, top_is_tool,
        offset, bins, headings, path, time,
    )  # fmt: skip
    return OffsetWeights(offset, path, time, float(left_out))
