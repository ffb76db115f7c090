"""Knife-edge readings as people write them: the model and the loader of ``readings.toml``."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from wearsim.errors import InputError
from wearsim.knifeedge import fields
from wearsim.knifeedge.longitudinal import Source, target_aberration
from wearsim.knifeedge.zones import Zones

Floats = NDArray[np.float64]

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
    from wearsim.bench.reading import read_text

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
    from wearsim.bench.reading import parse_toml, read_text

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
    from wearsim.bench.faults import check_keys
    from wearsim.bench.reading import parse_toml

    table = parse_toml(text, file)
    check_keys(table, KEYS, file)
    name, unit = fields.read_length_unit(table, file)
    zones = fields.read_zones(table, unit, file)
    positions = fields.read_positions(table, len(zones), file)
    return Readings(
        zones=zones,
        positions=positions * unit,
        source=fields.read_source(table, file),
        orientation=fields.read_orientation(table, len(positions), file),
        sigma=fields.read_sigma(table, len(zones), unit, file),
        length_unit=name,
        unit=unit,
        resolution=fields.read_resolution(positions) * unit,
        file=file,
        text=text,
    )


def check_against_mirror(
    readings: Readings, *, radius: float, radius_of_curvature: float, conic: float
) -> None:
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
