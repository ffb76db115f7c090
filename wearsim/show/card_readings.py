"""The readings on a bench card: those to expect at the end, and those to check halfway through a long spell."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from wearsim.bench.bench import Bench
from wearsim.bench.lengths import Unit
from wearsim.decide.proposal import EarlyStop
from wearsim.knifeedge.expected import ExpectedReadings
from wearsim.show.card_words import range_words
from wearsim.show.expected_readings import reading_units, zone_name
from wearsim.wear.expected_readings import ReadingsAfter

# Two zones to check halfway lie at least so many places in the mask from each other where it has room: neighbours tell
# the same. A judgement.
APART = 2


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
    source = "source moving" if readings.sheet.source == "moving" else "source fixed"
    mask = "" if readings.is_own else "A usual mask, as none is named. "
    off = "Off by more than twice that: record it before going on."
    if readings.is_own and readings.halfway:
        off = "One off by more than twice that, here or at a CHECK: stop, read all, record, propose again."
    foot = f"{mask}Less the first zone's; larger = farther from the mirror. \u00b1: one sigma. {off}"
    return ReadingRows(
        f"Readings to expect [{knife.name}], {source}", (f"zone [{radial.name}]", "now", "after", ""), rows, foot
    )


def telling_zones(now: np.ndarray, half: ExpectedReadings, end: np.ndarray) -> np.ndarray:
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
    """What a few zones should read halfway through a spell, a zone a text.

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
        f"{_close(zone_name(zones.inner[i], zones.outer[i], radial))}:\u00a0{knife.number(half.positions[i])}\u00a0"
        f"\u00b1\u00a0{knife.number(half.spread[i])}"
        for i in telling_zones(readings.now, half, readings.after.positions)
    )


def _close(zone: str) -> str:
    """The name of a zone as short as it can be, and never broken."""
    return zone.replace(" - ", "\u2013")


def check_by_figure(early: EarlyStop, minutes: float, high: Unit) -> tuple[str, ...]:
    """What the figure should be after so many minutes of work: RMS and edge roll, with their bands where known.

    Parameters
    ----------
    early : EarlyStop
    minutes : float
        [min]
    high : Unit
        Of heights.
    """
    said = []
    for name, curve, band in (("RMS", early.rms, early.rms_band), ("edge roll", early.edge_roll, early.edge_roll_band)):
        text = f"{name} {high.text(float(np.interp(minutes, early.minutes, curve)))}"
        if band is not None:
            low, top = (float(np.interp(minutes, early.minutes, band[:, end])) for end in (0, 1))
            text += f" ({range_words(low, top, high)})"
        said.append(text)
    return tuple(said)


def how_to_check(early: EarlyStop) -> str:
    """How to use the checks halfway where they are given as the figure.

    Parameters
    ----------
    early : EarlyStop
        Whose bands the figures have.
    """
    other = "If it is clearly otherwise" if early.rms_band is None else "If either lies outside its brackets"
    return f"CHECK: {other}: stop, record what was done, propose again."
