"""What the planar engine's maps say, as text: what is not round, ripple, and what turning the mirror does."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping

from wearsim.bench.programme import Programme
from wearsim.figure.zernike import astigmatism
from wearsim.show.lengths import Unit
from wearsim.show.text import aligned, banded, columns, ends_words, paragraph
from wearsim.wear.grid import Array
from wearsim.wear.outcome import Outcome
from wearsim.wear.turns import bias_left, is_turned, lies_turned, turns

OTHER_TURNS = (45.0, 60.0, 72.0, 80.0, 90.0, 120.0, 180.0)  # [deg]
AFTER_SPELLS = (2, 3, 4, 5, 6, 10)
# Below this an astigmatism has no axis worth telling [m].
NO_AXIS = 1e-10


def maps_text(programme: Programme, outcome: Outcome, radial: Unit, high: Unit) -> str:
    """Everything to read about an outcome's maps; empty where it has none.

    Parameters
    ----------
    programme : Programme
    outcome : Outcome
    radial, high : Unit
        Of places on the mirror and of heights.
    """
    if not outcome.maps:
        return ""
    parts = [_numbers(outcome, high), _remarks(outcome, radial)]
    if is_turned(programme):
        parts += [_turned(programme, outcome), turns_text()]
    return "\n\n".join(parts)


def axis_text(amplitude: float, axis: float) -> str:
    """The high meridian of an astigmatism [m], [rad]; a dash where there is next to none."""
    return f"{math.degrees(axis):.0f} deg" if amplitude >= NO_AXIS else "-"


def _fine(amplitude: float) -> str:
    """A term's RMS [m] in nm: what a few spells leave is often less than a nanometre."""
    return f"{amplitude * 1e9:.1f}"


def details_ends(outcome: Outcome, when: str) -> Mapping[str, Array]:
    """Bands of the numbers of the map ``before`` or ``after``; before, only where the figure is measured."""
    band = outcome.band
    return {} if band is None or (when == "before" and not band.numbers_before) else band.details


def _numbers(outcome: Outcome, high: Unit) -> str:
    found = outcome.details

    def cells(name: str, written: Callable[[float], str]) -> tuple[str, ...]:
        return tuple(
            banded([found[key]], details_ends(outcome, when).get(key), written)[0]
            for when, key in ((when, f"{name}_{when}_m") for when in ("before", "after"))
        )

    rows = [
        (f"RMS, surface, {high.name}", *cells("map_rms", high.number)),
        (f"Peak to valley, surface, {high.name}", *cells("map_pv", high.number)),
        ("Astigmatism, RMS, nm", *cells("astigmatism", _fine)),
        ("  high meridian at", *(
            axis_text(a.amplitude, a.axis) for a in (astigmatism(outcome.maps["zernike"][i]) for i in (0, -1))
        )),
        ("Coma, RMS, nm", *cells("coma", _fine)),
        ("Trefoil, RMS, nm", *cells("trefoil", _fine)),
    ]  # fmt: skip
    rows = [("The whole map", "Before", "After"), *aligned(rows, (1, 2))]
    note = (
        "The numbers above are those of the mean over rings. Azimuths run counterclockwise from x, looking "
    )
    note += "at the face; x is where the first stroke of a session points."
    return "\n".join([*columns(rows, "<>>", gap=3), paragraph(note)])


def _remarks(outcome: Outcome, radial: Unit) -> str:
    found, ends = outcome.details, {} if outcome.band is None else outcome.band.details
    if not outcome.spells:
        return "Nothing is worn."
    rms, amplitude = (
        f"{_fine(found[name])} nm{ends_words(ends, name, _fine)}"
        for name in ("ripple_rms_m", "ripple_amplitude_m")
    )
    ripple = paragraph(
        f"Zonal ripple in the removal {rms} RMS; the strongest wave has an amplitude of {amplitude} and comes "
        f"every {radial.text(found['ripple_period_m'])}."
    )
    place = paragraph(
        f"The largest pressure stood at x {radial.number(found['peak_x_m'])}, y {radial.text(found['peak_y_m'])} "
        "on the mirror."
    )
    return f"{ripple}\n{place}"


def _turned(programme: Programme, outcome: Outcome) -> str:
    rows = [("Spell", "Mirror lies at", "Astigmatism, nm RMS", "High meridian", "Left of steady bias")]
    ends = {} if outcome.band is None else outcome.band.details
    left, lies = bias_left(programme), lies_turned(programme)
    for number, spell in enumerate(programme.spells, start=1):
        if not spell.is_press:
            now = astigmatism(outcome.maps["zernike"][number])
            (amplitude,) = banded([now.amplitude], ends.get(f"astigmatism_after_spell_{number}_m"), _fine)
            rows.append((
                str(number), f"{math.degrees(lies[number - 1]) % 360.0:.0f} deg", amplitude,
                axis_text(now.amplitude, now.axis), f"{left[number - 1]:.0%}",
            ))  # fmt: skip
    return "\n".join(columns(rows, "<>>>>"))


def turns_text() -> str:
    """What turning by other angles before each spell leaves of a steady bias' astigmatism."""
    rows = [("Turned each time", *(f"{n} spells" for n in AFTER_SPELLS))]
    for angle in OTHER_TURNS:
        share = turns(math.radians(angle), max(AFTER_SPELLS)).share
        rows.append((f"{angle:.0f} deg", *(f"{share[n - 1]:.0%}" for n in AFTER_SPELLS)))
    note = "Left of the astigmatism that a bias fixed to barrel or hands would wear without turning, in spells of "
    note += "equal length. A fifth of a turn, 72 to 80 degrees, each time is common practice, no source."
    return "\n".join([*columns(rows, ">" * len(rows[0])), paragraph(note)])
