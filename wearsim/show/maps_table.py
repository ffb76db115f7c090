"""What the planar engine's maps say, as text: what is not round, ripple, and what turning the mirror does."""

from __future__ import annotations

import math

import numpy as np

from wearsim.bench.programme import Programme
from wearsim.figure.zernike import astigmatism
from wearsim.show.lengths import Unit
from wearsim.show.text import columns, paragraph
from wearsim.wear.outcome import Outcome
from wearsim.wear.turns import bias_left, is_turned, lies_turned, turns

OTHER_TURNS = (45.0, 60.0, 72.0, 80.0, 90.0, 120.0, 180.0)  # [deg]
AFTER_SPELLS = (2, 3, 4, 5, 6, 10)
# Below this an astigmatism has no axis worth telling [m].
NO_AXIS = 1e-10
TERMS = {"Coma": (7, 8), "Trefoil": (6, 9)}


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
    """A term's RMS [m]: what a few spells leave is often less than a nanometre."""
    return f"{amplitude * 1e9:.1f} nm"


def _numbers(outcome: Outcome, high: Unit) -> str:
    old, new, found = outcome.maps["zernike"][0], outcome.maps["zernike"][-1], outcome.details
    rows = [
        ("The whole map", "Before", "After"),
        ("RMS, surface", high.text(found["map_rms_before_m"]), high.text(found["map_rms_after_m"])),
        ("Peak to valley, surface", high.text(found["map_pv_before_m"]), high.text(found["map_pv_after_m"])),
        ("Astigmatism, RMS", *(_fine(astigmatism(terms).amplitude) for terms in (old, new))),
        ("  high meridian at", *(axis_text(a.amplitude, a.axis) for a in map(astigmatism, (old, new)))),
    ]
    for name, both in TERMS.items():
        rows.append((f"{name}, RMS", *(_fine(float(np.hypot(*terms[list(both)]))) for terms in (old, new))))
    note = (
        "The numbers above are those of the mean over rings. Azimuths run counterclockwise from x, looking "
    )
    note += "at the face; x is where the first stroke of a session points."
    return "\n".join([*columns(rows, "<>>", gap=3), paragraph(note)])


def _remarks(outcome: Outcome, radial: Unit) -> str:
    found = outcome.details
    if not outcome.spells:
        return "Nothing is worn."
    ripple = paragraph(
        f"Zonal ripple in the removal {1e9 * found['ripple_rms_m']:.1f} nm RMS; the strongest wave has an amplitude "
        f"of {1e9 * found['ripple_amplitude_m']:.1f} nm and comes every {radial.text(found['ripple_period_m'])}."
    )
    place = paragraph(
        f"The largest pressure stood at x {radial.number(found['peak_x_m'])}, y {radial.text(found['peak_y_m'])} "
        "on the mirror."
    )
    return f"{ripple}\n{place}"


def _turned(programme: Programme, outcome: Outcome) -> str:
    rows = [("Spell", "Mirror lies at", "Astigmatism after", "High meridian", "Left of a steady bias")]
    left, lies = bias_left(programme), lies_turned(programme)
    for number, spell in enumerate(programme.spells, start=1):
        if not spell.is_press:
            now = astigmatism(outcome.maps["zernike"][number])
            rows.append((
                str(number), f"{math.degrees(lies[number - 1]) % 360.0:.0f} deg", f"{_fine(now.amplitude)} RMS",
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
