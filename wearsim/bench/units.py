"""The edge where people's units become SI floats and back. The only module that knows pint.

Numbers go through exact fractions, so ``"38 mm"`` is the float nearest to 0.038 and every text that
:func:`write` gives reads back as the very float it was made of. pint is never handed an expression: the
number and each unit's name are cut out here, and pint is asked for single units by name. Its full list of units
takes a fifth of a second to load, which every command would pay: it is asked only for what :data:`TRADE_UNITS`
leaves out; a test compares every one of those with the full list. Results are shown in millimetres or inches, as
the bench is written (:func:`length_unit`).
"""

from __future__ import annotations

import re
import threading
import tomllib
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from decimal import ROUND_FLOOR, ROUND_HALF_EVEN, Context, Decimal
from fractions import Fraction
from functools import lru_cache
from typing import Any, Protocol

LONGEST_TEXT = 60
_NUMBER = re.compile(r"\s*([+-]?(?:[0-9]+\.?[0-9]*|\.[0-9]+)(?:[eE][+-]?[0-9]{1,4})?)\s*(.*?)\s*$")
_METRIC = re.compile(r"(?<![\w.])(\d+(?:\.\d+)?) (mm|N)\b")
_INCHES = re.compile(r'[\d\u00bc-\u00be\u215b-\u215e][\s*]*("|\'\'?|in|inch|inches|ft|foot|feet)\s*$')
_FRACTION = re.compile(r"\s*([+-]?)(?:([0-9]{1,9})(?:\s+|-))?([0-9]{1,9})\s*/\s*([0-9]{1,9})(?![.0-9])\s*(.*?)\s*$")
_SIGNS = {
    "\u00bd": "1/2",
    "\u00bc": "1/4",
    "\u00be": "3/4",
    "\u215b": "1/8",
    "\u215c": "3/8",
    "\u215d": "5/8",
    "\u215e": "7/8",
}
# What people write for a unit where one of its kind is asked for, by the base unit: in small letters.
_SPOKEN = {
    "m": {'"': "in", "''": "in", "\u2033": "in", "\u201d": "in", "'": "ft", "\u2032": "ft", "\u2019": "ft"},
    "kg": {"lbs": "lb", "kilo": "kg", "kilos": "kg"},
    "N": {"lb": "lbf", "lbs": "lbf", "pound": "lbf", "pounds": "lbf", "kg": "kgf", "kilo": "kgf", "kilos": "kgf"},
    "s": {"mins": "min", "hr": "h", "hrs": "h"},
    "degC": {
        **dict.fromkeys(("f", "\u00b0f", "deg f", "degf", "degrees f", "fahrenheit"), "degF"),
        **dict.fromkeys(("c", "\u00b0c", "deg c", "degc", "degrees c", "celsius"), "degC"),
    },
}
_FACTOR = re.compile(r"\s*([*/·]?)\s*([A-Za-zµμΩ°_]{1,24}|1(?=\s*/))\s*(?:(?:\*\*|\^)\s*(-?[0-9]))?|\s*([²³])")


# Units that benches are written in, the same as pint's own. Exact by definition of the units: the SI; yard and
# pound agreement of 1959; standard gravity 9.80665 m/s^2. Pi to the digits of pint's list, so that an angle is the
# same float whichever list it came from.
TRADE_UNITS: tuple[str, ...] = (
    "pico- = 1e-12 = p-",
    "nano- = 1e-9 = n-",
    "micro- = 1e-6 = u- = \N{MICRO SIGN}- = \N{GREEK SMALL LETTER MU}-",
    "milli- = 1e-3 = m-",
    "centi- = 1e-2 = c-",
    "kilo- = 1e3 = k-",
    "mega- = 1e6 = M-",
    "giga- = 1e9 = G-",
    "meter = [length] = m = metre",
    "gram = [mass] = g",
    "second = [time] = s",
    "kelvin = [temperature]; offset: 0 = K",
    "radian = [] = rad",
    "degree = 3.1415926535897932384626433832795028841971693993751 / 180 * radian = deg",
    "turn = 360 * degree",
    "inch = 0.0254 * meter = in",
    "foot = 12 * inch = ft",
    "pound = 453.59237 * gram = lb",
    "ounce = pound / 16 = oz",
    "minute = 60 * second = min",
    "hour = 60 * minute = h",
    "degree_Celsius = kelvin; offset: 273.15 = degC",
    "degree_Fahrenheit = 5 / 9 * kelvin; offset: 233.15 + 200 / 9 = degF",
    "newton = kilogram * meter / second ** 2 = N",
    "joule = newton * meter = J",
    "watt = joule / second = W",
    "pascal = newton / meter ** 2 = Pa",
    "kilogram_force = 9.80665 * newton = kgf",
    "pound_force = 0.45359237 * kilogram_force = lbf",
)


