"""A practice mirror: simulated glass and pitch, worked stroke by stroke by the planar engine, read with noise.

What is true of it (its constants, how far its sessions vary) is drawn once from a seed and the bench's spread,
and stays hidden from what proposes; every session's strokes and readings draw from streams of their own, so
that a practice mirror is the same every time it is walked through with the same programmes. Its bench, sizes, laps and
fault, invented here, are drawn from that seed as well.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from typing import Literal, get_args

import numpy as np

from wearsim.bench.bench import Bench
from wearsim.bench.input_errors import parse_toml
from wearsim.bench.programme import Programme
from wearsim.bench.toml_io import bench_from_table
from wearsim.bench.units import INCHES, MILLIMETRES, POUND, POUND_FORCE, LengthUnit, decimal, round_unit
from wearsim.figure.conic import Conic
from wearsim.kernels.arrays import Floats
from wearsim.knifeedge.longitudinal import Zones, zone_readings
from wearsim.knifeedge.readings import Readings
from wearsim.knifeedge.setting_noise import STATED_AT
from wearsim.wear.accuracy import DEFAULT, PlanarAccuracy
from wearsim.wear.constants import AS_STATED, Constants, constants_at, prior
from wearsim.wear.discrepancy import Discrepancy, SessionChance
from wearsim.wear.initial_figure import StartFigure
from wearsim.wear.planar.engine import PlanarEngine, PlanarState
from wearsim.wear.planar.grid import ring_mean
from wearsim.wear.predict import unpressed_laps
from wearsim.wear.state import glass_grid

Fault = Literal["raised ring", "oblate", "sphere", "turned edge"]
FAULTS: tuple[Fault, ...] = get_args(Fault)
PRACTICE_ACCURACY = PlanarAccuracy(cells=64, poses=12, share_of_rate=0.02)
WORKING, READING, SESSIONS, TRUE_VALUES = 1, 2, 3, 4
"""Purposes of the streams of random numbers."""
PROFILE_POINTS = 101
_BENCH = """\
# A practice mirror, invented by wearsim: there is no such glass.

[mirror]
diameter = "{diameter}"
radius_of_curvature = "{radius_of_curvature}"
conic = -1.0
glass = "borosilicate"
thickness = "{thickness}"
rim_excluded = "{excluded}"

[[lap]]
name = "full"
diameter = "{diameter}"
mass = "{mass}"      # about half of what the mirror weighs
facet_shape = "none"

[[lap]]
name = "small"
diameter = "{small}"
mass = "{small_mass}"
facet_shape = "none"

[hands]
push = "{push}"
length_jitter = 0.05

