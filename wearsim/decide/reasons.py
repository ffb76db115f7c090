"""Why a proposal stops where it stops, in a sentence."""

from __future__ import annotations

import numpy as np

from wearsim.decide.limits import Limits
from wearsim.decide.refine import Judged
from wearsim.wear.constants import Belief
from wearsim.wear.grid import Array

# A start figure below this has nothing to gain [m].
NOTHING_LEFT = 0.1e-9
# A programme must lower the expected figure error by this share to be worth the walk to the barrel. A judgement.
WORTHWHILE = 0.01


def why(belief: Belief, limits: Limits, share: float, band: Array | None = None) -> str:
    """Why a programme goes as far as it goes.

    Parameters
    ----------
    belief : Belief
    limits : Limits
    share : float
        Share of the way that it goes [1].
    band : (2,) ndarray, optional
        5th and 95th percentile of it [1].
    """
    if belief.is_certain:
        return (
            f"the constants are taken as known; removals that vary by {100.0 * limits.spread:g} % from "
            "spell to spell are allowed for"
        )
    factor = float(np.exp(np.sqrt(belief.covariance[0, 0])))
    return (
        f"it goes {share_words(share, band)} of the way: with the removal known within a factor of {factor:.1f}, "
        "going further risks more than it promises; test, record, and go on from there"
    )


def share_words(share: float, band: Array | None) -> str:
    """A share with its band in brackets, where there is one."""
    return f"{share:.0%}" if band is None else f"{share:.0%} ({band[0]:.0%} to {band[1]:.0%})"


def why_not(rms_before: float, best: list[Judged]) -> str:
    """Why nothing is proposed.

    Parameters
    ----------
    rms_before : float
        RMS figure error at the start [m].
    best : list of Judged
        What the search ended with.
    """
    if rms_before < NOTHING_LEFT:
        return "the figure error is already nil: there is nothing to gain"
    if not best or not any(item.programme for item in best):
        return "no allowed stroke is predicted to better the figure within these minutes"
    if min(item.score.expected_rms for item in best) >= (1.0 - WORTHWHILE) * rms_before:
        return (
            "no allowed programme is predicted to be better than stopping, what is uncertain considered: "
            "the figure is as good as these strokes make it"
        )
    return (
        "every programme that betters the figure in the search breaks the limit on the edge roll, or does not "
        "hold at full accuracy"
    )
