"""What a bench risks, in nanometres: how much surface each effect may make that the engines leave out.

The engines take the glass and the lap's back as rigid, the glass as evenly warm and the lap as smooth. Each of that
is an estimate here, from the plate of :mod:`wearsim.figure.plate` and a few judgements of how a mirror is handled,
for one bench. Everything is surface height by area, piston and focus taken out. An estimate is good to a factor of
two, not more.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import lru_cache
from typing import Any, Literal

import numpy as np

from wearsim.bench import materials as catalogue
from wearsim.bench.bench import GRAVITY, Bench
from wearsim.bench.lap import Lap
from wearsim.bench.mirror import Mirror
from wearsim.bench.personal_units import height_unit
from wearsim.bench.units import LengthUnit, stroke_unit
from wearsim.figure.plate import Deflection, Heat, Plate, PointRing, WarmPatches, on_points, warmed

LARGE = 0.1
"""From this RMS of the wavefront on, in waves, an effect is warned of."""
WORK = 1200.0
"""Of one piece of work [s]: 20 minutes without a pause (judgement)."""
LENGTH, RATE = 1.0 / 3.0, 50.0 / 60.0
"""Its stroke, in diameters, and strokes a second: one-third strokes, 50 a minute."""
HANDS_PLACE = 0.7
"""Where two hands push on a mirror, over its radius (judgement): one at each side."""
SUPPORT_PLACE = 0.7
"""Radius of three pads, over the mirror's: as much glass within as without (common practice, no source)."""
MOVED_IN = 0.5
"""Radius, over the mirror's, to which pads can be moved in and the mirror still lies firmly (judgement)."""
SUPPORT_RINGS: dict[str, tuple[PointRing, ...]] = {
    "three pads": (PointRing(3, SUPPORT_PLACE),),
    "six pads": (PointRing(6, 0.68),),
    "nine pads": (PointRing(3, 0.326, 1 / 3), PointRing(6, 0.744, 2 / 3, np.pi / 6)),
    "eighteen pads": (PointRing(6, 0.368, 1 / 3), PointRing(12, 0.786, 2 / 3, np.pi / 12)),
}
"""Pads that carry alike; the radii of nine and eighteen leave the least RMS (derived with :mod:`wearsim.figure.plate`)."""
PALM_RADIUS = 0.047
"""Radius of a circle as large as a palm, 70 cm^2 [m] (judgement)."""
SKIN, PALM_FLUX = 33.0, 200.0
"""Warmth of skin [degC], and what it goes on giving to cool glass in a room of 20 degC [W/m^2] (judgement, within x2)."""
TOOL_PLACE = 0.3
"""Where hands push on a tool, over its radius (judgement): near its middle, all round while it is turned."""
TOOL_GLASS = "soda-lime"
"""What a tool is taken to be made of: its thickness follows from its mass."""
PITCH_DENSITY = 1100.0
"""[kg/m^3] (from memory)."""
ROUND_MODE = 3.0
"""Lowest round bending mode of a free plate, wave number times radius (from memory, thin-plate theory) [1]."""
FACET_WAVES = 6
"""Highest overtone of the channels that is summed, each way."""


@dataclass(frozen=True)
class Risk:
    """One effect that the engines leave out.

    Parameters
    ----------
    name : str
        By which a program knows it.
    words : str
        The effect in a few words.
    on_top : {"tool", "mirror", "either"}
        The piece on top when it acts.
    rms, peak_to_valley : float
        Surface, as the bench is worked [m].
    careless : float
        RMS if the mirror is never turned in the hands, for what turning cures [m]; otherwise as `rms`.
    advice : str
        What to do about it.
    """

    name: str
    words: str
    on_top: Literal["tool", "mirror", "either"]
    rms: float
    peak_to_valley: float
    careless: float
    advice: str

    def is_large(self, wavelength: float) -> bool:
        """Whether it makes more than a tenth of a wave, RMS of the wavefront."""
        return 2.0 * self.rms > LARGE * wavelength

    def to_json(self) -> dict[str, Any]:
        """One object for ``--json``, units in the names of the keys."""
        return {
            "name": self.name, "effect": self.words, "on_top": self.on_top, "surface_rms_m": self.rms,
            "surface_pv_m": self.peak_to_valley, "never_turned_rms_m": self.careless, "advice": self.advice,
        }  # fmt: skip


