"""Benches, spells and starts for the tests of the wear room: SI floats, built in Python."""

from __future__ import annotations

from types import MappingProxyType
from typing import Any

import numpy as np

from wearsim.bench.bench import Bench, Spread, Wear
from wearsim.bench.fields import Extent
from wearsim.bench.figure_source import FigureSource
from wearsim.bench.hands import Hands
from wearsim.bench.lap import Lap
from wearsim.bench.mirror import Mirror
from wearsim.bench.programme import Programme, Spell
from wearsim.figure.conic import Conic
from wearsim.wear.accuracy import DEFAULT, Accuracy
from wearsim.wear.constants import AS_STATED, Constants
from wearsim.wear.engine_protocol import Run, SpellReport
from wearsim.wear.radial.engine import RadialEngine
from wearsim.wear.state import State, glass_grid, lap_name, start_state

EXACT = Spread(preston=1.0, stiffness=1.0, relaxation_time=1.0, edge_gain=1.0, stroke_length=1.0, overhang_bias=0.0)
STEADY = Hands(length_jitter=0.0, centre_jitter=0.0, push_height=0.0)


def make_bench(
    diameter: float = 0.3, big: float = 3.0, lap: float | None = None, *, conic: float = -1.0,
    glass: float = 0.0, hole: float = 0.0, hands: Hands | None = None, wear: Wear | None = None,
    spread: Spread = EXACT, thickness: float | None = None, **of_lap: Any,
) -> Bench:  # fmt: skip
    """A bench of a diameter, a radius of curvature and a lap diameter [m]; ``glass`` is its conic constant."""
    size = diameter if lap is None else lap
    of_lap.setdefault("mass", 4.0 * (size / 0.3) ** 3)
    return Bench(
        mirror=Mirror(
            diameter=diameter, radius_of_curvature=big, conic=conic, hole=hole,
            thickness=diameter / 8 if thickness is None else thickness,
        ),
        laps=(Lap(diameter=size, **of_lap),),
        hands=Hands() if hands is None else hands,
        wear=Wear() if wear is None else wear,
        spread=spread,
        figure=FigureSource(conic=glass),
    )  # fmt: skip


def make_spell(stroke: str, on_top: str = "tool", minutes: float = 20.0, **rest: Any) -> Spell:
    """A spell; lengths as fractions of the mirror's diameter."""
    for key in ("length", "side_sweep", "side_overhang"):
        if key in rest:
            rest[key] = Extent(rest[key])
    return Spell(stroke=stroke, on_top=on_top, minutes=minutes, **rest)


def make_programme(*spells: Spell) -> Programme:
    return Programme(spells=spells)


def start(bench: Bench, accuracy: Accuracy = DEFAULT, error: Any = None, conic: float | None = None) -> State:
    """State with the glass at ``conic`` (the bench's target by default) plus ``error(r / a)`` [m]."""
    radius = glass_grid(bench.mirror, accuracy)
    shape = Conic(bench.mirror.radius_of_curvature, bench.mirror.conic if conic is None else conic)
    height = shape.departure(radius)
    if error is not None:
        height = height + error(radius / bench.mirror.radius)
    return start_state(bench, radius, height, accuracy)


def flat_state(bench: Bench, accuracy: Accuracy = DEFAULT) -> State:
    """Glass and lap both exactly on the sphere."""
    state = start(bench, accuracy, conic=0.0)
    return State(
        state.radius,
        np.zeros_like(state.height),
        MappingProxyType({k: type(p)(p.radius, np.zeros_like(p.height)) for k, p in state.laps.items()}),
    )


def pitch_of(bench: Bench, state: State) -> Any:
    return state.laps[lap_name(bench.lap())]


def work_spell(
    bench: Bench, spell: Spell, state: State, number: int = 1, constants: Constants = AS_STATED,
    accuracy: Accuracy = DEFAULT,
) -> tuple[State, SpellReport]:  # fmt: skip
    """One spell with the radial engine."""
    return RadialEngine(accuracy).work_spell(bench, spell, state, number, constants)


def work(
    bench: Bench, programme: Programme, state: State, constants: Constants = AS_STATED, accuracy: Accuracy = DEFAULT
) -> Run[State]:
    """A programme with the radial engine."""
    return RadialEngine(accuracy).run(bench, programme, state, constants)
