"""How the axes and quantities of a study are read: their names, units, and numbers in these units."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from wearsim.bench.personal_units import height_unit, temperature_unit
from wearsim.bench.units import pressure_unit, unit_of_text
from wearsim.study.study_file import StudyResult, StudyVariable

_EXTENTS = ("length", "side_sweep", "side_overhang")
# SI unit of a coordinate -> the unit that a person reads, and its size.
_READ = {"s": ("min", 60.0), "rad": ("deg", np.pi / 180.0)}


class BenchOf(NamedTuple):
    """A bench of which only the text is at hand."""

    text: str


@dataclass(frozen=True)
class Scale:
    """Numbers of an axis or of a quantity as a person reads them: their name and unit, that unit's size and zero in SI."""

    label: str
    unit: str  # empty for plain numbers
    size: float
    zero: float = 0.0

    def numbers(self, values: Any) -> NDArray[np.float64]:
        """SI numbers in this unit."""
        return (np.asarray(values, dtype=float) - self.zero) / self.size

    def text(self, value: Any) -> str:
        """One value with its unit; words as they are."""
        if isinstance(value, str):
            return value
        return f"{(float(value) - self.zero) / self.size:.4g} {self.unit}".rstrip()


def axis_scale(result: StudyResult, coordinate: str) -> Scale:
    """How an axis is read: ``side overhang [of the diameter]`` for ``spell 1.side_overhang``.

    Lengths are in inches where the study's bench is written in them.
    """
    variable, lengths = result.coordinates[coordinate], unit_of_text(str(result.attributes["bench_toml"]))
    first = variable.text.partition(", ")[0]
    part, _, name = first.partition(".")
    words = name.replace("_", " ") or part
    owner = "" if part in ("wear", "light", "spell 1") else f"of {part}" if part[-1].isdigit() else f"of the {part}"
    if part.startswith("spell") and owner:
        owner = f"in {part}"
    if variable.unit == "degC":
        return _temperature_scale(
            " ".join(part for part in (words, owner) if part), str(result.attributes["bench_toml"])
        )
    read = {"m": (lengths.name, lengths.size), **_READ}
    unit, size = read.get(variable.unit, (variable.unit, 1.0))
    if name in _EXTENTS and variable.unit == "1":
        unit = "of the diameter"
    shown = "" if unit == "1" or not is_number(variable) else f"[{unit}]"
    plain = "" if unit in ("1", "of the diameter") else unit
    return Scale(" ".join(part for part in (words, owner, shown) if part), plain, size)


def _temperature_scale(words: str, bench: str) -> Scale:
    """How temperatures are read on a bench (TOML)."""
    unit = temperature_unit(BenchOf(bench))
    size, zero = {"degF": (5.0 / 9.0, -160.0 / 9.0), "K": (1.0, -273.15)}.get(unit, (1.0, 0.0))
    return Scale(f"{words} [{unit}]", unit, size, zero)


def quantity_scale(result: StudyResult, name: str) -> Scale:
    """How a quantity is read: heights in the person's unit, pressures in that of the study's bench."""
    variable, high = result.quantities[name], height_unit(0.0)
    read = {"m": (high.name, high.size), "Pa": pressure_unit(str(result.attributes["bench_toml"]))}
    unit, size = read.get(variable.unit, (variable.unit, 1.0))
    plain = "" if unit == "1" else unit
    return Scale(f"{variable.text} [{unit}]" if plain else variable.text, plain, size)


def is_number(variable: StudyVariable) -> bool:
    """Whether a coordinate holds numbers rather than words."""
    return bool(np.issubdtype(variable.values.dtype, np.number))
