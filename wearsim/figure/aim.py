"""When a mirror is good enough: an aim for its Strehl ratio, and how sure one must be of it."""

from __future__ import annotations

from typing import Literal

AIM = 0.95
"""Strehl ratio inside the unmasked aperture at which to stop, unless another is wanted [1]. A judgement: above it nobody
sees the difference, and every further spell can spoil what is there."""
SURE = 0.95
"""Share of the surfaces that the readings leave possible which must reach the aim [1]."""

Verdict = Literal["yes", "no", "open"]


def verdict_for(chance: float) -> Verdict:
    """Whether a mirror is good enough, from the share of its possible surfaces that are [1]: yes, no, or not known."""
    return "yes" if chance >= SURE else "no" if chance <= 1.0 - SURE else "open"
