"""Observed order of the time stepping, and convergence with the grids."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from scipy.interpolate import CubicSpline

from tests.benchmarks import accuracy_table
from tests.helpers.workbench import STEADY, make_bench, make_spell, start, work_spell
from wearsim.wear.accuracy import DEFAULT, Accuracy


def gentle() -> tuple[Any, Any, Any]:
    """A shallow figure on soft pitch: the lap touches all over, all the time."""
    bench = make_bench(conic=0.0, hands=STEADY, stiffness=2e9, start="spherical")
    return bench, make_spell("straight", minutes=20.0, length=0.2), lambda t: 40e-9 * np.cos(6.0 * t)


def patchy() -> tuple[Any, Any, Any]:
    """A deep figure on stiff pitch: patches come and go."""
    bench = make_bench(conic=0.0, hands=STEADY, stiffness=1e10, start="spherical")
    return bench, make_spell("straight", minutes=10.0, length=0.4), lambda t: 400e-9 * np.cos(9.0 * t)


def removal(case: tuple[Any, Any, Any], accuracy: Accuracy) -> tuple[Any, Any, Any]:
    bench, spell, error = case
    state = start(bench, accuracy, error=error, conic=0.0)
    after, report = work_spell(bench, spell, state, accuracy=accuracy)
    return state.radius, state.height - after.height, report


def errors(case: tuple[Any, Any, Any], counts: tuple[int, ...]) -> Any:
    """RMS error of the removal with so many equal steps, against many more."""
    _, exact, report = removal(case, replace(DEFAULT, steps=16 * counts[-1]))
    found = [removal(case, replace(DEFAULT, steps=n))[1] for n in counts]
    return np.array([np.sqrt(np.mean((f - exact) ** 2)) for f in found]), report.lift_off_share


def test_third_order_where_the_lap_touches_all_over() -> None:
    counts = (8, 16, 32)
    left, lifted = errors(gentle(), counts)
    assert lifted == 0.0
    slopes = np.log2(left[:-1] / left[1:])
    assert np.all(slopes >= 2.5), slopes
    assert slopes.mean() == pytest.approx(3.0, abs=0.3)


def test_second_order_at_least_where_contact_is_patchy() -> None:
    # every node that begins or ceases to touch is a kink in time
    counts = (8, 16, 32, 64)
    left, lifted = errors(patchy(), counts)
    assert lifted > 0.05
    slope = -np.polyfit(np.log2(counts), np.log2(left), 1)[0]
    assert slope >= 1.8, left


def test_error_control_keeps_what_it_promises() -> None:
    for case in (gentle(), patchy()):
        _, exact, _ = removal(case, replace(DEFAULT, steps=512))
        was = np.inf
        for tolerance in (2e-2, 2e-3, 2e-4):
            _, found, report = removal(case, replace(DEFAULT, tolerance=tolerance))
            apart = np.abs(found - exact).max()
            assert apart <= tolerance * report.steps * exact.mean()
            assert apart < was
            was = apart


def test_converges_with_the_grids() -> None:
    bench = make_bench()
    spell = make_spell("w", "mirror", length=0.6, side_sweep=0.2)

    def ring(t: Any) -> Any:
        return 250e-9 * np.exp(-(((t - 0.82) / 0.10) ** 2))

    coarse = replace(DEFAULT.refined(0.5), draws=256, phases=48)
    found = []
    for factor in (1.0, 2.0, 4.0):
        accuracy = replace(coarse.refined(factor), draws=512, phases=48, tolerance=3e-4)
        radius, removed, _ = removal((bench, spell, ring), accuracy)
        found.append(CubicSpline(radius, removed)(np.linspace(0.0, 0.15, 61)))
    apart = [np.abs(f - found[-1]).max() / np.ptp(found[-1]) for f in found[:-1]]
    assert apart[1] < 0.6 * apart[0]
    assert apart[1] < 5e-3


def test_default_accuracy_on_diverse_benches() -> None:
    """The promise of docs/performance.md: half a per cent of the removal's range, worst radius."""
    finer = replace(accuracy_table.CONVERGED, glass_rings=96, pitch_rings=96, offsets=48, draws=1024)
    for case in accuracy_table.cases()[::3]:
        largest, rms = accuracy_table.error(case, DEFAULT, accuracy_table.removal(case, finer))
        assert largest <= 5.5e-3, case.name
        assert rms <= 3e-3, case.name
