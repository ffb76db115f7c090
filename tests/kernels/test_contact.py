"""Balance of force and moments: to 1e-9, from any start, and never a number without it."""

from __future__ import annotations

from functools import cache
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tests.helpers import kernel_twins as twins
from tests.helpers.flat_lap import flat_contact
from wearsim.errors import ContactError
from wearsim.kernels.contact import balance
from wearsim.kernels.quadrature import area_nodes
from wearsim.wear.radial.path_weights import load_cases
from wearsim.wear.radial.tipping import balanced_offset
from wearsim.wear.state import gauss_table

A = 0.15
COUNTS = (12, 12)


@cache
def farthest(b: float, hole: float, lead: float, push: tuple[float, float], top: bool) -> float:
    """Farthest offset at which the nodes can balance the load, 0 where there is none."""
    cases = load_cases(lead, push)
    gains = (0.0, 0.3)  # with the edge effect the nodes lie otherwise
    return min(balanced_offset(A, hole, b, top, cases, g, 0.005, COUNTS) for g in gains)


@st.composite
def contacts(draw: Any) -> dict[str, Any]:
    """A contact of any kind: sizes, hole, load, edge effect, misfit of many times the load's own compression."""
    b = A * draw(st.sampled_from([0.3, 0.6, 0.85, 1.0, 1.2]))
    hole = A * draw(st.sampled_from([0.0, 0.0, 0.15]))
    lead, push = draw(st.sampled_from([(0.0, (0.0, 0.0)), (0.005, (0.0, 0.0)), (0.0, (0.01, -0.006))]))
    top = draw(st.booleans())
    gain = draw(st.sampled_from([0.0, 0.3, 1.5]))
    cases = load_cases(lead, push)
    far = farthest(b, hole, lead, push, top)
    e = far * draw(st.sampled_from([0.0, 0.1, 0.5, 0.8, 0.95, 1.0]))
    x, y, area, _ = nodes = [np.empty(8000) for _ in range(4)]
    n = area_nodes(A, hole, b, e, gain, 0.005, *COUNTS, gauss_table(), *nodes)
    x, y, area = (v[:n].copy() for v in (x, y, area))
    seed = draw(st.integers(0, 2**32 - 1))
    high = 10.0 ** draw(st.floats(-8.0, -3.0))
    return {
        "nodes": (x, y, area, misfit(np.hypot(x, y), np.hypot(x - e, y), high, seed)),
        "load": cases.position[seed % len(cases.position)] + [e if top else 0.0, 0.0],
        "kappa": 10.0 ** draw(st.floats(9.0, 11.0)),
        "force": draw(st.floats(5.0, 500.0)),
        "stands": far > 0.0,
    }


def misfit(r: Any, rho: Any, high: float, seed: int) -> Any:
    """A random round glass and a random round lap together [m]."""
    rng = np.random.default_rng(seed)
    waves, phases = rng.uniform(2.0, 60.0, 4), rng.uniform(0.0, 6.0, 4)
    return high * sum(np.cos(k * s / A + f) for k, f, s in zip(waves, phases, (r, rho, r, rho), strict=True))


def solve(c: dict[str, Any], pose: Any = None) -> tuple[Any, int, float]:
    x, y, area, height = c["nodes"]
    full = 2.0 * np.array([
        area.sum(), area @ x, area @ x**2, area @ y**2, area @ height, (area * x) @ height,
    ])  # fmt: skip
    found = np.zeros(3) if pose is None else np.array(pose, dtype=float)
    steps, left = balance(
        x, y, area, height, full, c["kappa"], c["force"], *map(float, c["load"]), A, pose is None, found
    )
    return found, steps, left


@settings(max_examples=200)
@given(contacts())
def test_force_and_both_moments_balance(c: dict[str, Any]) -> None:
    if not c["stands"]:
        return
    pose, steps, left = solve(c)
    assert steps >= 0
    assert left < 1e-9
    # the sums anew, in NumPy, from the pose alone
    assert twins.imbalance(c["nodes"], pose, c["kappa"], c["force"], c["load"], A) < 1e-9


@settings(max_examples=60)
@given(contacts(), st.integers(0, 2**32 - 1))
def test_same_pressures_from_any_start(c: dict[str, Any], seed: int) -> None:
    if not c["stands"]:
        return
    x, y, _, height = c["nodes"]
    pose, _, _ = solve(c)
    rng = np.random.default_rng(seed)
    spread = np.ptp(height) + c["force"] / (c["kappa"] * A**2)
    start = pose + 10.0 ** rng.uniform(-2.0, 2.0) * spread * rng.standard_normal(3) / [1.0, A, A]
    other, steps, left = solve(c, start)
    assert steps >= 0
    assert left < 1e-9
    first, second = (twins.gaps(x, y, height, q) for q in (pose, other))
    assert np.abs(first - second).max() <= 1e-6 * first.max()


@settings(max_examples=12)
@given(contacts())
def test_balance_is_the_least_energy(c: dict[str, Any]) -> None:
    # a general minimiser, on misfits that it can manage
    x, y, area, height = c["nodes"]
    scale = c["force"] / (c["kappa"] * A**2)
    c["nodes"] = (x, y, area, height * scale / max(np.abs(height).max(), 1e-30))
    if not c["stands"] or np.hypot(*c["load"]) > 0.6 * A:
        return
    pose, steps, _ = solve(c)
    assert steps >= 0
    twin = twins.balance(c["nodes"], c["kappa"], c["force"], c["load"], A)
    first, second = (twins.gaps(x, y, c["nodes"][3], q) for q in (pose, twin))
    assert np.abs(first - second).max() <= 2e-5 * first.max()


@settings(max_examples=30)
@given(st.floats(0.4, 1.2), st.floats(1.001, 2.0), st.floats(0.1, 6.2))
def test_load_outside_the_contact_is_an_error(ratio: float, beyond: float, azimuth: float) -> None:
    # concentric: the contact is the smaller disc
    far = beyond * min(1.0, ratio) * A
    with pytest.raises(ContactError):
        flat_contact(A, ratio * A, 0.0, 70.0, (far * np.cos(azimuth), far * np.sin(azimuth)))
