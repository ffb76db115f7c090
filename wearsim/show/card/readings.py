"""The readings on a bench card: those expected afterwards, and two zones to check halfway where that can be done."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from wearsim.bench.bench import Bench
from wearsim.bench.units import LengthUnit
from wearsim.knifeedge.cooling import cooling
from wearsim.knifeedge.forward_model import ExpectedReadings
from wearsim.knifeedge.longitudinal import Zones
from wearsim.show.expected_readings import reading_units, zone_name
from wearsim.wear.expected_readings import ReadingsAfter

# Two zones to check halfway lie at least so many places in the mask from each other where it has room: neighbours tell
# the same. A judgement.
LEAST_DISTANCE = 2
MOST_ZONES = 30
EN_DASH = "\u2013"
"""Without blanks about it the name of a zone is never broken."""
CHECK_WAIT = 1200.0
"""Longest wait for cool glass in which a lap keeps its fit, pressed under the tool meanwhile [s]. A judgement."""


@dataclass(frozen=True)
class ReadingRows:
    """The expected readings as cells.

    Parameters
    ----------
    head : str
    titles : tuple of str
    rows : tuple of tuple of str
    foot : str
    """

    head: str
    titles: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    foot: str


def reading_rows(bench: Bench, readings: ReadingsAfter) -> ReadingRows:
    """The readings expected afterwards."""
    radial, knife = reading_units(bench, readings.sheet)
    zones, after = readings.sheet.zones, readings.after
    numbered = readings.is_own and bool(np.all(zones.outer > zones.inner))
    rows = tuple(
        (
            str(i + 1) if numbered else zone_name(zones.inner[i], zones.outer[i], radial), knife.number(readings.now[i]),
            knife.number(after.positions[i]), f"\u00b1 {knife.number(after.spread[i])}" if i else "",
        )
        for i in range(len(zones))
    )  # fmt: skip
    step = math.ceil(len(rows) / MOST_ZONES)
    mask = "" if readings.is_own else "For a standard mask: the bench does not specify one. "
    off = "If a reading is off by more than twice that, record the session before you go on."
    if readings.is_own and readings.halfway and can_check(bench):
        off = "If one is off by more than twice that, here or at a CHECK, stop, read every zone, record, and propose again."
    thinned = f" One zone in {step} is shown." if step > 1 else ""
    return ReadingRows(
        head=f"Expected readings [{knife.name}], {readings.sheet.source} source",
        titles=("window" if numbered else f"zone [{radial.name}]", "now", "after", ""),
        rows=rows[::step],
        foot=f"{mask}Relative to zone 1; larger = farther from the mirror. \u00b1: one sigma. {off}{thinned}",
    )


def check_zones(now: np.ndarray, half: ExpectedReadings, end: np.ndarray) -> np.ndarray:
    """The two zones that tell most whether a spell goes as predicted, in the order of the mask.

    Those whose reading has changed most by then, or has most to change yet, against what one setting can mistake; not
    two neighbours where there are others.

    Parameters
    ----------
    now : (n,) ndarray
        Readings less the first zone's before the programme [m].
    half : ExpectedReadings
        Halfway through the spell.
    end : (n,) ndarray
        As ``now``, after the programme [m].

    Returns
    -------
    (k,) ndarray
        Indices, at most two, never of the first zone: the others are counted from it.
    """
    moved = np.maximum(np.abs(half.positions - now), np.abs(end - half.positions))
    setting = np.where(half.setting > 0.0, half.setting, 1.0 if not half.setting.any() else np.inf)
    order = np.argsort(-(moved / setting)[1:], kind="stable") + 1
    far = [i for i in order[1:] if abs(i - order[0]) >= LEAST_DISTANCE]
    return np.sort([*order[:1], *(far or order[1:])[:1]])


def can_check(bench: Bench) -> bool:
    """Whether the glass is cool enough to be read before the lap loses its fit."""
    mirror = bench.mirror
    return cooling(mirror.diameter, mirror.thickness, mirror.material).time <= CHECK_WAIT


def check_by_readings(bench: Bench, readings: ReadingsAfter, number: int) -> tuple[str, ...]:
    """What two zones should read halfway through a spell, a zone a text.

    Parameters
    ----------
    readings : ReadingsAfter
        With the readings halfway through this spell.
    number : int
        Of the spell.
    """
    radial, knife = reading_units(bench, readings.sheet)
    half, zones = readings.halfway[number], readings.sheet.zones
    return tuple(
        f"{_place(zones, i, radial)}:\u00a0"
        f"{knife.number(half.positions[i])}\u00a0\u00b1\u00a0{knife.number(half.spread[i])}"
        for i in check_zones(readings.now, half, readings.after.positions)
    )


def _place(zones: Zones, i: int, radial: LengthUnit) -> str:
    """A zone as it is found at the tester: the number of its window, or its radius."""
    if zones.outer[i] > zones.inner[i]:
        return f"window\u00a0{i + 1}"
    return zone_name(zones.inner[i], zones.outer[i], radial).replace(" - ", EN_DASH)
