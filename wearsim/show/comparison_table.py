"""A comparison as text: the tool on top and the mirror on top, side by side."""

from __future__ import annotations

from collections.abc import Callable

from wearsim.bench.bench import Bench
from wearsim.decide.compare import Comparison, Side
from wearsim.show.lengths import Unit, decimal, length_unit
from wearsim.show.outcome_table import unit_for
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
    before = zones.matrix @ one.before
    rows = [
        ("Zone of radius", "Before", "Tool on top:", "", "Mirror on top:", ""),
        (unit.name, high.name, f"removed {high.name}", "after", f"removed {high.name}", "after"),
    ]
    cells = [_cells(side, zones.matrix, high) for side in both.sides]
    for i in range(len(before)):
        inner, outer = unit.number(zones.edges[i]), unit.number(zones.edges[i + 1])
        zone = f"{inner} - {outer}{'*' if i >= zones.clear else ' '}"
        rows.append((zone, high.number(before[i]), *cells[0][i], *cells[1][i]))
    note = "Surface against the target, positive = high, means over each zone."
    if len(before) > zones.clear:
        note = "* left out of the numbers. " + note
    return "\n".join([*columns(rows, ">>>>>>"), paragraph(note)])


def _cells(side: Side, matrix: Array, high: Unit) -> list[tuple[str, str]]:
    if side.outcome is None:
        return [(CANNOT, CANNOT)] * len(matrix)
    removed, after = matrix @ side.outcome.removal, matrix @ side.outcome.figure_error
    return [(high.number(one), high.number(two)) for one, two in zip(removed, after, strict=True)]


def _numbers(both: Comparison) -> str:
    high, one = comparison_unit(both), any_outcome(both)
    old = one.numbers_before

    def row(name: str, before: str, of: Callable[[Outcome], str]) -> tuple[str, ...]:
        return (name, before, *(CANNOT if s.outcome is None else of(s.outcome) for s in both.sides))

    rows = [
        ("", "Before", *HEADS.values()),
        row("RMS, surface", high.text(old.surface_rms), lambda o: high.text(o.surface_rms)),
        row("  band, 5-95 %", "", lambda o: _band(o, high)),
        row("Peak to valley, surface", high.text(old.surface_pv), lambda o: high.text(o.surface_pv)),
        row("Strehl ratio", f"{old.strehl:.3f}", lambda o: f"{o.strehl:.3f}"),
        row("Conic constant, best fit", decimal(old.conic_fit, 3), lambda o: decimal(o.conic_fit, 3)),
        row("Edge roll (negative: down)", high.text(old.edge_roll), lambda o: high.text(o.edge_roll)),
        row("Largest pressure", "", lambda o: f"{o.peak_pressure / 1e3:.2f} kPa"),
        row("Lift-off, mean share", "", lambda o: f"{o.lift_off_share:.1%}"),
    ]
    return "\n".join(columns(rows, "<>>>", gap=3))


def _band(outcome: Outcome, high: Unit) -> str:
    if outcome.band is None:
        return "-"
    low, top = outcome.band.surface_rms
    return f"{high.number(low)} to {high.text(top)}"


def _remarks(side: Side) -> str:
    """Why a side cannot be done, or its warnings."""
    head = f"{HEADS[side.on_top]}: "
    if side.outcome is None:
        return paragraph(f"cannot be done: {side.refused}.", head, "  ")
    return "\n".join(paragraph(line, f"{head}Warning: ", "  ") for line in side.outcome.warnings)