[figure]
readings = "readings.toml"
"""


@dataclass(frozen=True)
class DrawnMirror:
    """A mirror to practise on, as it truly is at the beginning.

    Parameters
    ----------
    fault : str
        What is wrong with its figure.
    text : str
        Its ``bench.toml``.
    start : StartFigure
        The true glass, exact.
    """

    fault: Fault
    text: str
    bench: Bench
    start: StartFigure


def draw_mirror(
    seed: int, fault: Fault | None = None, diameter: float | None = None, focal_ratio: float | None = None
) -> DrawnMirror:
    """A practice mirror of 0.2 to 0.5 m, f/4.5 to f/7, with one of the faults that are met with.

    Parameters
    ----------
    fault : str, optional
        One of :data:`FAULTS`; drawn where not given.
    diameter : float, optional
        [m]; drawn where not given.
    focal_ratio : float, optional
        Focal length over diameter [1]; drawn where not given.
    """
    rng = np.random.default_rng(np.random.SeedSequence(seed, spawn_key=(0,)))
    kind = FAULTS[int(rng.integers(len(FAULTS)))] if fault is None else fault
    drawn_diameter, drawn_ratio = (round(float(rng.uniform(0.2, 0.5)), 3), round(float(rng.uniform(4.5, 7.0)), 2))
    diameter = drawn_diameter if diameter is None else diameter
    focal_ratio = drawn_ratio if focal_ratio is None else focal_ratio
    text = bench_text(diameter, 2.0 * focal_ratio * diameter)
    # the sheet that the text names is not read yet; the true glass is in ``start``
    bench = bench_from_table({**parse_toml(text, None), "figure": {"conic": 0.0}}, text=text)
    radius = glass_grid(bench.mirror, DEFAULT)
    height = bench.mirror.geometry.departure(radius) + _fault(kind, bench, radius, rng)
    return DrawnMirror(kind, text, bench, StartFigure.exact(radius, height))


def bench_text(diameter: float, radius_of_curvature: float) -> str:
    """TOML of a bench with a paraboloid of these sizes [m] and laps that suit it.

    In inches and pounds where the diameter is a rounder number of inches than of millimetres: 10 in, and not 254 mm.
    """
    inches = _digits(diameter / INCHES.size) < _digits(diameter / MILLIMETRES.size)
    diameter_text = (LengthUnit("in", INCHES.size, 3) if inches else LengthUnit("mm", MILLIMETRES.size, 2)).short(
        diameter
    )
    size = (INCHES if inches else round_unit(MILLIMETRES)).short
    thickness = 0.11 * diameter
    area = np.pi * (0.5 * diameter) ** 2
    weight = 2230.0 * area * thickness
    push = f"{440.0 * area / POUND_FORCE:.1f} lbf" if inches else f"{440.0 * area:.0f} N"

    def mass(share: float) -> str:
        return f"{share * weight / POUND:.2f} lb" if inches else f"{share * weight:.2f} kg"

    return _BENCH.format(
        diameter=diameter_text, radius_of_curvature=size(radius_of_curvature), thickness=size(thickness),
        excluded=size(2e-3), mass=mass(0.5), small=size(0.6 * diameter), small_mass=mass(0.2), push=push,
    )  # fmt: skip


def _digits(number: float) -> int:
    """How many digits a number takes, zeros at its ends not counted."""
    return len(f"{number:.7g}".replace(".", "").strip("0"))


def _fault(kind: Fault, bench: Bench, radius: Floats, rng: np.random.Generator) -> Floats:
    """Figure error of one kind at these radii [m], and a little of everything on top."""
    mirror = bench.mirror
    x = radius / mirror.radius
    smooth = sum(rng.normal(0.0, 6e-9) * np.cos(np.pi * n * x**2) for n in (1, 2, 3))
    if kind == "raised ring":
        middle, width = rng.uniform(0.3, 0.85), rng.uniform(0.09, 0.2)
        size = rng.uniform(60e-9, 200e-9) * rng.choice([1.0, 1.0, -1.0])
        return np.asarray(smooth + size * np.exp(-4.0 * np.log(2.0) * np.clip((x - middle) / width, -12, 12) ** 2))
    if kind == "turned edge":
        width, depth = rng.uniform(0.06, 0.12), rng.uniform(200e-9, 500e-9)
        return np.asarray(smooth - depth * np.clip((x - 1.0 + width) / width, 0.0, None) ** 2)
    conic = rng.uniform(0.3, 1.0) if kind == "oblate" else 0.0
    departure = Conic(mirror.radius_of_curvature, conic).departure(radius)
    return np.asarray(smooth + departure - mirror.geometry.departure(radius))


@dataclass(frozen=True)
class KnifeEdgeTester:
    """How a practice mirror is read, and how well.

    Parameters
    ----------
    windows : int
        Of the mask.
    repeats : int
        Rows of readings.
    sigma : float
        Of one setting at 0.35 of the radius, going as 1/r [m].
    """

    windows: int = 8
    repeats: int = 3
    sigma: float = 1e-4

    def zones(self, bench: Bench) -> Zones:
        """Windows of equal width from near the centre to the edge of what counts, a bridge between each two."""
        mirror = bench.mirror
        inner = max(0.12 * mirror.radius, mirror.hole_radius)
        edges = np.linspace(inner, mirror.clear_radius, self.windows + 1)
        bridge = 0.05 * (edges[1] - edges[0])
        return Zones.from_windows(np.stack([edges[:-1] + bridge, edges[1:] - bridge], axis=1))

    def read(self, bench: Bench, radius: Floats, error: Floats, rng: np.random.Generator) -> Readings:
        """A sheet of readings of a figure error at these radii, as it would be written down."""
        zones, mirror = self.zones(bench), bench.mirror
        true = zone_readings(zones, radius, error, mirror.geometry)
        spread = self.sigma * STATED_AT * mirror.radius / zones.middle
        rows = true + spread * rng.standard_normal((self.repeats, len(zones)))
        zero = rows[:, :1] - 1e-3 * rng.random((self.repeats, 1))
        return Readings(zones, np.round(rows - zero, 5), sigma=self.sigma)


def sheet_text(readings: Readings, unit: LengthUnit = MILLIMETRES) -> str:
    """TOML of a sheet of readings, in millimetres to the hundredth, or inches to the last thousandth but one (2.5 um)."""
    extra_digits = 1 if unit.size > MILLIMETRES.size else 0

    def row(values: Floats, digits: int) -> str:
        return "[" + ", ".join(decimal(value / unit.size, digits) for value in values) + "]"

    windows = np.stack([readings.zones.inner, readings.zones.outer], axis=1)
    lines = [
        f'source = "{readings.source}"',
        f'length_unit = "{unit.name}"',
        "windows = [" + ", ".join(row(pair, 3 + extra_digits) for pair in windows) + "]",
        "readings = [\n"
        + "".join(f"    {row(values, 2 + 2 * extra_digits)},\n" for values in readings.positions)
        + "]",
    ]
    if isinstance(readings.sigma, float):
        lines.append(f"sigma = {readings.sigma / unit.size:.6g}")
    return "\n".join(lines) + "\n"


@dataclass(frozen=True)
class TrueValues:
    """What is true of a practice mirror and nobody may look at.

    Parameters
    ----------
    constants : Constants
        Factors on the bench's constants.
    spread : float
        Relative spread of the removal from session to session [1].
    seed : int
        Of everything that chance brings.
    """

    constants: Constants = AS_STATED
    spread: float = 0.0
    seed: int = 0

    def stream(self, purpose: int, session: int = 0) -> np.random.Generator:
        """The stream of one purpose in one session."""
        return np.random.default_rng(np.random.SeedSequence(self.seed, spawn_key=(purpose, session)))

    def chance(self, session: int, spells: int) -> SessionChance:
        """What one session of so many spells does of its own accord."""
        seed = int(self.stream(SESSIONS, session).integers(2**32))
        return replace(Discrepancy(), spread=self.spread).chances(1, spells, seed)[0]


def draw_true_values(bench: Bench, seed: int) -> TrueValues:
    """Constants from the bench's spread, and a session-to-session spread from what is believed of it."""
    rng, discrepancy = TrueValues(seed=seed).stream(TRUE_VALUES), Discrepancy()
    axes = prior(bench).axes
    vector = axes @ rng.standard_normal(axes.shape[1])
    spread = discrepancy.spread * discrepancy.spread_factor ** rng.standard_normal()
    return TrueValues(constants_at(vector), float(spread), seed)


