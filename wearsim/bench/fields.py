"""The tables that people write, and their fields: quantities with units, plain numbers, choices and names.

In a file a quantity is a string with a unit, and a bare number is refused. In Python a plain number is taken to be SI
already (degrees Celsius for a temperature), so that programs can build tables directly; the validation context
(:data:`FROM_FILE`) decides which of the two holds. Every table is frozen, refuses unknown keys, and names the source
of its defaults.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, replace
from pathlib import Path
from types import MappingProxyType
from typing import Annotated, Any, ClassVar, NamedTuple, get_args

from pydantic import BaseModel, BeforeValidator, ConfigDict, Field, ValidationInfo
from pydantic.fields import FieldInfo
from pydantic_core import PydanticCustomError

from wearsim.bench import units

FROM_FILE: dict[str, object] = {"file": True}
"""Validation context of what was read from a file."""
MOST_LETTERS = 14
"""Letters of a quantity that a person may have written; a longer one was written in another unit (judgement)."""
TINY = 1e-15
"""Smallest magnitude but 0 of any number that people write, in its base unit: nothing at a bench is smaller, and powers of
it stay clear of where floats end."""
MOST_OF_DIAMETER = 2.0
"""Largest fraction of the diameter: beyond it the pieces part, and ``150`` must mean ``"150 mm"``."""


@dataclass(frozen=True)
class NumberRule:
    """What a number may be: its unit, its limits, and how to speak of it.

    Attributes
    ----------
    noun : str
        With its article, as in an error line: ``"a length"``.
    example : str
        A text that would be accepted.
    base : str
        SI unit of the float, or ``"degC"``; empty for a plain number.
    shown : tuple of str
        People's units to write it in.
    otherwise : tuple of str
        Units to write it in where those would give a string of digits.
    above, least, most : float or None
        Limits in the base unit: greater than, at least, at most. A number that is not 0 but smaller than
        :data:`TINY` is refused as well.
    """

    noun: str
    example: str
    base: str = ""
    shown: tuple[str, ...] = ()
    above: float | None = None
    least: float | None = None
    most: float | None = None
    otherwise: tuple[str, ...] = ()

    def text(self, value: float) -> str:
        """Write a value in people's units."""
        if not self.base:
            return f"{value:.9g}"
        text = units.write(value, self.base, self.shown)
        if len(text) <= MOST_LETTERS or not self.otherwise:
            return text
        try:
            return units.write(value, self.base, self.shown + self.otherwise)
        except ArithmeticError:  # a hair from 0 degC: no number of another zero reads back as that
            return text

    @property
    def limits(self) -> str:
        """The limits in words, in people's units."""
        if self.least is not None and self.most is not None and self.above is None:
            return (
                f"from {self.text(self.least) if self.least else '0'} to {self.text(self.most) if self.most else '0'}"
            )
        parts = [
            f"{word} {self.text(limit) if limit else '0'}"
            for word, limit in (("above", self.above), ("at least", self.least), ("at most", self.most))
            if limit is not None
        ]
        return " and ".join(parts)

    @property
    def expected(self) -> str:
        """What would be accepted, for an error line."""
        limits = f" {self.limits}" if self.limits else ""
        return f"{self.noun}{limits}, such as {self.example}"


def refuse(message: str, expected: str) -> PydanticCustomError:
    """An error for one field, in words for a person."""
    return PydanticCustomError("people", "{message}", {"message": message, "expected": expected})


def _from_text(text: str, rule: NumberRule) -> float:
    try:
        return units.read(text, rule.base)
    except units.NotAQuantity as error:
        raise refuse(str(error), rule.expected) from error


def _from_number(value: Any, rule: NumberRule) -> float:
    if isinstance(value, bool) or not isinstance(value, (int, float)):
        raise refuse("the wrong type", rule.expected)
    try:
        return float(value)
    except OverflowError as error:
        raise refuse("too large a number", rule.expected) from error


