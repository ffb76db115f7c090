"""Which few strokes, by their responses alone: all singles and pairs, and the best triples that grow from them.

A response is the coupled engine's removal of one stroke from the present state, per minute, averaged over a
spell of some length: the lap's flow under that stroke is in it, the effect of the other spells is not.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from wearsim.wear.grid import Array


@dataclass(frozen=True)
class Mix:
    """Columns and their minutes, and the sum of squares that the responses predict [m^2]."""

    columns: tuple[int, ...]
    minutes: tuple[float, ...]
    squares: float


def _singles(gram: Array, lean: Array, budget: float) -> tuple[Array, Array]:
    """Minutes of each column alone, and how much of the sum of squares it takes away."""
    minutes: Array = np.clip(lean / np.diag(gram), 0.0, budget)
    gain: Array = 2.0 * lean * minutes - np.diag(gram) * minutes**2
    return minutes, gain


def _pairs(gram: Array, lean: Array, budget: float) -> tuple[Array, Array, Array]:
    """Minutes of the first and the second column of every pair (N, N), and what they take away."""
    own = np.diag(gram)
    det = own[:, None] * own - gram**2
    safe = np.where(det > 1e-9 * own[:, None] * own, det, np.inf)
    first = (own * lean[:, None] - gram * lean) / safe
    second = (own[:, None] * lean - gram * lean[:, None]) / safe
    over = first + second > budget
    # on the budget's edge: x1 + x2 = M
    curve = own[:, None] + own - 2.0 * gram
    edge = (lean[:, None] - lean + budget * (own - gram)) / np.where(curve > 0.0, curve, np.inf)
    first = np.where(over, edge, first)
    second = np.where(over, budget - edge, second)
    good = (first > 0.0) & (second > 0.0)
    first, second = np.where(good, first, 0.0), np.where(good, second, 0.0)
    gain = 2.0 * (lean[:, None] * first + lean * second)
    gain -= own[:, None] * first**2 + own * second**2 + 2.0 * gram * first * second
    return np.asarray(first), np.asarray(second), np.asarray(np.where(good, gain, -np.inf))


def _third(gram: Array, lean: Array, pair: tuple[int, int], budget: float) -> tuple[Array, Array]:
    """For a pair and every third column: minutes (N, 3) and what they take away (N,)."""
    count = lean.size
    matrix = np.empty((count, 3, 3))
    rows = np.array(pair)
    matrix[:, :2, :2] = gram[np.ix_(rows, rows)]
    matrix[:, :2, 2] = matrix[:, 2, :2] = gram[:, rows]
    matrix[:, 2, 2] = np.diag(gram)
    matrix += 1e-9 * np.trace(matrix, axis1=1, axis2=2)[:, None, None] * np.eye(3)
    right = np.empty((count, 3, 1))
    right[:, :2, 0] = lean[rows]
    right[:, 2, 0] = lean
    minutes = np.linalg.solve(matrix, right)[:, :, 0]
    total = minutes.sum(axis=1)
    minutes *= np.where(total > budget, budget / np.where(total > 0.0, total, 1.0), 1.0)[:, None]
    gain = 2.0 * np.einsum("ij,ij->i", right[:, :, 0], minutes)
    gain -= np.einsum("ij,ijk,ik->i", minutes, matrix, minutes)
    return np.asarray(minutes), np.asarray(np.where((minutes > 0.0).all(axis=1), gain, -np.inf))


def _unlike(mixes: list[Mix], group: NDArray[np.int_], most: int) -> list[Mix]:
    """The best ``most`` mixes, no two of the same groups of strokes."""
    seen: set[tuple[int, ...]] = set()
    kept = []
    for mix in sorted(mixes, key=lambda one: one.squares):
        key = tuple(sorted(int(group[c]) for c in mix.columns))
        if key not in seen:
            seen.add(key)
            kept.append(mix)
        if len(kept) == most:
            break
    return kept


def best_mixes(
    responses: Array,
    target: Array,
    spread: float,
    budget: float,
    spells: int,
    group: NDArray[np.int_],
    most: int = 20,
) -> list[Mix]:
    """Best mixes of one, two and three strokes by their responses.

    Parameters
    ----------
    responses : (N, q) ndarray
        Removal per minute of each column, in rows whose norm is the RMS [m/min].
    target : (q,) ndarray
        Removal wanted, in the same rows [m].
    spread : float
        Relative spread of each stroke's removal [1]; makes large removals that cancel dear.
    budget : float
        Minutes in all [min].
    spells : int
        Columns at most; beyond three the triples stand for themselves.
    group : (N,) int ndarray
        Columns of the same group count as the same stroke when kinds of answer are told apart.
    most : int
        Mixes kept of each size.

    Returns
    -------
    list of Mix
    """
    gram = responses @ responses.T
    gram[np.diag_indices_from(gram)] *= 1.0 + spread**2
    lean = responses @ target
    whole = float(target @ target)
    minutes, gain = _singles(gram, lean, budget)
    order = np.argsort(-gain)[: 4 * most]
    singles = [Mix((int(i),), (float(minutes[i]),), whole - float(gain[i])) for i in order if minutes[i] > 0]
    found = _unlike(singles, group, most)
    if spells < 2:
        return found
    first, second, gain = _pairs(gram, lean, budget)
    gain[np.tril_indices_from(gain)] = -np.inf
    flat = np.argpartition(-gain, min(40 * most, gain.size - 1), axis=None)[: 40 * most]
    pairs = []
    for i, j in zip(*np.unravel_index(flat, gain.shape), strict=True):
        if np.isfinite(gain[i, j]) and group[i] != group[j]:
            both = (float(first[i, j]), float(second[i, j]))
            pairs.append(Mix((int(i), int(j)), both, whole - float(gain[i, j])))
    pairs = _unlike(pairs, group, 2 * most)
    found += pairs[:most]
    if spells < 3:
        return found
    triples = []
    for pair in pairs:
        i, j = pair.columns
        minutes3, gain3 = _third(gram, lean, (i, j), budget)
        gain3[(group == group[i]) | (group == group[j])] = -np.inf
        for k in np.argsort(-gain3)[:6]:
            if np.isfinite(gain3[k]):
                times = tuple(float(m) for m in minutes3[k])
                triples.append(Mix((i, j, int(k)), times, whole - float(gain3[k])))
    return found + _unlike(triples, group, most)
