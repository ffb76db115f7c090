"""Dotted names: any key of a bench or of a programme, as something that a study can change.

``hands.push``, ``lap.relaxation_time``, ``lap 2.stiffness`` (the second of several), ``spell 1.side_overhang``.
A setting is changed in the table as a person would write it, and the table is read again by the bench room:
units, limits and defaults are the same as in a file.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from functools import cached_property
from pathlib import Path
from typing import Any, get_args

from pydantic_core import PydanticCustomError

from wearsim.bench.bench import TABLES, Bench, Spread, Wear
from wearsim.bench.fields import MOST_OF_DIAMETER, Extent, InputTable, NumberRule, as_float, rule_of
from wearsim.bench.figure_source import FigureSource, Light
from wearsim.bench.hands import Hands
from wearsim.bench.input_errors import located, nearest_word, read_table
from wearsim.bench.lap import Lap
from wearsim.bench.mirror import Mirror
from wearsim.bench.programme import Programme, Spell
from wearsim.bench.toml_io import programme_from_table
from wearsim.errors import InputError

MODELS: dict[str, type[InputTable]] = {
    "mirror": Mirror, "lap": Lap, "hands": Hands, "wear": Wear, "spread": Spread, "figure": FigureSource,
    "light": Light, "spell": Spell,
}  # fmt: skip
_NAME = re.compile(r"(?P<table>[a-z]+)(?: (?P<place>[1-9][0-9]{0,3}))?\.(?P<field>[a-z_]+)")
_EXAMPLE = '"hands.push", "lap 1.stiffness" or "spell 1.side_overhang"'
# Plain numbers of a file that have a unit all the same.
_PLAIN_UNITS = {("spell", "minutes"): "min", ("spell", "rate"): "1/min"}
# [figure] holds exactly one source: a new one replaces the old.
_REPLACED = "figure"

Value = float | str


@dataclass(frozen=True)
class StudySetting:
    """One key of a bench or of a programme.

    Parameters
    ----------
    table : str
        ``"mirror"``, ``"lap"``, ... or ``"spell"``.
    place : int
        Which of several laps or spells, from 0.
    key : str
        The dotted name as it was written.
    """

    table: str
    place: int
    field: str
    key: str

    @property
    def target(self) -> tuple[str, int, str]:
        """What it changes, however it was written."""
        return self.table, self.place, self.field

    @cached_property
    def rule(self) -> NumberRule | None:
        """What sort of number it is; None for words, files, counts and pairs."""
        info = MODELS[self.table].model_fields[self.field]
        return None if tuple in _types(info.annotation) else rule_of(info)

    @cached_property
    def is_extent(self) -> bool:
        """Whether a plain number is a fraction of the mirror's diameter."""
        return Extent in _types(MODELS[self.table].model_fields[self.field].annotation)

    def unit_of(self, raw: Any) -> str:
        """Unit of the numbers that :meth:`number` makes of what a person wrote."""
        if self.rule is None or (self.is_extent and not isinstance(raw, str)):
            return "1"
        return self.rule.base or _PLAIN_UNITS.get((self.table, self.field), "1")

    def number(self, raw: Any, file: Path | None, key: str) -> float:
        """What a person wrote, as a number in SI units.

        Raises
        ------
        InputError
            Where it is no such number.
        """
        if self.rule is None:
            raise InputError(f"{self.key} takes no number", file=file, key=key, expected="a list of values")
        is_fraction = self.is_extent and not isinstance(raw, str)
        rule = NumberRule("a fraction", "0.1", least=0.0, most=MOST_OF_DIAMETER) if is_fraction else self.rule
        try:
            return as_float(raw, rule)
        except PydanticCustomError as error:
            context = error.context or {}
            raise InputError(
                str(context.get("message")), file=file, key=key, value=raw, expected=context.get("expected")
            ) from error

    def written(self, number: float, unit: str) -> Any:
        """A number in SI units as it would be written in a file; reads back as the very float."""
        if self.rule is None or not self.rule.base or unit == "1":
            return float(number)
        return f"{float(number)!r} {self.rule.base}"


