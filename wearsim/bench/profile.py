"""Measured profiles: radius and figure error, as CSV."""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from functools import lru_cache
from itertools import islice
from pathlib import Path
from typing import Any

import numpy as np

from wearsim.bench import units
from wearsim.bench.figure_source import LARGEST_ERROR
from wearsim.bench.input_errors import read_text
from wearsim.bench.mirror import Mirror
from wearsim.errors import InputError
from wearsim.kernels.arrays import Floats

COLUMNS = ("radius", "error", "sigma", "smooth")
HEADER = "a header with units such as radius_mm,error_nm or radius_mm,error_nm,sigma_nm or these and smooth_nm"
WHAT = "a profile: " + HEADER
REACH = 0.9
"""How far out the last row must lie, in radii of the mirror."""
MOST_ROWS = 100_000
ROWS_USED = 1000
"""More rows than this are averaged to so many: finer than any grid that they are worked on."""
STEEPEST = 0.01
"""Slope [1] beyond which a profile is none of a mirror's: a badly turned edge, a micron in a millimetre, has a tenth."""
CORRELATION_LENGTH = 0.15
"""Over which the smooth part of the errors goes together, in radii of the mirror: slopes are what most tests read [1]. A
judgement."""
SMOOTH_SHARE = 0.5
"""Share of the variance of the errors that is smooth where a file does not say [1]. A judgement: a test has both, noise of
its rows and a drift or a gauge error that neighbouring rows share."""


@dataclass(frozen=True, eq=False)
class Profile:
    """A measured figure error, round about the centre.

    Attributes
    ----------
    radius : ndarray, shape (n,)
        From 0 up [m].
    error : ndarray, shape (n,)
        Height above the target conic, positive = high [m].
    sigma : ndarray, shape (n,), or None
        One standard deviation of the error [m].
    smooth : ndarray, shape (n,), or None
        The part of sigma that neighbouring rows share [m]: 0 where rows are independent, as an interferometer's nearly are;
        sigma where an error is a smooth shape, as that of a surface made of slopes. None: as :data:`SMOOTH_SHARE` has it.
    rows : int
        Rows of the file that were averaged to these; 0 where these are the rows of the file.
    """

    radius: Floats
    error: Floats
    sigma: Floats | None = None
    smooth: Floats | None = None
    rows: int = 0

    def covariance(self, scale: float, least: float = 0.0) -> Floats:
        """Covariance (n, n) of the errors [m^2] on a mirror of radius ``scale`` [m]; no sigma less than ``least`` [m].

        The smooth part is a squared exponential over :data:`CORRELATION_LENGTH`; the rest is each row's own.
        """
        sigma = np.zeros_like(self.radius) if self.sigma is None else self.sigma
        smooth = np.sqrt(SMOOTH_SHARE) * sigma if self.smooth is None else self.smooth
        apart = (self.radius[:, None] - self.radius) / (CORRELATION_LENGTH * scale)
        own = np.maximum(sigma**2 - smooth**2, least**2)
        return np.asarray(np.outer(smooth, smooth) * np.exp(-0.5 * apart**2) + np.diag(own))

    def thinned(self, most: int) -> Profile:
        """At most so many rows: means of neighbouring ones, whose own errors average out."""
        count = self.radius.size
        if count <= most:
            return self
        parts = np.array_split(np.arange(count), most)
        radius, error = (np.array([one[part].mean() for part in parts]) for one in (self.radius, self.error))
        if self.sigma is None:
            return Profile(radius, error, rows=count)
        smooth = np.sqrt(SMOOTH_SHARE) * self.sigma if self.smooth is None else self.smooth
        shared = np.array([smooth[part].mean() for part in parts])
        own = np.array([np.sum(self.sigma[part] ** 2 - smooth[part] ** 2) / part.size**2 for part in parts])
        return Profile(radius, error, np.sqrt(shared**2 + np.maximum(own, 0.0)), shared, count)


