"""What minutes and what spells buy: the lowest RMS to expect of programmes that keep within so many of each.

Good programmes for fewer minutes and for fewer spells are made from those that a search has met for all of them.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field

import numpy as np

from wearsim.decide.coarse_engine import COARSE, Plan, PlannedSpell, without_pressings, work_of
from wearsim.decide.least_squares import Candidate, Refiner, cost_of, distinct_programmes
from wearsim.decide.limits import Limits
from wearsim.decide.rounding import Rounder
from wearsim.decide.search_problem import ProposalProblem
from wearsim.kernels.arrays import Floats

# Budgets of minutes that are looked into, as shares of what the proposal works. A judgement.
SHARES = (1.0, 5 / 6, 2 / 3, 1 / 2, 1 / 3, 1 / 6)
# Programmes that the search has met and that are tried at a budget, and how many of them are worked over, beside the
# one from the budget next to it; evaluations of the residuals for each of them, and more for the best.
TRIED, REFINED, STEPS, LAST_STEPS, FINE_STEPS = 12, 1, 5, 6, 2
# Evaluations of the wear rates after which no other budget is looked into: half of the long search's.
WORK = 110_000


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
        """The lowest RMS to expect within so many minutes [m].

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


class Budgets:
    """Programmes for several budgets of minutes and numbers of spells.

    From the full budget downwards, each begins with what served the budget next above it, its minutes cut, and with the
    best of what the search met; from the proposal's number of spells downwards, with one spell left out. ``candidates`` are
    round programmes, scored as a proposal's figures are made, ``evaluated`` the minutes looked into by spells [min].
    """

    def __init__(self, problem: ProposalProblem, candidate_plans: list[Candidate], chosen: Plan) -> None:
        self.problem, self.chosen, limits = problem, chosen, problem.limits
        self.candidate_plans = [
            one.plan
            for one in distinct_programmes(candidate_plans, 20 * TRIED)
            if len(without_pressings(one.plan)) <= limits.spells and work_of(one.plan) <= 1.001 * limits.minutes
        ]
        self.candidates = [problem.for_figures().evaluate(chosen)] if without_pressings(chosen) else []
        self.evaluated: dict[int, list[float]] = {}

    def run(self) -> None:
        """Look into every budget; those that time and work allow."""
        if not self.candidates:
            return
        began, most, limits = self._work, work_of(self.chosen), self.problem.limits
        above: dict[float, Plan] = {}
        for spells in range(len(without_pressings(self.chosen)), 0, -1):
            full = limits.minutes if above else most
            budgets = sorted({full, *(m for s in SHARES if limits.shortest <= (m := round(s * most)) < full)})
            nearest: Plan = () if above else self.chosen
            for minutes in reversed(budgets):
                if self._work - began > WORK:
                    return
                if self.problem.clock.leaves_out("what some of the fewer minutes and spells buy"):
                    return
                starts = [nearest] if nearest else []
                if above:
                    starts += _one_less(above.get(minutes, self.chosen), spells)
                nearest = above[minutes] = self._best_within(spells, float(minutes), starts)

    def _best_within(self, spells: int, minutes: float, starts: list[Plan]) -> Plan:
        """The best programme of these minutes and spells."""
        nominal, reporting = self.problem.most_likely(minutes=minutes), self.problem.for_figures(minutes)
        candidate_plans = [plan for plan in self.candidate_plans if len(without_pressings(plan)) <= spells][:TRIED]
        tried = list[Candidate]()
        for plans in (starts, candidate_plans):
            evaluated = map(nominal.attempt, (within(plan, minutes) for plan in plans))
            tried += distinct_programmes([one for one in evaluated if one is not None], REFINED)
        if not tried:
            return ()
        improved = [nominal.improve(one.plan, steps=STEPS) for one in tried]
        best = nominal.improve(min(improved, key=cost_of).plan, steps=LAST_STEPS).plan
        done = self._rounded(best, reporting if self.problem.is_certain else nominal)
        self.evaluated.setdefault(spells, []).append(minutes)
        if without_pressings(done.plan):
            self.candidates.append(done if self.problem.is_certain else reporting.evaluate(done.plan))
        return best

    def _rounded(self, plan: Plan, refiner: Refiner) -> Candidate:
        """The round programme near this one, worked over first where this refiner has not done so."""
        if refiner.nominal.accuracy is not COARSE:
            plan = refiner.improve(plan, steps=FINE_STEPS).plan
        return Rounder(refiner, self.problem.size_step).best_near(plan, rounds=2, sizes_too=True)

    @property
    def _work(self) -> int:
        """Evaluations of the wear rates so far."""
        fine = self.problem.at_full_accuracy().nominal.work if self.problem.is_certain else 0
        return self.problem.nominal.work + fine


def within(plan: Plan, minutes: float) -> Plan:
    """A programme with the minutes of its spells cut, all by the same share, to so many minutes of work [min]."""
    share = min(1.0, minutes / max(work_of(plan), 1e-9))
    return tuple(
        spell if spell.stroke.is_press else PlannedSpell(spell.stroke, share * spell.minutes) for spell in plan
    )


def _one_less(plan: Plan, spells: int) -> list[Plan]:
    """The programme with at most so many spells: itself, or it without each of them."""
    if len(without_pressings(plan)) <= spells:
        return [plan]
    return [(*plan[:i], *plan[i + 1 :]) for i, spell in enumerate(plan) if not spell.stroke.is_press]