@dataclass
class PracticeMirror:
    """The simulated glass and laps; :meth:`work` changes them.

    Parameters
    ----------
    bench : Bench
        As the person believes it to be.
    start : StartFigure
        The true glass at the beginning.
    """

    bench: Bench
    true_values: TrueValues
    start: StartFigure
    accuracy: PlanarAccuracy = PRACTICE_ACCURACY
    sessions: int = 0
    _state: PlanarState = field(init=False, repr=False)

    def __post_init__(self) -> None:
        self._engine = PlanarEngine(self.accuracy)
        self._state = self._engine.begin(self.bench, self.start)

    def work(self, programme: Programme, bench: Bench | None = None) -> None:
        """Work a programme on a bench under the session's conditions.

        The laps begin as they were left, sagged and pressed as is usual, from a shape that nobody knows.

        Raises
        ------
        TipsOffError, ContactError
        """
        self.sessions += 1
        bench = self.bench if bench is None else bench
        constants, chance = self.true_values.constants, self.true_values.chance(self.sessions, len(programme.spells))

        own, fresh = chance.discrepancy, self.sessions == 1
        rms = own.fresh_misfit if fresh else own.sag
        state = self._engine.with_misfit(bench, self._state, lambda _, share: chance.misfit(share, rms))
        for lap in unpressed_laps(programme):
            seconds = own.pressing(bench, bench.lap(lap), is_fresh=fresh)
            state = self._engine.pressed(bench, state, [lap], seconds, constants)
        entropy = int(self.true_values.stream(WORKING, self.sessions).integers(2**32))
        run = self._engine.run(bench, programme, state, constants, seed=entropy, sizes=chance.sizes)
        error = chance.shape_error(run.removal, run.radius)
        distance = np.hypot(run.end.across, run.end.across[:, None])
        self._state = replace(run.end, glass=run.end.glass + np.interp(distance, run.radius, error))

    @property
    def radius(self) -> Floats:
        """Radii of :meth:`error` [m]."""
        return np.linspace(self.bench.mirror.hole_radius, self.bench.mirror.radius, PROFILE_POINTS)

    @property
    def error(self) -> Floats:
        """The true figure error at :attr:`radius`: mean over circles, less the target, not levelled [m]."""
        across = self._state.across
        target = self.bench.mirror.geometry.departure(np.hypot(across, across[:, None]))
        return ring_mean(self._state.glass - target, across, self.radius)

    def read(self, tester: KnifeEdgeTester) -> Readings:
        """A sheet of readings of the glass as it stands."""
        rng = self.true_values.stream(READING, self.sessions)
        return tester.read(self.bench, self.radius, self.error, rng)
