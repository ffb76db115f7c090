"""The units in which a person reads lengths, heights and temperatures."""

from __future__ import annotations

import re
import tomllib
from dataclasses import dataclass

from wearsim.bench.bench import Bench

_INCHES = re.compile(r'\d[\s*]*("|in|inch|inches|ft|foot|feet)\s*$')

# By how its name ends: degF, degree_Fahrenheit; K, kelvin.
_DEGREES = ((re.compile(r"(F|ahrenheit)\s*$"), "\u00b0F"), (re.compile(r"(K|elvin)\s*$"), "K"))


def decimal(value: float, places: int, sign: str = "") -> str:
    """A number with so many decimals; what rounds to nothing is written without a minus.

    Parameters
    ----------
    value : float
    places : int
    sign : str
        ``"+"`` to write a plus where there is no minus.
    """
    return f"{value:{sign}z.{places}f}"


@dataclass(frozen=True)
class Unit:
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

    def short(self, length: float) -> str:
        """A length [m] with the unit's name and no idle zeros, as a person would say it."""
        number = self.number(length)
        return f"{number.rstrip('0').rstrip('.') if '.' in number else number} {self.name}"

    def text(self, length: float) -> str:
        """A length [m] with the unit's name."""
        return f"{self.number(length)} {self.name}"


MILLIMETRES = Unit("mm", 1e-3, 1)
INCHES = Unit("in", 0.0254, 2)
METRES = Unit("m", 1.0, 4)
NANOMETRES = Unit("nm", 1e-9, 0)
MICROMETRES = Unit("um", 1e-6, 2)
# Above this a height in nanometres has too many digits to be read.
MANY_NANOMETRES = 1e-5


def length_unit(bench: Bench) -> Unit:
    """Inches where the bench's file gives the mirror's diameter in inches or feet, millimetres otherwise.

    Parameters
    ----------
    bench : Bench
    """
    written = tomllib.loads(bench.text).get("mirror", {}).get("diameter", "")
    return INCHES if _INCHES.search(str(written)) else MILLIMETRES


def fine_unit(unit: Unit) -> Unit:
    """The same unit with the decimals that a knife is set to.

    Parameters
    ----------
    unit : Unit
        Millimetres or inches.
    """
    return Unit(unit.name, unit.size, 4 if unit.size > MILLIMETRES.size else 3)


def round_unit(unit: Unit) -> Unit:
    """The same unit for what need not be exact: whole millimetres, tenths of an inch."""
    return Unit(unit.name, unit.size, unit.decimals - 1)


def long_unit(unit: Unit) -> Unit:
    """What a radius of curvature is told in: inches where lengths are, metres otherwise."""
    return INCHES if unit.name == INCHES.name else METRES


def temperature_unit(bench: Bench) -> str:
    """The unit in which a person writes temperatures down.

    Parameters
    ----------
    bench : Bench

    Returns
    -------
    str
        That of the first temperature in the bench's own file, the room's before the pitch's; where it gives none,
        degrees Celsius: inches alone do not tell.
    """
    table = tomllib.loads(bench.text)
    laps = table.get("lap", [])
    written = [table.get("wear", {}).get("temperature")]
    written += [lap.get("pitch_temperature") for lap in (laps if isinstance(laps, list) else [laps])]
    first = next((str(one) for one in written if one is not None), "")
    return next((name for pattern, name in _DEGREES if pattern.search(first)), "\u00b0C")


def height_unit(largest: float) -> Unit:
    """Nanometres, or micrometres where heights [m] run to many of them."""
    return MICROMETRES if largest > MANY_NANOMETRES else NANOMETRES
