"""The warnings that a careful colleague would give with a prediction."""

from __future__ import annotations

import math

import numpy as np

from wearsim.bench.bench import Bench
from wearsim.bench.personal_units import height_text
from wearsim.bench.programme import Programme, Spell
from wearsim.bench.units import mass_unit, pressure_text, stroke_unit
from wearsim.errors import ContactError, InputError
from wearsim.figure.zernike import ZernikeAstigmatism
from wearsim.wear.accuracy import DEFAULT
from wearsim.wear.bench_risks import LARGE, bench_risks, give, large_risks, mirror_plate, round_give
from wearsim.wear.outcome import Outcome
from wearsim.wear.radial.engine import RadialEngine
from wearsim.wear.state import glass_grid, start_state

# Edge roll below this, in waves of surface height, is warned of (the default limit of ``propose``).
EDGE_LIMIT_WAVES = 0.125
# How the warning of the edge at the end of its band begins.
EDGE_AT_WORST = "edge roll: in the worst 5% of cases"
# Share of the overlap that carries nothing, beyond what the tilt of a lap that fits lifts off, from which the lap does
# not conform. A judgement.
LIFT_OFF_TOO_MUCH = 0.25
# More than this under any part of the lap is more than pitch bears without giving way at once [Pa]. A judgement: about the
# pressure of the air; laps that fit carry a few kPa.
PRESSURE_TOO_HIGH = 1e5
# Long enough for a look at how a lap stands, short enough that nothing flows [min].
A_MOMENT = 0.01
# A stroke that comes this close to its tipping offset. A judgement.
NEAR_TIPPING = 0.9
# Share of the strokes that would tip from which a prediction of those that do not says little. A judgement.
TIPPED_TOO_OFTEN = 0.05
# A second person or a hoist from here [kg] (lifting constant 23 kg, from memory).
HEAVY = 20.0
# A figure error of more, and of more than a mirror still spherical has, is questioned [m], [1]. A judgement.
LARGEST_RMS, SPHERES_MOST = 2e-6, 1.5
# Share of the pitch's own give that the glass may bend and still be taken as rigid. A judgement.
BEND_SHARE = 0.2


def mistrust(outcome: Outcome) -> tuple[str, ...]:
    """Why the numbers of an outcome are not to be trusted, a reason a spell; none where they are as good as they get."""
    lines = []
    for number, spell in enumerate(outcome.spells, start=1):
        if spell.left_out > TIPPED_TOO_OFTEN:
            lines.append(f"spell {number}: {spell.left_out:.0%} of the strokes would tip the top piece")
        if spell.peak_pressure > PRESSURE_TOO_HIGH:
            lines.append(
                f"spell {number}: the load rests on a few high spots, up to "
                f"{pressure_text(spell.peak_pressure, outcome.bench_text)}"
            )
    return tuple(lines)


def warnings_for(bench: Bench, programme: Programme, outcome: Outcome) -> tuple[str, ...]:
    """Everything worth mentioning about an outcome, each one line."""
    lines = [*_figure(bench, outcome), *_edge(bench, outcome), *_rim(bench, outcome)]
    lines += [*_spells(bench, programme, outcome), *_glass(bench), *_neglected(bench, programme)]
    lines += _weight(bench, programme)
    if outcome.band is not None and outcome.band.failed:
        lines.append(
            f"for {outcome.band.failed} of {outcome.band.draws} draws of the constants the forces could not be balanced"
        )
    return tuple(lines)


def _figure(bench: Bench, outcome: Outcome) -> list[str]:
    """A figure error that no tester reads, so that its unit is in doubt."""
    geometry = bench.mirror.geometry
    aperture = geometry.clear_aperture(outcome.radius)
    sphere = aperture.rms(aperture.level(geometry.departure(outcome.radius)))
    rms = outcome.numbers_before.surface_rms
    if rms <= max(LARGEST_RMS, SPHERES_MOST * sphere):
        return []
    return [f"figure: {rms * 1e6:.3g} um RMS before is more than a knife-edge test can measure; is the unit right?"]


