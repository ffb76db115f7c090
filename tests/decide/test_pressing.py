"""Pressings in a programme: as the engine works them, and only where they are worth it."""

from __future__ import annotations

from dataclasses import replace
from functools import cache

import numpy as np
import pytest

from tests.helpers.any_stroke import any_limits
from tests.helpers.small_bench import coarse_state, objective_of, ring_figure
from tests.helpers.start_figures import KNOWN
from tests.helpers.workbench import work_spell
from wearsim.bench.bench import Bench
from wearsim.bench.programme import Spell
from wearsim.bench.toml_io import bench_from_table
from wearsim.decide.coarse_engine import COARSE, CoarseEngine, PlannedSpell, plan_of, without_pressings
from wearsim.decide.least_squares import BoundedResiduals, Refiner
from wearsim.decide.limits import Limits
from wearsim.decide.objective import Scenario
from wearsim.decide.proposal import Proposal
from wearsim.decide.propose import propose
from wearsim.decide.repertoire import is_allowed
from wearsim.decide.rounding import Rounder, rounded
from wearsim.decide.search import needs_pressing, opening_press, with_pressing
from wearsim.decide.stroke_library import StrokeSpec
from wearsim.wear.accuracy import DEFAULT
from wearsim.wear.constants import AS_STATED
from wearsim.wear.predict import predict

LIMITS = any_limits(minutes=40.0, spells=2)
ONE_SPELL = any_limits(minutes=30.0, spells=1)
PRESS = PlannedSpell(StrokeSpec("tool", None, "press", 0.0), 15.0)
STROKE = PlannedSpell(StrokeSpec("tool", None, "w", 0.3, 0.15, 0.1), 9.0)


@cache
def fast_bench(start: str) -> Bench:
    """A 300 mm f/4 mirror, whose lap must change its shape much, on pitch that flows slowly."""
    return bench_from_table(
        {
            "mirror": {"diameter": "300 mm", "radius_of_curvature": "2.4 m", "thickness": "40 mm"},
            "lap": {"diameter": "300 mm", "mass": "4 kg", "start": start, "relaxation_time": "15 min"},
            "figure": {"conic": -1.0},
            "spread": KNOWN,
        }
    )


@cache
def trials(start: str) -> CoarseEngine:
    return CoarseEngine(fast_bench(start), LIMITS, AS_STATED)


@cache
def refiner(start: str) -> Refiner:
    bench = fast_bench(start)
    objective = objective_of(bench, ring_figure(bench), LIMITS)
    return Refiner(objective, [trials(start)], (Scenario(AS_STATED, 1.0),), trials(start))


@cache
def proposed(start: str, limits: Limits = ONE_SPELL) -> Proposal:
    bench = fast_bench(start)
    return propose(bench, limits=limits, start=ring_figure(bench, DEFAULT), starts=1, draws=0)


def test_a_trial_presses_as_the_engine_does() -> None:
    bench, close = (fast_bench("spherical"), replace(COARSE, tolerance=1e-3))  # each has steps in time of its own
    start = coarse_state(bench, ring_figure(bench))
    tried = CoarseEngine(bench, LIMITS, AS_STATED, close).after(start, PRESS)
    worked_out, _ = work_spell(bench, Spell(stroke="press", minutes=15.0), start, accuracy=close)
    (name,) = tried.laps
    moved = worked_out.laps[name].height - start.laps[name].height
    assert np.ptp(moved) > 100e-9
    np.testing.assert_allclose(tried.laps[name].height - start.laps[name].height, moved, atol=1e-3 * np.ptp(moved))
    np.testing.assert_array_equal(tried.height, start.height)


@pytest.mark.parametrize(("start", "poor"), [("spherical", True), ("pressed", False)])
def test_a_lap_that_does_not_fit_is_known(start: str, poor: bool) -> None:
    bench = fast_bench(start)
    state = coarse_state(bench, ring_figure(bench))
    assert needs_pressing(state, opening_press(LIMITS, bench.laps[0]), trials(start)) is poor


def test_pressing_is_no_work_and_no_spell() -> None:
    objective = refiner("pressed").objective
    with_press = (PRESS, STROKE)
    assert without_pressings(with_press) == (STROKE,) and sum(one.work for one in with_press) == STROKE.minutes
    dearer = objective.effort(with_press) - objective.effort((STROKE,))
    assert dearer == pytest.approx(LIMITS.cost_hour * PRESS.minutes / 60.0)
    assert is_allowed(PRESS.stroke, fast_bench("pressed"), LIMITS)


def test_pressing_keeps_its_minutes_while_the_rest_is_worked_over() -> None:
    problem = BoundedResiduals(refiner("spherical"), (PRESS, STROKE), free="all")
    assert {i for i, _ in problem.keys} == {1}
    full = (PRESS, PlannedSpell(STROKE.stroke, LIMITS.minutes))
    neat = rounded(full, fast_bench("spherical"), LIMITS)
    assert neat[0] == PRESS and neat[1].minutes == LIMITS.minutes
    short = (PRESS, PlannedSpell(STROKE.stroke, 0.4))
    assert rounded(short, fast_bench("spherical"), LIMITS) == ()


def test_pressing_alone_is_left_as_it_is() -> None:
    judge = refiner("spherical")
    rounder = Rounder(judge)
    assert judge.improve((PRESS,)).plan == (PRESS,)
    assert judge.improve(()).plan == ()
    assert rounder.best_near((PRESS,)).plan == ()
    harmful = PlannedSpell(StrokeSpec("tool", None, "w", 0.3, 0.15, 0.1), LIMITS.minutes)
    settled = rounder.best_near((PRESS, harmful), rounds=6)  # its stroke may be left out, then nothing more to do
    assert settled.score.cost <= judge.evaluate((PRESS, harmful)).score.cost


def test_no_pressing_where_the_lap_fits() -> None:
    judge = refiner("pressed")
    rounder = Rounder(judge)
    assert with_pressing([judge.evaluate((STROKE,))], rounder) == []
    assert with_pressing([], rounder) == []
    assert not any(spell.is_press for spell in proposed("pressed").programme.spells)


@pytest.mark.parametrize(("limits", "share"), [(ONE_SPELL, 0.98), pytest.param(LIMITS, 0.5, marks=pytest.mark.slow)])
def test_a_lap_that_does_not_fit_is_pressed_first(limits: Limits, share: float) -> None:
    done, bench = proposed("spherical", limits), fast_bench("spherical")
    first, *rest = done.programme.spells
    assert first.is_press and not first.turn and rest and not rest[0].turn
    assert sum(spell.minutes for spell in rest) <= limits.minutes and len(rest) <= limits.spells
    assert plan_of(done.programme)[0].stroke.is_press
    assert done.early.minutes[-1] == pytest.approx(sum(spell.minutes for spell in rest))
    without = done.programme.model_copy(update={"spells": tuple(rest)})
    start = ring_figure(bench, DEFAULT)
    unpressed = predict(bench, without, draws=0, start=start).surface_rms
    assert done.outcome.surface_rms < share * unpressed
