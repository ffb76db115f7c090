"""The readings on a bench card: those to expect at the end, and those to check halfway through a long spell."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from wearsim.bench.bench import Bench
from wearsim.knifeedge.expected import ExpectedReadings
from wearsim.show.expected_readings import reading_units, zone_name
from wearsim.wear.expected_readings import ReadingsAfter

# Two zones to check halfway lie at least so many places in the mask from each other where it has room: neighbours tell
# the same. A judgement.
APART = 2
MOST_ZONES = 30
EN_DASH = "\u2013"
"""Without blanks about it the name of a zone is never broken."""


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
    """The readings to expect afterwards.

    Parameters
    ----------
    bench : Bench
    readings : ReadingsAfter
    """
    radial, knife = reading_units(bench, readings.sheet)
    zones, after = readings.sheet.zones, readings.after
    rows = tuple(
        (
            zone_name(zones.inner[i], zones.outer[i], radial), knife.number(readings.now[i]),
            knife.number(after.positions[i]), f"\u00b1 {knife.number(after.spread[i])}" if i else "",
        )
        for i in range(len(zones))
    )  # fmt: skip
    step = math.ceil(len(rows) / MOST_ZONES)
    mask = "" if readings.is_own else "A usual mask, as none is named. "
    off = "Off by more than twice that: record it before going on."
    if readings.is_own and readings.halfway:
        off = "One off by more than twice that, here or at a CHECK: stop, read all, record, propose again."
    thinned = f" One zone in {step} is shown." if step > 1 else ""
    return ReadingRows(
        head=f"Readings to expect [{knife.name}], source {readings.sheet.source}",
        titles=(f"zone [{radial.name}]", "now", "after", ""),
        rows=rows[::step],
        foot=f"{mask}Less the first zone's; larger = farther from the mirror. \u00b1: one sigma. {off}{thinned}",
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
    far = [i for i in order[1:] if abs(i - order[0]) >= APART]
    return np.sort([*order[:1], *(far or order[1:])[:1]])


def check_by_readings(bench: Bench, readings: ReadingsAfter, number: int) -> tuple[str, ...]:
    """What two zones should read halfway through a spell, a zone a text.

    Parameters
    ----------
    bench : Bench
    readings : ReadingsAfter
        With the readings halfway through this spell.
    number : int
        Of the spell.
    """
    radial, knife = reading_units(bench, readings.sheet)
    half, zones = readings.halfway[number], readings.sheet.zones
    return tuple(
        f"{zone_name(zones.inner[i], zones.outer[i], radial).replace(' - ', EN_DASH)}:\u00a0"
        f"{knife.number(half.positions[i])}\u00a0\u00b1\u00a0{knife.number(half.spread[i])}"
        for i in check_zones(readings.now, half, readings.after.positions)
    )
