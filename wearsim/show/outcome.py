"""An outcome as it is read and plotted: the surface by zone, the figure in numbers, spell by spell, and the strokes."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import TYPE_CHECKING

import numpy as np

from wearsim.bench.bench import Bench
from wearsim.bench.personal_units import height_unit
from wearsim.bench.programme import Programme
from wearsim.bench.units import LengthUnit, decimal, length_unit
from wearsim.show.maps import HEIGHT, draw_maps, maps_text
from wearsim.show.numbers import (
    LIFT_OFF,
    NO_WIDTH,
    NO_WIDTH_NOTE,
    WIDTH,
    BandedNumbers,
    figure_rows,
    numbers_after,
    numbers_before,
    numbers_table,
    pressure_number,
)
from wearsim.show.profiles import draw_profiles, ring_means
from wearsim.show.strokes import ROW_HEIGHT, draw_programme, rows_for, spell_words
from wearsim.show.style import new_figure, plot_style
from wearsim.show.text import OUTSIDE_BAND, Cell, banded, low_high_bar, paragraph, table, warnings_text
from wearsim.wear.outcome import EXACT, Outcome
from wearsim.wear.warnings import mistrust

if TYPE_CHECKING:
    from matplotlib.figure import Figure


BAND = "Band: nine of ten cases fall inside it."
REACH_NOTE = (
    "Reach/limit: how far off centre the top piece goes, and where it would tip off. Lift-off: the share of the overlap "
    "that carries no load."
)
PROFILES_HEIGHT = 6.2  # of their panels [in]
MOST_DRAWN = 12


def outcome_text(bench: Bench, programme: Programme, outcome: Outcome, edge_by_spell: bool = False) -> str:
    """Everything to read about the outcome of a programme; of its edge after each spell only if that is asked for."""
    unit = length_unit(bench)
    parts = [
        "" if programme.spells else "The programme has no spells: nothing changes.",
        paragraph(mistrust_text(outcome)),
        zones_text(bench, outcome, unit),
        numbers_text(outcome, unit),
        paragraph(expected_rms_text(outcome)),
        maps_text(programme, outcome, unit, unit_for(outcome)),
        spells_text(bench, programme, outcome, unit),
        edge_text(outcome, unit) if edge_by_spell else "",
        warnings_text(outcome.warnings),
    ]
    return "\n\n".join(part for part in parts if part)


def mistrust_text(outcome: Outcome) -> str:
    """Why the numbers of an outcome are not to be trusted; empty where they are as good as they get."""
    reasons = "; ".join(mistrust(outcome))
    return f"Do not trust these numbers: {reasons}." if reasons else ""


def unit_for(outcome: Outcome) -> LengthUnit:
    """The unit in which an outcome's heights are read."""
    return height_unit(float(max(np.abs(outcome.before).max(), np.abs(outcome.figure_error).max())))


def zones_text(bench: Bench, outcome: Outcome, unit: LengthUnit) -> str:
    """Surface by zone: before, removed, after, each with its band."""
    rings, high = ring_means(bench.mirror, outcome.radius), unit_for(outcome)
    before, after = (rings.matrix @ profile for profile in (outcome.before, outcome.figure_error))
    scale = float(max(np.abs(before[: rings.clear]).max(), np.abs(after[: rings.clear]).max()))
    rows = [
        (*cells, low_high_bar(is_now, was, scale, half=5))
        for *cells, is_now, was in zip(rings.names(unit), *rings.cells(outcome, high), after, before, strict=True)
    ]
    heads = [f"Zone\n{unit.name}", *(f"{name}\n{high.name}" for name in ("Before", "Removed", "After"))]
    heads.append("low 0 high")
    note = f"{rings.note}{'' if outcome.band is None else f'{BAND} '}"
    note += "Bars: # after, o before. Mean surface of each zone relative to the target, positive = high. "
    note += "Before and after are levelled "
    note += "separately (piston and focus), so their difference is not exactly the glass removed."
    return f"{table(heads, rows, words=(4,))}\n{paragraph(note)}"


def numbers_text(
    outcome: Outcome, unit: LengthUnit, held: Callable[[BandedNumbers], BandedNumbers] = lambda numbers: numbers
) -> str:
    """The figure in numbers, before and after, each with its band; those after ``held`` to what can be promised."""
    after = held(numbers_after(outcome))
    columns = {"Before": numbers_before(outcome), "After": after}
    parts = [numbers_table(columns, figure_rows(unit_for(outcome), unit)), *map(paragraph, _notes(outcome))]
    if any(one.values[WIDTH] == 0.0 for one in columns.values()):
        parts.append(paragraph(NO_WIDTH_NOTE))
    if outcome.spells:
        most = pressure_number(outcome)
        pressure = after.text(most.name, most.written, f" {most.unit}")
        lift_off = after.text(LIFT_OFF.name, LIFT_OFF.written)
        parts.append(paragraph(f"Largest pressure {pressure}; on average {lift_off} of the overlap carries no load."))
    return "\n".join(parts)


def expected_rms_text(outcome: Outcome) -> str:
    """The expected RMS with everything uncertain, after and if nothing is worked; empty without a band."""
    band, high = outcome.band, unit_for(outcome)
    if band is None or not outcome.spells or band.expected_rms is None or band.expected_rms_before is None:
        return ""
    after, stopped = high.text(band.expected_rms), high.text(band.expected_rms_before)
    return f"Expected RMS over {band.draws} draws, all uncertainties included: {after}; if you stop now: {stopped}."


