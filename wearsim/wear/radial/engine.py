"""The radial engine: a programme worked on round profiles, wear and creep together (physics sections 2 to 6)."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np

from wearsim.bench.bench import Bench
from wearsim.bench.input_errors import located
from wearsim.bench.lap import REFERENCE_PRESSURE, Lap
from wearsim.bench.programme import Programme, Spell
from wearsim.bench.units import in_digits, length_unit
from wearsim.errors import ContactError, InputError, TipsOffError
from wearsim.kernels import radial_wear as kernels
from wearsim.kernels.arrays import Floats
from wearsim.kernels.quadrature import build
from wearsim.wear.accuracy import DEFAULT, Accuracy
from wearsim.wear.constants import AS_STATED, Constants
from wearsim.wear.engine_protocol import Engine, Misfit, Progress, Run, SpellReport
from wearsim.wear.initial_figure import StartFigure, start_figure
from wearsim.wear.radial.path_weights import LoadCases, OffsetWeights, load_cases, offset_weights, speed_law
from wearsim.wear.radial.tipping import balanced_offset, surrounds, tip_offset
from wearsim.wear.state import State, gauss_table, glass_grid, lap_name, pitch_grid, power_of, resampling, start_state
from wearsim.wear.strokes import made_by_hands, stroke_reach

# A spell in which the lap would follow the glass more often than this is refused: each time takes a few steps, and the
# prediction would take minutes. Hot pitch for many hours; usual spells have one to fifty. A judgement.
MOST_FOLLOWED = 1000.0
DRAWN_FOLLOWED = 3.0  # a draw of the constants may take so many times as long
AT_REST = LoadCases(np.zeros((1, 2)), np.zeros(2), 0.0, 0)


def load_cases_for(bench: Bench) -> LoadCases:
    """Where the load stands, as these hands push."""
    return load_cases(bench.hands.friction_lead, tuple(bench.hands.push_offset))


def tipping_offset(bench: Bench, lap: Lap, on_top: str) -> float:
    """Centre offset at which the top piece tips off [m]."""
    radii = bench.mirror.radius, bench.mirror.hole_radius, lap.radius
    return tip_offset(*radii, on_top == "tool", load_cases_for(bench))


def largest_offset(bench: Bench, lap: Lap, on_top: str, accuracy: Accuracy) -> float:
    """Largest centre offset at which the contact is solved, just short of tipping [m]."""
    return balanced_offset(
        bench.mirror.radius, bench.mirror.hole_radius, lap.radius, on_top == "tool", load_cases_for(bench),
        bench.wear.edge_gain, bench.edge_length_for(lap), (accuracy.per_radius, accuracy.per_turn),
    )  # fmt: skip


def spell_weights(
    bench: Bench, spell: Spell, lap: Lap, number: int, accuracy: Accuracy, file: Path | None = None,
    constants: Constants = AS_STATED,
) -> tuple[OffsetWeights, LoadCases, float, float]:  # fmt: skip
    """Offset weights and load cases of a spell as these hands make it, the reach as meant and the tipping offset [m].

    Raises
    ------
    TipsOffError
        Where the stroke as it is meant would tip the top piece off.
    """
    if spell.is_press:
        one = np.ones((1, 1))
        return OffsetWeights(np.zeros(1), 0.0 * one, one, 0.0, 0.0), AT_REST, 0.0, bench.mirror.radius
    tip = tipping_offset(bench, lap, spell.on_top)
    stroke = spell.stroke_on(bench.mirror.diameter)
    far = stroke_reach(stroke)
    if far >= tip:
        where, note = None if file is None else str(file), spell.taken_as_diameters
        raise TipsOffError(number, far, tip, file=where, length=length_unit(bench).text, note=note)
    cases, jitter = load_cases_for(bench), (bench.hands.length_jitter, bench.hands.centre_jitter)
    largest = largest_offset(bench, lap, spell.on_top, accuracy)
    made, law = made_by_hands(stroke, constants, tip), speed_law(bench, constants)
    try:
        weights = offset_weights(made, jitter, spell.on_top == "tool", cases, tip, largest, accuracy, law)
    except InputError as error:
        raise located(error, f"spell {number}", file) from None
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
                "only the planar engine uses this", file=bench.file, key=f"{table}.{key}", value=words,
                expected="0, or --engine planar",
            )  # fmt: skip


def check_followed(bench: Bench, lap: Lap, spell: Spell, speed: float, number: int, file: Path | None) -> None:
    """Refuse a spell that is too long for how fast glass and pitch follow each other, with the bench's own constants.

    Raises
    ------
    InputError
        With the longest that could be worked.
    """
    relaxes, wears = 1.0 / bench.relaxation_time_at(lap), bench.preston * lap.stiffness * speed
    times = (relaxes + wears) * spell.duration
    if times <= MOST_FOLLOWED:
        return
    flows, wears_to = ("lap", "a pitch that flows more slowly"), ("glass", "a softer pitch")
    what, pitch = flows if relaxes > wears else wears_to
    raise InputError(
        f"the spell is too long to compute: it lasts {times:,.0f} times as long as the {what} takes to conform", file=file,
        key=f"spell {number}.minutes", value=f"{spell.minutes:g}",
        expected=f"at most {in_digits(spell.minutes * MOST_FOLLOWED / times, down=True)} minutes, or {pitch}",
    )  # fmt: skip


def spell_contact(
    bench: Bench, lap: Lap, on_top: str, force: float, offset: Floats, path: Floats, time: Floats,
    cases: LoadCases, constants: Constants, accuracy: Accuracy,
) -> tuple[kernels.SpellContact, Any]:  # fmt: skip
    """Everything the kernels need of a spell: its numbers and its quadrature nodes."""
    check_round(bench, lap)
    mirror, a, b = bench.mirror, bench.mirror.radius, lap.radius
    radius, rho = glass_grid(mirror, accuracy), pitch_grid(lap, accuracy)
    softest = lap.stiffness * constants.stiffness
    stiffness = softest * lap.stiffening_under(force, min(a, b), constants.stiffness_exponent)
    tau = bench.relaxation_time_at(lap, constants.temperature_slope) * constants.relaxation_time
    exponent = bench.exponents(constants.pressure_exponent)[0]
    counts = np.array([accuracy.per_radius, accuracy.per_turn, accuracy.ring_per_turn])
    # copies: numba compiles again for arrays that may not be written to, and the kept weights may not
    nodes = build(
        offset.copy(), radius, rho, a, mirror.hole_radius, b, bench.wear.edge_gain * constants.edge_gain,
        bench.edge_length_for(lap) * constants.edge_length, counts, gauss_table(), accuracy.table_cells,
    )  # fmt: skip
    if exponent != 1.0:  # the edge effect is in the pressure, and so is raised with it
        edge = nodes.glass_factor > 1.0
        nodes.glass_share[edge] *= nodes.glass_factor[edge] ** (exponent - 1.0)
    contact = kernels.SpellContact(
        a, stiffness, force, bench.preston * constants.preston, exponent, REFERENCE_PRESSURE,
        power_of(exponent) if exponent != 1.0 else np.empty(0), 1.0 / (softest * tau),
        cases.position, offset.copy() if on_top == "tool" else np.zeros_like(offset), path.copy(), time.copy(),
        *resampling(radius, accuracy.table_cells), *resampling(rho, accuracy.table_cells),
    )  # fmt: skip
    return contact, nodes


def is_held(nodes: Any, number: int, centre: float, cases: LoadCases) -> bool:
    """Whether the nodes of this offset surround every load around the top piece's centre [m]: what stands outside, close
    to the rim, cannot be balanced on them."""
    of_offset = slice(nodes.area_start[number], nodes.area_start[number + 1])
    x, y = nodes.area_x[of_offset], nodes.area_y[of_offset]
    points = np.column_stack([np.tile(x, 2), np.concatenate([y, -y])])
    return points.size > 0 and all(surrounds(points, np.array([centre, 0.0]) + place) for place in cases.position)


def mean_path(contact: kernels.SpellContact) -> float:
    """Path per second of lap over glass, the mean over its places [m/s]."""
    return float(contact.path.sum() * contact.time.shape[1] / contact.path.shape[1])


class RadialEngine(Engine[State]):
    """Wear and creep of round profiles, every stroke averaged over azimuth."""

    name = "radial"
    band_draws = 32
    runs_together = True

    def __init__(self, accuracy: Accuracy = DEFAULT) -> None:
        self.accuracy = accuracy

    def begin(self, bench: Bench, glass: StartFigure | None, laps: State | None = None) -> State:
        """Glass and laps on the grids of this engine's accuracy."""
        glass = start_figure(bench, self.accuracy) if glass is None else glass
        state = start_state(bench, glass.radius, glass.height, self.accuracy)
        return state if laps is None else replace(state, laps=laps.laps)

    def with_misfit(self, bench: Bench, state: State, misfit: Misfit) -> State:
        """The laps' profiles changed."""
        for lap in bench.laps:
            pitch = state.laps[lap_name(lap)]
            state = state.with_lap(lap_name(lap), pitch.height + misfit(lap, pitch.radius / lap.radius))
        return state

    def work_spell(
        self, bench: Bench, spell: Spell, state: State, number: int = 1, constants: Constants = AS_STATED, *,
        seed: int = 0, file: Path | None = None, progress: Progress | None = None,
    ) -> tuple[State, SpellReport]:  # fmt: skip
        """One spell worked on a state on the grids of this engine's accuracy; nothing here is drawn by chance."""
        lap, accuracy = bench.lap(spell.lap), self.accuracy
        weights, cases, far, tip = spell_weights(bench, spell, lap, number, accuracy, file, constants)
        force = bench.load_on(spell.on_top, lap, push=spell.push, pressing=spell.is_press)
        contact, nodes = spell_contact(
            bench, lap, spell.on_top, force, weights.offset, weights.path, weights.time, cases, constants, accuracy
        )
        w, u = state.height.copy(), state.laps[lap_name(lap)].height.copy()
        report = np.zeros(6)
        poses = np.zeros((*weights.time.shape, 3))
        mean_pressure = force / (np.pi * min(bench.mirror.radius, lap.radius) ** 2)
        speed = mean_path(contact)
        wear_scale = contact.wear * mean_pressure * speed * spell.duration
        small = accuracy.tolerance
        rate = contact.creep * contact.stiffness + contact.wear * contact.stiffness * speed
        check_followed(bench, lap, spell, speed, number, file)
        if rate * spell.duration > DRAWN_FOLLOWED * MOST_FOLLOWED:
            raise ContactError(f"spell {number}, pitch that flows within {1.0 / rate:.1g} s")
        status = kernels.evolve(
            w, u, contact, nodes, poses, spell.duration, accuracy.steps,
            small * wear_scale if wear_scale > 0.0 else np.inf, small * mean_pressure / contact.stiffness,
            0.3 / rate, report,
        )  # fmt: skip
        if status != 0:
            is_top = spell.on_top == "tool"
            held = [is_held(nodes, i, is_top * at, cases) for i, at in enumerate(weights.offset[: max(status, 0)])]
            length = length_unit(bench).text
            if status > 0 and not held[-1]:
                least = float(weights.offset[:status][held].max(initial=0.0))
                raise TipsOffError(number, float(weights.offset[status - 1]), least, file=file, length=length)
            where = (
                f"offset {length(weights.offset[len(held) - 1])}" if status > 0 else "the time step shrank to nothing"
            )
            raise ContactError(f"spell {number}, {where}", float(report[2]))
        after = State(state.radius, w, state.laps).with_lap(lap_name(lap), u)
        return after, SpellReport(
            peak_pressure=float(report[0]), lift_off_share=float(report[1]), reach=far, tip=tip,
            left_out=weights.left_out, mean_speed=weights.mean_speed, imbalance=float(report[2]), steps=int(report[3]),
            evaluations=int(report[4]), iterations=int(report[5]),
        )  # fmt: skip

    def stage(self, bench: Bench, state: State) -> Floats:
        """The glass, a profile already."""
        return state.height

    def gather(
        self, bench: Bench, programme: Programme, ends: tuple[State, State], stages: Sequence[Floats],
        reports: tuple[SpellReport, ...],
    ) -> Run[State]:  # fmt: skip
        """States are profiles already."""
        return Run(self.name, programme, ends[1], reports, ends[1].radius, np.array(stages), ends[1].laps)
