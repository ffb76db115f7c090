"""Good programmes for fewer minutes and for fewer spells, from those that a search has found for all of them."""

from __future__ import annotations

from wearsim.decide.neat import Settler
from wearsim.decide.refine import Judged, Refiner, distinct
from wearsim.decide.situation import Situation
from wearsim.decide.trial import COARSE, Trying, worked
from wearsim.errors import ContactError

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

    def _best_within(
        self, spells: int, minutes: float, begins: list[tuple[Trying, ...]]
    ) -> tuple[Trying, ...]:
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
    return [
        (*programme[:i], *programme[i + 1 :]) for i, tried in enumerate(programme) if not tried.shape.is_press
    ]
