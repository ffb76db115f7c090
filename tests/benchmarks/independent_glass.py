"""Independent glass for the benchmarks: a mirror that behaves as glass does, and not quite as the model says.

It shares nothing with wearsim's engines. A session is worked stroke by stroke (:mod:`tests.benchmarks.independent_contact`)
by hands that have habits and drift, with an abrasive that breaks down, on a lap that is not quite the stated one. Every
difference from the model is a field of :class:`GlassOptions`; by default there is none, and :data:`REAL` has all.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace

import numpy as np
from scipy.interpolate import CubicSpline

from tests.benchmarks.independent_contact import TABLE, Floats, Pieces, Rings, rings, work
from wearsim.bench.bench import Bench
from wearsim.bench.lap import Lap
from wearsim.bench.profile import Profile
from wearsim.bench.programme import Programme, Spell, Stroke
from wearsim.knifeedge.longitudinal import Zones, zone_readings
from wearsim.knifeedge.readings import Readings
from wearsim.knifeedge.setting_noise import STATED_AT

PERSON, LAP, ABRASIVE, STROKES = 1, 2, 3, 4
"""Purposes of the streams of random numbers."""
GOLDEN = 0.5 * (5.0**0.5 - 1.0)
SAFE = 0.95
"""Share of the offset at which the top piece would tip off that no stroke goes beyond [1]."""
FACET_PLACE = (0.3, 0.2)
"""Place of the nearest facet's middle from the lap's centre, in facets and channels [1]."""
PRESS_STEP = 1.0 / 40.0
"""Step of a pressing, in relaxation times [1]."""


@dataclass(frozen=True)
class GlassConstants:
    """True factors on the constants that the bench states [1]."""

    preston: float = 1.0
    stiffness: float = 1.0
    relaxation_time: float = 1.0
    edge_gain: float = 1.0


@dataclass(frozen=True)
class GlassOptions:
    """How the glass differs from the model. By default it does not.

    Parameters
    ----------
    length_factor, length_factor_spread : float
        Length and side sweep of every stroke over the recorded ones: its middle, and its spread from person to person [1].
    overhang_bias, overhang_bias_spread : float
        How far a person's strokes lie off to the side of what is recorded, likewise [m].
    overhang_wander, overhang_wander_time : float
        Slow wandering of the overhang within a spell [m], and its correlation time [s].
    load_wander, load_wander_time : float
        The same of the load, relative [1], [s].
    turning : bool
        Whether the walk and the turning of the top piece add to the speed.
    removal_spread, session_spread : float
        Relative spread of the removal from spell to spell and from session to session [1].
    wet, breakdown_time, breakdown_floor : float
        Duration of a wet [s], time in which the abrasive breaks down [s] (0: it does not), and the share of its rate that is
        left in the end [1]. The mean over a whole wet is 1.
    pressure_power, speed_power : float
        Exponents of pressure and speed in the wear law, equal to Preston's at the mean pressure and speed.
    lap_size : float
        True diameter of every lap over the stated one [1].
    rim_softness, rim_softness_length : float
        By how much the pitch is softer at the rim of the lap [1], and over what length that fades [m]. The mean
        stiffness by area stays the stated one.
    channels : bool
        Whether facets and channels are counted ring by ring, whatever the bench's ``facet_shape``, a facet near the lap's
        centre (:data:`FACET_PLACE`).
    edge_gain_factor, edge_length_factor : float
        Of the glass-edge effect, over the model's [1].
    start_misfit : float
        RMS of the smooth misfit of a lap before it is pressed for the first session [m].
    sag : float
        RMS of the smooth change of a lap between two sessions [m].
    pressed_minutes, press_force : float
        Pressing before each session that nobody records [min], with this force added to the top piece's weight [N].
    """

    length_factor: float = 1.0
    length_factor_spread: float = 0.0
    overhang_bias: float = 0.0
    overhang_bias_spread: float = 0.0
    overhang_wander: float = 0.0
    overhang_wander_time: float = 60.0
    load_wander: float = 0.0
    load_wander_time: float = 120.0
    turning: bool = False
    removal_spread: float = 0.0
    session_spread: float = 0.0
    wet: float = 300.0
    breakdown_time: float = 0.0
    breakdown_floor: float = 1.0
    pressure_power: float = 1.0
    speed_power: float = 1.0
    lap_size: float = 1.0
    rim_softness: float = 0.0
    rim_softness_length: float = 0.006
    channels: bool = False
    edge_gain_factor: float = 1.0
    edge_length_factor: float = 1.0
    start_misfit: float = 0.0
    sag: float = 0.0
    pressed_minutes: float = 0.0
    press_force: float = 0.0


NONE = GlassOptions()
HANDS = GlassOptions(
    length_factor=1.04, length_factor_spread=0.06, overhang_bias=0.002, overhang_bias_spread=0.004,
    overhang_wander=0.003, load_wander=0.1, turning=True,
)  # fmt: skip
ABRASION = GlassOptions(removal_spread=0.1, session_spread=0.05, breakdown_time=150.0, breakdown_floor=0.4)
LAW = GlassOptions(pressure_power=1.2, speed_power=0.8)
SMALLER_LAP = GlassOptions(
    lap_size=0.98, rim_softness=0.25, channels=True, edge_gain_factor=1.2, edge_length_factor=1.4
)
PRESSING = GlassOptions(start_misfit=300e-9, sag=100e-9, pressed_minutes=15.0)


def _all_of(*options: GlassOptions) -> GlassOptions:
    """Everything in which any of these differs from the default."""
    changed = {key: value for one in options for key, value in vars(one).items() if value != getattr(NONE, key)}
    return replace(NONE, **changed)


REAL = _all_of(HANDS, ABRASION, LAW, SMALLER_LAP, PRESSING)
PRESETS: Mapping[str, GlassOptions] = {
    "none": NONE, "hands": HANDS, "abrasion": ABRASION, "law": LAW, "lap": SMALLER_LAP, "pressing": PRESSING,
    "real": REAL,
}  # fmt: skip


@dataclass(frozen=True)
class Grid:
    """Numerical settings: rings of glass and lap, arcs in half a turn, poses per stroke."""

    glass: int = 48
    lap: int = 44
    arcs: int = 20
    poses: int = 10

    def refined(self, factor: float = 2.0) -> Grid:
        """Everything finer by a factor."""
        return Grid(*(round(factor * one) for one in (self.glass, self.lap, self.arcs, self.poses)))


def departure(bench: Bench, radius: Floats) -> Floats:
    """Target conic less the sphere of the mirror's radius of curvature [m]."""
    curve, square = bench.mirror.radius_of_curvature, radius**2

    def sagitta(conic: float) -> Floats:
        return square / curve / (1.0 + np.sqrt(1.0 - (1.0 + conic) * square / curve**2))

    return np.asarray(sagitta(bench.mirror.conic) - sagitta(0.0))


