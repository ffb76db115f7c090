"""A small, certain bench and what the tests of the search's parts need of it, made once."""

from __future__ import annotations

from functools import cache

import numpy as np

from tests.helpers.any_stroke import any_limits
from tests.helpers.start_figures import KNOWN
from wearsim.bench.bench import Bench
from wearsim.bench.profile import Profile
from wearsim.bench.toml_io import bench_from_table
from wearsim.decide.coarse_engine import COARSE, CoarseEngine
from wearsim.decide.least_squares import Refiner
from wearsim.decide.limits import Clock, Limits
from wearsim.decide.objective import Objective, Scenario
from wearsim.wear.accuracy import Accuracy
from wearsim.wear.constants import AS_STATED
from wearsim.wear.initial_figure import StartFigure, from_profile
from wearsim.wear.predict import gauge_for
from wearsim.wear.state import State, start_state

LIMITS = any_limits(minutes=30.0, spells=2, removal_spread=0.05)


@cache
def small_bench(spread: bool = False) -> Bench:
    """A 200 mm f/6 mirror on a full-size lap."""
    table = {
        "mirror": {"diameter": "200 mm", "radius_of_curvature": "2.4 m", "thickness": "30 mm"},
        "lap": {"diameter": "200 mm", "mass": "2 kg"},
        "figure": {"conic": -1.0},
    }
    return bench_from_table(table if spread else table | {"spread": KNOWN})


def figure(bench: Bench, error: np.ndarray, accuracy: Accuracy = COARSE) -> StartFigure:
    """Glass with a figure error [m] given at even radii."""
    radius = np.linspace(0.0, bench.mirror.radius, error.size)
    return from_profile(bench, Profile(radius, error, None), accuracy)


def ring_figure(bench: Bench, accuracy: Accuracy = COARSE) -> StartFigure:
    """A raised ring of 200 nm at 0.7 of the radius."""
    x = np.linspace(0.0, 1.0, 61)
    return figure(bench, 200e-9 * np.exp(-(((x - 0.7) / 0.12) ** 2)), accuracy)


def random_figure(bench: Bench, rng: np.random.Generator, accuracy: Accuracy = COARSE) -> StartFigure:
    """Cosines of k pi x^2 with random heights, from a nearly finished mirror to a rough one."""
    x = np.linspace(0.0, 1.0, 61)
    size = 10.0 ** rng.uniform(-8.7, -6.7)
    heights = rng.normal(size=5) / np.arange(1.0, 6.0)
    waves = np.cos(np.pi * np.arange(1.0, 6.0)[:, None] * x**2)
    return figure(bench, size * (heights @ waves), accuracy)


def coarse_state(bench: Bench, start: StartFigure, accuracy: Accuracy = COARSE) -> State:
    """Glass and a pressed lap on the trials' grids."""
    return start_state(bench, start.radius, start.height, accuracy)


def objective_of(bench: Bench, start: StartFigure, limits: Limits = LIMITS, accuracy: Accuracy = COARSE) -> Objective:
    """The search's own objective."""
    gauge = gauge_for(bench, start.radius)
    return Objective(gauge, coarse_state(bench, start, accuracy), limits, bench)


def refiner_of(
    bench: Bench, start: StartFigure, limits: Limits = LIMITS, accuracy: Accuracy = COARSE, clock: Clock | None = None
) -> Refiner:
    """A refiner with the constants as stated."""
    engine = CoarseEngine(bench, limits, AS_STATED, accuracy)
    objective = objective_of(bench, start, limits, accuracy)
    return Refiner(objective, [engine], (Scenario(AS_STATED, 1.0),), engine, clock=clock)
