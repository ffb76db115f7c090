"""Whole minutes first, then sizes that make up for them, then the neat sizes that do it best.

A minute is a coarse step: what rounding it takes away or adds, the sizes can often give back. So for the most
promising choices of whole minutes, by the slopes, the sizes are brought down again by least squares, and of all ways of
rounding every size up or down those that the slopes promise most of are worked.
"""

from __future__ import annotations

from collections.abc import Callable
from itertools import islice, product

import numpy as np

from wearsim.decide.clock import TimeUp
from wearsim.decide.refine import Judged, Problem, Refiner
from wearsim.decide.trial import Trying
from wearsim.errors import ContactError
from wearsim.wear.grid import Array

Programme = tuple[Trying, ...]

# Choices of whole minutes whose sizes are brought down; evaluations of the residuals in each.
CHOICES, STEPS = 3, 3
# Ways of rounding the sizes that are worked for each, and those looked at for allowed ones.
WORKED, LOOKED_AT = 4, 200
# Sizes free to be rounded either way: with more, those that matter least are rounded to the nearest.
EITHER_WAY = 12
# Damping of the sizes' answer to whole minutes, as a share of the largest slope.
_DAMPING = 1e-3


def whole_minutes(refiner: Refiner, programme: Programme) -> list[Programme]:
    """Programmes of whole minutes near one, sizes brought down anew, not yet neat.

    Parameters
    ----------
    refiner : Refiner
    programme : tuple of Trying

    Raises
    ------
    ContactError
    TimeUp
    """
    problem = Problem(refiner, programme, "all")
    rest, slopes = problem.residuals(problem.start), problem.slopes(problem.start)
    timed = np.array([name == "minutes" for _, name in problem.keys])
    limits = refiner.objective.limits
    exact = problem.start[timed]
    sized = slopes[:, ~timed] * problem.scale[~timed]
    damped = np.vstack([sized, _DAMPING * np.linalg.norm(sized, axis=0).max() * np.eye(sized.shape[1])])
    promised = list[tuple[float, Array]]()
    for minutes in product(*({np.floor(m), np.ceil(m)} for m in exact)):
        whole = np.array(minutes)
        if whole.sum() > limits.minutes or np.any(whole < limits.shortest):
            continue
        left = rest + slopes[:, timed] @ (whole - exact)
        move = np.linalg.lstsq(damped, -np.append(left, np.zeros(sized.shape[1])), rcond=None)[0]
        x = problem.start.copy()
        x[timed] = whole
        x[~timed] += problem.scale[~timed] * move
        inside = np.clip(x, *problem.bounds)
        inside[timed] = whole
        promised.append((float(np.linalg.norm(rest + slopes @ (inside - problem.start))), inside))
    promised.sort(key=lambda item: item[0])
    best = [problem.programme(x) for _, x in promised[:CHOICES]]
    return [refiner.improve(one, steps=STEPS, free="sizes").programme for one in best]


def neat_sizes(refiner: Refiner, programme: Programme, step: float) -> list[Programme]:
    """Ways of rounding every size up or down, the most promising by the slopes first.

    Parameters
    ----------
    refiner : Refiner
    programme : tuple of Trying
        Of whole minutes.
    step : float
        Of the sizes, in diameters [1].

    Raises
    ------
    ContactError
    TimeUp
    """
    problem = Problem(refiner, programme, "sizes")
    if not problem.keys:
        return [programme]
    rest, slopes = problem.residuals(problem.start), problem.slopes(problem.start) * step
    exact = problem.start / step
    near = np.round(exact)
    ways = np.tile(near, (1, 1))
    for i in np.argsort(-np.linalg.norm(slopes, axis=0))[:EITHER_WAY]:
        other = ways.copy()
        other[:, i] = np.floor(exact[i]) + np.ceil(exact[i]) - near[i]
        ways = np.unique(np.vstack([ways, other]), axis=0)
    squares = np.sum((rest[:, None] + slopes @ (ways - exact).T) ** 2, axis=0)
    order = np.argsort(squares, kind="stable")[:LOOKED_AT]
    return [problem.programme(np.round(step * ways[i], 4)) for i in order]


def settled_whole(
    refiner: Refiner, programme: Programme, step: float, is_neat: Callable[[Programme], bool]
) -> list[Judged]:
    """Neat programmes near one, judged.

    Parameters
    ----------
    refiner : Refiner
    programme : tuple of Trying
    step : float
        Of the sizes, in diameters [1].
    is_neat : callable
        Whether a programme keeps the limits.
    """
    out = list[Judged]()
    try:
        for whole in whole_minutes(refiner, programme):
            ways = (one for one in neat_sizes(refiner, whole, step) if is_neat(one))
            for one in islice(ways, WORKED):
                refiner.clock.check()
                out.append(refiner.judge(one))
    except (ContactError, TimeUp):
        pass
    return out
