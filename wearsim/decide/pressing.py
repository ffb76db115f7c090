"""Whether a programme is better with a cold pressing in it, and where.

A pressing lets the lap follow the glass as it now is. It moves no glass and counts no minutes of work, but it is a
thing more to do: it must lower the cost clearly.
"""

from __future__ import annotations

import numpy as np

from wearsim.bench.lap import Lap
from wearsim.decide.library import Shape
from wearsim.decide.limits import Limits
from wearsim.decide.neat import Settler
from wearsim.decide.refine import Judged
from wearsim.decide.trial import Trials, Trying
from wearsim.wear.state import State, lap_name

# Lengths of a pressing that are tried [min]. Judgements.
PRESSINGS = (5.0, 15.0)
# A pressing must lower the cost by this share. A judgement.
WORTH_PRESSING = 0.05
# A lap fits the glass where a pressing would move its pitch by less than this share of what the load presses it in.
# A judgement.
FITS = 0.1


def first_press(limits: Limits, lap: Lap) -> Trying:
    """The pressing of a lap before any stroke."""
    return Trying(Shape(limits.on_top[0], lap.name, "press", 0.0), PRESSINGS[-1])


def is_misfit(start: State, press: Trying, trials: Trials) -> bool:
    """Whether a pressing would change the shape of a lap enough to matter.

    Parameters
    ----------
    start : State
    press : Trying
    trials : Trials
    """
    lap = trials.bench.lap(press.shape.lap)
    name = lap_name(lap)
    moved = trials.after(start, press).laps[name].height - start.laps[name].height
    load = trials.bench.load_on("tool" if press.shape.on_top == "tool" else "mirror", lap)
    give = load / (np.pi * min(trials.bench.mirror.radius, lap.radius) ** 2 * lap.stiffness)
    return float(np.std(moved)) > FITS * give / trials.constants.stiffness


def with_pressing(found: list[Judged], settler: Settler, *, sizes_too: bool = False) -> list[Judged]:
    """The cheapest programme with the pressing that helps it most, its minutes worked over.

    Parameters
    ----------
    found : list of Judged
        Neat programmes.
    settler : Settler
    sizes_too : bool
        Whether sizes may change as well as minutes.

    Returns
    -------
    list of Judged
        One programme, or none where no pressing helps clearly.
    """
    best = min(found, key=lambda one: one.score.cost, default=None)
    if best is None:
        return []
    programme = best.programme
    top = settler.objective.limits.on_top[0]
    tried = [
        settler.refiner.judge((*programme[:place], Trying(_press(top, before), minutes), *programme[place:]))
        for place, before in enumerate(programme)
        for minutes in PRESSINGS
    ]
    promising = min(tried, key=lambda one: one.score.cost, default=best)
    if promising.score.cost >= best.score.cost:
        return []
    pressed = settler.settle(promising.programme, sizes_too=sizes_too)
    return [pressed] if pressed.score.cost <= (1.0 - WORTH_PRESSING) * best.score.cost else []


def _press(on_top: str, before: Trying) -> Shape:
    """A pressing of the lap that the spell after it uses."""
    return Shape(on_top, before.shape.lap, "press", 0.0)
