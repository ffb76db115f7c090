"""Targets that a bench takes: no farther from a sphere than a lap can follow."""

from __future__ import annotations

from wearsim.bench.mirror import STEEPEST_TARGET
from wearsim.figure.conic import Conic


def is_followed(diameter: float, curve: float, conic: float) -> bool:
    """Whether the slopes at the rim differ from those of a sphere by no more than is accepted; sizes in m."""
    target, sphere = (Conic(curve, one).slope(0.5 * diameter) for one in (conic, 0.0))
    return bool(abs(target - sphere) <= STEEPEST_TARGET)
