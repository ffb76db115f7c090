"""An outcome as text: by zone of radius, in numbers, spell by spell."""

from __future__ import annotations

import numpy as np

from wearsim.bench.bench import Bench
from wearsim.bench.programme import Programme
from wearsim.show.lengths import Unit, decimal, height_unit, length_unit
from wearsim.show.maps_table import maps_text
from wearsim.show.spells import spell_words
from wearsim.show.text import columns, lean, paragraph
from wearsim.show.zones import zones_of
from wearsim.wear.grid import Array
from wearsim.wear.outcome import Outcome


def outcome_text(bench: Bench, programme: Programme, outcome: Outcome) -> str:
    """Everything to read about an outcome.

    Parameters
    ----------
    bench : Bench
    programme : Programme
        The one that the outcome was predicted for.
    outcome : Outcome
    """
    unit = length_unit(bench)
    parts = [
        zones_text(bench, outcome, unit), numbers_text(outcome),
        maps_text(programme, outcome, unit, unit_for(outcome)), spells_text(bench, programme, outcome, unit),
        warnings_text(outcome),
    ]  # fmt: skip
    return "\n\n".join(part for part in parts if part)


def unit_for(outcome: Outcome) -> Unit:
    """The unit in which an outcome's heights are read."""
    return height_unit(float(max(np.abs(outcome.before).max(), np.abs(outcome.figure_error).max())))


def zones_text(bench: Bench, outcome: Outcome, unit: Unit) -> str:
    """Surface by zone: before, removed, after, its band.

    Parameters
    ----------
    bench : Bench
    outcome : Outcome
    unit : Unit
        Of radii.
    """
    zones = zones_of(bench.mirror, outcome.radius)
    high = unit_for(outcome)
    before, removed, after = (
        zones.matrix @ profile for profile in (outcome.before, outcome.removal, outcome.figure_error)
    )
    band = None if outcome.band is None else outcome.band.figure_error @ zones.matrix.T
    scale = float(max(np.abs(before[: zones.clear]).max(), np.abs(after[: zones.clear]).max()))
    rows = [
        ("Zone of radius", "Before", "Removed", "After", "Band, 5-95 %", "low   is   high"),
        (unit.name, high.name, high.name, high.name, high.name if band is not None else "", "o: was"),
    ]
    for i in range(len(before)):
        inner, outer = unit.number(zones.edges[i]), unit.number(zones.edges[i + 1])
        rows.append((
            f"{inner} - {outer}{'*' if i >= zones.clear else ' '}", high.number(before[i]),
            high.number(removed[i]), high.number(after[i]),
            "-" if band is None else f"{high.number(band[0, i])} to {high.number(band[1, i])}",
            lean(after[i], before[i], scale),
        ))  # fmt: skip
    note = "Surface against the target, positive = high, means over each zone. Before and after are each "
    note += "levelled for themselves (piston and focus), so their difference is not quite what is removed."
    lines = columns(rows, ">>>>>^")
    if len(before) > zones.clear:
        note = "* left out of the numbers. " + note
    return "\n".join([*lines, paragraph(note)])


def numbers_text(outcome: Outcome) -> str:
    """The figure in numbers, before and after."""
    high = unit_for(outcome)
    old, new, band = outcome.numbers_before, outcome.numbers, outcome.band

    def spread(values: Array | None) -> str:
        return "" if values is None else f"{high.number(values[0])} to {high.number(values[1])} {high.name}"

    rows = [
        ("", "Before", "After", "Band, 5-95 %"),
        ("RMS, surface", high.text(old.surface_rms), high.text(new.surface_rms),
         spread(None if band is None else band.surface_rms)),
        ("Peak to valley, surface", high.text(old.surface_pv), high.text(new.surface_pv), ""),
        ("RMS, wavefront", f"{old.wavefront_rms_waves:.3f} waves", f"{new.wavefront_rms_waves:.3f} waves", ""),
        ("Peak to valley, wavefront", f"{old.wavefront_pv_waves:.2f} waves",
         f"{new.wavefront_pv_waves:.2f} waves", ""),
        ("Strehl ratio", f"{old.strehl:.3f}", f"{new.strehl:.3f}", ""),
        ("Conic constant, best fit", decimal(old.conic_fit, 3), decimal(new.conic_fit, 3), ""),
        ("Edge roll (negative: down)", high.text(old.edge_roll), high.text(new.edge_roll),
         spread(None if band is None else band.edge_roll)),
    ]  # fmt: skip
    lines = columns(rows, "<>>>", gap=3)
    if outcome.spells:
        lines.append(paragraph(
            f"Largest pressure {outcome.peak_pressure / 1e3:.2f} kPa; lift-off over "
            f"{outcome.lift_off_share:.1%} of the overlap, on average."
        ))  # fmt: skip
    return "\n".join(lines)


def spells_text(bench: Bench, programme: Programme, outcome: Outcome, unit: Unit) -> str:
    """What each spell does: minutes, figure after it, pressure, lift-off, how near to tipping."""
    if not outcome.spells:
        return "No spells: nothing is changed."
    high = unit_for(outcome)
    rows = [("Spell", "Minutes", "RMS after", "Pressure", "Lift-off", "Reach / tips at")]
    for number, done in enumerate(outcome.spells, start=1):
        press = programme.spells[number - 1].is_press
        rows.append((
            str(number), f"{done.minutes:g}", high.text(done.surface_rms),
            f"{done.peak_pressure / 1e3:.2f} kPa", f"{done.lift_off_share:.1%}",
            "-" if press else f"{unit.number(done.reach)} / {unit.text(done.tip)}",
        ))  # fmt: skip
    lines = columns(rows, "<>>>>>")
    for number, spell in enumerate(programme.spells, start=1):
        words = spell_words(spell, bench.mirror.diameter, unit)
        lines.append(paragraph(words, f"{number}: ".rjust(5), "     "))
    return "\n".join(lines)


def warnings_text(outcome: Outcome) -> str:
    """The warnings, one paragraph each; empty where there are none."""
    return "\n".join(paragraph(line, "Warning: ", "         ") for line in outcome.warnings)
