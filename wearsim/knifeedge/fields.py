"""The fields of ``readings.toml``, each checked and brought to metres and radians, or refused in one line."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from wearsim.errors import InputError
from wearsim.knifeedge.longitudinal import SOURCES, Source
from wearsim.knifeedge.zones import Zones

Floats = NDArray[np.float64]

LEAST_ZONES = 3
MOST_ZONES = 60
MOST_ROWS = 200
LEAST_UNIT, LARGEST_UNIT = 1e-6, 1.0
"""[m]: a micrometre and a metre."""


def read_length_unit(table: dict[str, Any], file: Path | None) -> tuple[str, float]:
    """Name of the sheet's unit and the metres in it."""
    from wearsim.bench import units

    name = table.get("length_unit")
    expected = 'a unit of length such as "mm" or "in"'
    if name is None:
        raise InputError("missing", file=file, key="length_unit", expected=expected)
    try:
        unit = units.read(f"1 {name}", "m") if isinstance(name, str) and name.strip() else 0.0
    except units.NotAQuantity:
        unit = 0.0
    if not unit > 0.0:
        raise InputError("not a unit of length", file=file, key="length_unit", value=name, expected=expected)
    if not LEAST_UNIT <= unit <= LARGEST_UNIT:
        raise InputError(
            "no unit to read a knife in", file=file, key="length_unit", value=name, expected=expected
        )
    return str(name), unit


def read_source(table: dict[str, Any], file: Path | None) -> Source:
    """Whether the source moves with the knife."""
    given = table.get("source")
    for source in SOURCES:
        if given == source:
            return source
    message = "missing" if given is None else "unknown source"
    raise InputError(message, file=file, key="source", value=given, expected='"moving" or "fixed"')


def _number(value: Any, key: str, file: Path | None, expected: str = "a finite number") -> float:
    if isinstance(value, bool) or not isinstance(value, int | float) or not np.isfinite(float(value)):
        raise InputError("not a number", file=file, key=key, value=value, expected=expected)
    return float(value)


def _row(value: Any, key: str, file: Path | None, expected: str) -> list[float]:
    if not isinstance(value, list):
        raise InputError("not a row of numbers", file=file, key=key, value=value, expected=expected)
    return [_number(one, f"{key}, number {i}", file) for i, one in enumerate(value, 1)]


def read_zones(table: dict[str, Any], unit: float, file: Path | None) -> Zones:
    """Zones from `windows` or `radius` [m]."""
    given = [key for key in ("windows", "radius") if key in table]
    if len(given) != 1:
        message = "both windows and radius given" if given else "no zones given"
        raise InputError(message, file=file, key="windows", expected="either windows or radius")
    key = given[0]
    if not isinstance(table[key], list) or not LEAST_ZONES <= len(table[key]) <= MOST_ZONES:
        count = len(table[key]) if isinstance(table[key], list) else table[key]
        raise InputError(
            "number of zones",
            file=file,
            key=key,
            value=count,
            expected=f"{LEAST_ZONES} to {MOST_ZONES} zones",
        )
    return _windows(table[key], unit, file) if key == "windows" else _radii(table[key], unit, file)


def _windows(value: list[Any], unit: float, file: Path | None) -> Zones:
    rows = [_row(one, f"windows, zone {i}", file, "[inner, outer]") for i, one in enumerate(value, 1)]
    last = 0.0
    for i, row in enumerate(rows, 1):
        key = f"windows, zone {i}"
        if len(row) != 2:
            raise InputError("wrong count", file=file, key=key, value=row, expected="[inner, outer]")
        if row[0] < 0.0 or row[1] <= row[0]:
            raise InputError(
                "a window must be open", file=file, key=key, value=row, expected="0 <= inner < outer"
            )
        if row[0] < last:
            whole = i > 1 and row[1] <= rows[i - 2][0]
            message = "windows out of order" if whole else "overlaps the window before it"
            raise InputError(message, file=file, key=key, value=row, expected=f"inner at least {last:g}")
        last = row[1]
    return Zones.from_windows(np.asarray(rows) * unit)


def _radii(value: list[Any], unit: float, file: Path | None) -> Zones:
    radii = _row(value, "radius", file, "increasing radii")
    last = 0.0
    for i, one in enumerate(radii, 1):
        if one <= last:
            repeated = one in radii[: i - 1]
            message = "a radius is given twice" if repeated else "radii must be above 0 and increase"
            raise InputError(
                message, file=file, key=f"radius, zone {i}", value=one, expected=f"more than {last:g}"
            )
        last = one
    return Zones.from_radii(np.asarray(radii) * unit)


def read_positions(table: dict[str, Any], zones: int, file: Path | None) -> Floats:
    """Knife positions in the sheet's own unit, shape (rows, zones)."""
    rows = table.get("readings")
    expected = f"rows of {zones} knife positions, one a zone"
    if rows is None:
        raise InputError("missing", file=file, key="readings", expected=expected)
    if not isinstance(rows, list) or not rows or len(rows) > MOST_ROWS:
        raise InputError(
            "no rows that can be read", file=file, key="readings", expected=f"1 to {MOST_ROWS} {expected}"
        )
    read = [_row(row, f"readings, row {i}", file, expected) for i, row in enumerate(rows, 1)]
    for i, row in enumerate(read, 1):
        if len(row) != zones:
            message = "the row is too short" if len(row) < zones else "the row is too long"
            raise InputError(
                message,
                file=file,
                key=f"readings, row {i}",
                value=f"{len(row)} numbers",
                expected=f"{zones}, one a zone",
            )
    return np.asarray(read, dtype=float)


def read_orientation(table: dict[str, Any], rows: int, file: Path | None) -> Floats | None:
    """Orientation of the mirror at each row [rad], or None."""
    from wearsim.bench import units

    given = table.get("orientation")
    if given is None:
        return None
    expected = f'{rows} angles such as "90 deg", one a row'
    if not isinstance(given, list) or len(given) != rows:
        value = f"{len(given)} of them" if isinstance(given, list) else given
        raise InputError("wrong count", file=file, key="orientation", value=value, expected=expected)
    angles = []
    for i, one in enumerate(given, 1):
        try:
            angles.append(units.read(one, "rad") if isinstance(one, str) else float("nan"))
        except units.NotAQuantity:
            angles.append(float("nan"))
        if not np.isfinite(angles[-1]):
            raise InputError(
                "not an angle", file=file, key=f"orientation, row {i}", value=one, expected='such as "90 deg"'
            )
    return np.asarray(angles, dtype=float)


def read_sigma(table: dict[str, Any], zones: int, unit: float, file: Path | None) -> float | Floats | None:
    """Sigma of one setting [m], one number or one a zone, or None."""
    given = table.get("sigma")
    if given is None:
        return None
    expected = f"a number above 0, or {zones} of them, one a zone"
    if not isinstance(given, list):
        values = [_number(given, "sigma", file, expected)]
    else:
        values = _row(given, "sigma", file, expected)
        if len(values) != zones:
            raise InputError(
                "wrong count", file=file, key="sigma", value=f"{len(values)} numbers", expected=expected
            )
    if min(values) <= 0.0:
        raise InputError("must be above 0", file=file, key="sigma", value=min(values), expected=expected)
    return np.asarray(values) * unit if isinstance(given, list) else values[0] * unit


def read_resolution(positions: Floats) -> float:
    """Last decimal that the sheet uses, in its own unit; 0 where it is written to more than six."""
    for digits in range(7):
        if np.allclose(positions, np.round(positions, digits), rtol=0.0, atol=1e-9):
            return float(10.0**-digits)
    return 0.0