def _edge(bench: Bench, outcome: Outcome) -> list[str]:
    """The edge turned further than the limit, either way, afterwards or at the band's end."""
    limit = EDGE_LIMIT_WAVES * bench.light.wavelength
    lines = []
    for way, sign, end in (("down", -1.0, 0), ("up", 1.0, 1)):
        roll, before = sign * outcome.edge_roll, sign * outcome.numbers_before.edge_roll
        now = _edge_now(sign * before, outcome.numbers_before.rim_height)
        at_worst = roll if outcome.band is None else sign * float(outcome.band.edge_roll[end])
        if roll > max(limit, before):
            lines.append(
                f"edge roll: turned {way} by {height_text(roll)} on the surface afterwards ({now}); "
                f"the limit is {height_text(limit)}"
            )
        elif at_worst > max(limit, before):
            lines.append(
                f"{EDGE_AT_WORST} the edge ends up turned {way} by {height_text(at_worst)} or more on the surface "
                f"({now})"
            )
    return lines


def _edge_now(roll: float, rim: float) -> str:
    """How the edge is before, from its roll and the rim's height [m]."""
    size, height = height_text(abs(roll)), height_text(abs(rim))
    if size == height_text(0.0):
        return "now not turned"
    turned = f"now turned {'down' if roll < 0.0 else 'up'} by {size}"
    if roll * rim >= 0.0 or height == height_text(0.0):
        return turned
    return (
        f"{turned} from the slope just inside it, while the rim as a whole is {height} {'low' if rim < 0.0 else 'high'}"
    )


def _rim(bench: Bench, outcome: Outcome) -> list[str]:
    """A rim that ends lower than the limit relative to the inner 80%, which a broad turned edge and overcorrection do."""
    limit, after = EDGE_LIMIT_WAVES * bench.light.wavelength, outcome.numbers
    down, before = -after.rim_height, -outcome.numbers_before.rim_height
    if down <= max(limit, before):
        return []
    width = f", half of that within {stroke_unit(bench).short(after.rim_width)}" if after.rim_width else ""
    return [
        f"rim: {height_text(down)} below the sphere that best fits the inner 80% ({height_text(before)} before)"
        f"{width}: a broad turn-down, or overcorrection"
    ]


def lift_off_by_tilt(bench: Bench, spell: Spell) -> float:
    """Share of the overlap that a lap which fits the glass lifts off in a spell, by its tilt alone [1].

    Raises
    ------
    InputError
        For a lap that the radial engine refuses (a ring or a star).
    """
    radius = glass_grid(bench.mirror, DEFAULT)
    fits = start_state(bench, radius, np.zeros_like(radius), DEFAULT)
    moment = spell.model_copy(update={"minutes": min(A_MOMENT, spell.minutes)})
    return RadialEngine().work_spell(bench, moment, fits)[1].lift_off_share


def _is_poor(bench: Bench, spell: Spell, share: float) -> bool:
    """Whether more of the lap carries nothing than the tilt explains."""
    if share <= LIFT_OFF_TOO_MUCH:
        return False
    try:
        return share - lift_off_by_tilt(bench, spell) > LIFT_OFF_TOO_MUCH
    except (ContactError, InputError):
        return True


def _cure(programme: Programme, number: int) -> str:
    """What may help a lap that does not fit in a spell, from 1."""
    if any(spell.is_press for spell in programme.spells[: number - 1]):
        return "The pressing before it does not cure that; try a shorter stroke or a shorter spell"
    return "Try a cold pressing before this spell; if that does not help, a shorter stroke or a shorter spell"


