"""Creep and wear against a dense grid that has nothing of the engine's nodes, and the published ripple."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from scipy.integrate import trapezoid
from scipy.optimize import root

from tests.helpers.kernel_twins import stroke_places
from tests.helpers.workbench import STEADY, make_bench, make_spell, pitch_of, start, work_spell
from wearsim.bench.bench import Wear
from wearsim.figure.conic import Conic
from wearsim.wear.accuracy import DEFAULT
from wearsim.wear.constants import Constants

A, BIG = 0.15, 3.0


def glass(r: Any) -> Any:
    return Conic(BIG).departure(r) + 250e-9 * np.exp(-(((r / A - 0.82) / 0.10) ** 2))


def dense_rates(at: Any, force: float, kappa: float) -> tuple[Any, Any]:
    """Path-mean pressure on rings of the glass and time-mean pressure on rings of the lap, at the start [Pa].

    The stroke is walked; at each offset the force and the moment are summed over an even square grid (2 mm) and
    balanced by a general root finder; ring means are plain means over 721 angles.
    """
    places = stroke_places("w", 0.15, 0.06, 0.0, 8.0, 16, 40, np.random.default_rng(0), (0.0, 0.0)).reshape(-1, 2)
    speed = np.hypot(*np.gradient(places, axis=0).T)
    e = np.hypot(*places.T)
    table = np.linspace(0.0, e.max(), 40)
    x, y = (v.ravel() for v in np.meshgrid(*[np.arange(-A, A + 1e-9, 0.002)] * 2))
    turn = np.linspace(0.0, np.pi, 721)
    on_glass, on_lap = np.empty((40, at.size)), np.empty((40, at.size))
    pose = np.array([1e-7, 0.0])
    for k, c in enumerate(np.maximum(table, 1e-6)):
        inside = (np.hypot(x, y) <= A) & (np.hypot(x - c, y) <= A)
        px, height = x[inside], glass(np.hypot(x, y)[inside])
        unit = force / (kappa * 0.002**2)

        def left(q: Any, px: Any = px, height: Any = height, unit: float = unit, c: float = c) -> Any:
            gap = np.maximum(0.0, q[0] + q[1] * px / A + height) / unit
            return [gap.sum() - 1.0, (gap @ px - c) / A]

        pose = root(left, pose, tol=1e-11, options={"eps": 1e-6}).x
        assert np.abs(left(pose)).max() < 1e-6
        for frame, out in ((0.0, on_glass), (c, on_lap)):
            gx, gy = frame + at[:, None] * np.cos(turn), at[:, None] * np.sin(turn)
            gap = pose[0] + pose[1] * gx / A + glass(np.minimum(np.hypot(gx, gy), A))
            gap *= (np.hypot(gx, gy) <= A) & (np.hypot(gx - c, gy) <= A)
            out[k] = kappa * trapezoid(np.maximum(0.0, gap), turn, axis=1) / np.pi
    means = [np.array([np.interp(e, table, column) for column in t.T]) for t in (on_glass, on_lap)]
    return means[0] @ speed / speed.sum(), means[1].mean(axis=1)


def test_first_rates_of_wear_and_creep_against_a_dense_grid() -> None:
    """Spherical lap, raised ring, W strokes: the state in which worked-values.toml's first coupled case begins.

    It shows too that creep runs smoothly through the lap's centre (test_worked_values.py).
    """
    bench = make_bench(hands=STEADY, wear=Wear(edge_gain=0.0), start="spherical")
    spell = make_spell("w", "tool", 1e-4, length=0.5, side_sweep=0.2)
    state = start(bench, error=lambda t: 250e-9 * np.exp(-(((t - 0.82) / 0.10) ** 2)))
    after, report = work_spell(bench, spell, state, accuracy=replace(DEFAULT, steps=1))
    at = np.array([0.0, 0.005, 0.01, 0.02, 0.03, 0.06, 0.09, 0.12, 0.135, 0.145])
    lap, seconds = bench.lap(), spell.duration
    worn = np.interp(at, state.radius, state.height - after.height)
    worn = worn / (bench.preston * report.mean_speed * seconds)
    sunk = np.interp(at, pitch_of(bench, state).radius, -pitch_of(bench, after).height)
    sunk = sunk * lap.stiffness * lap.relaxation_time / seconds
    on_glass, on_lap = dense_rates(at, bench.load_on("tool", lap), lap.stiffness)
    assert worn == pytest.approx(on_glass, abs=0.012 * on_glass.max())
    assert sunk == pytest.approx(on_lap, abs=0.012 * on_lap.max())
    assert np.ptp(on_lap[:3]) < 0.02 * on_lap.max()  # smooth through the centre


def test_ripple_under_a_rigid_backing() -> None:
    """[derived]: eps0 exp(-kappa z / P) with z the mean depth removed, the lap not creeping.

    (The linear smoothing factor of Kim, Park, An & Burge, Opt. Express 18, 22515 (2010) [read, abstract].)
    A ripple of the glass far shorter than the lap, small strokes, a load that keeps all of it pressed: the lap's
    level follows the mean, the ripple alone makes pressure.
    """
    kappa = 5e9
    fine = replace(DEFAULT, glass_rings=220, rim_share=0.0, offsets=8, table_cells=2000, per_radius=50, tolerance=2e-4)
    bench = make_bench(conic=0.0, hands=STEADY, wear=Wear(edge_gain=0.0), start="spherical", stiffness=kappa)
    waves = 2.0 * np.pi * 12.0
    state = start(bench, fine, conic=0.0, error=lambda t: 20e-9 * np.cos(waves * t))
    spell = make_spell("straight", "tool", 60.0, length=0.04, push=200.0)
    middle = (state.radius > 0.3 * A) & (state.radius < 0.8 * A)
    pattern = np.cos(waves * state.radius[middle] / A)

    def ripple(w: Any) -> float:
        smooth = np.polynomial.Polynomial.fit(state.radius[middle], w[middle], 4)(state.radius[middle])
        return float((w[middle] - smooth) @ pattern / (pattern @ pattern))

    after, report = work_spell(bench, spell, state, constants=Constants(relaxation_time=1e12), accuracy=fine)
    assert report.lift_off_share == 0.0
    depth = np.mean((state.height - after.height)[middle])
    pressure = bench.load_on("tool", bench.lap(), push=200.0) / (np.pi * A**2)
    # the pressure where the whole stroke covers: a little more than over the whole disc
    covered = depth / (bench.preston * report.mean_speed * spell.duration)
    assert covered == pytest.approx(pressure, rel=0.04)
    left = ripple(after.height) / ripple(state.height)
    assert left == pytest.approx(np.exp(-kappa * depth / covered), rel=0.01)
    assert 0.1 < left < 0.8


def test_pressing_sinks_the_lap_towards_the_glass() -> None:
    """Physics section 4: du/dt = -p / (kappa tau) at rest; where all touches, misfit decays as exp(-t / tau)."""
    bench = make_bench(conic=0.0, start="spherical", relaxation_time=300.0)
    state = start(bench, conic=0.0, error=lambda t: 20e-9 * np.cos(5.0 * t))
    fine = replace(DEFAULT, tolerance=1e-5)
    after, report = work_spell(bench, make_spell("press", "tool", 10.0), state, accuracy=fine)
    assert report.lift_off_share == 0.0
    assert np.array_equal(after.height, state.height)
    lap = pitch_of(bench, after)
    misfit = np.interp(lap.radius, state.radius, state.height) + lap.height
    was = np.interp(lap.radius, state.radius, state.height)

    def parted(v: Any) -> float:
        return float(np.ptp(v))

    assert parted(misfit) / parted(was) == pytest.approx(np.exp(-600.0 / 300.0), rel=1e-2)
    sunk = -trapezoid(lap.height * 2 * lap.radius, lap.radius) / A**2
    pressure = bench.load_on("tool", bench.lap(), pressing=True) / (np.pi * A**2)
    assert sunk == pytest.approx(pressure * 600.0 / (bench.lap().stiffness * 300.0), rel=5e-3)
