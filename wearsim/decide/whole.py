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
from wearsim.decide.problem import Nearby, Problem
from wearsim.decide.refine import Judged, Refiner
from wearsim.decide.trial import Trying
from wearsim.errors import ContactError

Programme = tuple[Trying, ...]

# Choices of whole minutes whose sizes are brought down; evaluations of the residuals in each.
CHOICES, STEPS = 4, 6
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
    from scipy.optimize import lsq_linear  # slow to import

    timed, sized = Nearby(refiner, programme, "minutes"), Problem(refiner, programme, "sizes")
    rest, by_minutes = timed.residuals(timed.start), timed.slopes(timed.start)
    begin = sized.start
    by_sizes = sized.slopes(begin) if begin.size else np.zeros((rest.size, 0))
    damped = np.vstack(
        [by_sizes, _DAMPING * np.linalg.norm(by_sizes, axis=0).max(initial=0.0) * np.eye(begin.size)]
    )
    bounds = (sized.bounds[0] - begin, sized.bounds[1] - begin)
    limits = refiner.objective.limits
    exact = timed.start
    promised = list[tuple[float, Programme]]()
    for minutes in product(*({np.floor(m), np.ceil(m)} for m in exact)):
        whole = np.array(minutes)
        if whole.sum() > limits.minutes or np.any(whole < limits.shortest):
            continue
        left = rest + by_minutes @ (whole - exact)
        move = np.zeros(begin.size)
        if begin.size:
            move = lsq_linear(damped, -np.append(left, move), bounds).x
        of_sizes = sized.programme(begin + move)
        one = Nearby(refiner, of_sizes, "minutes").programme(whole)
        promised.append((float(np.linalg.norm(left + by_sizes @ move)), one))
    promised.sort(key=lambda item: item[0])
    return [refiner.improve(one, steps=STEPS, free="sizes").programme for _, one in promised[:CHOICES]]


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
    problem = Nearby(refiner, programme, "sizes")
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
