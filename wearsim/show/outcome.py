"""An outcome as text: by zone of radius, in numbers, spell by spell.

The plot of an outcome: surface before and after, the removal beneath it, the strokes that did it.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from itertools import pairwise
from typing import TYPE_CHECKING

import numpy as np

from wearsim.bench.bench import Bench
from wearsim.bench.programme import Programme
from wearsim.kernels.arrays import Floats
from wearsim.show.maps import HEIGHT, draw_maps, maps_text
from wearsim.show.profiles import draw_removal, draw_surface, ordered, removal_legend, zones_of
from wearsim.show.strokes import caption_of, draw_spells, drawing_of, spell_words
from wearsim.show.style import house, sheet
from wearsim.show.text import aligned, banded, columns, ends_words, lean, paragraph
from wearsim.show.units import Unit, decimal, height_unit, length_unit
from wearsim.wear.outcome import EXACT, Outcome

if TYPE_CHECKING:
    from matplotlib.figure import Figure, SubFigure


IN_BRACKETS = "In brackets the band: nine of ten cases lie in it."


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
    """Surface by zone: before, removed, after, each with its band.

    Parameters
    ----------
    bench : Bench
    outcome : Outcome
    unit : Unit
        Of radii.
    """
    zones, high, band = zones_of(bench.mirror, outcome.radius), unit_for(outcome), outcome.band

    def cells(profile: Floats, ends: Floats | None) -> list[str]:
        return banded(zones.matrix @ profile, None if ends is None else zones.matrix @ ends.T, high.number)

    before, after = (zones.matrix @ profile for profile in (outcome.before, outcome.figure_error))
    scale = float(max(np.abs(before[: zones.clear]).max(), np.abs(after[: zones.clear]).max()))
    names = [
        f"{unit.number(inner)}-{unit.number(outer)}{' ' if i < zones.clear else '*'}"
        for i, (inner, outer) in enumerate(pairwise(zones.edges))
    ]
    rows = [
        ("Zone", "Before", "Removed", "After", "low is high"),
        (unit.name, *[high.name] * 3, "o: was"),
        *zip(
            names,
            cells(outcome.before, None if band is None else band.before),
            cells(outcome.removal, None if band is None else band.removal),
            cells(outcome.figure_error, None if band is None else band.figure_error),
            [lean(is_now, was, scale, half=5) for is_now, was in zip(after, before, strict=True)],
            strict=True,
        ),
    ]
    note = "" if band is None else f"{IN_BRACKETS} "
    note += "Surface against the target, positive = high, means over each zone. Before and after are each "
    note += "levelled for themselves (piston and focus), so their difference is not quite what is removed."
    if len(names) > zones.clear:
        note = "* left out of the numbers. " + note
    return "\n".join([*columns(rows, ">>>>^"), paragraph(note)])


def numbers_rows(high: Unit) -> tuple[tuple[str, str, str, Callable[[float], str]], ...]:
    """The figure's numbers as they are read: the name in the code, in words, the unit, how it is written.

    Parameters
    ----------
    high : Unit
        Of heights.
    """
    return (
        ("surface_rms", "RMS, surface", high.name, high.number),
        ("surface_pv", "Peak to valley, surface", high.name, high.number),
        ("wavefront_rms_waves", "RMS, wavefront", "waves", "{:.3f}".format),
        ("wavefront_pv_waves", "Peak to valley, wavefront", "waves", "{:.2f}".format),
        ("strehl", "Strehl ratio", "", "{:.3f}".format),
        ("conic_fit", "Conic constant, best fit", "", lambda x: decimal(x, 2)),
        ("edge_roll", "Edge roll, negative: down", high.name, high.number),
    )


def numbers_text(outcome: Outcome) -> str:
    """The figure in numbers, before and after, each with its band."""
    band = outcome.band
    rows: list[tuple[str, ...]] = []
    for name, words, unit, written in numbers_rows(unit_for(outcome)):
        old, new = (
            banded([getattr(numbers, name)], ends.get(name), written)[0]
            for numbers, ends in (
                (outcome.numbers_before, {} if band is None else band.numbers_before),
                (outcome.numbers, {} if band is None else band.numbers),
            )
        )
        rows.append((words, unit, old, new))
    lines = columns([("", "", "Before", "After"), *aligned(rows, (2, 3))], "<<>>")
    lines += [paragraph(note) for note in _notes(outcome)]
    if outcome.spells:
        lines.append(paragraph(_pressure(outcome)))
    return "\n".join(lines)


def _pressure(outcome: Outcome) -> str:
    """The largest pressure and the lift-off of a programme, with their bands."""
    ends = {} if outcome.band is None else outcome.band.of_programme
    pressure, lift_off = (
        f"{written(getattr(outcome, name))}{unit}{ends_words(ends, name, written)}"
        for name, unit, written in (("peak_pressure", " kPa", in_kilopascals), ("lift_off_share", "", in_tenths))
    )
    return f"Largest pressure {pressure}; lift-off over {lift_off} of the overlap, on average."


def in_kilopascals(pressure: float) -> str:
    """A pressure [Pa] as a number of kPa."""
    return f"{pressure / 1e3:.2f}"


def _notes(outcome: Outcome) -> list[str]:
    """What the brackets say, where a value lies outside of its own, or why there are none."""
    band = outcome.band
    if band is None:
        return [no_band_words(outcome.no_band)] if outcome.no_band and outcome.spells else []
    outside = {
        words.partition(",")[0]: None  # once, of surface and of wavefront
        for name, words, _, _ in numbers_rows(unit_for(outcome))
        if name in band.numbers and not band.numbers[name][0] <= getattr(outcome.numbers, name) <= band.numbers[name][1]
    }
    if not outside:
        return [IN_BRACKETS]
    return [
        f"{IN_BRACKETS} A number is at the most likely constants and the figure as read; what is uncertain mostly "
        f"adds to an error, so it may lie outside of its band, as here: {', '.join(outside)}. Plan by the band."
    ]


def _short(pressure: float) -> str:
    """The same where many stand side by side."""
    return f"{pressure / 1e3:.1f}"


def in_per_cent(share: float) -> str:
    """A share [1] as a number of per cent."""
    return decimal(100.0 * share, 0)


def in_tenths(share: float) -> str:
    """A share [1] in per cent and tenths of it."""
    return f"{decimal(100.0 * share, 1)}%"


def no_band_words(reason: str) -> str:
    """Why no band is shown, in a sentence or two.

    Parameters
    ----------
    reason : str
        Of :class:`wearsim.wear.outcome.Outcome`.
    """
    rest = " The hands' jitter from stroke to stroke, and what the model leaves out, remain."
    return f"No band: {reason}.{rest if reason == EXACT else ''}"


def spells_text(bench: Bench, programme: Programme, outcome: Outcome, unit: Unit) -> str:
    """What each spell does: minutes, figure after it, pressure, lift-off, how near to tipping."""
    if not outcome.spells:
        return "No spells: nothing is changed."
    high, band = unit_for(outcome), outcome.band
    done = outcome.spells
    after = banded([s.surface_rms for s in done], band and band.stage_rms, high.number)
    pressure = banded([s.peak_pressure for s in done], band and band.stage_peak_pressure, _short)
    lift_off = banded([s.lift_off_share for s in done], band and band.stage_lift_off, in_per_cent)
    reach = f"Reach/tips, {unit.name}"
    rows = [("Spell", "Min", f"RMS after, {high.name}", "Pressure, kPa", "Lift-off, %", reach)]
    for number, one in enumerate(done, start=1):
        press = programme.spells[number - 1].is_press
        rows.append((
            str(number), f"{one.minutes:g}", after[number - 1],
            pressure[number - 1], lift_off[number - 1],
            "-" if press else f"{unit.number(one.reach)}/{unit.number(one.tip)}",
        ))  # fmt: skip
    lines = columns(rows, "<>>>>>")
    for number, spell in enumerate(programme.spells, start=1):
        words = spell_words(spell, bench.mirror.diameter, unit)
        lines.append(paragraph(words, f"{number}: ".rjust(5), "     "))
    return "\n".join(lines)


def warnings_text(outcome: Outcome) -> str:
    """The warnings, one paragraph each; empty where there are none."""
    return "\n".join(paragraph(line, "Warning: ", "         ") for line in outcome.warnings)


A_ROW = 4
MOST_DRAWN = 12


def outcome_figure(bench: Bench, programme: Programme, outcome: Outcome) -> Figure:
    """Plot an outcome.

    Parameters
    ----------
    bench : Bench
    programme : Programme
        The one that the outcome was predicted for.
    outcome : Outcome
    """
    drawn = min(len(programme.spells), MOST_DRAWN)
    rows = math.ceil(drawn / A_ROW)
    heights = [HEIGHT] * bool(outcome.maps) + [6.2] + [2.9 * rows] * bool(rows)
    with house():
        figure = sheet(10.0 if outcome.maps else 8.5, sum(heights))
        parts = list(figure.subfigures(len(heights), 1, squeeze=False, height_ratios=heights).ravel())
        if outcome.maps:
            draw_maps(parts.pop(0), bench, outcome, length_unit(bench), unit_for(outcome))
        _profiles(parts.pop(0), bench, outcome)
        if parts:
            _strokes(parts.pop(0), bench, programme, rows)
    return figure


def _profiles(figure: Figure | SubFigure, bench: Bench, outcome: Outcome) -> None:
    radial, high = length_unit(bench), unit_for(outcome)
    surface, removal = figure.subplots(2, 1, sharex=True, height_ratios=[2.4, 1.0])
    draw_surface(surface, bench.mirror, outcome, radial, high)
    surface.set_ylabel(f"surface above the target [{high.name}]")
    surface.legend(**ordered(surface), loc="lower center", bbox_to_anchor=(0.5, 1.0), ncols=3)
    surface.set_title(_headline(outcome), pad=28)
    draw_removal(removal, bench.mirror, outcome.removal, outcome.radius, radial, high, outcome.band)
    removal_legend(removal)
    removal.set_ylabel(f"removed [{high.name}]")
    removal.set_xlabel(f"radius on the mirror [{radial.name}]; hatched: left out of the numbers")


def _headline(outcome: Outcome) -> str:
    high, old, new = unit_for(outcome), outcome.numbers_before, outcome.numbers
    mean = "Mean over rings: " if outcome.maps else ""
    was, now = ({}, {}) if outcome.band is None else (outcome.band.numbers_before, outcome.band.numbers)
    rms = (
        f"{high.text(numbers.surface_rms)}{ends_words(ends, 'surface_rms', high.number)}"
        for numbers, ends in ((old, was), (new, now))
    )
    strehl = (
        f"{numbers.strehl:.2f}{ends_words(ends, 'strehl', '{:.2f}'.format)}"
        for numbers, ends in ((old, was), (new, now))
    )
    return f"{mean}RMS {' before, '.join(rms)} after; Strehl ratio {', '.join(strehl)}"


def _strokes(figure: SubFigure, bench: Bench, programme: Programme, rows: int) -> None:
    unit = length_unit(bench)
    drawings = [
        drawing_of(bench, spell, number, unit) for number, spell in enumerate(programme.spells[:MOST_DRAWN], start=1)
    ]
    across = min(max(len(drawings), 3), A_ROW)
    draw_spells(list(figure.subplots(rows, across, squeeze=False).flat), drawings)
    more = len(programme.spells) - MOST_DRAWN
    figure.supxlabel(caption_of(drawings) + (f"; {more} more spells" if more > 0 else ""), fontsize=9)