def smooth_shape(x: Floats, rms: float, rng: np.random.Generator) -> Floats:
    """A random round shape over x = 0..1 of the radius, of four waves in x^2 and this RMS by area on average [m]."""
    waves = np.arange(1.0, 5.0)
    sizes = rng.standard_normal(4) / waves
    return np.asarray(rms / np.sqrt(0.5 * np.sum(waves**-2.0)) * np.cos(np.pi * np.outer(x**2, waves)) @ sizes)


def wandering(count: int, step: float, time: float, rng: np.random.Generator) -> Floats:
    """A stationary first-order autoregressive series of unit spread, with this correlation time."""
    keep = np.exp(-step / time)
    series = rng.standard_normal(count)
    for i in range(1, count):
        series[i] = keep * series[i - 1] + np.sqrt(1.0 - keep**2) * series[i]
    return series


def facet_share(lap: Lap, radius: Floats) -> Floats:
    """Share of each circle of a lap that lies on square facets, over the mean share [1]."""
    turn = 2.0 * np.pi * (np.arange(720) + 0.5) / 720
    pitch = lap.facet + lap.channel

    def on_facet(place: Floats, middle: float) -> Floats:
        return np.abs((place - middle * pitch + 0.5 * pitch) % pitch - 0.5 * pitch) <= 0.5 * lap.facet

    along, across = np.outer(radius, np.cos(turn)), np.outer(radius, np.sin(turn))
    inside = on_facet(along, FACET_PLACE[0]) & on_facet(across, FACET_PLACE[1])
    return np.asarray(inside.mean(axis=1) / (lap.facet / pitch) ** 2)