def _within(value: float, rule: NumberRule) -> float:
    too_low = (rule.above is not None and value <= rule.above) or (rule.least is not None and value < rule.least)
    if not math.isfinite(value):
        raise refuse("not a finite number", rule.expected)
    if too_low or 0.0 < abs(value) < TINY:
        raise refuse("too small", rule.expected)
    if rule.most is not None and value > rule.most:
        raise refuse("too large", rule.expected)
    return value + 0.0  # no negative zero: it would be written, and read, as plain 0


def as_float(value: Any, rule: NumberRule, from_file: bool = True) -> float:
    """One value as a float of ``rule``.

    Raises
    ------
    PydanticCustomError
        Where the value is none; see :func:`wearsim.bench.input_errors.first_fault`.
    """
    if rule.base and isinstance(value, str):
        return _within(_from_text(value, rule), rule)
    number = _from_number(value, rule)
    if rule.base and from_file:
        raise refuse("the unit is missing", rule.expected)
    return _within(number, rule)


@dataclass(frozen=True)
class Extent:
    """A length along or across the stroke: a fraction of the mirror's diameter, or a length.

    Attributes
    ----------
    value : float
        The fraction, or the length [m].
    relative : bool
        Whether it is a fraction.
    """

    value: float
    relative: bool = True

    def on(self, diameter: float) -> float:
        """The length [m] on a mirror of this diameter [m]."""
        return self.value * diameter if self.relative else self.value


def _as_extent(value: Any, rule: NumberRule) -> Extent:
    if isinstance(value, Extent):
        return Extent(_within(value.value, rule), value.relative)
    if isinstance(value, str):
        return Extent(_within(_from_text(value, rule), rule), relative=False)
    fraction = _from_number(value, rule)
    if MOST_OF_DIAMETER < fraction < math.inf:
        raise refuse("a plain number is a fraction of the mirror's diameter, and this is too large", rule.expected)
    return Extent(_within(fraction, rule))


def _quoted(example: str) -> str:
    """Texts as in a file: ``2 mm or 0.1 in`` with each part in quotes."""
    return " or ".join(f'"{part}"' for part in example.split(" or "))


def quantity(
    noun: str,
    example: str,
    base: str,
    *shown: str,
    above: float | None = None,
    least: float | None = None,
    most: float | None = None,
    otherwise: tuple[str, ...] = (),
) -> Any:
    """Annotations of a field that is a quantity with a unit; arguments as in :class:`NumberRule`."""
    return _annotations(NumberRule(noun, _quoted(example), base, shown, above, least, most, otherwise))


def number(example: str, *, above: float | None = None, least: float | None = None, most: float | None = None) -> Any:
    """Annotations of a field that is a plain number; arguments as in :class:`NumberRule`."""
    return _annotations(NumberRule("a plain number", example, above=above, least=least, most=most))


def whole_number(example: str, *, least: int = 0, most: int) -> BeforeValidator:
    """Annotation of a field that counts something."""
    expected = f"a whole number from {least} to {most}, such as {example}"

    def check(value: Any) -> int:
        if isinstance(value, bool) or not isinstance(value, int) or not least <= value <= most:
            raise refuse("not a whole number in range", expected)
        return value

    return BeforeValidator(check)


def _annotations(rule: NumberRule) -> tuple[Any, ...]:
    def check(value: Any, info: ValidationInfo) -> float:
        return as_float(value, rule, bool((info.context or {}).get("file")))

    return (BeforeValidator(check), rule)


def extent(*, above: float | None = None, least: float | None = None) -> Any:
    """Annotations of a field that is an :class:`Extent`."""
    example = '0.5 (of the mirror\'s diameter), "150 mm" or "6 in"'
    rule = NumberRule("a length", example, "m", ("mm",), above, least, most=20.0)
    return (BeforeValidator(lambda value: _as_extent(value, rule)), rule)


