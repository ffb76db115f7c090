"""Trying out strokes fast: many coupled runs on one bench, its nodes and path weights made once.

A run is the radial engine on coarse grids and on offsets shared by all strokes, good to about half a percent
of the removal's range (docs/performance.md); what a search chooses is worked again at full accuracy.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from threading import Lock
from typing import Any, NamedTuple, TypeVar

import numpy as np

from wearsim.bench.bench import Bench
from wearsim.bench.lap import Lap
from wearsim.bench.programme import Programme
from wearsim.decide.limits import Limits
from wearsim.decide.stroke_library import StrokeSpec
from wearsim.errors import ContactError
from wearsim.kernels import radial_wear as kernels
from wearsim.kernels.arrays import Floats
from wearsim.wear.accuracy import DEFAULT, Accuracy
from wearsim.wear.constants import Constants
from wearsim.wear.radial.engine import AT_REST, largest_offset, load_cases_for, mean_path, spell_contact
from wearsim.wear.radial.offset_basis import stroke_weights
from wearsim.wear.radial.path_weights import OFF_CENTRE, speed_law
from wearsim.wear.state import State, lap_name
from wearsim.wear.strokes import made_by_hands

COARSE = Accuracy(
    glass_rings=28,
    pitch_rings=28,
    offsets=22,
    per_radius=10,
    per_turn=9,
    ring_per_turn=8,
    table_cells=200,
    draws=64,
    phases=16,
    tolerance=1e-2,
)
# For looking at thousands of programmes: six tenths of the time of a coarse run, hardly farther from full accuracy.
ROUGH = replace(COARSE, glass_rings=20, pitch_rings=20, offsets=22, per_radius=8, draws=32, phases=12, tolerance=5e-2)
# Nearly full accuracy at two thirds of its time.
NEAR = replace(DEFAULT, glass_rings=32, pitch_rings=32, offsets=44, draws=96, phases=16, tolerance=1e-2)
# The first step in time, in times in which the lap's flow and the wear settle; error control sees to the rest.
FIRST_STEP = 2.0
# Hands feel it where a stroke goes so far towards tipping [1]. A judgement.
FELT_REACH = 0.9
# Strokes whose path weights are kept.
_PATHS_KEPT = 20_000
# Spells of so many minutes and more are kept with what they did, so many of them, and worked in threads of their own.
LONG = 30.0
_WORKED_KEPT = 4_000

Item = TypeVar("Item")
Result = TypeVar("Result")


@dataclass(frozen=True)
class PlannedSpell:
    """A stroke for some minutes [min], as the search holds it."""

    stroke: StrokeSpec
    minutes: float

    @property
    def work(self) -> float:
        """Minutes that count against the limit: pressing does not [min]."""
        return 0.0 if self.stroke.is_press else self.minutes


Plan = tuple[PlannedSpell, ...]
"""A programme as the search holds it."""


def without_pressings(plan: Plan) -> Plan:
    """The spells that are not pressings."""
    return tuple(spell for spell in plan if not spell.stroke.is_press)


def work_of(plan: Plan) -> float:
    """Minutes that count against the limit [min]."""
    return sum(spell.work for spell in plan)


def is_same(one: Plan, two: Plan) -> bool:
    """Whether two programmes are the same as they are written."""
    return len(one) == len(two) and all(
        np.allclose([a.minutes, a.stroke.length, a.stroke.sweep, a.stroke.overhang],
                    [b.minutes, b.stroke.length, b.stroke.sweep, b.stroke.overhang], atol=2e-4)
        and (a.stroke.kind, a.stroke.on_top, a.stroke.lap) == (b.stroke.kind, b.stroke.on_top, b.stroke.lap)
        for a, b in zip(one, two, strict=True)
    )  # fmt: skip


def plan_of(programme: Programme) -> Plan:
    """A proposed programme as the search holds it."""

    def planned(spell: Any) -> PlannedSpell:
        extents = (spell.length, spell.side_sweep, spell.side_overhang)
        sizes = tuple(0.0 if one is None else float(one.value) for one in extents)
        sizes = (1 / 3, 0.0, 0.0) if spell.stroke == "one-third" else sizes
        return PlannedSpell(StrokeSpec(spell.on_top, spell.lap, spell.stroke, *sizes), spell.minutes)

    return tuple(planned(spell) for spell in programme.spells)


class _Done(NamedTuple):
    """What a spell did: the state after it, largest pressure over the mean one, share of the overlap that carries nothing,
    and what it took."""

    state: State
    peak: float
    lifted: float
    evaluations: int
    balances: int


class CoarseEngine:
    """Coupled runs with one set of constants, on as many shared offsets from 0 to tipping as the accuracy has.

    Attributes
    ----------
    work : int
        Evaluations of the wear rates so far.
    balances : int
        Contacts balanced for them: at each offset and load case that a stroke comes to.
    """

    def __init__(self, bench: Bench, limits: Limits, constants: Constants, accuracy: Accuracy = COARSE) -> None:
        self.bench, self.limits = bench, limits.settled(bench)
        self.constants, self.accuracy = constants, accuracy
        self.cases = load_cases_for(bench)
        self.work = self.balances = 0
        self._counting = Lock()
        self._offsets = {lap_name(lap): self._shared_offsets(lap) for lap in bench.laps}
        self._contacts = {
            (on_top, lap_name(lap)): self._contact(on_top, lap) for lap in bench.laps for on_top in self.limits.pieces
        }
        self._press_contacts: dict[tuple[str, str], tuple[Any, Any]] = {}
        self._paths: dict[StrokeSpec, tuple[Floats, Floats]] = {}
        self._kept: dict[
            tuple[int, PlannedSpell], tuple[State, _Done]
        ] = {}  # by the state, kept so that none takes its id

    def _shared_offsets(self, lap: Lap) -> Floats:
        farthest = max(largest_offset(self.bench, lap, top, self.accuracy) for top in self.limits.pieces)
        return np.linspace(OFF_CENTRE * farthest, farthest, self.accuracy.offsets)

    def _no_paths(self, lap: Lap) -> Floats:
        return np.zeros((self._offsets[lap_name(lap)].size, len(self.cases.position)))

    def _contact(self, on_top: str, lap: Lap) -> tuple[Any, Any]:
        no_path, force = self._no_paths(lap), self.bench.load_on("tool" if on_top == "tool" else "mirror", lap)
        where = (self._offsets[lap_name(lap)], no_path, no_path, self.cases)
        return spell_contact(self.bench, lap, on_top, force, *where, self.constants, self.accuracy)

    def _press_contact(self, on_top: str, lap: Lap) -> tuple[Any, Any]:
        """A pressing's setting, made when first asked for: at rest, centre over centre."""
        key = (on_top, lap_name(lap))
        if key not in self._press_contacts:
            force = self.bench.load_on("tool" if on_top == "tool" else "mirror", lap, pressing=True)
            where = (np.zeros(1), np.zeros((1, 1)), np.ones((1, 1)), AT_REST)
            self._press_contacts[key] = spell_contact(
                self.bench, lap, on_top, force, *where, self.constants, self.accuracy
            )
        return self._press_contacts[key]

    def _contact_and_nodes(self, stroke: StrokeSpec, lap: Lap) -> tuple[Any, Any]:
        """Setting and nodes of a stroke or a pressing."""
        if stroke.is_press:
            return self._press_contact(stroke.on_top, lap)
        contact, nodes = self._contacts[stroke.on_top, lap_name(lap)]
        path, time = self._path(stroke, lap)
        return contact._replace(path=path, time=time), nodes

    def _path(self, stroke: StrokeSpec, lap: Lap) -> tuple[Floats, Floats]:
        weights = self._paths.get(stroke)
        if weights is None:
            hands, law = self.bench.hands, speed_law(self.bench, self.constants)
            jitter = (hands.length_jitter, hands.centre_jitter)
            offset = self._offsets[lap_name(lap)]
            meant = stroke.stroke_on(self.bench.mirror.diameter, self.limits.strokes_a_minute)
            farthest = largest_offset(self.bench, lap, stroke.on_top, self.accuracy)
            on_mirror = made_by_hands(meant, self.constants, FELT_REACH * farthest)
            weights = stroke_weights(on_mirror, jitter, offset, self.cases, stroke.on_top, self.accuracy, law)
            if len(self._paths) > _PATHS_KEPT:
                self._paths.clear()
            self._paths[stroke] = weights
        return weights

    def after(self, state: State, spell: PlannedSpell) -> State:
        """The state after one spell, from one on the grids of the engine's accuracy.

        Raises
        ------
        ContactError
        """
        return self._worked(state, spell)[0]

    def roughness(self, state: State, spell: PlannedSpell) -> Floats:
        """Largest pressure of a spell over the mean one, and share of the overlap that carries nothing (2,) [1].

        Raises
        ------
        ContactError
        """
        return np.array(self._worked(state, spell)[1:])

    def _worked(self, state: State, spell: PlannedSpell) -> tuple[State, float, float]:
        """The state after a spell, largest pressure over the mean one, and share of the overlap that carries nothing [1]."""
        if spell.minutes <= 0.0:
            return state, 0.0, 0.0
        key = id(state), spell
        kept = self._kept.get(key) if spell.minutes >= LONG else None
        done = self._newly_worked(state, spell) if kept is None else kept[1]
        if kept is None and spell.minutes >= LONG:
            if len(self._kept) > _WORKED_KEPT:
                self._kept.clear()
            self._kept[key] = state, done
        with self._counting:  # as if it had been worked again: how much a search does must not hang on its threads
            self.work += done.evaluations
            self.balances += done.balances
        return done.state, done.peak, done.lifted

    def _newly_worked(self, state: State, spell: PlannedSpell) -> _Done:
        lap, seconds = self.bench.lap(spell.stroke.lap), 60.0 * spell.minutes
        contact, nodes = self._contact_and_nodes(spell.stroke, lap)
        w, u = state.height.copy(), state.laps[lap_name(lap)].height.copy()
        speed = mean_path(contact)
        pressure = contact.force / (np.pi * min(self.bench.mirror.radius, lap.radius) ** 2)
        rate = contact.stiffness * (contact.creep + contact.wear * speed)
        # a spell of a minute is held to the error of a quarter of an hour: the search adds minutes up
        wear = contact.wear * pressure * speed * max(seconds, 900.0)
        small = self.accuracy.tolerance
        errors = (small * wear if wear > 0.0 else np.inf, small * pressure / contact.stiffness)
        poses, report = np.zeros((*contact.time.shape, 3)), np.zeros(6)
        status = kernels.evolve(w, u, contact, nodes, poses, seconds, 0, *errors, FIRST_STEP / rate, report)
        if status != 0:
            raise ContactError("a stroke that was tried", float(report[2]))
        after, evaluations = replace(state, height=w).with_lap(lap_name(lap), u), int(report[4])
        balances = evaluations * int(np.count_nonzero(contact.time))
        return _Done(after, float(report[0] / pressure), float(report[1]), evaluations, balances)

    def states(self, start: State, plan: Plan) -> list[State]:
        """The start and the state after each spell."""
        out = [start]
        for spell in plan:
            out.append(self.after(out[-1], spell))
        return out


def chunks(items: Sequence[Item], size: int) -> list[Sequence[Item]]:
    """A list in pieces of ``size``, the last with what is left: between them a search looks at time and work.

    The size is never the number of workers, so that what is begun does not depend on it.
    """
    return [items[i : i + size] for i in range(0, len(items), size)]