def bench_risks(bench: Bench) -> tuple[Risk, ...]:
    """How much surface each neglected effect may make on a person's own bench, and what to do about it.

    Parameters
    ----------
    bench : Bench

    Returns
    -------
    tuple of Risk
        Hands that bend the glass, the pads beneath it, warm palms, the tool's disc under the push, the print of
        facets.
    """
    return _risks(bench, stroke_unit(bench), height_unit(0.0))


@lru_cache(maxsize=32)
def _risks(bench: Bench, unit: LengthUnit, high: LengthUnit) -> tuple[Risk, ...]:
    """The units, of lengths and of heights in the advice, are not part of what makes two benches equal."""
    tools = max((_tool_disc(bench, lap, unit) for lap in bench.laps), key=lambda one: one.rms)
    facets = max((_facets(bench, lap) for lap in bench.laps), key=lambda one: one.rms)
    return _hands(bench), _support(bench, unit, high), _palms(bench), tools, facets


def facet_print(bench: Bench) -> float:
    """RMS of the rings that the channels of the bench's laps print, the deepest of them [m]."""
    return max(_facets(bench, lap).rms for lap in bench.laps)


def risks_json(bench: Bench) -> dict[str, Any]:
    """What a bench risks, for ``--json``: one object for each effect, under ``risks``."""
    return {"risks": [risk.to_json() for risk in bench_risks(bench)]}


def large_risks(bench: Bench, tops: set[str]) -> tuple[Risk, ...]:
    """Those of a tenth of a wave or more, for work with these pieces on top."""
    return tuple(
        risk
        for risk in bench_risks(bench)
        if risk.is_large(bench.light.wavelength) and (risk.on_top == "either" or risk.on_top in tops)
    )


def mirror_plate(mirror: Mirror) -> Plate:
    """The mirror as a plate of its mean thickness; a hole is left out."""
    glass = mirror.material
    hollow = 0.5 * float(mirror.geometry.sagitta(mirror.radius))
    return Plate(mirror.radius, mirror.thickness - hollow, glass.young, glass.poisson)


def tool_plate(lap: Lap) -> Plate:
    """The tool's disc as a plate of glass of the lap's mass, the pitch taken off."""
    glass, area = catalogue.glass(TOOL_GLASS), np.pi * lap.radius**2
    pitch = PITCH_DENSITY * lap.pitch_thickness * lap.fraction * area
    thickness = max(lap.mass - pitch, 0.5 * lap.mass) / (glass.density * area)
    return Plate(lap.radius, thickness, glass.young, glass.poisson)


def pitch_stiffness(radius: float, stiffness: float) -> float:
    """Force per rim amplitude of ``(r/a)^2 cos 2 phi`` on an elastic bed, ``pi kappa a^2 / 6`` [N/m] (derived)."""
    return np.pi * stiffness * radius**2 / 6.0


def round_give(bench: Bench) -> float:
    """How easily the mirror bends in its lowest round mode, relative to the stiffest pitch of its laps [1].

    A plate of rigidity D resists a wave number q with D q^4 per unit of deflection, the pitch with its modulus.
    """
    plate = mirror_plate(bench.mirror)
    return float(max(lap.stiffness for lap in bench.laps) / (plate.rigidity * (ROUND_MODE / plate.radius) ** 4))


def give(bench: Bench) -> float:
    """How easily the mirror bends across a diameter, relative to the stiffest pitch of its laps [1]."""
    plate = mirror_plate(bench.mirror)
    return pitch_stiffness(plate.radius, max(lap.stiffness for lap in bench.laps)) / plate.astigmatic_stiffness


def _speed(bench: Bench) -> float:
    """Mean speed of the strokes [m/s]: out and back in each."""
    return 2.0 * LENGTH * bench.mirror.diameter * RATE


