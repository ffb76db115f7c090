"""Good programmes for fewer minutes and for fewer spells, from those that a search has found for all of them.

What minutes and what spells buy: the lowest RMS to expect of programmes that keep within so many of each.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field

import numpy as np

from wearsim.decide.coarse_engine import COARSE, Trying, worked
from wearsim.decide.least_squares import Judged, Refiner, distinct
from wearsim.decide.limits import Limits
from wearsim.decide.problem import Situation
from wearsim.decide.rounding import Settler
from wearsim.errors import ContactError
from wearsim.kernels.arrays import Floats


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
    minutes: Floats
    expected_rms: Floats
    looked: Floats = field(default_factory=lambda: np.empty(0))

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


# Budgets of minutes that are looked into, as shares of what the proposal works. A judgement.
SHARES = (1.0, 5 / 6, 2 / 3, 1 / 2, 1 / 3, 1 / 6)
# Programmes that the search has met and that are tried at a budget, and how many of them are worked over, beside the
# one from the budget next to it; evaluations of the residuals for each of them, and more for the best.
TRIED, WORKED_OVER, STEPS, MORE_STEPS, FINE_STEPS = 12, 1, 5, 6, 2
# Evaluations of the wear rates after which no other budget is looked into: half of the long search's.
WORK = 110_000


class Budgets:
    """Programmes for several budgets of minutes and numbers of spells.

    From the full budget downwards, each begins with what served the budget next above it, its minutes cut, and with the
    best of what the search met; from the proposal's number of spells downwards, with one spell left out.

    Parameters
    ----------
    situation : Situation
    met : list of Judged
        What the search met, by whatever score.
    chosen : tuple of Trying
        The programme that is proposed.
    """

    def __init__(self, situation: Situation, met: list[Judged], chosen: tuple[Trying, ...]) -> None:
        self.situation, self.chosen = situation, chosen
        limits = situation.limits
        self.met = [
            one for one in distinct(met, 20 * TRIED)
            if len(worked(one.programme)) <= limits.spells and _minutes(one.programme) <= 1.001 * limits.minutes
        ]  # fmt: skip
        self.judged = [situation.judge_closely().judge(chosen)] if worked(chosen) else []
        self.looked: dict[int, list[float]] = {}

    def look(self) -> None:
        """Look into every budget; those that time and work allow."""
        if not worked(self.chosen):
            return
        began = self._work
        most = _minutes(self.chosen)
        limits = self.situation.limits
        above: dict[float, tuple[Trying, ...]] = {}
        for spells in range(len(worked(self.chosen)), 0, -1):
            full = limits.minutes if above else most
            budgets = sorted({full, *(m for s in SHARES if limits.shortest <= (m := round(s * most)) < full)})
            nearest: tuple[Trying, ...] = () if above else self.chosen
            for minutes in reversed(budgets):
                if self._work - began > WORK:
                    return
                if self.situation.clock.leaves_out("what some of the fewer minutes and spells buy"):
                    return
                begins = [nearest] if nearest else []
                if minutes in above or above:
                    begins += _one_less(above.get(minutes, self.chosen), spells)
                nearest = above[minutes] = self._best_within(spells, float(minutes), begins)

    def _best_within(self, spells: int, minutes: float, begins: list[tuple[Trying, ...]]) -> tuple[Trying, ...]:
        """The best programme of these minutes and spells."""
        situation = self.situation
        likely = situation.judge_likely()
        likely.objective = likely.objective.within(minutes)
        tried = self._judged(likely, [within(one, minutes) for one in begins])
        met = [one.programme for one in self.met if len(worked(one.programme)) <= spells][:TRIED]
        others = distinct(self._judged(likely, [within(one, minutes) for one in met]), WORKED_OVER)
        tried = distinct(tried, WORKED_OVER) + others
        if not tried:
            return ()
        climbed = [likely.improve(one.programme, steps=STEPS) for one in tried]
        best = min(climbed, key=lambda one: one.score.cost)
        best = likely.improve(best.programme, steps=MORE_STEPS)
        closely = situation.judge_closely(minutes)
        settled = self._settled(best.programme, closely if situation.is_certain else likely)
        self.looked.setdefault(spells, []).append(minutes)
        if worked(settled.programme):
            self.judged.append(settled if situation.is_certain else closely.judge(settled.programme))
        return best.programme

    def _settled(self, programme: tuple[Trying, ...], refiner: Refiner) -> Judged:
        """The neat programme near this one, worked over first where this judge has not done so."""
        if refiner.nominal.accuracy is not COARSE:
            programme = refiner.improve(programme, steps=FINE_STEPS).programme
        settler = Settler(refiner, refiner.objective, refiner.nominal, self.situation.size_step)
        return settler.settle(programme, rounds=2, sizes_too=True)

    @property
    def _work(self) -> int:
        """Evaluations of the wear rates so far."""
        situation = self.situation
        fine = situation.judge_fine().nominal.work if situation.is_certain else 0
        return situation.nominal.work + fine

    @staticmethod
    def _judged(refiner: Refiner, programmes: list[tuple[Trying, ...]]) -> list[Judged]:
        out = []
        for one in programmes:
            try:
                out.append(refiner.judge(one))
            except ContactError:
                continue
        return out


def _minutes(programme: tuple[Trying, ...]) -> float:
    return sum(tried.work for tried in programme)


def within(programme: tuple[Trying, ...], minutes: float) -> tuple[Trying, ...]:
    """A programme with the minutes of its spells cut, all by the same share, to what is allowed.

    Parameters
    ----------
    programme : tuple of Trying
    minutes : float
        Of work, in all [min].
    """
    share = min(1.0, minutes / max(_minutes(programme), 1e-9))
    return tuple(t if t.shape.is_press else Trying(t.shape, share * t.minutes) for t in programme)


def _one_less(programme: tuple[Trying, ...], spells: int) -> list[tuple[Trying, ...]]:
    """The programme with at most so many spells: itself, or it without each of them."""
    if len(worked(programme)) <= spells:
        return [programme]
    return [(*programme[:i], *programme[i + 1 :]) for i, tried in enumerate(programme) if not tried.shape.is_press]
