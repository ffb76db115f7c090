"""What minutes and what spells buy: the lower envelopes of everything that a search has judged."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from wearsim.decide.limits import Limits
from wearsim.decide.refine import Judged
from wearsim.decide.trial import worked
from wearsim.wear.grid import Array


@dataclass(frozen=True, eq=False)
class TradeOff:
    """Residual against minutes for at most so many spells: the best programmes that the search met.

    Parameters
    ----------
    spells : int
        At most.
    minutes : (n,) ndarray
        [min]
    expected_rms : (n,) ndarray
        Falling with the minutes; the measurement's own band included [m].
    """

    spells: int
    minutes: Array
    expected_rms: Array


def trade_off(judged: list[Judged], limits: Limits, before: float, measured: float) -> tuple[TradeOff, ...]:
    """Expected RMS against minutes for at most 1, 2, ... spells, pressings not counted.

    Who may work three spells may also work two: each curve is the running minimum over its own programmes and those
    of fewer spells, so that more spells are never worse at any number of minutes, however little of them the search
    saw.

    Parameters
    ----------
    judged : list of Judged
    limits : Limits
    before : float
        RMS figure error at the start [m].
    measured : float
        RMS of the measurement's own uncertainty, which no programme takes away [m].

    Returns
    -------
    tuple of TradeOff
        From the fewest spells that are better than stopping up to the limit's.
    """
    out = []
    for spells in range(1, limits.spells + 1):
        points = sorted(
            (sum(t.work for t in one.programme), one.score.expected_rms)
            for one in judged
            if 1 <= len(worked(one.programme)) <= spells
        )
        minutes, rms, low = [0.0], [before], before
        for m, value in points:
            if value < low and m <= limits.minutes * 1.001:
                minutes.append(m)
                rms.append(value)
                low = value
        if len(minutes) > 1:
            out.append(TradeOff(spells, np.array(minutes), np.hypot(rms, measured)))
    return tuple(out)