def _spells(bench: Bench, programme: Programme, outcome: Outcome) -> list[str]:
    lines, length = [], stroke_unit(bench).short
    for number, (meant, spell) in enumerate(zip(programme.spells, outcome.spells, strict=True), start=1):
        if _is_poor(bench, meant, spell.lift_off_share):
            lines.append(
                f"spell {number}: the lap does not fit: {spell.lift_off_share:.0%} of the overlap carries no load, more "
                f"than tilt explains. {_cure(programme, number)}"
            )
        if spell.peak_pressure > PRESSURE_TOO_HIGH:
            lines.append(
                f"spell {number}: largest pressure {pressure_text(spell.peak_pressure, bench.text)}: the load rests on a "
                "few high spots, where real pitch would yield at once; do not trust the removal there. "
                f"{_cure(programme, number)}"
            )
        elif (most := _highest_pressure(outcome, number)) > PRESSURE_TOO_HIGH:
            lines.append(
                f"spell {number}: in the worst 5% of cases the largest pressure reaches "
                f"{pressure_text(most, bench.text)}: a lap that fits less well than it should. {_cure(programme, number)}"
            )
        if spell.reach > NEAR_TIPPING * spell.tip:
            lines.append(
                f"spell {number}: near tipping: the stroke reaches {length(spell.reach)} off centre, "
                f"the top piece tips at {length(spell.tip)}"
            )
        if spell.left_out > 0.0:
            lines.append(
                f"spell {number}: with the stated stroke-to-stroke variation, {spell.left_out:.1%} of the strokes would "
                "tip the top piece off; the prediction leaves these out"
            )
    return lines


def _highest_pressure(outcome: Outcome, number: int) -> float:
    """Upper end of the band of a spell's largest pressure [Pa]; 0 where there is none."""
    ends = None if outcome.band is None else outcome.band.stage_peak_pressure
    return 0.0 if ends is None else float(ends[number - 1, 1])


def _glass(bench: Bench) -> list[str]:
    mirror, share = bench.mirror, round_give(bench)
    if share <= BEND_SHARE:
        return []
    length = stroke_unit(bench).short
    plate = mirror_plate(mirror)
    enough = mirror.thickness + plate.thickness * ((share / BEND_SHARE) ** (1.0 / 3.0) - 1.0)
    return [
        f"glass: {length(mirror.thickness)} thick at {length(mirror.diameter)} across is too thin to count as rigid, as the "
        f"prediction assumes; about {length(enough)} would be enough. Under load it bends, for symmetric "
        f"errors, {share:.0%} as much as the pitch compresses; for astigmatic ones, {give(bench):.0%}. Turn "
        f"the mirror in your hands while it is on top"
    ]


def astigmatism_warning(bench: Bench, found: ZernikeAstigmatism) -> tuple[str, ...]:
    """Astigmatism of a tenth of a wave or more, and whether the glass's own bending may be its cause."""
    if 2.0 * found.amplitude <= LARGE * bench.light.wavelength:
        return ()
    hands = next(risk for risk in bench_risks(bench) if risk.name == "hands").careless
    bends = give(bench) > BEND_SHARE or hands > BEND_SHARE * found.amplitude
    cause = f"If the mirror is never turned in the hands, they bend it by about {height_text(hands)}; "
    cause += "that may be the cause. "
    return (
        f"astigmatism: {height_text(found.amplitude)} RMS on the surface, high at {round(math.degrees(found.axis)) % 180} "
        f"deg. Strokes worked evenly all round cannot remove it. {cause if bends else ''}"
        "Before you work on it, turn the mirror on its test stand and test again: what stays with the stand is not in the "
        "glass. While working, turn the mirror by 72 to 80 deg before each spell, so that its cause does not add up",
    )


def _neglected(bench: Bench, programme: Programme) -> list[str]:
    """What the engines leave out, where it makes a tenth of a wave."""
    return [
        f"{risk.words}: about {height_text(risk.rms)} RMS on the surface that the prediction leaves out; {risk.advice}"
        for risk in large_risks(bench, {spell.on_top for spell in programme.spells})
    ]


def _weight(bench: Bench, programme: Programme) -> list[str]:
    lines = []
    tops = {(s.on_top, bench.lap(s.lap).name if s.on_top == "tool" else "") for s in programme.spells}
    for on_top, lap in sorted(tops):
        mass = bench.lap(lap or None).mass if on_top == "tool" else bench.mirror.piece_mass
        if mass > HEAVY:
            name, size = mass_unit(bench.text)
            lines.append(
                f"weight: the {on_top} on top weighs {math.ceil(mass / size)} {name}: lift it with a second person or a "
                "hoist; local regulations and the advice of licensed or qualified people come first"
            )
    return lines
