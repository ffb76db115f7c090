"""A study's axes and quantities in people's words and units."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from wearsim.bench.lengths import unit_of_text
from wearsim.show.lengths import NANOMETRES
from wearsim.study.result import StudyResult, StudyVariable

_EXTENTS = ("length", "side_sweep", "side_overhang")
# SI unit of a coordinate -> the unit that a person reads, and its size.
_READ = {"s": ("min", 60.0), "rad": ("deg", np.pi / 180.0)}
_READ_HEIGHT = {"m": (NANOMETRES.name, NANOMETRES.size), "Pa": ("kPa", 1e3)}


@dataclass(frozen=True)
class Scale:
    """Numbers of an axis or of a quantity as a person reads them.

    Parameters
    ----------
    label : str
        What it is, with its unit.
    unit : str
        Empty for plain numbers.
    size : float
        Of that unit, in SI.
    """

    label: str
    unit: str
    size: float

    def numbers(self, values: Any) -> NDArray[np.float64]:
        """SI numbers in this unit."""
        return np.asarray(values, dtype=float) / self.size

    def text(self, value: Any) -> str:
        """One value with its unit; words as they are."""
        if isinstance(value, str):
            return value
        return f"{float(value) / self.size:.4g} {self.unit}".rstrip()


def axis_scale(result: StudyResult, coordinate: str) -> Scale:
    """How an axis is read: ``side overhang [of the diameter]`` for ``spell 1.side_overhang``.

    Lengths are in inches where the study's bench is written in them.
    """
    variable, lengths = result.coordinates[coordinate], unit_of_text(str(result.attributes["bench_toml"]))
    first = variable.text.partition(", ")[0]
    table, _, name = first.partition(".")
    words = name.replace("_", " ") or table
    owner = {"hands": "of the hands", "wear": "", "light": ""}.get(
        table, f"of {table}" if table[-1].isdigit() else f"of the {table}"
    )
    if table.startswith("spell"):
        owner = "" if table == "spell 1" else f"in {table}"
    read = {"m": (lengths.name, lengths.size), **_READ}
    unit, size = read.get(variable.unit, (variable.unit, 1.0))
    if name in _EXTENTS and variable.unit == "1":
        unit = "of the diameter"
    shown = "" if unit == "1" or not is_number(variable) else f"[{unit}]"
    plain = "" if unit in ("1", "of the diameter") else unit
    return Scale(" ".join(part for part in (words, owner, shown) if part), plain, size)


def quantity_scale(variable: StudyVariable) -> Scale:
    """How a quantity is read: heights in nm, pressures in kPa."""
    unit, size = _READ_HEIGHT.get(variable.unit, (variable.unit, 1.0))
    plain = "" if unit == "1" else unit
    return Scale(f"{variable.text} [{unit}]" if plain else variable.text, plain, size)


def is_number(variable: StudyVariable) -> bool:
    """Whether a coordinate holds numbers rather than words."""
    return bool(np.issubdtype(variable.values.dtype, np.number))


def scalars(result: StudyResult) -> list[str]:
    """Names of the quantities that are one number a case, the risk first, its own error left out."""
    names = [name for name in result.kept if result.quantities[name].dimensions == result.dimensions]
    side = ("risk_error", "draws_failed")
    return sorted((name for name in names if name not in side), key=lambda name: name != "risk")
