"""Knife-edge readings as people write them: ``readings.toml``, every field checked and brought to metres and radians."""

from __future__ import annotations

import math
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

from wearsim.bench import units
from wearsim.bench.input_errors import check_keys, located, parse_toml, read_text
from wearsim.bench.units import counted, in_digits
from wearsim.errors import InputError
from wearsim.figure.conic import MirrorGeometry
from wearsim.kernels.arrays import Floats
from wearsim.knifeedge.longitudinal import SOURCES, Source, Zones, target_aberration

KEYS = ("source", "length_unit", "windows", "radius", "readings", "orientation", "sigma")
LEAST_ZONES = 3
MOST_ZONES = 60
MOST_ROWS = 200
LEAST_UNIT, LARGEST_UNIT = 1e-6, 1.0
"""[m]: a micrometre and a metre."""
LEAST_WINDOW = 1e-5
"""Width of a window, and between radii that are read [m]; no mask is cut finer."""
LEAST_SIGMA, LARGEST_SIGMA = 1e-9, 0.1
"""Bounds of the standard deviation of one setting of the knife [m]."""
LARGEST_NUMBER = 1e100
"""Bound of any number on a sheet, in its own unit."""
LARGEST_ANGLE = 1e4
"""Largest orientation [rad]."""
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
        Knife positions, one row per repeat, one column per zone; larger = farther from the mirror; each row's
        zero is arbitrary [m].
    source : {"moving", "fixed"}
        Whether the source moves with the knife.
    orientation : ndarray, shape (m,), or None
        Of the mirror at each row [rad].
    sigma : float, ndarray of shape (n,), or None
        Of one setting: at 0.35 of the mirror's radius and going as 1/r, or one per zone, or unknown [m].
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

    @property
    def double_angle(self) -> Floats:
        """Twice the orientation of each row, in turns from 0 up to 1: half a turn is none to a second harmonic, (m,)."""
        if self.orientation is None:
            return np.zeros(self.repeats)
        turns = np.mod(2.0 * self.orientation, 2.0 * np.pi) / (2.0 * np.pi)
        return np.asarray(np.round(turns, 9) % 1.0, dtype=float)

    @property
    def orientations(self) -> int:
        """In how many orientations the mirror was read, as far as astigmatism can tell them apart."""
        return int(np.unique(self.double_angle).size)


def load_readings(path: str | Path) -> Readings:
    """Read a ``readings.toml``.

    Parameters
    ----------
    path : str or Path
        The file.

    Returns
    -------
    Readings
        In SI units, checked as far as that goes without the mirror.

    Raises
    ------
    InputError
        One line, for whatever cannot be used.
    """
    file = Path(path)
    return parse_readings(read_text(file, "a readings file (TOML)"), file)


def is_sheet(path: str | Path) -> bool:
    """Whether this file is a sheet of readings by its keys, sound or not; False where nothing can be read there."""
    file = Path(path)
    try:
        table = parse_toml(read_text(file), file)
    except InputError:
        return False
    return "mirror" not in table and not {"windows", "radius", "readings"}.isdisjoint(table)


def parse_readings(text: str, file: Path | None = None) -> Readings:
    """Read the text of a ``readings.toml``; `file` is where it came from, for the error line.

    Raises
    ------
    InputError
        One line, for whatever cannot be used.
    """
    table = parse_toml(text, file)
    check_keys(table, KEYS, file)
    try:
        name, unit = _length_unit(table.get("length_unit"))
        zones = _zones(table, unit, LEAST_WINDOW / unit)
        positions = _positions(table.get("readings"), len(zones))
        return Readings(
            zones=zones,
            positions=positions * unit,
            source=_source(table.get("source")),
            orientation=_orientation(table.get("orientation"), len(positions)),
            sigma=_sigma(table.get("sigma"), len(zones), unit),
            length_unit=name,
            unit=unit,
            resolution=_resolution(positions) * unit,
            file=file,
            text=text,
        )
    except InputError as error:
        raise located(error, "", file) from error


