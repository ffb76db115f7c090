"""The fields of ``readings.toml``, each checked and brought to metres and radians, or refused in one line.

Knife-edge readings as people write them: the model and the loader of ``readings.toml``.
"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

from wearsim.errors import InputError
from wearsim.kernels.arrays import Floats
from wearsim.knifeedge.longitudinal import SOURCES, Source, Zones, target_aberration

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
        raise InputError("no unit to read a knife in", file=file, key="length_unit", value=name, expected=expected)
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
            "number of zones", file=file, key=key, value=count, expected=f"{LEAST_ZONES} to {MOST_ZONES} zones"
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
            raise InputError("a window must be open", file=file, key=key, value=row, expected="0 <= inner < outer")
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
            raise InputError(message, file=file, key=f"radius, zone {i}", value=one, expected=f"more than {last:g}")
        last = one
    return Zones.from_radii(np.asarray(radii) * unit)


def read_positions(table: dict[str, Any], zones: int, file: Path | None) -> Floats:
    """Knife positions in the sheet's own unit, shape (rows, zones)."""
    rows = table.get("readings")
    expected = f"rows of {zones} knife positions, one a zone"
    if rows is None:
        raise InputError("missing", file=file, key="readings", expected=expected)
    if not isinstance(rows, list) or not rows or len(rows) > MOST_ROWS:
        raise InputError("no rows that can be read", file=file, key="readings", expected=f"1 to {MOST_ROWS} {expected}")
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
            raise InputError("wrong count", file=file, key="sigma", value=f"{len(values)} numbers", expected=expected)
    if min(values) <= 0.0:
        raise InputError("must be above 0", file=file, key="sigma", value=min(values), expected=expected)
    return np.asarray(values) * unit if isinstance(given, list) else values[0] * unit


def read_resolution(positions: Floats) -> float:
    """Last decimal that the sheet uses, in its own unit; 0 where it is written to more than six."""
    for digits in range(7):
        if np.allclose(positions, np.round(positions, digits), rtol=0.0, atol=1e-9):
            return float(10.0**-digits)
    return 0.0


KEYS = ("source", "length_unit", "windows", "radius", "readings", "orientation", "sigma")
# Largest departure of a reading from the target, in the target's own aberration at the rim were it a
# paraboloid. Five times the paraboloid's correction the wrong way round would be six of these.
LARGEST_DEPARTURE = 20.0
LEAST_LIMIT = 10e-3


@dataclass(frozen=True, eq=False)
class Readings:
    """One sheet of knife-edge readings, in metres and radians.

    Attributes
    ----------
    zones : Zones
        Windows of the mask, or radii.
    positions : ndarray, shape (m, n)
        Knife positions, one row a repeat, one column a zone; larger = farther from the mirror; each row's
        zero is arbitrary [m].
    source : {"moving", "fixed"}
        Whether the source moves with the knife.
    orientation : ndarray, shape (m,), or None
        Of the mirror at each row [rad].
    sigma : float, ndarray of shape (n,), or None
        Of one setting: at 0.35 of the mirror's radius and going as 1/r, or one a zone, or unknown [m].
    length_unit : str
        What the person wrote in.
    unit : float
        Metres in one `length_unit`.
    resolution : float
        Last digit written, 0 when built in Python [m].
    file : Path or None
        Where it came from.
    text : str
        The file, verbatim.
    """

    zones: Zones
    positions: Floats
    source: Source = "moving"
    orientation: Floats | None = None
    sigma: float | Floats | None = None
    length_unit: str = "m"
    unit: float = 1.0
    resolution: float = 0.0
    file: Path | None = None
    text: str = ""

    @property
    def repeats(self) -> int:
        """Number of rows."""
        return int(self.positions.shape[0])


def load_readings(path: str | Path) -> Readings:
    """Read a ``readings.toml``.

    Parameters
    ----------
    path : str or Path
        The file.

    Returns
    -------
    Readings

    Raises
    ------
    InputError
        One line, for whatever cannot be used.
    """
    from wearsim.bench.input_errors import read_text

    file = Path(path)
    return parse_readings(read_text(file, "a readings file (TOML)"), file)


def is_sheet(path: str | Path) -> bool:
    """Whether this file is a sheet of readings by its keys, sound or not: to tell it from a bench.

    Parameters
    ----------
    path : str or Path
        Any path.

    Returns
    -------
    bool
        False as well where nothing can be read there.
    """
    from wearsim.bench.input_errors import parse_toml, read_text

    file = Path(path)
    try:
        table = parse_toml(read_text(file), file)
    except InputError:
        return False
    return "mirror" not in table and not {"windows", "radius", "readings"}.isdisjoint(table)


def parse_readings(text: str, file: Path | None = None) -> Readings:
    """Read the text of a ``readings.toml``.

    Parameters
    ----------
    text : str
        TOML.
    file : Path, optional
        Where it came from, for the error line.

    Returns
    -------
    Readings

    Raises
    ------
    InputError
        One line, for whatever cannot be used.
    """
    from wearsim.bench.input_errors import check_keys, parse_toml

    table = parse_toml(text, file)
    check_keys(table, KEYS, file)
    name, unit = read_length_unit(table, file)
    zones = read_zones(table, unit, file)
    positions = read_positions(table, len(zones), file)
    return Readings(
        zones=zones,
        positions=positions * unit,
        source=read_source(table, file),
        orientation=read_orientation(table, len(positions), file),
        sigma=read_sigma(table, len(zones), unit, file),
        length_unit=name,
        unit=unit,
        resolution=read_resolution(positions) * unit,
        file=file,
        text=text,
    )


def check_against_mirror(readings: Readings, *, radius: float, radius_of_curvature: float, conic: float) -> None:
    """Refuse readings that this mirror cannot have given.

    Parameters
    ----------
    readings : Readings
        The sheet.
    radius : float
        Of the glass [m].
    radius_of_curvature : float
        [m]
    conic : float
        Of the target [1].

    Raises
    ------
    InputError
        A zone beyond the rim, or readings of the wrong order of magnitude.
    """
    unit, name = readings.unit, readings.length_unit
    outer = readings.zones.outer
    if outer[-1] > radius * (1.0 + 1e-9):
        raise InputError(
            "the outermost zone lies beyond the mirror's rim",
            file=readings.file,
            key="windows" if readings.zones.are_windows else "radius",
            value=f"{outer[-1] / unit:g} {name}",
            expected=f"at most {radius / unit:g} {name}",
        )
    target = target_aberration(readings.zones.middle, radius_of_curvature, conic, readings.source)
    departure = readings.positions - target
    departure = departure - np.median(departure, axis=1, keepdims=True)
    scale = radius**2 / (2.0 * radius_of_curvature) * (2.0 if readings.source == "fixed" else 1.0)
    limit = max(LARGEST_DEPARTURE * scale, LEAST_LIMIT)
    row, zone = np.unravel_index(int(np.argmax(np.abs(departure))), departure.shape)
    if abs(departure[row, zone]) > limit:
        raise InputError(
            f"{departure[row, zone] / unit:.4g} {name} away from the target, the wrong order of magnitude",
            file=readings.file,
            key=f"readings, row {row + 1}, zone {zone + 1}",
            value=f"{readings.positions[row, zone] / unit:g} {name}",
            expected=f"within {limit / unit:.3g} {name} of it (is length_unit right?)",
        )
