"""The unit in which a person writes lengths, and reads them."""

from __future__ import annotations

import re
import tomllib
from dataclasses import dataclass
from functools import lru_cache

from wearsim.bench.bench import Bench

_METRIC = re.compile(r"(?<![\w.])(\d+(?:\.\d+)?) (mm|N)\b")
_INCHES = re.compile(r'\d[\s*]*("|in|inch|inches|ft|foot|feet)\s*$')


def decimal(value: float, places: int, sign: str = "") -> str:
    """A number with so many decimals; what rounds to nothing is written without a minus.

    Parameters
    ----------
    value : float
    places : int
    sign : str
        ``"+"`` to write a plus where there is no minus.

    Returns
    -------
    str
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

    def about(self, length: float, digits: int) -> str:
        """A length [m] to so many digits that count, with the unit's name, for what is known roughly."""
        return f"{length / self.size:.{digits}g} {self.name}"


MILLIMETRES = Unit("mm", 1e-3, 1)
INCHES = Unit("in", 0.0254, 2)
POUND = 0.45359237
"""[kg]"""
POUND_FORCE = POUND * 9.80665
"""[N]"""


def length_unit(bench: Bench) -> Unit:
    """Inches where the bench's file gives the mirror's diameter in inches or feet, millimetres otherwise.

    Parameters
    ----------
    bench : Bench
    """
    return unit_of_text(bench.text)


@lru_cache(maxsize=64)
def unit_of_text(text: str) -> Unit:
    """The same of the text of a bench's file.

    Parameters
    ----------
    text : str
        TOML.
    """
    written = tomllib.loads(text).get("mirror", {}).get("diameter", "")
    return INCHES if _INCHES.search(str(written)) else MILLIMETRES


def in_units_of(bench: Bench, text: str) -> str:
    """A text of ours, its millimetres and newtons in inches and pounds to three digits where a person writes inches.

    Parameters
    ----------
    bench : Bench
        Whose file says what the person writes.
    text : str
        Such as a default or where it comes from.
    """
    if length_unit(bench) is not INCHES:
        return text

    def said(found: re.Match[str]) -> str:
        name, size = ("in", 25.4) if found[2] == "mm" else ("lbf", POUND_FORCE)
        return f"{float(found[1]) / size:.3g} {name}"

    return _METRIC.sub(said, text)


def round_unit(unit: Unit) -> Unit:
    """The same unit for what need not be exact: whole millimetres, tenths of an inch."""
    return Unit(unit.name, unit.size, unit.decimals - 1)


def stroke_unit(bench: Bench) -> Unit:
    """What sizes of strokes and pieces are told in: whole millimetres, or hundredths of an inch.

    Parameters
    ----------
    bench : Bench
    """
    unit = length_unit(bench)
    return round_unit(unit) if unit is MILLIMETRES else unit
