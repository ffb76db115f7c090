"""Trying out strokes fast: many coupled runs on one bench, its nodes and path weights made once.

A trial run is the radial engine on coarse grids and on offsets shared by all strokes, good to about half a percent
of the removal's range (docs/performance.md); what a search chooses is worked again at full accuracy.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from threading import Lock
from typing import Any

import numpy as np

from wearsim.bench.bench import Bench
from wearsim.bench.lap import Lap
from wearsim.bench.programme import Programme
from wearsim.decide.limits import Limits
from wearsim.decide.stroke_library import Shape
from wearsim.errors import ContactError
from wearsim.kernels import radial as kernels
from wearsim.kernels.arrays import Floats
from wearsim.wear.accuracy import DEFAULT, Accuracy
from wearsim.wear.constants import Constants
from wearsim.wear.radial.engine import AT_REST, largest_offset, spell_contact
from wearsim.wear.radial.offset_basis import stroke_weights
from wearsim.wear.radial.path_weights import OFF_CENTRE, load_cases
from wearsim.wear.state import State, lap_name

COARSE = Accuracy(
    glass_rings=28, pitch_rings=28, offsets=22, per_radius=10, per_turn=9, ring_per_turn=8, table_cells=200,
    draws=64, phases=16, tolerance=1e-2,
)  # fmt: skip
# For looking at thousands of programmes: six tenths of the time of a trial run, hardly farther from full accuracy.
ROUGH = replace(COARSE, glass_rings=20, pitch_rings=20, offsets=22, per_radius=8, draws=32, phases=12, tolerance=5e-2)
# Nearly full accuracy at two thirds of its time.
NEAR = replace(DEFAULT, glass_rings=32, pitch_rings=32, offsets=44, draws=96, phases=16, tolerance=1e-2)
# The first step in time, in times in which the lap's flow and the wear settle; error control sees to the rest.
FIRST_STEP = 2.0


@dataclass(frozen=True)
class Trying:
    """A stroke for some minutes, as the search holds it.

    Parameters
    ----------
    shape : Shape
    minutes : float
        [min]
    """

    shape: Shape
    minutes: float

    @property
    def work(self) -> float:
        """Minutes that count against the limit: pressing does not [min]."""
        return 0.0 if self.shape.is_press else self.minutes


def worked(programme: tuple[Trying, ...]) -> tuple[Trying, ...]:
    """The spells of a programme that are not pressings."""
    return tuple(tried for tried in programme if not tried.shape.is_press)


def tried_of(programme: Programme) -> tuple[Trying, ...]:
    """A proposed programme as the search holds it."""

    def part(value: object) -> float:
        return 0.0 if value is None else float(value.value)  # type: ignore[attr-defined]

    return tuple(
        Trying(
            Shape(
                spell.on_top, spell.lap, spell.stroke, part(spell.length), part(spell.side_sweep),
                part(spell.side_overhang),
            ),
            spell.minutes,
        )
        for spell in programme.spells
    )  # fmt: skip


class Trials:
    """Coupled runs with one set of constants.

    Parameters
    ----------
    bench : Bench
    limits : Limits
    constants : Constants
    accuracy : Accuracy
        ``offsets`` is the number of shared offsets from 0 to tipping.
    """

    def __init__(self, bench: Bench, limits: Limits, constants: Constants, accuracy: Accuracy = COARSE) -> None:
        self.bench, self.limits, self.constants, self.accuracy = bench, limits, constants, accuracy
        self.cases = load_cases(bench.hands.friction_lead, tuple(bench.hands.push_offset))
        self.work = 0  # evaluations of the wear rates so far
        self.balances = 0  # contacts balanced for them: at each offset and load case that a stroke comes to
        self._counting = Lock()
        self._settings: dict[tuple[str, str], tuple[Any, Any]] = {}
        self._paths: dict[Shape, tuple[Floats, Floats]] = {}
        self._shared: dict[str, Floats] = {}
        for lap in bench.laps:
            for on_top in limits.on_top:
                self._settings[on_top, lap_name(lap)] = self._setting(on_top, lap)
        self._pressings: dict[tuple[str, str], tuple[Any, Any]] = {}

    def _offsets(self, lap: Lap) -> Floats:
        name = lap_name(lap)
        if name not in self._shared:
            far = max(largest_offset(self.bench, lap, top, self.accuracy) for top in self.limits.on_top)
            self._shared[name] = np.linspace(OFF_CENTRE * far, far, self.accuracy.offsets)
        return self._shared[name]

    def _setting(self, on_top: str, lap: Lap) -> tuple[Any, Any]:
        offset = self._offsets(lap)
        nothing = np.zeros((offset.size, len(self.cases.position)))
        force = self.bench.load_on("tool" if on_top == "tool" else "mirror", lap)
        return spell_contact(
            self.bench, lap, on_top, force, offset, nothing, nothing, self.cases, self.constants,
            self.accuracy,
        )  # fmt: skip

    def _pressing(self, shape: Shape, lap: Lap) -> tuple[Any, Any]:
        """A pressing's setting, made when first asked for: at rest, centre over centre."""
        key = (shape.on_top, lap_name(lap))
        if key not in self._pressings:
            one = np.ones((1, 1))
            force = self.bench.load_on("tool" if shape.on_top == "tool" else "mirror", lap, pressing=True)
            self._pressings[key] = spell_contact(
                self.bench, lap, shape.on_top, force, np.zeros(1), 0.0 * one, one, AT_REST, self.constants,
                self.accuracy,
            )  # fmt: skip
        return self._pressings[key]

    def _prepared(self, shape: Shape, lap: Lap) -> tuple[Any, Any]:
        """Setting and nodes of a stroke or a pressing."""
        if shape.is_press:
            return self._pressing(shape, lap)
        setting, nodes = self._settings[shape.on_top, lap_name(lap)]
        path, time = self._path(shape, lap)
        return setting._replace(path=path, time=time), nodes

    def _path(self, shape: Shape, lap: Lap) -> tuple[Floats, Floats]:
        if shape not in self._paths:
            offset = self._offsets(lap)
            path, time = (np.zeros((offset.size, len(self.cases.position))) for _ in range(2))
            hands = self.bench.hands
            stroke = shape.stroke(self.bench.mirror.diameter, self.limits.rate)
            jitter = (hands.length_jitter, hands.centre_jitter)
            stroke_weights(stroke, jitter, offset, self.cases, shape.on_top, self.accuracy, path, time)
            if len(self._paths) > 20_000:
                self._paths.clear()
            self._paths[shape] = path, time
        return self._paths[shape]

    def after(self, state: State, tried: Trying) -> State:
        """The state after one spell.

        Parameters
        ----------
        state : State
            On the grids of the trials' accuracy.
        tried : Trying

        Raises
        ------
        ContactError
        """
        lap = self.bench.lap(tried.shape.lap)
        name = lap_name(lap)
        setting, nodes = self._prepared(tried.shape, lap)
        w, u = state.height.copy(), state.laps[name].height.copy()
        seconds = 60.0 * tried.minutes
        if seconds <= 0.0:
            return state
        speed = float(setting.path.sum())
        pressure = setting.force / (np.pi * min(self.bench.mirror.radius, lap.radius) ** 2)
        rate = setting.stiffness * (setting.creep + setting.wear * speed)
        small = self.accuracy.tolerance
        # a spell of a minute is held to the error of a quarter of an hour: the search adds minutes up
        wear = setting.wear * pressure * speed * max(seconds, 900.0)
        report = np.zeros(6)
        status = kernels.evolve(
            w, u, setting, nodes, np.zeros((*setting.path.shape, 3)), seconds, 0,
            small * wear if wear > 0.0 else np.inf, small * pressure / setting.stiffness, FIRST_STEP / rate, report,
        )  # fmt: skip
        with self._counting:
            self.work += int(report[4])
            self.balances += int(report[4]) * int(np.count_nonzero(setting.time))
        if status != 0:
            raise ContactError(f"trial of {tried.shape}", float(report[2]))
        return replace(state, height=w).with_lap(name, u)

    def states(self, start: State, programme: tuple[Trying, ...]) -> list[State]:
        """The start and the state after each spell."""
        out = [start]
        for tried in programme:
            out.append(self.after(out[-1], tried))
        return out