def read_profile(path: str | Path, mirror: Mirror) -> Profile:
    """Read a measured profile.

    Parameters
    ----------
    path : str or Path
        CSV: a header with units, then rows; lines that begin with ``#`` are comments.
    mirror : Mirror
        The glass it belongs to.

    Returns
    -------
    Profile

    Raises
    ------
    InputError
        One line with row and column for the first fault.
    """
    path = Path(path)
    return profile_of(read_text(path, WHAT), mirror, path)


@lru_cache(maxsize=8)  # a prediction asks several times, and a long file takes seconds
def profile_of(text: str, mirror: Mirror, path: Path) -> Profile:
    """A profile from the text of its file; arguments and errors as for :func:`read_profile`."""
    found_lines = _lines(text)
    lines = list(islice(found_lines, 1 + MOST_ROWS))
    if not lines:
        raise InputError("empty", file=path, expected=HEADER)
    header = _header(lines[0], path)
    count = len(lines) - 1 + sum(1 for _ in found_lines)
    if not 3 <= count <= MOST_ROWS:
        expected = f"3 to {MOST_ROWS} rows of numbers"
        raise InputError("too few or too many rows", file=path, value=count, expected=expected)
    rows = [_row(number, text, header, path) for number, text in lines[1:]]
    numbers = [number for number, _ in lines[1:]]
    found = dict(zip(header, (list(column) for column in zip(*rows, strict=True)), strict=True))
    _check_radii(found["radius"], numbers, mirror, header["radius"], path)
    _check_heights(found, numbers, path)
    columns: dict[str, Any] = {name: np.array(column) for name, column in found.items()}
    profile = Profile(**columns).thinned(ROWS_USED)
    _check_slopes(profile, path)
    return profile


def _check_slopes(profile: Profile, path: Path) -> None:
    """Refuse what no polished surface is, such as nanometres that were written as micrometres."""
    slopes = np.abs(np.diff(profile.error)) > STEEPEST * np.diff(profile.radius)
    if not np.any(slopes):
        return
    place = int(np.argmax(slopes))
    low, high = (f"{profile.error[at] * 1e9:.6g} nm at {profile.radius[at] * 1e3:.6g} mm" for at in (place, place + 1))
    raise InputError(
        "too steep to be a figure error; is the unit right?", file=path, value=f"{low} and {high}",
        expected=f"slopes of at most {STEEPEST * 1e3:g} um per mm",
    )  # fmt: skip


def write_profile(
    path: str | Path,
    radius: Sequence[float] | Floats,
    error: Sequence[float] | Floats,
    sigma: Sequence[float] | Floats | None = None,
    comment: str = "",
    smooth: Sequence[float] | Floats | None = None,
) -> None:
    """Write a profile that :func:`read_profile` reads back to the last digit.

    Parameters
    ----------
    path : str or Path
        The file; an existing one is replaced.
    radius, error : array_like, shape (n,)
        [m].
    sigma : array_like, shape (n,), optional
        [m].
    comment : str
        Goes above the header, each line behind a ``#``.
    smooth : array_like, shape (n,), optional
        The part of sigma that neighbouring rows share [m]; only with ``sigma``.
    """
    columns = [radius, error, *(column for column in (sigma, smooth) if column is not None)]
    shown = ["mm", "nm", "nm", "nm"][: len(columns)]
    lines = [f"# {line}".rstrip() for line in comment.splitlines()]
    lines.append(",".join(f"{name}_{unit}" for name, unit in zip(COLUMNS, shown, strict=False)))
    for row in zip(*columns, strict=True):
        cells = (_cell(float(value), unit) for value, unit in zip(row, shown, strict=True))
        lines.append(",".join(cells))
    Path(path).write_text("\n".join(lines) + "\n", encoding="utf-8")


def _cell(value: float, unit: str) -> str:
    return units.write(value, "m", [unit]).partition(" ")[0]