def _types(annotation: Any) -> set[Any]:
    """Types that an annotation is made of: ``Annotated[Extent, ...] | None`` -> Extent, None."""
    found = {annotation, getattr(annotation, "__origin__", annotation)}
    for part in get_args(annotation):
        found |= _types(part) if get_args(part) else {part}
    return found


def find_setting(key: str, bench: Bench, programme: Programme, file: Path | None = None, at: str = "") -> StudySetting:
    """The setting of this dotted name; ``file`` and its key ``at`` are for error lines.

    Raises
    ------
    InputError
        Where the bench or the programme has no such key.
    """

    def fault(message: str, expected: str) -> InputError:
        return InputError(message, file=file, key=at, value=key, expected=expected)

    found = _NAME.fullmatch(key)
    if found is None:
        raise fault("not the dotted name of a setting", _EXAMPLE)
    table, field = found["table"], found["field"]
    if table not in MODELS:
        raise fault("no such table", nearest_word(table, MODELS))
    if field not in MODELS[table].model_fields:
        raise fault(f"{table} has no such key", nearest_word(field, MODELS[table].model_fields))
    count = {"lap": len(bench.laps), "spell": len(programme.spells)}.get(table)
    if count is None and found["place"]:
        raise fault(f"there is only one {table}", f'"{table}.{field}"')
    if count is not None and found["place"] is None and (table == "spell" or count > 1):
        raise fault(f"which {table}?", f'"{table} 1.{field}"')
    place = int(found["place"] or 1)
    if count is not None and place > count:
        raise fault(f"no {table} {place}", f"{table} 1 to {count}" if count else "a programme with spells")
    return StudySetting(table, place - 1, field, key)


Changes = Mapping[tuple[str, int], Mapping[str, Any]]


def by_table(changes: Iterable[tuple[StudySetting, Any]]) -> dict[tuple[str, int], dict[str, Any]]:
    """Changes gathered by table and place."""
    gathered: dict[tuple[str, int], dict[str, Any]] = {}
    for setting, raw in changes:
        gathered.setdefault((setting.table, setting.place), {})[setting.field] = raw
    return gathered


def changed_bench(base: Bench, table: Mapping[str, Any], changes: Changes) -> Bench:
    """The bench with some keys changed; only the tables they are in are read again.

    Parameters
    ----------
    table : mapping
        What its file holds.
    changes : mapping of (table, place) to mapping of field to value
        Values as a person would write them.

    Raises
    ------
    InputError
        Where the bench room refuses one.
    """
    pieces: dict[str, Any] = {name: getattr(base, name) for name in TABLES}
    laps = list(base.laps)
    on_bench = {where: values for where, values in changes.items() if where[0] != "spell"}
    if not on_bench:
        return base
    for (name, place), values in on_bench.items():
        piece = _read(base, table, name, place, values)
        if isinstance(piece, Lap):
            laps[place] = piece
        else:
            pieces[name] = piece
    try:
        return Bench(**{**pieces, "laps": tuple(laps)}, file=base.file)
    except InputError as error:
        raise located(error, "", base.file) from error


def _read(base: Bench, table: Mapping[str, Any], name: str, place: int, values: Mapping[str, Any]) -> InputTable:
    written = table.get(name, {})
    label = name
    if isinstance(written, list):
        label = f"{name} {place + 1}" if len(written) > 1 else name
        written = written[place]
    folder = None if base.file is None else base.file.parent
    raw = dict(values) if name == _REPLACED else {**written, **values}
    piece = read_table(MODELS[name], raw, label, base.file, folder)
    return piece.loaded(base.file) if isinstance(piece, FigureSource) else piece


def changed_programme(base: Programme, table: Mapping[str, Any], changes: Changes) -> Programme:
    """The programme with some keys changed, read again; arguments as for :func:`changed_bench`."""
    spells = list(table.get("spell", []))
    on_spells = {place: values for (name, place), values in changes.items() if name == "spell"}
    for place, values in on_spells.items():
        spells[place] = {**spells[place], **values}
    return programme_from_table({"spell": spells}, file=base.file) if on_spells else base
