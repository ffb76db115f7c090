"""The readings expected at the tester, one line per zone."""

from __future__ import annotations

import numpy as np

from wearsim.bench.bench import Bench
from wearsim.bench.units import LengthUnit, length_unit
from wearsim.knifeedge.readings import Readings
from wearsim.show.text import paragraph, table
from wearsim.wear.expected_readings import ReadingsAfter

FINEST = 4
HOW_TO_USE = (
    "Relative to zone 1; larger = farther from the mirror. +-: one sigma of a setting and of the prediction "
    "combined. If a reading is off by more than twice that, record the session before you go on."
)


def reading_units(bench: Bench, sheet: Readings) -> tuple[LengthUnit, LengthUnit]:
    """Units of radii and of knife positions: the sheet's own, or the bench's where it has none."""
    if sheet.file is None:
        unit = length_unit(bench)
        return unit, LengthUnit(unit.name, unit.size, unit.decimals + 1)
    radial = min(FINEST, max(0, _places(np.concatenate([sheet.zones.inner, sheet.zones.outer]) / sheet.unit)))
    written = _places(sheet.positions / sheet.unit)
    name = sheet.length_unit
    return LengthUnit(name, sheet.unit, radial), LengthUnit(name, sheet.unit, min(FINEST, max(2, written)))


def _places(numbers: np.ndarray) -> int:
    """Decimal places that numbers are written with, at most six."""
    for places in range(6):
        if np.allclose(numbers, np.round(numbers, places), rtol=0.0, atol=1e-9):
            return places
    return 6


def zone_name(inner: float, outer: float, unit: LengthUnit) -> str:
    """A window from rim to rim, or a single radius."""
    if outer > inner:
        return f"{unit.number(inner)} - {unit.number(outer)}"
    return unit.number(inner)


def expected_text(bench: Bench, readings: ReadingsAfter) -> str:
    """The expected readings, one line per zone, and how to use them."""
    radial, knife = reading_units(bench, readings.sheet)
    zones, after = readings.sheet.zones, readings.after
    names = ("Now", "After", "+-", "Perfect mirror")
    heads = [f"Zone of the mask\n{radial.name}", *(f"{name}\n{knife.name}" for name in names)]
    rows = [
        (
            zone_name(zones.inner[i], zones.outer[i], radial),
            knife.number(readings.now[i]),
            knife.number(after.positions[i]),
            knife.number(after.spread[i]) if i else "-",
            knife.number(readings.target[i]),
        )
        for i in range(len(zones))
    ]
    return f"{paragraph(head_text(readings))}\n{table(heads, rows, words=())}\n{paragraph(HOW_TO_USE)}"


def head_text(readings: ReadingsAfter) -> str:
    """Which readings these are."""
    whose = "" if readings.is_own else ", through a standard mask"
    return f"Expected knife-edge readings{whose}, {readings.sheet.source} source:"