def _lines(text: str) -> Iterator[tuple[int, str]]:
    """Lines that say something, with their number in the file from 1."""
    for number, found in enumerate(
        re.finditer("^.*$", text, re.MULTILINE), start=1
    ):  # one at a time: there may be millions
        line = found[0]
        if line.strip() and not line.lstrip().startswith("#"):
            yield number, line


def _header(line: tuple[int, str], path: Path) -> dict[str, str]:
    """Unit of each column, by the column's name, in the order of the file."""
    number, text = line
    cells = [cell.strip().partition("_") for cell in text.split(",")]
    if tuple(name for name, _, _ in cells) not in (COLUMNS[:2], COLUMNS[:3], COLUMNS):
        raise InputError("wrong columns", file=path, key=f"line {number}", value=text.strip(), expected=HEADER)
    for name, _, unit in cells:
        _check_unit(name, unit, number, path)
    return {name: unit for name, _, unit in cells}


def _check_unit(name: str, unit: str, number: int, path: Path) -> None:
    try:
        units.read(f"1 {unit}", "m")
    except units.NotAQuantity as error:
        key = f"line {number}, column {name}"
        came = f"{name}_{unit}" if unit else name
        raise InputError(str(error), file=path, key=key, value=came, expected=HEADER) from error


def _row(number: int, text: str, header: dict[str, str], path: Path) -> list[float]:
    cells = [cell.strip() for cell in text.split(",")]
    if len(cells) != len(header):
        expected = f"{len(header)} numbers, as in the header"
        raise InputError("wrong columns", file=path, key=f"line {number}", value=text.strip(), expected=expected)
    named = zip(cells, header.items(), strict=True)
    return [_number(cell, name, unit, number, path) for cell, (name, unit) in named]


def _number(cell: str, name: str, unit: str, number: int, path: Path) -> float:
    try:
        return units.read_number(cell, unit, "m")
    except units.NotAQuantity as error:
        key = f"line {number}, column {name}"
        expected = f"a number of {unit}"
        raise InputError(str(error), file=path, key=key, value=cell, expected=expected) from error


def _check_radii(radii: list[float], numbers: list[int], mirror: Mirror, unit: str, path: Path) -> None:
    size = units.read(f"1 {unit}", "m")

    def shown(radius: float) -> str:
        return f"{radius / size:.6g} {unit}"

    def fault(place: int, message: str, expected: str) -> InputError:
        key = f"line {numbers[place]}, column radius"
        return InputError(message, file=path, key=key, value=shown(radii[place]), expected=expected)

    if radii[0] != 0:
        raise fault(0, "does not start at the centre", "radius 0 in the first row")
    for place in range(1, len(radii)):
        if radii[place] <= radii[place - 1]:
            raise fault(place, "radii do not increase", f"more than the {shown(radii[place - 1])} before it")
    rim = mirror.radius
    if radii[-1] > rim * (1 + 1e-9):
        raise fault(-1, "beyond the mirror's rim", f"at most {shown(rim)}")
    if radii[-1] < REACH * rim * (1 - 1e-9):
        raise fault(-1, "does not reach the rim", f"at least {REACH} of the radius, {shown(REACH * rim)}")


def _check_heights(found: dict[str, list[float]], numbers: list[int], path: Path) -> None:
    def fault(place: int, name: str, message: str, expected: str) -> InputError:
        key = f"line {numbers[place]}, column {name}"
        value = f"{found[name][place] * 1e9:.6g} nm"
        return InputError(message, file=path, key=key, value=value, expected=expected)

    for place, error in enumerate(found["error"]):
        if abs(error) > LARGEST_ERROR:
            raise fault(place, "error", "too large to be a figure error", "between -1 mm and 1 mm")
    for place, sigma in enumerate(found.get("sigma", [])):
        if not 0 <= sigma <= LARGEST_ERROR:
            raise fault(place, "sigma", "not a standard deviation", "between 0 and 1 mm")
    for place, smooth in enumerate(found.get("smooth", [])):
        if not 0 <= smooth <= found["sigma"][place]:
            raise fault(place, "smooth", "not a part of sigma", "between 0 and the sigma of this row")
