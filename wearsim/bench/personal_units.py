"""The units that a person reads heights of a surface and temperatures in."""

from __future__ import annotations

import re
import tomllib
from contextvars import ContextVar
from functools import lru_cache

from wearsim.bench.units import (
    INCHES,
    BenchText,
    LengthUnit,
    NotAQuantity,
    decimal,
    in_units_of,
    read,
    unit_of_text,
    with_unit,
)
from wearsim.errors import InputError

_CELSIUS = re.compile(r"(-?\d+(?:\.\d+)?) degC")
NANOMETRES = LengthUnit("nm", 1e-9, 0)
MICROMETRES = LengthUnit("um", 1e-6, 2)
# Above this a height in nanometres has too many digits to be read [m].
MANY_NANOMETRES = 1e-5
# What a room may have (judgement) [degC].
_COLDEST, _WARMEST = 0.0, 45.0
SURFACE_UNITS = ("nm", "waves", "millionths")
"""In which people read heights of a surface: nanometres, waves of the bench's light, millionths of an inch."""
_SURFACE: ContextVar[LengthUnit | None] = ContextVar("_SURFACE", default=None)


def surface_unit(name: str, wavelength: float) -> LengthUnit | None:
    """The unit of this name for heights, in light of this wavelength [m]; None for nanometres."""
    millionths = LengthUnit("millionths", 25.4e-9, 1)
    return {"waves": LengthUnit("waves", wavelength, 3), "millionths": millionths}.get(name)


def read_heights_in(unit: LengthUnit | None) -> None:
    """From here on heights are written in this unit, in this thread and what it starts; None for nanometres."""
    _SURFACE.set(unit)


def height_unit(largest: float) -> LengthUnit:
    """The unit for heights up to so much [m]: the person's; else nanometres, or micrometres for many of them."""
    usual = MICROMETRES if largest > MANY_NANOMETRES else NANOMETRES
    return _SURFACE.get() or usual


def height_text(height: float) -> str:
    """A height of the surface [m] with its unit."""
    return height_unit(abs(height)).text(height)


# By how its name ends: degF, degree_Fahrenheit, 65F; K, kelvin.
_DEGREES = ((re.compile(r"(F|ahrenheit)\s*$"), "degF"), (re.compile(r"(K|elvin)\s*$"), "K"))


def temperature_unit(bench: BenchText) -> str:
    """The unit in which a person writes temperatures, ``"degC"``, ``"degF"`` or ``"K"``.

    That of the first temperature in the bench's own file, the room's before the pitch's; where it gives none, degrees
    Fahrenheit go with inches and degrees Celsius with millimetres (judgement).
    """
    return _temperature_unit_of(bench.text)


@lru_cache(maxsize=64)
def _temperature_unit_of(text: str) -> str:
    table = tomllib.loads(text)
    laps = table.get("lap", [])
    written = [table.get("wear", {}).get("temperature")]
    written += [lap.get("pitch_temperature") for lap in (laps if isinstance(laps, list) else [laps])]
    first = next((str(one) for one in written if one is not None), None)
    if first is None:
        return "degF" if unit_of_text(text) is INCHES else "degC"
    return next((name for pattern, name in _DEGREES if pattern.search(first)), "degC")


def room_temperature(text: str, unit: str) -> str:
    """The temperature of a room as a file takes it, a plain number with this unit.

    Raises
    ------
    InputError
        For a plain number that is no room's temperature in this unit, but would be one in degrees Celsius or Fahrenheit.
    """
    whole = with_unit(text, "degC", unit)
    if whole == text:
        return text
    other = "degC" if unit != "degC" else "degF"
    try:
        celsius, meant = read(whole, "degC"), read(f"{text.strip()} {other}", "degC")
    except NotAQuantity:  # whoever reads the file says what is wrong with it
        return whole
    if not _COLDEST <= celsius <= _WARMEST and _COLDEST <= meant <= _WARMEST:
        message = f"a plain number is taken in {unit.removeprefix('deg')} here, and no room has that temperature"
        expected = f'"{decimal(meant, 0)} C" or "{decimal(1.8 * meant + 32.0, 0)} F"'
        raise InputError(message, key="temperature", value=text.strip(), expected=expected)
    return whole


def temperature_text(celsius: float, bench: BenchText) -> str:
    """A temperature [degC] in the unit in which a person writes them, ASCII for every terminal."""
    name = temperature_unit(bench)
    value = {"degF": 1.8 * celsius + 32.0, "K": celsius + 273.15}.get(name, celsius)
    return f"{value:.4g} {name}"


def temperature_words(celsius: float, bench: BenchText) -> str:
    """The same as people say it: ``68 F``."""
    return temperature_text(celsius, bench).replace("deg", "")


def temperature_step(kelvin: float, bench: BenchText) -> str:
    """A difference of temperatures [K] in that unit."""
    name = temperature_unit(bench)
    return f"{1.8 * kelvin if name == 'degF' else kelvin:.3g} {name}"


def value_in_units_of(bench: BenchText, text: str) -> str:
    """The text of a value of ours, such as a default: as :func:`in_units_of`, and a temperature in the person's unit."""
    found = _CELSIUS.fullmatch(text)
    return in_units_of(bench, text) if found is None else temperature_text(float(found[1]), bench)
