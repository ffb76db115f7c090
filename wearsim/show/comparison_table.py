"""A comparison as text: the tool on top and the mirror on top, side by side."""

from __future__ import annotations

from collections.abc import Callable
from itertools import pairwise

from wearsim.bench.bench import Bench
from wearsim.decide.compare import Comparison, Side
from wearsim.show.lengths import Unit, length_unit
from wearsim.show.outcome_table import in_kilopascals, in_tenths, no_band_words, numbers_rows, unit_for
from wearsim.show.text import columns, paragraph
from wearsim.show.zones import zones_of
from wearsim.wear.grid import Array
from wearsim.wear.outcome import Outcome

HEADS = {"tool": "Tool on top", "mirror": "Mirror on top"}
CANNOT = "cannot"


def comparison_text(bench: Bench, both: Comparison) -> str:
    """Everything to read about a comparison.

    Parameters
    ----------
    bench : Bench
    both : Comparison
    """
    parts = [_zones(bench, both, length_unit(bench)), _numbers(both), *map(_remarks, both.sides)]
    return "\n\n".join(part for part in parts if part)


def any_outcome(both: Comparison) -> Outcome:
    """An outcome of the two, for what they have in common."""
    return next(side.outcome for side in both.sides if side.outcome is not None)


def comparison_unit(both: Comparison) -> Unit:
    """The unit in which the heights of both outcomes are read."""
    units = [unit_for(side.outcome) for side in both.sides if side.outcome is not None]
    return max(units, key=lambda unit: unit.size)


def _zones(bench: Bench, both: Comparison, unit: Unit) -> str:
    one, high = any_outcome(both), comparison_unit(both)
    zones = zones_of(bench.mirror, one.radius)
    rows = [
        ("Zone of", "Before", "Tool on top", "", "Mirror on top", ""),
        ("radius", "", "removed", "after", "removed", "after"),
        (unit.name, *[high.name] * 5),
    ]
    before = _stacked(zones.matrix, one.before, None if one.band is None else one.band.before, high)
    cells = [_cells(side, zones.matrix, high) for side in both.sides]
    for i, (inner, outer) in enumerate(pairwise(zones.edges)):
        name = f"{unit.number(inner)}-{unit.number(outer)}{'*' if i >= zones.clear else ' '}"
        stack = [column[i] for column in (before, *cells[0], *cells[1])]
        rows.append((name, *(line[0] for line in stack)))
        if any(line[1] for line in stack):
            rows.append(("", *(line[1] for line in stack)))
    note = "Surface against the target, positive = high, means over each zone."
    if _is_banded(both):
        note += " Beneath each its band: nine of ten cases lie in it."
    if len(zones.matrix) > zones.clear:
        note = "* left out of the numbers. " + note
    return "\n".join([*columns(rows, ">>>>>>"), paragraph(note)])


Cells = list[tuple[str, str]]


def _stacked(matrix: Array, profile: Array, ends: Array | None, high: Unit) -> Cells:
    """Of each zone its mean and, to stand beneath it, the band; empty for none."""
    values = [high.number(value) for value in matrix @ profile]
    if ends is None:
        return [(value, "") for value in values]
    return [(value, _ends(pair, high.number)) for value, pair in zip(values, matrix @ ends.T, strict=True)]


def _cells(side: Side, matrix: Array, high: Unit) -> tuple[Cells, Cells]:
    outcome = side.outcome
    if outcome is None:
        none = [(CANNOT, "")] * len(matrix)
        return none, none
    removal, after = (
        (None, None) if outcome.band is None else (outcome.band.removal, outcome.band.figure_error)
    )
    return (
        _stacked(matrix, outcome.removal, removal, high),
        _stacked(matrix, outcome.figure_error, after, high),
    )


def _is_banded(both: Comparison) -> bool:
    return any(side.outcome is not None and side.outcome.band is not None for side in both.sides)


def _ends(pair: Array, written: Callable[[float], str]) -> str:
    return f"{written(pair[0])} to {written(pair[1])}"


def _numbers(both: Comparison) -> str:
    high, one = comparison_unit(both), any_outcome(both)

    def row(name: str, before: str, of: Callable[[Outcome], str]) -> tuple[str, ...]:
        return (name, before, *(CANNOT if s.outcome is None else of(s.outcome) for s in both.sides))

    banded = _is_banded(both)
    rows: list[tuple[str, ...]] = [("", "Before", HEADS["tool"], HEADS["mirror"])]
    for name, words, unit, written in numbers_rows(high):
        of_unit = f", {unit}" if unit else ""

        def value(outcome: Outcome, name: str = name, written: Callable[[float], str] = written) -> str:
            return written(getattr(outcome.numbers, name))

        def ends(outcome: Outcome, name: str = name, written: Callable[[float], str] = written) -> str:
            return "-" if outcome.band is None else _ends(outcome.band.numbers[name], written)

        rows.append(
            row(words if banded else words + of_unit, written(getattr(one.numbers_before, name)), value)
        )
        before = {} if one.band is None else one.band.numbers_before
        if banded:
            rows.append(row(f"  its band{of_unit}", _ends(before[name], written) if before else "", ends))
    for name, words, unit, written in (
        ("peak_pressure", "Largest pressure", "kPa", in_kilopascals),
        ("lift_off_share", "Lift-off, mean share", "", in_tenths),
    ):
        rows += _of_programme(both, name, (words, unit), written)
    lines = columns(rows, "<>>>")
    if one.band is None and one.no_band and one.spells:
        lines.append(paragraph(no_band_words(one.no_band)))
    return "\n".join(lines)


def _of_programme(
    both: Comparison, name: str, words: tuple[str, str], written: Callable[[float], str]
) -> list[tuple[str, ...]]:
    """A row of a number of the programme, and where there are bands one of these beneath it."""
    outcomes = [side.outcome for side in both.sides]
    of_unit, banded = f", {words[1]}" if words[1] else "", _is_banded(both)
    values = (CANNOT if one is None else written(getattr(one, name)) for one in outcomes)
    rows: list[tuple[str, ...]] = [(words[0] if banded else words[0] + of_unit, "", *values)]
    if banded:
        bands = (CANNOT if one is None else "-" if one.band is None else _ends(one.band.of_programme[name], written)
                 for one in outcomes)  # fmt: skip
        rows.append((f"  its band{of_unit}", "", *bands))
    return rows


def _remarks(side: Side) -> str:
    """Why a side cannot be done, or its warnings."""
    head = f"{HEADS[side.on_top]}: "
    if side.outcome is None:
        return paragraph(f"cannot be done: {side.refused}.", head, "  ")
    return "\n".join(paragraph(line, f"{head}Warning: ", "  ") for line in side.outcome.warnings)