class NotAQuantity(ValueError):
    """A text is not a number with a unit; the argument says why."""


class _UnknownUnit(NotAQuantity):
    """No unit of this name in the registry that was asked."""


# pint fills its registries while it reads from them, and two registries made at once do not know each other's units.
_ONE_THREAD = threading.RLock()


@lru_cache(maxsize=2)
def registry(every: bool) -> Any:
    """A pint registry, made when first asked for: of the trade's units, or of every unit that pint knows."""
    import pint

    if every:
        return pint.UnitRegistry(non_int_type=Fraction)
    few: Any = pint.UnitRegistry(None, non_int_type=Fraction)
    few.load_definitions(TRADE_UNITS)
    return few


def _factors(unit: str) -> list[tuple[str, int]]:
    """Cut ``"kg/m^3"`` into ``[("kg", 1), ("m", -3)]``; a ``1`` before a slash is dropped."""
    factors: list[tuple[str, int]] = []
    place = 0
    while place < len(unit):
        found = _FACTOR.match(unit, place)
        if found is None:
            raise NotAQuantity(f'cannot read the unit "{unit}"')
        sign, name, power, raised = found.groups()
        if raised and not factors:
            raise NotAQuantity(f'cannot read the unit "{unit}"')
        if raised:
            factors[-1] = (factors[-1][0], factors[-1][1] * (2 if raised == "²" else 3))
        elif name != "1":
            factors.append((name, int(power or 1) * (-1 if sign == "/" else 1)))
        place = found.end()
    return factors


def _pint_factor(name: str, every: bool) -> Any:
    import pint

    try:
        return registry(every).parse_units(name)
    except (pint.PintError, AttributeError, ValueError, TypeError) as error:
        raise _UnknownUnit(f'unknown unit "{name}"') from error


def _pint_unit(unit: str, every: bool) -> Any:
    """A unit of one of the two registries, from the name of each factor."""
    product = registry(every).Unit("")
    for name, power in _factors(unit):
        product = product * _pint_factor(name, every) ** power
    return product


@lru_cache(maxsize=512)
def conversion(unit: str, base: str) -> tuple[Fraction, Fraction]:
    """Factor and zero that take a number of ``unit`` to one of ``base``, exact: ``base = number * factor + zero``.

    The zero differs from 0 for temperatures alone.

    Raises
    ------
    NotAQuantity
        An unknown unit, or one of another dimension.
    """
    with _ONE_THREAD:
        try:
            return _conversion(unit, base, every=False)
        except _UnknownUnit:
            return _conversion(unit, base, every=True)


def _conversion(unit: str, base: str, every: bool) -> tuple[Fraction, Fraction]:
    import pint

    product, base_unit = _pint_unit(unit, every), _pint_unit(base, every)
    if base == "rad" and str(registry(every).get_root_units(product)[1]) != "radian":
        raise NotAQuantity("wrong kind of unit")  # to pint an angle is a plain number, and so are dB and %
    try:
        zero, one = (registry(every).Quantity(Fraction(n), product).to(base_unit).magnitude for n in (0, 1))
    except (pint.PintError, ArithmeticError) as error:
        raise NotAQuantity("wrong kind of unit") from error
    return Fraction(one) - Fraction(zero), Fraction(zero)


def read(text: str, base: str) -> float:
    """The float nearest to a number with a unit, such as ``"300 mm"``, ``"1.0e-12 / Pa"``, ``"63 degF"`` [base].

    Parameters
    ----------
    base : str
        Unit of the result: SI, or ``"degC"``.

    Raises
    ------
    NotAQuantity
        With the reason: no number, no unit, an unknown unit or one of another dimension, or too large.
    """
    number, unit = split(text, base)
    if not unit:
        raise NotAQuantity("the unit is missing")
    return _in_base(number, unit, base)


def split(text: str, base: str) -> tuple[str, str]:
    """Number and unit of a text such as ``"9 1/2 in"``, ``'8"'`` or ``"63.5F"``, the unit by its proper name.

    The number is a decimal or a fraction such as ``"19/2"``; the unit is empty where there is none. Where a force is asked
    for, pounds and kilograms are those of a weight; where a temperature is, F and C are degrees.

    Raises
    ------
    NotAQuantity
        Where it does not begin with a number.
    """
    if len(text) > LONGEST_TEXT:
        raise NotAQuantity("too long for a quantity")
    for sign, fraction in _SIGNS.items():
        text = text.replace(sign, f" {fraction}")
    parted = _FRACTION.match(text)
    if parted is not None and int(parted[4]):
        minus, whole, over, under, unit = parted.groups()
        number = f"{minus}{int(whole or 0) * int(under) + int(over)}/{int(under)}"
    else:
        found = _NUMBER.match(text)
        if found is None:
            raise NotAQuantity("not a number with a unit")
        number, unit = found.groups()
    return number, _SPOKEN.get(base, {}).get(unit.lower(), unit)