def _length_unit(name: Any) -> tuple[str, float]:
    """Name of the sheet's unit and the metres in it."""
    expected = 'a unit of length such as "mm" or "in"'
    if name is None:
        raise InputError("missing", key="length_unit", expected=expected)
    try:
        unit = units.read(f"1 {name}", "m") if isinstance(name, str) and name.strip() else 0.0
    except units.NotAQuantity:
        unit = 0.0
    if not unit > 0.0:
        raise InputError("not a unit of length", key="length_unit", value=name, expected=expected)
    if not LEAST_UNIT <= unit <= LARGEST_UNIT:
        raise InputError("not a unit for knife readings", key="length_unit", value=name, expected=expected)
    return str(name), unit


def _source(given: Any) -> Source:
    for source in SOURCES:
        if given == source:
            return source
    message = "missing" if given is None else "unknown source"
    raise InputError(message, key="source", value=given, expected='"moving" or "fixed"')


def _number(value: Any, key: str, expected: str = "a finite number") -> float:
    if isinstance(value, bool) or not isinstance(value, int | float) or not abs(value) < math.inf:
        raise InputError("not a number", key=key, value=value, expected=expected)
    if abs(value) > LARGEST_NUMBER:
        raise InputError("far too large", key=key, expected=expected)
    return float(value)


def _row(value: Any, key: str, expected: str) -> list[float]:
    if not isinstance(value, list):
        raise InputError("not a row of numbers", key=key, value=value, expected=expected)
    return [_number(one, f"{key}, number {i}") for i, one in enumerate(value, 1)]


def _zones(table: dict[str, Any], unit: float, least: float) -> Zones:
    """Zones from `windows` or `radius` [m], none narrower than `least`, nor closer, in the sheet's unit."""
    given = [key for key in ("windows", "radius") if key in table]
    if len(given) != 1:
        message = "both windows and radius given" if given else "no zones given"
        raise InputError(message, key="windows", expected="either windows or radius")
    key, value = given[0], table[given[0]]
    if not isinstance(value, list) or not LEAST_ZONES <= len(value) <= MOST_ZONES:
        count = len(value) if isinstance(value, list) else value
        raise InputError("wrong number of zones", key=key, value=count, expected=f"{LEAST_ZONES} to {MOST_ZONES} zones")
    return _windows(value, unit, least) if key == "windows" else _radii(value, unit, least)


def _windows(value: list[Any], unit: float, least: float) -> Zones:
    rows = [_row(one, f"windows, zone {i}", "[inner, outer]") for i, one in enumerate(value, 1)]
    last = 0.0
    for i, row in enumerate(rows, 1):
        key = f"windows, zone {i}"
        if len(row) != 2:
            raise InputError("wrong count", key=key, value=row, expected="[inner, outer]")
        if row[0] < 0.0 or row[1] <= row[0]:
            raise InputError("a window must have a width", key=key, value=row, expected="0 <= inner < outer")
        if row[1] - row[0] < least:
            raise InputError("too narrow for a window", key=key, value=row, expected=f"at least {least:g} wide")
        if row[0] < last:
            whole = i > 1 and row[1] <= rows[i - 2][0]
            message = "windows out of order" if whole else "overlaps the window before it"
            raise InputError(message, key=key, value=row, expected=f"inner at least {last:g}")
        last = row[1]
    return Zones.from_windows(np.asarray(rows) * unit)


def _radii(value: list[Any], unit: float, least: float) -> Zones:
    radii = _row(value, "radius", "increasing radii")
    last = 0.0
    for i, one in enumerate(radii, 1):
        if one <= last:
            message = "a radius is given twice" if one in radii[: i - 1] else "radii must be above 0 and increase"
            raise InputError(message, key=f"radius, zone {i}", value=one, expected=f"more than {last:g}")
        if one - last < least:
            expected = f"at least {least:g} more than {last:g}"
            raise InputError("too close to the zone before it", key=f"radius, zone {i}", value=one, expected=expected)
        last = one
    return Zones.from_radii(np.asarray(radii) * unit)


def _positions(rows: Any, zones: int) -> Floats:
    """Knife positions in the sheet's own unit, shape (rows, zones)."""
    expected = f"rows of {zones} knife positions, one per zone"
    if rows is None:
        raise InputError("missing", key="readings", expected=expected)
    if not isinstance(rows, list) or not rows or len(rows) > MOST_ROWS:
        hint = "; take away the # before a row that is to count" if rows == [] else ""
        raise InputError("no readable rows", key="readings", expected=f"1 to {MOST_ROWS} {expected}{hint}")
    read = [_row(row, f"readings, row {i}", expected) for i, row in enumerate(rows, 1)]
    for i, row in enumerate(read, 1):
        if len(row) != zones:
            message = "the row is too short" if len(row) < zones else "the row is too long"
            came = counted(len(row), "number")
            raise InputError(message, key=f"readings, row {i}", value=came, expected=f"{zones}, one per zone")
    return np.asarray(read, dtype=float)


