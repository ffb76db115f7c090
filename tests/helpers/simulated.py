"""Sessions whose truth is the radial engine itself, read in windows with noise."""

from __future__ import annotations

from typing import Any

import numpy as np

from wearsim.bench.bench import Bench
from wearsim.bench.programme import Programme
from wearsim.bench.toml_io import programme_from_table
from wearsim.knifeedge.readings import Readings
from wearsim.learn.calibrate import Calibration
from wearsim.learn.observation import of_readings
from wearsim.learn.posterior import ConstantsPosterior, GlassPosterior
from wearsim.learn.practice.mirror import DrawnMirror, KnifeEdgeTester, draw_mirror
from wearsim.learn.session_filter import LEARNING, SessionFilter, SessionModel
from wearsim.learn.session_fit import SessionFit
from wearsim.wear.accuracy import Accuracy
from wearsim.wear.constants import NAMES, Belief, Constants, prior
from wearsim.wear.discrepancy import UNSAID, Discrepancy
from wearsim.wear.initial_figure import StartFigure, on_grid
from wearsim.wear.radial.engine import RadialEngine
from wearsim.wear.state import State, start_state

PROGRAMMES: tuple[tuple[dict[str, Any], ...], ...] = (
    ({"stroke": "w", "length": 0.5, "side_sweep": 0.2, "minutes": 15, "on_top": "tool"},),
    ({"stroke": "one-third", "minutes": 20, "on_top": "mirror"},),
    (
        {"stroke": "overhang", "length": 0.4, "side_overhang": 0.2, "minutes": 12, "on_top": "mirror"},
        {"stroke": "straight", "length": 0.5, "minutes": 8, "on_top": "tool"},
    ),
)
ROUGH = Accuracy(
    glass_rings=24, pitch_rings=20, offsets=10, per_radius=8, per_turn=7, ring_per_turn=6, draws=24, phases=12,
    tolerance=0.03,
)  # fmt: skip
"""Of an engine that is the truth as well: how near it is to the converged one does not matter."""
WRONG: tuple[dict[str, Any], ...] = ({"stroke": "one-third", "minutes": 1, "on_top": "mirror"},)
"""What a person wrote down of session 2 who forgot nearly all of it."""


def simulated_mirror(seed: int) -> DrawnMirror:
    """The mirror of :func:`simulated_sessions`."""
    return draw_mirror(seed, "raised ring", 0.25, 5.0)


def only(*names: str) -> Belief:
    """The prior of the simulated mirror with all constants but these known exactly, each within a factor of 2.5."""
    open_ones = np.array([name in names for name in NAMES])
    return Belief(np.zeros(len(NAMES)), np.diag(np.where(open_ones, np.log(2.5) ** 2, 0.0)))


def calibration_of(vectors: Any, *sessions: SessionFit, spreads: Any = 0.1) -> Calibration:
    """A calibration of the simulated mirror whose posterior is these vectors of constants (N, n), each as likely."""
    vectors = np.asarray(vectors, dtype=float)
    count, radius = len(vectors), np.linspace(0.0, 0.125, 5)
    glass = GlassPosterior(radius, 0.0 * radius, 1e-18 * np.eye(5))
    posterior = ConstantsPosterior(vectors, spreads * np.ones(count), np.full(count, 1.0 / count), glass)
    return Calibration(prior(simulated_mirror(1).bench), posterior, sessions, ())


def programme_of(spells: tuple[dict[str, Any], ...]) -> Programme:
    """A programme from tables as a file would hold them."""
    return programme_from_table({"spell": [{"lap": "full", **spell} for spell in spells]})


def read(drawn: DrawnMirror, state: State, rng: np.random.Generator, tester: KnifeEdgeTester) -> Readings:
    """A noisy sheet of the glass of a state."""
    mirror = drawn.bench.mirror
    error = state.height - mirror.geometry.departure(state.radius)
    return tester.read(drawn.bench, state.radius, error, rng)


def pressed_and_worked(bench: Bench, programme: Programme, state: State, truth: Constants, accuracy: Accuracy) -> State:
    """The state after a session, its laps pressed first for as long as is assumed where nobody says."""
    engine = RadialEngine(accuracy)
    state = engine.pressed(bench, state, sorted({spell.lap for spell in programme.spells}, key=str), UNSAID, truth)
    return engine.run(bench, programme, state, truth).end


def simulated_sessions(
    seed: int,
    truth: Constants,
    *,
    count: int = 3,
    wrong: int | None = None,
    discrepancy: Discrepancy | None = None,
    accuracy: Accuracy = LEARNING,
) -> tuple[DrawnMirror, SessionFilter]:
    """A mirror worked by the radial engine with true constants, and laps that fit; one session may be recorded wrongly."""
    rng = np.random.default_rng(seed)
    drawn, tester = simulated_mirror(seed), KnifeEdgeTester()
    first = on_grid(drawn.bench, drawn.start, accuracy)
    state = start_state(drawn.bench, first.radius, first.height, accuracy)
    models = []
    for number, spells in enumerate(PROGRAMMES[:count], start=1):
        programme = programme_of(spells)
        state = pressed_and_worked(drawn.bench, programme, state, truth, accuracy)
        observation = of_readings(drawn.bench, read(drawn, state, rng, tester), state.radius)
        recorded = programme_of(WRONG) if number == wrong else programme
        models.append(SessionModel(number, drawn.bench, recorded, None, observation))
    waves = np.cos(np.pi * np.outer((first.radius / first.radius[-1]) ** 2, np.arange(6)))
    known = StartFigure(first.radius, first.height, 0.5e-9 * waves)
    return drawn, SessionFilter(known, tuple(models), accuracy, discrepancy or Discrepancy())