def _pair(value: Any, info: ValidationInfo) -> tuple[float, float]:
    if not isinstance(value, (list, tuple)) or len(value) != 2:
        raise refuse("not a pair", 'two lengths, such as ["0 mm", "5 mm"] or ["0 in", "0.2 in"]')
    from_file = bool((info.context or {}).get("file"))
    return as_float(value[0], _ONE_OF_PAIR, from_file), as_float(value[1], _ONE_OF_PAIR, from_file)


class ChoiceRule(NamedTuple):
    """Mark of a field that takes one of a few words: what to expect."""

    expected: str


def choice(*allowed: str) -> Any:
    """Annotations of a field that takes one of a few words."""
    expected = "one of " + ", ".join(f'"{word}"' for word in allowed)

    def check(value: Any) -> str:
        if not isinstance(value, str) or value not in allowed:
            raise refuse("not one of the choices", expected)
        return value

    return (BeforeValidator(check), ChoiceRule(expected))


def _name(value: Any) -> str:
    if not isinstance(value, str) or not 0 < len(value.strip()) <= 60 or not value.isprintable():
        raise refuse("no name", "a short text on one line")
    return value.strip()


def default(value: Any, source: str) -> Any:
    """A field's documented default [SI], with where it comes from."""
    return Field(default=value, json_schema_extra={"source": source})


Name = Annotated[str, BeforeValidator(_name)]

# The physical range of everything that has a unit, for what it is. The ranges are wider than anything that is worked by
# hand, and narrow enough that every bench within them can be worked; a value beyond is a slip or a wrong unit.
Length = Annotated[float, *quantity("a length", "300 mm or 12 in", "m", "mm", least=1e-5, most=100.0)]
Diameter = Annotated[float, *quantity("a diameter", "300 mm or 12 in", "m", "mm", least=0.005, most=10.0)]
CurveRadius = Annotated[float, *quantity("a radius", "3000 mm or 120 in", "m", "mm", least=0.01, most=1000.0)]
Thickness = Annotated[float, *quantity("a thickness", "38 mm or 1.5 in", "m", "mm", least=1e-4, most=2.0)]
Depth = Annotated[float, *quantity("a length", "2 mm or 0.1 in", "m", "mm", least=0.0, most=10.0)]
Jitter = Annotated[float, *quantity("a length", "2 mm or 0.1 in", "m", "mm", least=0.0, most=0.2)]
Stiffness = Annotated[float, *quantity("a stiffness", "5e9 Pa/m", "Pa/m", "Pa/m", least=1e6, most=1e12)]
Mass = Annotated[float, *quantity("a mass", "4 kg or 9 lb", "kg", "kg", least=1e-3, most=1e4)]
Density = Annotated[float, *quantity("a density", "2230 kg/m^3", "kg/m^3", "kg/m^3", least=100.0, most=25e3)]
Force = Annotated[float, *quantity("a force", "30 N or 7 lbf", "N", "N", least=0.0, most=1e4)]
Time = Annotated[float, *quantity("a time", "5 min", "s", "min", "s", least=1.0, most=1e8)]
Temperature = Annotated[
    float, *quantity("a temperature", "20 degC or 68 degF", "degC", "degC", least=-50.0, most=80.0, otherwise=("degF",))
]
Angle = Annotated[float, *quantity("an angle", "72 deg", "rad", "deg", "rad", least=-7000.0, most=7000.0)]
PerPascal = Annotated[float, *quantity("a Preston coefficient", "8e-13 / Pa", "1/Pa", "/ Pa", least=1e-15, most=1e-9)]
Wavelength = Annotated[float, *quantity("a wavelength", "550 nm", "m", "nm", least=1e-7, most=2e-5)]
Conductivity = Annotated[float, *quantity("a conductivity", "1.14 W/m/K", "W/m/K", "W/m/K", least=1e-3, most=1e4)]
HeatCapacity = Annotated[float, *quantity("a heat capacity", "830 J/kg/K", "J/kg/K", "J/kg/K", least=1.0, most=1e5)]
Expansion = Annotated[float, *quantity("an expansion", "3.3e-6 / K", "1/K", "/ K", least=0.0, most=1e-3)]
Elasticity = Annotated[float, *quantity("a Young's modulus", "64 GPa", "Pa", "GPa", least=1e8, most=1e12)]
_ONE_OF_PAIR = NumberRule("a length", '"2 mm" or "0.1 in"', "m", ("mm",), least=-1.0, most=1.0)
_PAIR = '["0 mm", "5 mm"] or ["0 in", "0.2 in"]'
LengthPair = Annotated[
    tuple[float, float], BeforeValidator(_pair), replace(_ONE_OF_PAIR, noun="two lengths", example=_PAIR)
]
PoissonRatio = Annotated[float, *number("0.2", least=0.0, most=0.49)]
PlainFactor = Annotated[float, *number("0.7", least=1e-3, most=1e3)]