def _hands(bench: Bench) -> Risk:
    """Two hands push down at the sides of the mirror: worn while bent, it springs back.

    The lap, which turns beneath, stays round. With the glass's and the pitch's stiffness ``G`` and ``P`` the glass
    approaches the bent shape at the rate ``k v kappa G / (G + P)`` (derived). Turned in the hands, what is left after
    so many turns is the rest of one, ``hand_turn / (4 pi time)`` at most.
    """
    plate, kappa = mirror_plate(bench.mirror), max(lap.stiffness for lap in bench.laps)
    rate = bench.preston * _speed(bench) * kappa / (1.0 + give(bench))
    whole = on_points(plate, bench.hands.push, [PointRing(2, HANDS_PLACE)]).times(1.0 - np.exp(-rate * WORK))
    left = min(1.0, bench.hands.hand_turn / (4.0 * np.pi * WORK))
    return _risk(
        "hands", "pressure of the hands bends the mirror", "mirror", whole.times(left), whole.rms,
        "keep turning it in your hands; push near its middle",
    )  # fmt: skip


def _support(bench: Bench, unit: LengthUnit, high: LengthUnit) -> Risk:
    """The mirror bends over its pads under its weight and that of the tool, is worn so, and springs back.

    The whole sag, as after hours on the same pads. An even layer carries it everywhere: nothing.
    """
    plate, limit, own = mirror_plate(bench.mirror), 0.5 * LARGE * bench.light.wavelength, bench.mirror.support
    load = GRAVITY * bench.mirror.piece_mass + max(bench.load_on("tool", lap) for lap in bench.laps)
    turning = "turn the mirror on them by a fifth of a turn between spells; after five spells the lobes cancel"
    if own == "even":
        flat = on_points(plate, 0.0, SUPPORT_RINGS["three pads"])
        return _risk("support", "the mirror lies on an even layer", "tool", flat, 0.0, "still turn it between spells")
    sag, names = on_points(plate, load, SUPPORT_RINGS[own]), list(SUPPORT_RINGS)
    places = " and ".join(unit.short(ring.place * plate.radius) for ring in SUPPORT_RINGS[own])
    words = f"the mirror sags over {own}, {places} from its centre"
    if sag.rms <= limit:
        return _risk("support", words, "tool", sag, sag.rms, f"these pads suffice; {turning}")
    better = {name: on_points(plate, load, SUPPORT_RINGS[name]).rms for name in names[names.index(own) + 1 :]}
    enough = next((name for name, rms in better.items() if rms <= limit), None)
    advice = (
        f"support it on {f'{enough} ({high.text(better[enough])})' if enough else 'an even layer of felt or carpet'}"
    )
    if own == "three pads":
        nearer = on_points(plate, load, [PointRing(3, MOVED_IN)])
        place = unit.short(MOVED_IN * plate.radius)
        advice += f"; or move the three in to {place} ({high.text(nearer.rms)}) if the mirror does not rock there"
    advice += (
        f"; {turning}. If it has not been turned for hours, expect another {high.text(sag.rms)} RMS of lobed error"
    )
    return _risk("support", words, "tool", sag, sag.rms, advice)


def _palms(bench: Bench) -> Risk:
    """Two palms on the back of the mirror for 20 minutes; the worst moment of them."""
    plate, glass = mirror_plate(bench.mirror), bench.mirror.material
    heat = Heat(glass.conductivity, glass.diffusivity, glass.expansion)
    size = min(PALM_RADIUS / plate.radius, 0.35)
    flux = PALM_FLUX * max(SKIN - bench.wear.temperature, 0.0) / (SKIN - 20.0)

    times = tuple(WORK * part for part in (0.25, 0.5, 1.0))

    def worst(is_turned: bool) -> Deflection:
        patches = WarmPatches(2, 0.95 - size, size, flux, WORK, is_turned)
        return max(warmed(plate, patches, heat, times), key=lambda one: one.rms)

    careless = worst(False)
    worked = worst(True) if bench.hands.hand_turn < WORK else careless
    advice = "keep turning it; wear gloves; take breaks; or put the tool on top"
    return _risk("palms", "your palms warm the back of the mirror", "mirror", worked, careless.rms, advice)