def with_unit(text: str, base: str, unit: str) -> str:
    """A text with this unit behind it where it is a plain number; as it is otherwise."""
    try:
        return text if split(text, base)[1] or not unit else f"{text.strip()} {unit}"
    except NotAQuantity:
        return text


def read_number(text: str, unit: str, base: str) -> float:
    """Read a plain number whose unit is stated elsewhere, as in the head of a column.

    Raises
    ------
    NotAQuantity
        With the reason.
    """
    found = _NUMBER.match(text) if len(text) <= LONGEST_TEXT else None
    if found is None or found.group(2):
        raise NotAQuantity("not a finite number")
    return _in_base(found.group(1), unit, base)


def without_marks(text: str) -> str:
    """A length with the marks of inches and feet written out, so that it can be put in quotes: ``8"`` is ``8 in``."""
    try:
        unit = split(text, "m")[1]
    except NotAQuantity:
        return text
    mark = next((mark for mark in _SPOKEN["m"] if text.rstrip().endswith(mark)), None)
    return text if mark is None else f"{text.rstrip().removesuffix(mark).rstrip()} {unit}"


def _in_base(number: str, unit: str, base: str) -> float:
    power = _power_of_ten(unit, base)
    if power is not None and "/" not in number:  # the nearest float at once, for columns of a hundred thousand numbers
        digits, _, own = number.lower().partition("e")
        value = float(f"{digits}e{int(own or 0) + power}")
        if value in (float("inf"), float("-inf")):
            raise NotAQuantity("too large a number")
        return value
    factor, zero = conversion(unit, base)
    try:
        return float(Fraction(number) * factor + zero)
    except OverflowError as error:
        raise NotAQuantity("too large a number") from error


@lru_cache(maxsize=512)
def _power_of_ten(unit: str, base: str) -> int | None:
    """The power of ten that takes a number of ``unit`` to one of ``base``, where it is one."""
    factor, zero = conversion(unit, base)
    digits = str(max(factor.numerator, factor.denominator))
    if zero != 0 or min(factor.numerator, factor.denominator) != 1 or digits.strip("0") != "1":
        return None
    return len(digits) - 1 if factor.denominator == 1 else 1 - len(digits)


def _digits(exact: Fraction, back: Callable[[str], float], value: float) -> str:
    """Fewest decimal digits of ``exact`` that ``back`` turns into ``value`` again."""
    for digits in range(1, 30):
        number = Context(prec=digits).divide(Decimal(exact.numerator), Decimal(exact.denominator))
        text = _decimal_text(number)
        if back(text) == value:
            return text
    raise ArithmeticError(f"no decimal reads back as {value!r}")  # 17 digits do, by IEEE 754


def _decimal_text(number: Decimal) -> str:
    """``1500`` rather than ``1.5E+3``, but ``8e-13`` where zeros would pile up."""
    if number and not -5 <= number.adjusted() <= 6:
        return f"{number.normalize():e}".replace("e+", "e")
    return f"{number.normalize():f}" if number else "0"


def write(value: float, base: str, units: Sequence[str]) -> str:
    """Write a float [base] such as ``"38 mm"``; :func:`read` gives it back exactly.

    In that of people's ``units`` that needs fewest characters, the earlier one where they tie.
    """
    return min((_with_unit(value, base, unit) for unit in units), key=len)


@lru_cache(maxsize=4096)
def _with_unit(value: float, base: str, unit: str) -> str:
    factor, zero = conversion(unit, base)
    number = _digits((Fraction(value) - zero) / factor, lambda text: float(Fraction(text) * factor + zero), value)
    return f"{number} {unit}"


def decimal(value: float, places: int, sign: str = "") -> str:
    """A number with so many decimals; what rounds to nothing is written without a minus.

    Parameters
    ----------
    sign : str
        ``"+"`` to write a plus where there is no minus.
    """
    return f"{value:{sign}z.{places}f}"


def in_digits(value: float, digits: int = 3, *, down: bool = False) -> str:
    """A number to so many digits, without an exponent; ``down``: of a limit, which is itself allowed."""
    rounding = Context(prec=digits, rounding=ROUND_FLOOR if down else ROUND_HALF_EVEN)
    return f"{rounding.create_decimal_from_float(value).normalize():f}"


def counted(count: float, noun: str) -> str:
    """A whole count with its noun: ``1 turn``, ``3 turns``; a share of one stays singular."""
    return f"{count:g} {noun}{'' if abs(count) <= 1.0 and count else 's'}"