class DefaultUsed(NamedTuple):
    """A default that a file left to wearsim: dotted key, value in people's units, where it comes from.

    And a note, where something else on the bench speaks for another value.
    """

    key: str
    value: str
    source: str
    note: str = ""

    @property
    def why(self) -> str:
        """Source and note."""
        return f"{self.source}; {self.note}" if self.note else self.source


class InputTable(BaseModel):
    """A table of a bench or of a programme.

    ``also_called``: which key is meant by a word that the tables of answers have for it.
    """

    also_called: ClassVar[Mapping[str, str]] = MappingProxyType({})
    model_config = ConfigDict(frozen=True, extra="forbid")


def rule_of(field: FieldInfo) -> NumberRule | None:
    """The kind of number that a field holds, if it holds one."""
    return next((annotation for annotation in _annotations_of(field) if isinstance(annotation, NumberRule)), None)


def _annotations_of(field: FieldInfo) -> list[Any]:
    """Annotations of a field, those of an optional one included."""
    inner = [annotation for part in get_args(field.annotation) for annotation in getattr(part, "__metadata__", ())]
    return [*field.metadata, *inner]


def source_of(field: FieldInfo) -> str | None:
    """Where a field's default comes from, if it is a documented one."""
    extra = field.json_schema_extra
    return str(extra["source"]) if isinstance(extra, dict) and "source" in extra else None


def in_file(value: Any, rule: NumberRule | None) -> Any:
    """A field's value as it would be written in a file: text with a unit, number, string or list."""
    if isinstance(value, Extent):
        return rule.text(value.value) if rule and not value.relative else value.value
    if isinstance(value, tuple):
        return [in_file(item, rule) for item in value]
    if isinstance(value, Path):
        return str(value)
    return rule.text(value) if rule and rule.base else value


def table_of(piece: InputTable) -> dict[str, Any]:
    """The table that a piece reads back from; keys that hold nothing are left out."""
    return {
        key: in_file(value, rule_of(field))
        for key, field in type(piece).model_fields.items()
        if (value := getattr(piece, key)) is not None
    }


def defaults_of(piece: InputTable, given: frozenset[str] | set[str], prefix: str) -> list[DefaultUsed]:
    """The documented defaults that a piece took because its table did not give the key."""
    return [
        DefaultUsed(f"{prefix}.{key}", _value_text(in_file(getattr(piece, key), rule_of(field))), source)
        for key, field in type(piece).model_fields.items()
        if key not in given and (source := source_of(field)) and getattr(piece, key) is not None
    ]


def _value_text(value: Any) -> str:
    return ", ".join(str(item) for item in value) if isinstance(value, list) else str(value)


def expected_of(field: FieldInfo) -> str | None:
    """What a field would accept, for an error line."""
    return next(
        (
            annotation.expected
            for annotation in _annotations_of(field)
            if isinstance(annotation, (NumberRule, ChoiceRule))
        ),
        None,
    )