def _tool_disc(bench: Bench, lap: Lap, unit: LengthUnit) -> Risk:
    """The push bends the tool's disc; until the pitch has followed, it presses harder there.

    With the wear rate ``w = k v kappa`` and the pitch's rate ``1/tau`` the glass takes the share ``w tau / (1 + w
    tau)`` of the bent shape before the two have come to rest (derived, for a disc stiffer than the pitch).
    """
    plate, tau = tool_plate(lap), bench.relaxation_time_at(lap)
    pace = bench.preston * _speed(bench) * lap.stiffness * tau
    bent = on_points(plate, bench.hands.push, [PointRing(0, TOOL_PLACE)]).times(pace / (1.0 + pace))
    factor = (2.0 * bent.rms / (LARGE * bench.light.wavelength)) ** (1.0 / 3.0)
    advice = "spread the push with the flat of both hands"
    if factor > 1.0:
        advice = f"use a tool as stiff as glass {unit.short(1.05 * factor * plate.thickness)} thick, or spread the push"
    words = f"the push bends the tool (taken as glass {unit.short(plate.thickness)} thick, from its mass)"
    return _risk("tool", words, "tool", bent, bent.rms, advice)


def _facets(bench: Bench, lap: Lap) -> Risk:
    """Channels wear nothing: what of their pattern is left on rings of the glass, turned and stroked evenly."""
    area = np.pi * min(bench.mirror.radius, lap.radius) ** 2
    depth = bench.preston * bench.load_on("tool", lap) / area * _speed(bench) * WORK
    ripple = facet_contrast(lap, bench.hands.centre_jitter, 0.5 * LENGTH * bench.mirror.diameter)
    radius, weight = _radii(bench.mirror.radius)
    height = depth * ripple(radius)
    printed = Deflection(radius / bench.mirror.radius, weight, (height - weight @ height)[:, None])
    advice = "cut the channels off centre; vary the length of the strokes; keep the channels narrow"
    return _risk("facets", "the channels print through as rings", "either", printed, printed.rms, advice)


def _radii(outer: float) -> tuple[Any, Any]:
    edges = (np.arange(400) + 0.5) / 400.0
    return outer * edges, edges / edges.sum()


def facet_contrast(lap: Lap, jitter: float, half_stroke: float) -> Callable[[Any], Any]:
    """Relative ripple of the wear on rings of the glass [1], a function of the radius [m].

    The lap's coverage is a sum of waves ``k``; turning the pieces against each other averages each over all
    directions at the radius, ``J0(k r)``; a straight stroke through the centre along its path, the mean of ``J0(k
    s)`` for ``s`` up to half its length; the hands' spread multiplies by ``exp(-k^2 jitter^2 / 2)`` (derived).
    Hexagons are taken as squares of the same facet and channel.

    Parameters
    ----------
    lap : Lap
    jitter, half_stroke : float
        Spread of the centre, per axis, and half of the stroke's length [m].
    """
    from scipy.special import j0  # slow to import

    period = lap.facet + lap.channel
    orders = np.arange(-FACET_WAVES, FACET_WAVES + 1)
    across, along = (axis.ravel() for axis in np.meshgrid(orders, orders))
    kept = (across != 0) | (along != 0)
    across, along = across[kept], along[kept]
    wave = 2.0 * np.pi / period * np.hypot(across, along)
    share = lap.facet / period
    size = np.sinc(across * share) * np.sinc(along * share)
    size = size * np.cos(2.0 * np.pi / period * (across * lap.channel_offset[0] + along * lap.channel_offset[1]))
    steps = half_stroke * (np.arange(200) + 0.5) / 200.0
    size = size * j0(np.outer(wave, steps)).mean(axis=1) * np.exp(-0.5 * (wave * jitter) ** 2)
    if lap.facet_shape == "none":
        size = np.zeros_like(size)
    return lambda radius: j0(np.outer(radius, wave)) @ size


def _risk(
    name: str, words: str, on_top: Literal["tool", "mirror", "either"], worked: Deflection, careless: float, advice: str
) -> Risk:
    return Risk(name, words, on_top, worked.rms, worked.peak_to_valley, careless, advice)
