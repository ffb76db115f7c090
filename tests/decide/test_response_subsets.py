"""Few strokes by their responses: against every subset, worked by non-negative least squares."""

from __future__ import annotations

import itertools

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.optimize import nnls

from wearsim.decide.response_search import Mix, best_mixes

NO_BUDGET = 1e6


def problem(seed: int, count: int = 9, rows: int = 6) -> tuple[np.ndarray, np.ndarray]:
    rng = np.random.default_rng(seed)
    return rng.normal(size=(count, rows)) + 0.5, rng.normal(size=rows) + 0.5


def squares_of(responses: np.ndarray, target: np.ndarray, spread: float, mix: Mix) -> float:
    """Misfit, and the spread of each spell's own removal."""
    parts = np.array(mix.minutes)[:, None] * responses[list(mix.columns)]
    return float(np.sum((target - parts.sum(axis=0)) ** 2) + spread**2 * np.sum(parts**2))


def brute(responses: np.ndarray, target: np.ndarray, spread: float, size: int, budget: float) -> float:
    """Least sum of squares over every subset of a size; a budget is held by a heavy row where it binds."""
    best = float(target @ target)
    for subset in itertools.combinations(range(len(responses)), size):
        chosen = responses[list(subset)].T
        own = spread * np.diag(np.linalg.norm(chosen, axis=0))
        rows = np.vstack([chosen, own])
        right = np.concatenate([target, np.zeros(size)])
        minutes, left = nnls(rows, right)
        if minutes.sum() > budget:
            heavy = 1e5
            held = np.vstack([rows, np.full(size, heavy)])
            minutes, _ = nnls(held, np.append(right, heavy * budget))
            left = float(np.linalg.norm(rows @ minutes - right))
        best = min(best, left**2)
    return best


@settings(max_examples=40)
@given(seed=st.integers(0, 10_000), spread=st.sampled_from([0.0, 0.1, 0.5]), size=st.integers(1, 2))
def test_singles_and_pairs_are_the_best_there_are(seed: int, spread: float, size: int) -> None:
    responses, target = problem(seed)
    found = best_mixes(responses, target, spread, NO_BUDGET, size, np.arange(len(responses)))
    least = min([mix.squares for mix in found], default=float(target @ target))
    assert least == pytest.approx(brute(responses, target, spread, size, NO_BUDGET), rel=1e-6, abs=1e-9)


@settings(max_examples=25)
@given(seed=st.integers(0, 10_000), budget=st.floats(0.05, 1.5))
def test_pairs_within_a_budget(seed: int, budget: float) -> None:
    responses, target = problem(seed)
    found = best_mixes(responses, target, 0.1, budget, 2, np.arange(len(responses)))
    least = min([mix.squares for mix in found], default=float(target @ target))
    assert all(sum(mix.minutes) <= budget * (1.0 + 1e-9) for mix in found)
    assert least == pytest.approx(brute(responses, target, 0.1, 2, budget), rel=1e-5, abs=1e-8)


def test_triples_are_nearly_always_the_best() -> None:
    """Triples grow from the best pairs, a heuristic: the best of all in most small problems, never beyond it."""
    hits = 0
    for seed in range(40):
        responses, target = problem(seed)
        found = best_mixes(responses, target, 0.1, NO_BUDGET, 3, np.arange(len(responses)))
        least = min([mix.squares for mix in found], default=float(target @ target))
        truth = brute(responses, target, 0.1, 3, NO_BUDGET)
        assert least >= truth * (1.0 - 1e-6)
        hits += least <= truth * 1.01 + 1e-9
    assert hits >= 36


@settings(max_examples=30)
@given(seed=st.integers(0, 10_000), spells=st.integers(1, 3))
def test_what_a_mix_says_of_itself_is_true(seed: int, spells: int) -> None:
    responses, target = problem(seed, count=14)
    group = np.arange(14) // 2
    budget = 0.7
    for mix in best_mixes(responses, target, 0.2, budget, spells, group):
        assert 1 <= len(mix.columns) <= spells
        assert min(mix.minutes) >= 0.0 and sum(mix.minutes) <= budget * (1.0 + 1e-9)
        assert len({int(group[c]) for c in mix.columns}) == len(mix.columns)
        assert mix.squares == pytest.approx(squares_of(responses, target, 0.2, mix), rel=1e-5, abs=1e-7)


def test_no_two_mixes_of_the_same_strokes() -> None:
    responses, target = problem(3, count=16)
    group = np.arange(16) // 2
    found = best_mixes(responses, target, 0.1, NO_BUDGET, 3, group)
    keys = [tuple(sorted(int(group[c]) for c in mix.columns)) for mix in found]
    assert len(keys) == len(set(keys))
