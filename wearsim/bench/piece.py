"""What every table has in common: frozen, unknown keys refused, defaults that name their source."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated, Any, NamedTuple, get_args

from pydantic import BaseModel, BeforeValidator, ConfigDict
from pydantic.fields import FieldInfo

from wearsim.bench.quantity import Extent, Kind, refuse


class DefaultUsed(NamedTuple):
    """A default that a file left to wearsim: dotted key, value in people's units, where it comes from."""

    key: str
    value: str
    source: str


class Piece(BaseModel):
    """A table of a bench or of a programme."""

    model_config = ConfigDict(frozen=True, extra="forbid")


def kind_of(field: FieldInfo) -> Kind | None:
    """The kind of number that a field holds, if it holds one."""
    return next((mark for mark in _marks_of(field) if isinstance(mark, Kind)), None)


def _marks_of(field: FieldInfo) -> list[Any]:
    """Annotations of a field, those of an optional one included."""
    inner = [mark for part in get_args(field.annotation) for mark in getattr(part, "__metadata__", ())]
    return [*field.metadata, *inner]


def source_of(field: FieldInfo) -> str | None:
    """Where a field's default comes from, if it is a documented one."""
    extra = field.json_schema_extra
    return str(extra["source"]) if isinstance(extra, dict) and "source" in extra else None


def in_file(value: Any, kind: Kind | None) -> Any:
    """A field's value as it would stand in a file: text with a unit, number, string or list."""
    if isinstance(value, Extent):
        return kind.say(value.value) if kind and not value.relative else value.value
    if isinstance(value, tuple):
        return [in_file(item, kind) for item in value]
    if isinstance(value, Path):
        return str(value)
    return kind.say(value) if kind and kind.base else value


def table_of(piece: Piece, skip: frozenset[str] = frozenset()) -> dict[str, Any]:
    """The table that a piece reads back from; keys that hold nothing are left out."""
    return {
        key: in_file(value, kind_of(field))
        for key, field in type(piece).model_fields.items()
        if key not in skip and (value := getattr(piece, key)) is not None
    }


def defaults_of(piece: Piece, given: frozenset[str] | set[str], prefix: str) -> list[DefaultUsed]:
    """The documented defaults that a piece took because its table did not give the key."""
    return [
        DefaultUsed(f"{prefix}.{key}", _shown(in_file(getattr(piece, key), kind_of(field))), source)
        for key, field in type(piece).model_fields.items()
        if key not in given and (source := source_of(field)) and getattr(piece, key) is not None
    ]


def _shown(value: Any) -> str:
    return ", ".join(str(item) for item in value) if isinstance(value, list) else str(value)


class Words(NamedTuple):
    """Mark of a field that takes one of a few words: what to expect."""

    expected: str


def expected_of(field: FieldInfo) -> str | None:
    """What a field would accept, for an error line."""
    return next((mark.expected for mark in _marks_of(field) if isinstance(mark, (Kind, Words))), None)


def choice(*allowed: str) -> Any:
    """Annotations of a field that takes one of a few words."""
    expected = "one of " + ", ".join(f'"{word}"' for word in allowed)

    def check(value: Any) -> str:
        if not isinstance(value, str) or value not in allowed:
            raise refuse("not one of the choices", expected)
        return value

    return (BeforeValidator(check), Words(expected))


def _name(value: Any) -> str:
    if not isinstance(value, str) or not 0 < len(value.strip()) <= 60 or not value.isprintable():
        raise refuse("no name", "a short text on one line")
    return value.strip()


Name = Annotated[str, BeforeValidator(_name)]
