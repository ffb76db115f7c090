"""What minutes and what spells buy: the lowest RMS to expect of programmes that keep within so many of each."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field

import numpy as np

from wearsim.decide.limits import Limits
from wearsim.decide.refine import Judged
from wearsim.decide.trial import worked
from wearsim.wear.grid import Array


@dataclass(frozen=True, eq=False)
class TradeOff:
    """Residual against minutes for at most so many spells, a step at each programme that is known.

    Parameters
    ----------
    spells : int
        At most.
    minutes : (n,) ndarray
        [min]
    expected_rms : (n,) ndarray
        Falling with the minutes; the measurement's own band included [m].
    looked : (k,) ndarray
        Minutes that were looked into for themselves; between them only what was met there is known [min].
    """

    spells: int
    minutes: Array
    expected_rms: Array
    looked: Array = field(default_factory=lambda: np.empty(0))

    def at(self, minutes: float) -> float:
        """The lowest RMS to expect within so many minutes [m].

        Parameters
        ----------
        minutes : float
            Not negative [min].
        """
        return float(self.expected_rms[np.searchsorted(self.minutes, minutes * 1.001, side="right") - 1])


def trade_off(
    judged: Iterable[Judged], limits: Limits, before: float, measured: float, roll_limit: float = np.inf,
    looked: Mapping[int, list[float]] | None = None,
) -> tuple[TradeOff, ...]:  # fmt: skip
    """Expected RMS against minutes for at most 1, 2, ... spells, pressings not counted.

    Who may work three spells may also work two: each curve is the running minimum over its own programmes and those
    of fewer spells, so that more spells are never worse at any number of minutes.

    Parameters
    ----------
    judged : iterable of Judged
    limits : Limits
    before : float
        RMS figure error at the start [m].
    measured : float
        RMS of the measurement's own uncertainty, which no programme takes away [m].
    roll_limit : float
        Programmes that leave more edge roll than this are not counted [m].
    looked : mapping of int to list of float, optional
        For so many spells the minutes that were looked into for themselves [min].

    Returns
    -------
    tuple of TradeOff
        From the fewest spells that are better than stopping up to the limit's.
    """
    within = [one for one in judged if abs(one.score.edge_roll) <= roll_limit]
    out = []
    for spells in range(1, limits.spells + 1):
        points = sorted(
            (sum(t.work for t in one.programme), one.score.expected_rms)
            for one in within
            if 1 <= len(worked(one.programme)) <= spells
        )
        minutes, rms, low = [0.0], [before], before
        for m, value in points:
            if value < low and m <= limits.minutes * 1.001:
                minutes.append(m)
                rms.append(value)
                low = value
        if len(minutes) > 1:
            own = np.array(sorted((looked or {}).get(spells, [])))
            out.append(TradeOff(spells, np.array(minutes), np.hypot(rms, measured), own))
    return tuple(out)
