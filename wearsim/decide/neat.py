"""Programmes that a person can work: sizes to a hundredth of the diameter, whole minutes, no spell too short."""

from __future__ import annotations

from dataclasses import replace

from wearsim.decide.library import Shape, is_allowed
from wearsim.decide.objective import Objective
from wearsim.decide.refine import Judged, Refiner
from wearsim.decide.trial import Trials, Trying

SIZES = ("length", "sweep", "overhang")
SIZE_STEP = 0.01
# An improvement below this is not worth another look [1].
WORTH_IT = 1e-3


def rounded(programme: tuple[Trying, ...], objective: Objective, trials: Trials) -> tuple[Trying, ...]:
    """Sizes to a hundredth of the diameter, minutes to whole ones, too short spells dropped."""
    limits = objective.limits
    out = []
    for tried in programme:
        shape = tried.shape
        neat = Shape(
            shape.on_top, shape.lap, shape.kind, round(shape.length, 2), round(shape.sweep, 2),
            round(shape.overhang, 2),
        )  # fmt: skip
        while not is_allowed(neat, trials.bench, limits) and neat.length > 0.05:
            neat = _smaller(neat)
        minutes = float(round(tried.minutes))
        if minutes >= limits.shortest:
            out.append(Trying(neat, minutes))
    while sum(t.minutes for t in out) > limits.minutes:
        longest = max(range(len(out)), key=lambda i: out[i].minutes)
        out[longest] = Trying(out[longest].shape, out[longest].minutes - 1.0)
    return tuple(t for t in out if t.minutes >= limits.shortest)


def _smaller(shape: Shape) -> Shape:
    """A hundredth of the diameter less in every size."""
    sizes = {name: max(0.0, round(getattr(shape, name) - SIZE_STEP, 2)) for name in SIZES}
    return replace(shape, **sizes)


class Settler:
    """Takes a programme to the best neat one near it, one change at a time.

    Parameters
    ----------
    refiner : Refiner
        Judges.
    objective : Objective
    trials : Trials
    """

    def __init__(self, refiner: Refiner, objective: Objective, trials: Trials) -> None:
        self.refiner, self.objective, self.trials = refiner, objective, trials

    def settle(self, programme: tuple[Trying, ...], *, rounds: int = 6, sizes_too: bool = False) -> Judged:
        """The best neat programme near this one.

        Parameters
        ----------
        programme : tuple of Trying
        rounds : int
            Changes at most.
        sizes_too : bool
            Whether sizes may change as well as minutes.
        """
        best = self.refiner.judge(rounded(programme, self.objective, self.trials))
        for _ in range(rounds):
            tried = [self.refiner.judge(other) for other in self._neighbours(best.programme, sizes_too)]
            better = min(tried, key=lambda one: one.score.cost, default=best)
            if better.score.cost >= best.score.cost * (1.0 - WORTH_IT):
                break
            best = better
        return best

    def _neighbours(self, programme: tuple[Trying, ...], sizes_too: bool) -> list[tuple[Trying, ...]]:
        limits = self.objective.limits
        total = sum(tried.minutes for tried in programme)
        out = []
        for i, tried in enumerate(programme):
            others = [
                Trying(tried.shape, tried.minutes + change)
                for change in (-2.0, -1.0, 1.0, 2.0)
                if tried.minutes + change >= limits.shortest and total + change <= limits.minutes
            ]
            if sizes_too:
                others += [Trying(shape, tried.minutes) for shape in self._sizes(tried.shape)]
            out += [(*programme[:i], other, *programme[i + 1 :]) for other in others]
            out.append((*programme[:i], *programme[i + 1 :]))
        return out

    def _sizes(self, shape: Shape) -> list[Shape]:
        """One size a hundredth more or less, where the stroke has that size and stays allowed."""
        out = []
        for name in SIZES:
            for step in (-SIZE_STEP, SIZE_STEP):
                value = round(getattr(shape, name) + step, 2)
                if getattr(shape, name) > 0.0 and value > 0.0:
                    other = shape.with_size(name, value)
                    if is_allowed(other, self.trials.bench, self.objective.limits):
                        out.append(other)
        return out