def _notes(outcome: Outcome) -> list[str]:
    """What a band says, where a value lies outside of its own, or why there are none."""
    band = outcome.band
    if band is None:
        return [no_band_words(outcome.no_band)] if outcome.no_band and outcome.spells else []
    outside = numbers_after(outcome).outside(figure_rows(unit_for(outcome)))
    if not outside:
        return [BAND]
    return [
        f"{BAND} Single numbers use the most likely constants. {OUTSIDE_BAND}, as here: "
        f"{', '.join(outside)}. Base your plans on the band."
    ]


def no_band_words(reason: str) -> str:
    """Why an outcome has no band, in a sentence or two."""
    rest = " Two uncertainties are not included: variation from stroke to stroke, and effects not modelled."
    return f"No band: {reason}.{rest if reason == EXACT else ''}"


def spells_text(bench: Bench, programme: Programme, outcome: Outcome, unit: LengthUnit) -> str:
    """What each spell does: minutes, figure after it, pressure, lift-off, how near to tipping; empty where there is none."""
    if not outcome.spells:
        return ""
    high, band, done, most = unit_for(outcome), outcome.band, outcome.spells, pressure_number(outcome, 1)
    columns = (
        banded([s.surface_rms for s in done], band and band.stage_rms, high.number),
        banded([s.peak_pressure for s in done], band and band.stage_peak_pressure, most.written),
        banded([s.lift_off_share for s in done], band and band.stage_lift_off, lambda x: decimal(100.0 * x, 0)),
    )
    reach = [f"{unit.number(one.reach)}/{unit.number(one.tip)}" for one in done]
    rows: list[Sequence[Cell]] = [
        (str(number), f"{planned.minutes:g}", *cells, "-" if planned.is_press else tip)
        for number, (planned, *cells, tip) in enumerate(zip(programme.spells, *columns, reach, strict=True), start=1)
    ]
    heads = (
        "Spell",
        "Min",
        f"RMS after\n{high.name}",
        f"Pressure\n{most.unit}",
        "Lift-off\n%",
        f"Reach/limit\n{unit.name}",
    )
    lines = [table(heads, rows), paragraph(REACH_NOTE)]
    for number, spell in enumerate(programme.spells, start=1):
        words = spell_words(spell, bench.mirror.diameter, unit)
        lines.append(paragraph(words, f"{number}: ".rjust(5), "     "))
    return "\n".join(lines)


def edge_text(outcome: Outcome, unit: LengthUnit) -> str:
    """The edge after each spell: relative to the slope just inside it, to the inner 80%, and how wide that is."""
    high, band, done = unit_for(outcome), outcome.band, outcome.spells
    if not done:
        return ""
    columns = (
        banded([s.edge_roll for s in done], band and band.stage_edge_roll, high.number),
        banded([s.rim_height for s in done], band and band.stage_rim_height, high.number),
        banded([s.rim_width for s in done], band and band.stage_rim_width, unit.number),
    )
    widths = [cell if one.rim_width else NO_WIDTH for one, cell in zip(done, columns[-1], strict=True)]
    columns = (*columns[:-1], widths)
    rows = [(str(number), *cells) for number, cells in enumerate(zip(*columns, strict=True), start=1)]
    heads = ["After\nspell", f"Edge roll\n{high.name}", f"Rim's height\n{high.name}", f"Rim's width\n{unit.name}"]
    note = "Edge roll: how far the rim departs from the slope just inside it, continued out to the rim. "
    note += "Rim's height: relative to the sphere that best fits "
    note += "the inner 80% of the radius. Rim's width: the distance in from the edge at which the height has "
    note += "fallen to half. Negative: turned down."
    if NO_WIDTH in widths:
        note += f" {NO_WIDTH_NOTE}"
    return f"{table(heads, rows)}\n{paragraph(note)}"


def outcome_figure(bench: Bench, programme: Programme, outcome: Outcome) -> Figure:
    """Plot the outcome of a programme: its maps, where it has any, the profiles, the strokes."""
    radial, high = length_unit(bench), unit_for(outcome)
    rows = rows_for(min(len(programme.spells), MOST_DRAWN))
    heights = [HEIGHT] * bool(outcome.maps) + [PROFILES_HEIGHT] + [ROW_HEIGHT * rows] * bool(rows)
    with plot_style():
        figure = new_figure(10.0 if outcome.maps else 8.5, sum(heights))
        parts = list(figure.subfigures(len(heights), 1, squeeze=False, height_ratios=heights).ravel())
        if outcome.maps:
            draw_maps(parts.pop(0), bench, outcome, radial, high)
        draw_profiles(parts.pop(0), bench.mirror, outcome, _headline(outcome), radial, high)
        if parts:
            draw_programme(parts.pop(0), bench, programme.spells, radial, MOST_DRAWN)
    return figure


def profiles_figure(bench: Bench, outcome: Outcome) -> Figure:
    """Surface before and after and what is removed, narrow enough for a phone."""
    with plot_style():
        figure = new_figure(5.4, 5.2)
        draw_profiles(figure, bench.mirror, outcome, "", length_unit(bench), unit_for(outcome))
    return figure


def _headline(outcome: Outcome) -> str:
    high, both = unit_for(outcome), (numbers_before(outcome), numbers_after(outcome))
    rms = " before, ".join(numbers.height("surface_rms", high) for numbers in both)
    strehl = ", ".join(numbers.text("strehl", "{:.2f}".format) for numbers in both)
    return f"{'Mean over rings: ' if outcome.maps else ''}RMS {rms} after;\nStrehl ratio {strehl}"
