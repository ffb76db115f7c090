"""The gain from more minutes and more spells: the lowest expected RMS of programmes that keep within so many of each.

Each point is what a proposal within these minutes and spells comes to.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field

import numpy as np

from wearsim.decide.choice import simplest
from wearsim.decide.coarse_engine import Plan, without_pressings, work_of
from wearsim.decide.least_squares import Candidate
from wearsim.decide.limits import Limits
from wearsim.decide.search import Searched
from wearsim.decide.search_problem import ProposalProblem
from wearsim.kernels.arrays import Floats

# Budgets of minutes that are looked into, as shares of what is allowed. A judgement.
SHARES = (1.0, 2 / 3, 1 / 2, 1 / 3, 1 / 6)


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
    evaluated : (k,) ndarray
        Minutes that were looked into for themselves; between them only what was met there is known [min].
    """

    spells: int
    minutes: Floats
    expected_rms: Floats
    evaluated: Floats = field(default_factory=lambda: np.empty(0))

    def at(self, minutes: float) -> float:
        """The lowest expected RMS within so many minutes [m].

        Parameters
        ----------
        minutes : float
            Not negative [min].
        """
        return float(self.expected_rms[np.searchsorted(self.minutes, minutes * 1.001, side="right") - 1])


def trade_off(
    candidates: Iterable[Candidate],
    limits: Limits,
    before: float,
    measured: float,
    roll_limit: float = np.inf,
    evaluated: Mapping[int, list[float]] | None = None,
) -> tuple[TradeOff, ...]:
    """Expected RMS against minutes for at most 1, 2, ... spells, pressings not counted, where better than stopping.

    Who may work three spells may also work two: each curve is the running minimum over its own programmes and those
    of fewer spells, so that more spells are never worse at any number of minutes. It begins at the RMS ``before``, and the
    measurement's own uncertainty, which no programme takes away, is in it [m]; programmes that leave more edge roll than the
    limit are not counted [m]. ``evaluated`` are for so many spells the minutes that were looked into for themselves [min].
    """
    points = sorted(
        (work_of(one.plan), one.score.expected_rms, len(without_pressings(one.plan)))
        for one in candidates
        if abs(one.score.edge_roll) <= roll_limit
    )
    out = []
    for spells in range(1, limits.spells + 1):
        minutes, rms, low = [0.0], [before], before
        for m, value, count in points:
            if 1 <= count <= spells and value < low and m <= limits.minutes * 1.001:
                minutes.append(m)
                rms.append(value)
                low = value
        if len(minutes) > 1:
            own = np.array(sorted((evaluated or {}).get(spells, [])))
            out.append(TradeOff(spells, np.array(minutes), np.hypot(rms, measured), own))
    return tuple(out)


def looked_into(
    problem: ProposalProblem, searched: Searched, chosen: Plan
) -> tuple[list[Candidate], dict[int, list[float]]]:
    """What would be proposed within fewer minutes and spells: programmes, and the minutes looked into by spells [min].

    Each is what a proposal with these limits comes to.
    """
    limits, figures = problem.limits, problem.for_figures()
    found, evaluated = [figures.evaluate(chosen)], dict[int, list[float]]()
    for minutes in sorted({limits.minutes * share for share in SHARES}, reverse=True):
        if minutes < limits.shortest or problem.clock.leaves_out("some of the results with fewer minutes and spells"):
            break
        within = searched.candidates if minutes == limits.minutes else searched.within(minutes, limits.spells)
        for spells in range(1, limits.spells + 1):
            few = [one for one in within if len(without_pressings(one.plan)) <= spells]
            best = next(iter(simplest(problem.bench, few)), None)
            evaluated.setdefault(spells, []).append(minutes)
            if best is not None:
                found.append(figures.evaluate(best.plan) if problem.is_certain else best)
    return found, evaluated
