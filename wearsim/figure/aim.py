"""When a mirror is good enough: an aim for its Strehl ratio, and how sure one must be of it."""

from __future__ import annotations

from typing import Literal

AIM = 0.95
"""Strehl ratio inside the unmasked aperture at which to stop, unless another is wanted [1]. A judgement: above it nobody
sees the difference, and every further spell can spoil what is there."""
SURE = 0.95
"""Share of the surfaces that the readings leave possible which must reach the aim [1]."""

Verdict = Literal["yes", "no", "open"]


def verdict_for(chance: float, strehl: float, aim: float) -> Verdict:
    """Whether a mirror is good enough: yes, no, or not known.

    Parameters
    ----------
    chance : float
        Share of its possible surfaces that reach the aim [1].
    strehl : float
        Strehl ratio of the likeliest surface [1]: where it reaches the aim, poor readings alone are no reason for a no.
    aim : float
        [1]

    Returns
    -------
    {"yes", "no", "open"}
    """
    if chance >= SURE:
        return "yes"
    return "no" if chance <= 1.0 - SURE and strehl < aim else "open"
