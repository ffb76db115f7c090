"""Random programmes to climb from, as many of every order of the pieces on top."""

from __future__ import annotations

from itertools import product

import numpy as np

from wearsim.decide.library import Shape
from wearsim.decide.limits import Limits
from wearsim.decide.trial import Trying

# With more spells than this the orders are too many to look at each.
MOST_ORDERS = 8


def scouts(
    candidates: tuple[Shape, ...], limits: Limits, count: int, seed: tuple[int, ...]
) -> list[list[tuple[Trying, ...]]]:
    """Random programmes, a list for every order of the pieces on top.

    Parameters
    ----------
    candidates : tuple of Shape
        Strokes to draw from.
    limits : Limits
        Every programme has ``limits.spells`` spells and at most ``limits.minutes``.
    count : int
        Programmes in all, about.
    seed : tuple of int

    Returns
    -------
    list of lists of programmes
    """
    rng = np.random.default_rng(seed)
    by_top = {top: [shape for shape in candidates if shape.on_top == top] for top in limits.on_top}
    tops = [top for top in limits.on_top if by_top[top]]
    orders = list(product(tops, repeat=limits.spells))
    if len(orders) > MOST_ORDERS:
        orders = [orders[i] for i in rng.choice(len(orders), MOST_ORDERS, replace=False)]
    each = -(-count // max(1, len(orders)))
    return [
        [_programme([by_top[top] for top in order], limits, rng) for _ in range(each)] for order in orders
    ]


def _programme(choices: list[list[Shape]], limits: Limits, rng: np.random.Generator) -> tuple[Trying, ...]:
    """One stroke out of each list; minutes that use a third of the budget or more."""
    minutes = rng.dirichlet(np.ones(len(choices))) * limits.minutes * rng.uniform(0.3, 1.0)
    return tuple(
        Trying(some[rng.integers(len(some))], float(one)) for some, one in zip(choices, minutes, strict=True)
    )