@dataclass(frozen=True)
class LengthUnit:
    """A unit to show lengths in.

    Parameters
    ----------
    name : str
        ASCII, for every terminal.
    size : float
        [m]
    decimals : int
        Worth showing.
    """

    name: str
    size: float
    decimals: int

    def number(self, length: float, sign: str = "") -> str:
        """A length [m] as a number of this unit; ``sign`` as for :func:`decimal`."""
        return decimal(length / self.size, self.decimals, sign)

    def rounded(self, length: float) -> float:
        """A length as its number shows it, so that a difference of two agrees with the numbers beside it [m]."""
        return float(self.number(length)) * self.size

    def short(self, length: float) -> str:
        """A length [m] with the unit's name and no idle zeros, as a person would say it."""
        number = self.number(length)
        return f"{number.rstrip('0').rstrip('.') if '.' in number else number} {self.name}"

    def text(self, length: float) -> str:
        """A length [m] with the unit's name."""
        return f"{self.number(length)} {self.name}"

    def about(self, length: float, digits: int) -> str:
        """A length [m] to so many digits that count, with the unit's name, for what is known roughly."""
        return f"{length / self.size:.{digits}g} {self.name}"


MILLIMETRES = LengthUnit("mm", 1e-3, 1)
INCHES = LengthUnit("in", 0.0254, 2)
POUND = 0.45359237
"""[kg]"""
POUND_FORCE = POUND * 9.80665
"""[N]"""


class BenchText(Protocol):
    """A bench, as the text of its file."""

    @property
    def text(self) -> str:
        """The file's TOML."""


def length_unit(bench: BenchText) -> LengthUnit:
    """Inches where the bench's file gives the mirror's diameter in inches or feet, millimetres otherwise."""
    return unit_of_text(bench.text)


@lru_cache(maxsize=64)
def unit_of_text(text: str) -> LengthUnit:
    """The same of the text of a bench's file (TOML)."""
    written = tomllib.loads(text).get("mirror", {}).get("diameter", "")
    return INCHES if is_in_inches(str(written)) else MILLIMETRES


def pressure_unit(text: str) -> tuple[str, float]:
    """Name and size [Pa] of the unit for pressures that goes with the lengths of a bench's file (TOML)."""
    return ("psi", POUND_FORCE / 0.0254**2) if unit_of_text(text) is INCHES else ("kPa", 1e3)


def mass_unit(text: str) -> tuple[str, float]:
    """The same for masses [kg]."""
    return ("lb", POUND) if unit_of_text(text) is INCHES else ("kg", 1.0)


def pressure_text(pressure: float, text: str) -> str:
    """A pressure [Pa] in whole ones of that unit."""
    name, size = pressure_unit(text)
    return f"{pressure / size:.0f} {name}"


def is_in_inches(text: str) -> bool:
    """Whether a length is written in inches or feet."""
    return bool(_INCHES.search(text))


def in_units_of(bench: BenchText, text: str, *, loosely: bool = False) -> str:
    """A text of ours, such as a default, its millimetres and newtons in inches and pounds where the bench is in inches.

    ``loosely``: inches to a sixteenth, for lengths that a sentence names.
    """
    if length_unit(bench) is not INCHES:
        return text

    def in_inches(found: re.Match[str]) -> str:
        name, size = ("in", 25.4) if found[2] == "mm" else ("lbf", POUND_FORCE)
        value = float(found[1]) / size
        if name == "in":
            return f"{_in_sixteenths(value) if loosely else _rounded(value)} in"
        return f"{value:.2g} {name}"

    return _METRIC.sub(in_inches, text)


def _rounded(inches: float) -> str:
    """Inches as a person would write a default: sixteenths as they are, else to a hundredth or two digits."""
    sixteenth = round(16.0 * inches) / 16.0
    if abs(inches - sixteenth) < 2e-3 * inches:
        return f"{sixteenth:g}"
    return f"{inches:.2g}" if inches < 0.05 else f"{inches:.2f}".rstrip("0").rstrip(".")


def _in_sixteenths(inches: float) -> str:
    """``1 3/8``; at least a sixteenth."""
    whole, rest = divmod(max(1, round(16.0 * inches)), 16)
    part = str(Fraction(rest, 16)) if rest else ""
    return " ".join(filter(None, [str(whole) if whole else "", part]))


def round_unit(unit: LengthUnit) -> LengthUnit:
    """The same unit for what need not be exact: whole millimetres, tenths of an inch."""
    return LengthUnit(unit.name, unit.size, unit.decimals - 1)


def stroke_unit(bench: BenchText) -> LengthUnit:
    """Unit for sizes of strokes and pieces: whole millimetres, or hundredths of an inch."""
    unit = length_unit(bench)
    return round_unit(unit) if unit is MILLIMETRES else unit