def _orientation(given: Any, rows: int) -> Floats | None:
    """Orientation of the mirror at each row [rad], or None."""
    if given is None:
        return None
    if not isinstance(given, list) or len(given) != rows:
        value = f"{len(given)} of them" if isinstance(given, list) else given
        expected = f'{rows} angles such as "90 deg", one per row'
        raise InputError("wrong count", key="orientation", value=value, expected=expected)
    return np.asarray([_angle(one, i) for i, one in enumerate(given, 1)], dtype=float)


def _angle(value: Any, row: int) -> float:
    try:
        angle = units.read(value, "rad") if isinstance(value, str) else np.nan
    except units.NotAQuantity:
        angle = np.nan
    if not abs(angle) <= LARGEST_ANGLE:
        raise InputError("not an angle", key=f"orientation, row {row}", value=value, expected='such as "90 deg"')
    return angle


def _sigma(given: Any, zones: int, unit: float) -> float | Floats | None:
    """Sigma of one setting [m], one number or one per zone, or None."""
    if given is None:
        return None
    expected = f"a number above 0, or {zones} of them, one per zone"
    values = _row(given, "sigma", expected) if isinstance(given, list) else [_number(given, "sigma", expected)]
    if isinstance(given, list) and len(values) != zones:
        raise InputError("wrong count", key="sigma", value=counted(len(values), "number"), expected=expected)
    if min(values) <= 0.0:
        raise InputError("must be above 0", key="sigma", value=min(values), expected=expected)
    for value in values:
        if not LEAST_SIGMA <= value * unit <= LARGEST_SIGMA:
            expected = f"{LEAST_SIGMA / unit:g} to {LARGEST_SIGMA / unit:g}, in the sheet's unit"
            raise InputError("not plausible for repeated knife settings", key="sigma", value=value, expected=expected)
    return np.asarray(values) * unit if isinstance(given, list) else values[0] * unit


def _resolution(positions: Floats) -> float:
    """Last decimal that the sheet uses, in its own unit; 0 where it is written to more than six."""
    for digits in range(7):
        if np.allclose(positions, np.round(positions, digits), rtol=0.0, atol=1e-9):
            return float(10.0**-digits)
    return 0.0


def check_against_mirror(readings: Readings, geometry: MirrorGeometry) -> None:
    """Refuse readings that this mirror cannot have given.

    Raises
    ------
    InputError
        A zone beyond the rim, or readings of the wrong order of magnitude.
    """
    unit, name = readings.unit, readings.length_unit
    outer = readings.zones.outer
    if outer[-1] > geometry.radius * (1.0 + 1e-9):
        raise InputError(
            "the outermost zone is beyond the mirror's rim",
            file=readings.file,
            key="windows" if readings.zones.are_windows else "radius",
            value=f"{outer[-1] / unit:g} {name}",
            expected=f"at most {geometry.radius / unit:g} {name}",
        )
    departure = readings.positions - target_aberration(readings.zones.middle, geometry, readings.source)
    departure = departure - np.median(departure, axis=1, keepdims=True)
    scale = geometry.radius**2 / (2.0 * geometry.radius_of_curvature) * (2.0 if readings.source == "fixed" else 1.0)
    limit = max(LARGEST_DEPARTURE * scale, LEAST_LIMIT)
    row, zone = np.unravel_index(int(np.argmax(np.abs(departure))), departure.shape)
    if abs(departure[row, zone]) > limit:
        away = in_digits(departure[row, zone] / unit, 4)
        raise InputError(
            f"{away} {name} away from the target, which is the wrong order of magnitude",
            file=readings.file,
            key=f"readings, row {row + 1}, zone {zone + 1}",
            value=f"{readings.positions[row, zone] / unit:g} {name}",
            expected=f"within {in_digits(limit / unit)} {name} of it (is length_unit right?)",
        )
