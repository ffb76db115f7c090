"""Sessions whose truth is the radial engine itself, read in windows with noise."""

from __future__ import annotations

from typing import Any

import numpy as np
from wearsim.learn.wrong_records import SessionFit

from tests.helpers.workbench import work
from wearsim.bench.bench import Bench
from wearsim.bench.programme import Programme
from wearsim.bench.toml_io import programme_from_table
from wearsim.knifeedge.readings import Readings
from wearsim.learn.calibrate import Calibration
from wearsim.learn.observation import of_readings
from wearsim.learn.posterior import ConstantsPosterior
from wearsim.learn.practice.mirror import DrawnMirror, KnifeEdgeTester, draw_mirror
from wearsim.learn.session_filter import LEARNING, Discrepancy, SessionFilter, SessionModel
from wearsim.show.calibration import calibration_text
from wearsim.wear.constants import Belief, Constants
from wearsim.wear.initial_figure import StartFigure, on_grid
from wearsim.wear.state import State, start_state

PROGRAMMES: tuple[tuple[dict[str, Any], ...], ...] = (
    ({"stroke": "w", "length": 0.5, "side_sweep": 0.2, "minutes": 15, "on_top": "tool"},),
    ({"stroke": "one-third", "minutes": 20, "on_top": "mirror"},),
    (
        {"stroke": "overhang", "length": 0.4, "side_overhang": 0.2, "minutes": 12, "on_top": "mirror"},
        {"stroke": "straight", "length": 0.5, "minutes": 8, "on_top": "tool"},
    ),
)
# What a person wrote down who got session 2 wrong.
WRONG: tuple[dict[str, Any], ...] = (
    {"stroke": "w", "length": 0.7, "side_sweep": 0.25, "minutes": 30, "on_top": "mirror"},
)


def simulated_mirror(seed: int) -> DrawnMirror:
    """The mirror of :func:`simulated_sessions`."""
    return draw_mirror(seed, "raised ring", 0.25, 5.0)


def calibration_of(preston: float, *sessions: SessionFit) -> Calibration:
    """A calibration that found the Preston coefficient this many times as stated, and the rest as stated."""
    before = Belief(np.zeros(4), np.diag(np.log([2.5, 3.0, 2.5, 2.0]) ** 2))
    logs = np.log([[preston * 0.95, 1.0, 1.0, 1.0], [preston * 1.05, 1.0, 1.0, 1.0]])
    posterior = ConstantsPosterior(logs, np.full(2, 0.1), np.full(2, 0.5), 0.0)
    return Calibration(before, posterior, sessions, ())


def verdict_on(fit: SessionFit) -> str:
    """The last column of a session's line in the report."""
    text = calibration_text(simulated_mirror(1).bench, calibration_of(1.0, fit))
    chance = f"{fit.chance:.0%}" if fit.chance >= 0.01 else "under 1%"
    (line,) = (line for line in text.splitlines() if line.split()[:2] == [str(fit.number), f"{fit.chi_square:.1f}"])
    return line.partition(chance)[2].strip()


def programme_of(spells: tuple[dict[str, Any], ...]) -> Programme:
    """A programme from tables as a file would hold them."""
    return programme_from_table({"spell": [{"lap": "full", **spell} for spell in spells]})


def read(drawn: DrawnMirror, state: State, rng: np.random.Generator, tester: KnifeEdgeTester) -> Readings:
    """A noisy sheet of the glass of a state."""
    mirror = drawn.bench.mirror
    error = state.height - mirror.geometry.departure(state.radius)
    return tester.read(drawn.bench, state.radius, error, rng)


def spherical(bench: Bench) -> Bench:
    """The bench with laps that begin spherical."""
    laps = tuple(lap.model_copy(update={"start": "spherical"}) for lap in bench.laps)
    return bench.model_copy(update={"laps": laps})


def simulated_sessions(
    seed: int,
    truth: Constants,
    *,
    count: int = 3,
    wrong: int | None = None,
    unpressed: int | None = None,
    discrepancy: Discrepancy | None = None,
) -> tuple[DrawnMirror, SessionFilter]:
    """A mirror worked by the radial engine with true constants.

    One session may be recorded wrongly, or as begun on a pressed lap that in truth was spherical.
    """
    rng = np.random.default_rng(seed)
    drawn, tester = simulated_mirror(seed), KnifeEdgeTester()
    first = on_grid(drawn.bench, drawn.start, LEARNING)
    state = start_state(drawn.bench, first.radius, first.height, LEARNING)
    models = []
    for number, spells in enumerate(PROGRAMMES[:count], start=1):
        programme = programme_of(spells)
        if number == unpressed:
            state = start_state(spherical(drawn.bench), state.radius, state.height, LEARNING)
        state = work(drawn.bench, programme, state, truth, LEARNING).states[-1]
        observation = of_readings(drawn.bench, read(drawn, state, rng, tester), state.radius)
        recorded = programme_of(WRONG) if number == wrong else programme
        models.append(
            SessionModel(number, drawn.bench, recorded, "pressed" if number == unpressed else None, observation)
        )
    known = StartFigure(first.radius, first.height, 1e-9 * np.eye(first.radius.size))
    return drawn, SessionFilter(known, tuple(models), LEARNING, discrepancy or Discrepancy())