def stroke_path(stroke: Stroke, moments: Floats, length: Floats, sweep: Floats, overhang: Floats) -> Floats:
    """Places and velocities (n, poses, 4) of the top piece's centre at these moments, in strokes.

    Each stroke has a length, a side sweep and an overhang of its own, (n,) [m].
    """
    turn, rate = 2.0 * np.pi * moments, 2.0 * np.pi * stroke.frequency
    half, sweep = 0.5 * length[:, None], sweep[:, None]
    aside, drift = np.zeros_like(turn), np.zeros_like(turn)
    if stroke.kind == "oval":
        aside, drift = np.cos(turn), -rate * np.sin(turn)
    elif stroke.kind == "w":
        quarter = (moments / (2.0 * stroke.strokes_per_sweep) + 0.25) % 1.0
        rises = quarter < 0.5
        aside = np.where(rises, 4.0 * quarter - 1.0, 3.0 - 4.0 * quarter)
        drift = np.where(rises, 4.0, -4.0) * stroke.frequency / (2.0 * stroke.strokes_per_sweep)
    along, velocity = half * np.sin(turn), rate * half * np.cos(turn)
    return np.stack([along, overhang[:, None] + sweep * aside, velocity, sweep * drift], axis=-1)


@dataclass
class Glass:
    """One mirror and its laps, as they truly are; :meth:`work` and :meth:`press` change them.

    Parameters
    ----------
    bench : Bench
        As the person believes it to be.
    radius, error : (n,) ndarray
        True figure error at the beginning at increasing radii, positive = high [m].
    seed : int
        Of the person, the laps, and every session's and spell's chance.
    """

    bench: Bench
    radius: Floats
    error: Floats
    options: GlassOptions = NONE
    constants: GlassConstants = GlassConstants()
    seed: int = 0
    grid: Grid = Grid()
    sessions: int = 0
    rings: Rings = field(init=False, repr=False)
    height: Floats = field(init=False, repr=False)
    laps: dict[str | None, tuple[Rings, Floats]] = field(init=False, repr=False)

    def __post_init__(self) -> None:
        mirror, person = self.bench.mirror, self._stream(PERSON).standard_normal(3)
        self.rings = rings(mirror.hole_radius, mirror.radius, self.grid.glass)
        known = CubicSpline(self.radius, self.error)
        inside = np.clip(self.rings.middle, self.radius[0], self.radius[-1])
        self.height = known(inside) + departure(self.bench, self.rings.middle)
        spread = self.options.length_factor_spread
        self._length, self._sweep = self.options.length_factor * np.exp(spread * person[:2])
        self._overhang = self.options.overhang_bias + self.options.overhang_bias_spread * person[2]
        self.laps = {}
        self._fit_laps()

    def _stream(self, purpose: int, *more: int) -> np.random.Generator:
        return np.random.default_rng(np.random.SeedSequence(self.seed, spawn_key=(purpose, *more)))

    def _fit_laps(self) -> None:
        """Every lap as it begins: pressed to the glass or spherical, with the misfit that nobody knows."""
        for number, lap in enumerate(self.bench.laps):
            own = rings(0.0, lap.radius * self.options.lap_size, self.grid.lap)
            inside = np.clip(own.middle, self.rings.middle[0], self.rings.middle[-1])
            fits = lap.start == "pressed"
            shape = -np.interp(inside, self.rings.middle, self.height) if fits else np.zeros(self.grid.lap)
            rng = self._stream(LAP, self.sessions, number)
            misfit = smooth_shape(own.middle / own.middle[-1], self.options.start_misfit, rng)
            self.laps[lap.name] = own, shape + misfit

    def work(self, programme: Programme, bench: Bench | None = None, lap: str | None = None) -> None:
        """Work a session: the laps sag and are pressed as the options say, then the spells in order.

        Parameters
        ----------
        bench : Bench, optional
            Under the session's conditions; by default the usual one.
        lap : str, optional
            "pressed": the laps are fitted to the glass again before the session.

        Raises
        ------
        RuntimeError
            Where no balance of the contact was found.
        """
        bench = self.bench if bench is None else bench
        self.sessions += 1
        if lap == "pressed":
            self._fit_laps()
        elif self.sessions > 1:
            self._sag()
        for one in bench.laps:
            self.press(self.options.pressed_minutes, bench, one.name, force=self.options.press_force)
        session = np.exp(self.options.session_spread * self._stream(ABRASIVE, self.sessions).standard_normal())
        for number, spell in enumerate(programme.spells):
            self._work_spell(bench, spell, number, float(session))

    def _sag(self) -> None:
        for number, (name, (own, shape)) in enumerate(self.laps.items()):
            rng = self._stream(LAP, self.sessions, number)
            self.laps[name] = own, shape + smooth_shape(own.middle / own.middle[-1], self.options.sag, rng)

    def press(
        self, minutes: float, bench: Bench | None = None, lap: str | None = None, on_top: str = "tool",
        force: float = 0.0,
    ) -> None:  # fmt: skip
        """Press a lap on the glass at rest, under the top piece's weight and this force [N]."""
        bench = self.bench if bench is None else bench
        pieces, seconds = self._pieces(bench, bench.lap(lap), on_top), 60.0 * minutes
        count = int(np.ceil(seconds / (PRESS_STEP * pieces.relaxation_time)))
        poses = np.zeros((count, 7))
        poses[:, 4] = bench.load_on("tool" if on_top == "tool" else "mirror", bench.lap(lap), pressing=True) + force
        poses[:, 5] = seconds / max(count, 1)
        self._run(pieces._replace(lead=0.0, push_x=0.0, push_y=0.0), bench.lap(lap), poses, 1)

    def _work_spell(self, bench: Bench, spell: Spell, number: int, session: float) -> None:
        if spell.is_press:
            self.press(spell.minutes, bench, spell.lap, spell.on_top)
            return
        lap, stroke = bench.lap(spell.lap), spell.stroke_on(bench.mirror.diameter)
        pieces, rng = self._pieces(bench, lap, spell.on_top), self._stream(STROKES, self.sessions, number)
        count = max(1, round(spell.duration * stroke.frequency))
        path = self._strokes(bench, stroke, count, self._reach(pieces), rng)
        each = spell.duration / count
        poses = np.empty((count, self.grid.poses, 7))
        poses[..., :4], poses[..., 5] = path, each / self.grid.poses
        wander = wandering(count, each, self.options.load_wander_time, rng)
        load = bench.load_on(spell.on_top, lap, spell.push)
        poses[..., 4] = (load * np.clip(1.0 + self.options.load_wander * wander, 0.3, None))[:, None]
        spread = np.exp(self.options.removal_spread * rng.standard_normal())
        rate = bench.preston * self.constants.preston * session * float(spread)
        poses[..., 6] = (rate * self._abrasive(each * (np.arange(count) + 0.5)))[:, None]
        self._run(pieces, lap, poses.reshape(-1, 7), self.grid.poses)

    def _abrasive(self, seconds: Floats) -> Floats:
        """Rate of the abrasive at these times of a spell, its mean over a whole wet being 1."""
        time, floor, wet = self.options.breakdown_time, self.options.breakdown_floor, self.options.wet
        if time == 0.0:
            return np.ones_like(seconds)
        mean = floor + (1.0 - floor) * time / wet * (1.0 - np.exp(-wet / time))
        return np.asarray((floor + (1.0 - floor) * np.exp(-(seconds % wet) / time)) / mean)

    def _reach(self, pieces: Pieces) -> float:
        """Largest offset of a stroke: beyond it the load would leave the bottom piece [m]."""
        bottom = pieces.mirror_radius if pieces.tool_on_top else pieces.lap_radius
        return SAFE * (bottom - pieces.lead - float(np.hypot(pieces.push_x, pieces.push_y)))

    def _strokes(self, bench: Bench, stroke: Stroke, count: int, reach: float, rng: np.random.Generator) -> Floats:
        """Poses (count, poses, 4) of so many strokes; those that would tip the top piece off are drawn again."""
        hands, number = bench.hands, np.arange(count)
        wander = self.options.overhang_wander * wandering(
            count, 1.0 / stroke.frequency, self.options.overhang_wander_time, rng
        )
        inside = (np.arange(self.grid.poses) + ((number * GOLDEN) % 1.0)[:, None]) / self.grid.poses
        moments = number[:, None] + inside
        path, wrong = np.empty((count, self.grid.poses, 4)), np.ones(count, dtype=bool)
        for _ in range(50):
            draws = rng.standard_normal((count, 4))[wrong]
            long, wide = np.clip(1.0 + hands.length_jitter * draws[:, :2].T, 0.0, None)
            overhang = stroke.side_overhang + self._overhang + wander[wrong] + hands.centre_jitter * draws[:, 3]
            drawn = stroke_path(
                stroke, moments[wrong], self._length * stroke.length * long, self._sweep * stroke.side_sweep * wide,
                overhang,
            )  # fmt: skip
            drawn[..., 0] += hands.centre_jitter * draws[:, 2:3]
            path[wrong] = drawn
            offset = np.hypot(path[..., 0], path[..., 1]).max(axis=1)
            wrong = offset > reach
            if not wrong.any():
                return path
        path[..., :2] *= np.minimum(1.0, reach / offset)[:, None, None]
        return path

    def _pieces(self, bench: Bench, lap: Lap, on_top: str) -> Pieces:
        mirror, hands, options = bench.mirror, bench.hands, self.options
        area = np.pi * (mirror.radius**2 - mirror.hole_radius**2)
        loads = bench.load_on("tool", self.bench.laps[0]), bench.load_on("mirror", self.bench.laps[0])
        walk = 2.0 * np.pi / hands.walk if options.turning else 0.0
        spin = walk - 2.0 * np.pi / hands.hand_turn if options.turning else 0.0
        return Pieces(
            self.grid.arcs, mirror.radius, mirror.hole_radius, lap.radius * options.lap_size,
            lap.stiffness * self.constants.stiffness,
            bench.relaxation_time_at(lap) * self.constants.relaxation_time,
            bench.wear.edge_gain * self.constants.edge_gain * options.edge_gain_factor,
            bench.edge_length_for(lap) * options.edge_length_factor, on_top == "tool", hands.friction_lead,
            *hands.push_offset, walk, spin, options.pressure_power, options.speed_power,
            0.5 * sum(loads) / area, mirror.diameter * 2.0 / 3.0 * 50.0 / 60.0,
        )  # fmt: skip

    def _softness(self, lap: Lap) -> Floats:
        """Stiffness over the nominal one, at even radii of the lap [1]."""
        radius = np.linspace(0.0, lap.radius * self.options.lap_size, TABLE + 1)
        softness = np.ones_like(radius)
        if self.options.rim_softness:
            within = np.minimum((radius[-1] - radius) / self.options.rim_softness_length, 700.0)
            softness -= self.options.rim_softness * np.exp(-within)
        if self.options.channels:
            softness *= facet_share(lap, radius)
        return np.asarray(softness * radius.sum() / (softness @ radius))

    def _run(self, pieces: Pieces, lap: Lap, poses: Floats, per_stroke: int) -> None:
        own, shape = self.laps[lap.name]
        failed = work(
            pieces, self.rings, own, self._softness(lap), np.ascontiguousarray(poses), per_stroke, self.height, shape
        )
        if failed >= 0:
            raise RuntimeError(f"no balance at pose {failed} of {len(poses)}")

    def profile(self, radius: Floats) -> Floats:
        """The true figure error at these radii, positive = high, not levelled [m]."""
        middle, error = self.rings.middle, self.height - departure(self.bench, self.rings.middle)
        if self.bench.mirror.hole_radius == 0.0:
            middle, error = np.concatenate([-middle[::-1], middle]), np.concatenate([error[::-1], error])
        return np.asarray(CubicSpline(middle, error)(radius))

    def measured_profile(self, sigma: float, points: int = 22, seed: int = 0, independent: float = 0.5) -> Profile:
        """The figure error as a test finds it.

        Parameters
        ----------
        sigma : float
            Standard deviation of every row [m].
        points : int
            Rows, from the hole's rim or the centre to the rim.
        independent : float
            Share of the variance that differs from row to row by itself; the rest is a smooth shape [1].
        """
        mirror, rng = self.bench.mirror, np.random.default_rng(seed)
        radius = np.linspace(mirror.hole_radius, mirror.radius, points)
        noise = sigma * np.sqrt(independent) * rng.standard_normal(points)
        noise += smooth_shape(radius / mirror.radius, sigma * np.sqrt(1.0 - independent), rng)
        return Profile(radius, self.profile(radius) + noise, np.full(points, sigma))

    def readings(self, zones: Zones, noise: float, seed: int = 0, rows: int = 3) -> Readings:
        """A sheet of knife-edge readings to 10 um; ``noise`` is of a setting at 0.35 of the radius [m] and goes as 1/r."""
        mirror, rng = self.bench.mirror, np.random.default_rng(seed)
        radius = np.linspace(mirror.hole_radius, mirror.radius, 101)
        true = zone_readings(zones, radius, self.profile(radius), mirror.geometry)
        spread = noise * STATED_AT * mirror.radius / zones.middle
        positions = true + spread * rng.standard_normal((rows, len(zones)))
        positions -= positions[:, :1] - 1e-3 * rng.random((rows, 1))
        return Readings(zones, np.round(positions, 5), sigma=noise)
