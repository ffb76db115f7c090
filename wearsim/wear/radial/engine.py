"""The radial engine: a programme worked on round profiles, wear and creep together (physics sections 2 to 6)."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from typing import Any

import numpy as np

from wearsim.bench.bench import Bench
from wearsim.bench.lap import Lap
from wearsim.bench.programme import Programme, Spell
from wearsim.bench.units import length_unit
from wearsim.errors import ContactError, InputError, TipsOffError
from wearsim.kernels import radial as kernels
from wearsim.kernels.arrays import Floats
from wearsim.kernels.quadrature import build
from wearsim.wear.accuracy import DEFAULT, Accuracy
from wearsim.wear.constants import AS_STATED, Constants
from wearsim.wear.radial.path_weights import LoadCases, OffsetWeights, load_cases, offset_weights, stroke_reach
from wearsim.wear.radial.tipping import balanced_offset, tip_offset
from wearsim.wear.state import State, gauss_table, glass_grid, lap_name, pitch_grid, resampling

AT_REST = LoadCases(np.zeros((1, 2)), 1, 1)


@dataclass(frozen=True)
class SpellReport:
    """What a spell did besides its removal.

    Parameters
    ----------
    peak_pressure : float
        Largest pressure [Pa].
    lift_off_share : float
        Share of the overlap that carried nothing, mean over time [1].
    imbalance : float
        Largest relative imbalance of force and moments that was left [1].
    steps, evaluations, iterations : int
        Time steps, evaluations of the rates, Newton iterations.
    left_out : float
        Share of the jittered strokes that would have tipped off [1].
    reach, tip : float
        Largest offset of the stroke as meant, and the offset at which it would tip [m].
    mean_speed : float
        [m/s]
    """

    peak_pressure: float
    lift_off_share: float
    imbalance: float
    steps: int
    evaluations: int
    iterations: int
    left_out: float
    reach: float
    tip: float
    mean_speed: float


@dataclass(frozen=True)
class Worked:
    """The states through a programme: ``states[0]`` the start, ``states[i]`` after spell i; and the reports."""

    states: tuple[State, ...]
    reports: tuple[SpellReport, ...]


@lru_cache(maxsize=64)
def _tip(a: float, hole: float, b: float, top_is_tool: bool, lead: float, push: tuple[float, ...]) -> float:
    return tip_offset(a, hole, b, top_is_tool, load_cases(lead, push))


@lru_cache(maxsize=64)
def _largest(
    a: float, hole: float, b: float, top_is_tool: bool, lead: float, push: tuple[float, ...], gain: float,
    decay: float, counts: tuple[int, int],
) -> float:  # fmt: skip
    tip = _tip(a, hole, b, top_is_tool, lead, push)
    return balanced_offset(a, hole, b, top_is_tool, load_cases(lead, push), tip, gain, decay, counts)


def largest_offset(bench: Bench, lap: Lap, on_top: str, accuracy: Accuracy) -> float:
    """Largest centre offset at which the contact is solved, just short of tipping [m]."""
    hands, mirror = bench.hands, bench.mirror
    return _largest(
        mirror.radius, mirror.hole_radius, lap.radius, on_top == "tool",
        hands.friction_lead, tuple(hands.push_offset), bench.wear.edge_gain, bench.edge_length_for(lap),
        (accuracy.per_radius, accuracy.per_turn),
    )  # fmt: skip


def tipping_offset(bench: Bench, lap: Lap, on_top: str) -> float:
    """Centre offset at which the top piece tips off [m]."""
    mirror, hands = bench.mirror, bench.hands
    return _tip(
        mirror.radius, mirror.hole_radius, lap.radius, on_top == "tool",
        hands.friction_lead, tuple(hands.push_offset),
    )  # fmt: skip


def spell_weights(
    bench: Bench, spell: Spell, lap: Lap, number: int, accuracy: Accuracy, file: object = None
) -> tuple[OffsetWeights, LoadCases, float, float]:
    """Offset weights and load cases of a spell, its reach and its tipping offset [m].

    Raises
    ------
    TipsOffError
        Where the stroke as it is meant would tip the top piece off.
    """
    if spell.is_press:
        one = np.ones((1, 1))
        return OffsetWeights(np.zeros(1), 0.0 * one, one, 0.0), AT_REST, 0.0, bench.mirror.radius
    tip = tipping_offset(bench, lap, spell.on_top)
    stroke = spell.stroke_on(bench.mirror.diameter)
    far = stroke_reach(stroke)
    if far >= tip:
        raise TipsOffError(number, far, tip, file=None if file is None else str(file), length=length_unit(bench).text)
    hands = bench.hands
    cases = load_cases(hands.friction_lead, tuple(hands.push_offset))
    jitter = (hands.length_jitter, hands.centre_jitter)
    largest = largest_offset(bench, lap, spell.on_top, accuracy)
    weights = offset_weights(stroke, jitter, spell.on_top == "tool", cases, tip, largest, accuracy)
    return weights, cases, far, tip


def check_round(bench: Bench, lap: Lap) -> None:
    """Refuse a lap that averages over azimuth or a whole disc of pitch cannot stand for.

    Raises
    ------
    InputError
        For a ring or a star.
    """
    table = "lap" if lap.name is None else f'lap "{lap.name}"'
    cut = {
        "ring_inner": (lap.ring_inner, length_unit(bench).about(lap.ring_inner, 4)),
        "star_points": (lap.star_points,) * 2,
    }
    for key, (value, words) in cut.items():
        if value > 0:
            raise InputError(
                "planar engine only", file=bench.file, key=f"{table}.{key}", value=words,
                expected="0, or --engine planar",
            )  # fmt: skip


def contact_setting(
    bench: Bench, lap: Lap, on_top: str, force: float, offset: Floats, path: Floats, time: Floats,
    cases: LoadCases, constants: Constants, accuracy: Accuracy,
) -> tuple[kernels.Setting, Any]:  # fmt: skip
    """Everything the kernels need of a spell: its numbers and its quadrature nodes."""
    check_round(bench, lap)
    mirror, a, b = bench.mirror, bench.mirror.radius, lap.radius
    radius, rho = glass_grid(mirror, accuracy), pitch_grid(lap, accuracy)
    stiffness = lap.stiffness * constants.stiffness
    tau = bench.relaxation_time_at(lap) * constants.relaxation_time
    counts = np.array([accuracy.per_radius, accuracy.per_turn, accuracy.ring_per_turn])
    # copies: numba compiles anew for arrays that may not be written to, and the kept weights may not
    nodes = build(
        offset.copy(), radius, rho, a, mirror.hole_radius, b, bench.wear.edge_gain * constants.edge_gain,
        bench.edge_length_for(lap), counts, gauss_table(), accuracy.table_cells,
    )  # fmt: skip
    setting = kernels.Setting(
        a, stiffness, force, bench.preston * constants.preston, 1.0 / (stiffness * tau),
        cases.position, offset.copy() if on_top == "tool" else np.zeros_like(offset), path.copy(), time.copy(),
        *resampling(radius, accuracy.table_cells), *resampling(rho, accuracy.table_cells),
    )  # fmt: skip
    return setting, nodes


def work_spell(
    bench: Bench, spell: Spell, state: State, number: int = 1, constants: Constants = AS_STATED,
    accuracy: Accuracy = DEFAULT, file: object = None,
) -> tuple[State, SpellReport]:  # fmt: skip
    """One spell worked on a state.

    Parameters
    ----------
    bench : Bench
    spell : Spell
    state : State
        On the grids of ``accuracy``.
    number : int
        Number of the spell, for messages.
    constants : Constants
        Factors on the bench's constants.
    accuracy : Accuracy

    Raises
    ------
    TipsOffError, ContactError
    """
    lap = bench.lap(spell.lap)
    weights, cases, far, tip = spell_weights(bench, spell, lap, number, accuracy, file)
    force = bench.load_on(spell.on_top, lap, push=spell.push, pressing=spell.is_press)
    setting, nodes = contact_setting(
        bench, lap, spell.on_top, force, weights.offset, weights.path, weights.time, cases, constants, accuracy
    )
    w, u = state.height.copy(), state.laps[lap_name(lap)].height.copy()
    report = np.zeros(6)
    poses = np.zeros((*weights.path.shape, 3))
    mean_pressure = force / (np.pi * min(bench.mirror.radius, lap.radius) ** 2)
    speed = weights.mean_speed
    wear_scale = setting.wear * mean_pressure * speed * spell.duration
    small = accuracy.tolerance
    rate = setting.creep * setting.stiffness + setting.wear * setting.stiffness * speed
    status = kernels.evolve(
        w, u, setting, nodes, poses, spell.duration, accuracy.steps,
        small * wear_scale if wear_scale > 0.0 else np.inf, small * mean_pressure / setting.stiffness,
        0.1 / rate, report,
    )  # fmt: skip
    if status != 0:
        where = f"spell {number}, " + (
            f"offset {length_unit(bench).text(weights.offset[status - 1])}"
            if status > 0
            else "the time step shrank to nothing"
        )
        raise ContactError(where, float(report[2]))
    after = State(state.radius, w, state.laps).with_lap(lap_name(lap), u)
    done = SpellReport(
        float(report[0]), float(report[1]), float(report[2]), int(report[3]), int(report[4]), int(report[5]),
        weights.left_out, far, tip, speed,
    )  # fmt: skip
    return after, done


def work(
    bench: Bench, programme: Programme, start: State, constants: Constants = AS_STATED,
    accuracy: Accuracy = DEFAULT,
) -> Worked:  # fmt: skip
    """A whole programme worked on a state.

    Parameters
    ----------
    bench : Bench
    programme : Programme
    start : State
    constants : Constants
    accuracy : Accuracy
    """
    states, reports = [start], []
    for number, spell in enumerate(programme.spells, start=1):
        state, report = work_spell(bench, spell, states[-1], number, constants, accuracy, programme.file)
        states.append(state)
        reports.append(report)
    return Worked(tuple(states), tuple(reports))
