"""The figure that a bench starts from (conic, profile, readings, map or Zernike terms), and the light it is judged in."""

from __future__ import annotations

import io
from pathlib import Path
from typing import Annotated, Any, Literal, Self

import numpy as np
from pydantic import BeforeValidator, PrivateAttr, ValidationInfo, model_validator

from wearsim.bench.fields import InputTable, NumberRule, Wavelength, as_float, choice, default, number, refuse
from wearsim.bench.input_errors import read_named
from wearsim.bench.personal_units import SURFACE_UNITS
from wearsim.errors import InputError
from wearsim.kernels.arrays import Floats

SOURCES = ("profile", "readings", "conic", "map", "zernike")
MOST_TERMS = 500
_HEIGHT = NumberRule("a height in nm", '120.0 (nm) or "0.12 um"', "m", ("nm",), least=-1e-3, most=1e-3)


def _path(value: Any, info: ValidationInfo) -> Path:
    if isinstance(value, Path):
        return value
    if not isinstance(value, str) or not value.strip() or not value.isprintable():
        raise refuse("not a file name", 'such as "profile.csv"')
    folder = (info.context or {}).get("folder")
    return (Path(folder) / value).absolute() if folder is not None else Path(value)


def _term(value: Any, from_file: bool) -> float:
    plain = isinstance(value, (int, float)) and not isinstance(value, bool)
    if plain and from_file:
        value = f"{value!r} nm"  # the table of terms is in nanometres
    return as_float(value, _HEIGHT, from_file)


def _terms(value: Any, info: ValidationInfo) -> tuple[float, ...]:
    if not isinstance(value, (list, tuple)) or not 0 < len(value) <= MOST_TERMS:
        raise refuse("not a list of terms", f"1 to {MOST_TERMS} numbers in nm, in the order of ISO 24157")
    return tuple(_term(item, bool((info.context or {}).get("file"))) for item in value)


FilePath = Annotated[Path, BeforeValidator(_path)]

WITHOUT_READINGS = "conic = -1 (a perfect paraboloid) or conic = 0 (a sphere) in [figure] to start without readings"
IN_FIGURE = f'readings = "readings.toml"; or {WITHOUT_READINGS}'


class FigureSource(InputTable):
    """The present figure, from ``[figure]``: exactly one of these.

    Attributes
    ----------
    profile : Path or None
        Measured figure error (:func:`wearsim.bench.profile.read_profile`).
    readings : Path or None
        Knife-edge readings.
    conic : float or None
        A pure conic of this constant [1].
    map : Path or None
        Height map on a square grid (planar engine).
    zernike : tuple of float or None
        Coefficients in the order and normalisation of ISO 24157 [m]; plain numbers in a file are nanometres.
    """

    profile: FilePath | None = None
    readings: FilePath | None = None
    conic: Annotated[float, *number("0.0", least=-50.0, most=50.0)] | None = None
    map: FilePath | None = None
    zernike: Annotated[tuple[float, ...], BeforeValidator(_terms), _HEIGHT] | None = None

    _content: bytes | None = PrivateAttr(default=None)

    @property
    def kind(self) -> str:
        """Which of the five it is."""
        return next(key for key in SOURCES if getattr(self, key) is not None)

    @property
    def is_uneven(self) -> bool:
        """Whether it may be other than round: a map or Zernike terms."""
        return self.kind in ("map", "zernike")

    @property
    def path(self) -> Path | None:
        """The file, where it is one."""
        value = getattr(self, self.kind)
        return value if isinstance(value, Path) else None

    @property
    def content(self) -> bytes:
        """What its file held when it was loaded.

        Raises
        ------
        InputError
            Where it was not.
        """
        if self._content is None:
            raise InputError(
                "its file was not read", key=f"figure.{self.kind}", value=str(self.path),
                expected="a bench from load_bench, or FigureSource(...).loaded()",
            )  # fmt: skip
        return self._content

    def loaded(self, file: Path | None = None) -> Self:
        """The same with the content of its file, where it is one; whatever makes a bench loads it, and nothing later.

        Two sources are equal when their contents are as well.

        Parameters
        ----------
        file : Path, optional
            Of the bench, for the error line.

        Raises
        ------
        InputError
            Where the file cannot be read.
        """
        if self.path is None:
            return self
        source = self.model_copy()
        source._content = read_named(self.path, f"a {self.kind} file", f"figure.{self.kind}", file)
        return source

    @model_validator(mode="after")
    def _exactly_one(self) -> Self:
        given = [key for key in SOURCES if getattr(self, key) is not None]
        if len(given) != 1:
            came = " and ".join(given) if given else "none"
            raise InputError("exactly one is needed", value=came, expected="one of " + ", ".join(SOURCES))
        return self


UNITS = {"error_m": 1.0, "error_um": 1e-6, "error_nm": 1e-9}
MOST_CELLS = 2048
"""Largest number of cells across a height map: twice as many as across the finest grid that it is worked on."""
LARGEST_ERROR = 1e-3
"""Largest height of a map or a profile [m]."""


def height_map(content: bytes, path: Path) -> Floats:
    """A map of figure error, square over the mirror's diameter, from the bytes of its file.

    As CSV: a first line ``error_nm`` (or ``error_um``, ``error_m``), then one line per row of cells, the top of the
    map first; cells off the glass may be left empty. As HDF5: a square dataset ``error`` with an attribute ``units``
    of nm, um or m, row 0 at the bottom.

    Parameters
    ----------
    path : Path
        Its suffix says which of the two it is.

    Returns
    -------
    ndarray, shape (k, k)
        Row 0 at the least y; NaN where nothing stands [m].

    Raises
    ------
    InputError
        If it cannot be read, is not square or holds impossible heights.
    """
    error = _from_hdf5(content, path) if path.suffix.lower() in (".h5", ".hdf5") else _from_csv(content, path)
    largest = float(np.max(np.abs(error[np.isfinite(error)]), initial=0.0))
    if largest > LARGEST_ERROR:
        raise InputError("impossible height", file=path, value=f"{largest:g} m", expected="at most 1 mm")
    return error


def _check_shape(shape: tuple[int, ...], path: Path) -> None:
    """Refuse a map before it is read: a small file may hold any number of cells."""
    if max(shape, default=0) > MOST_CELLS:
        expected = f"at most {MOST_CELLS} cells across"
        raise InputError("too large a height map", file=path, value=str(shape), expected=expected)
    if len(shape) != 2 or shape[0] != shape[1]:
        raise InputError("a height map must be square", file=path, value=str(shape), expected="as many rows as columns")


def _from_csv(content: bytes, path: Path) -> Floats:
    try:
        head, *lines = content.decode("utf-8").strip().splitlines()
    except ValueError as error:
        raise InputError("cannot be read", file=path, expected="a CSV file of a height map") from error
    unit = head.strip().rstrip(",").strip()
    if unit not in UNITS:
        raise InputError("unknown first line", file=path, value=unit, expected=", ".join(UNITS))
    widths = {1 + line.count(",") for line in lines}
    if len(widths) > 1:
        raise InputError("rows of unequal length", file=path, expected="as many numbers in every row")
    _check_shape((len(lines), *widths), path)
    rows = [_row_of(line, path, number) for number, line in enumerate(lines, start=2)]
    return np.array(rows[::-1]) * UNITS[unit]


def _row_of(line: str, path: Path, number: int) -> Floats:
    try:
        return np.array([float(cell) if cell.strip() else float("nan") for cell in line.split(",")])
    except ValueError as error:
        raise InputError("not a number", file=path, key=f"line {number}", expected="numbers and commas") from error


def _from_hdf5(content: bytes, path: Path) -> Floats:
    import h5py  # here, not above: slow to load, and most benches have no map

    try:
        with h5py.File(io.BytesIO(content)) as file:
            data = file["error"]
            _check_shape(data.shape, path)
            units = str(data.attrs.get("units", ""))
            values = np.array(data, dtype=np.float64)
    except (OSError, KeyError, ValueError, TypeError) as error:
        raise InputError("cannot be read", file=path, expected="HDF5 with a square dataset named error") from error
    if f"error_{units}" not in UNITS:
        raise InputError("unknown units", file=path, key="error", value=units, expected="nm, um or m")
    return values * UNITS[f"error_{units}"]


class Light(InputTable):
    """The light, from ``[light]``.

    Attributes
    ----------
    wavelength : float
        [m].
    surface_unit : {"nm", "waves", "millionths"} or None
        Unit for surface heights: nanometres, waves of this light, or millionths of an inch; None: nanometres.
    """

    surface_unit: Annotated[Literal["nm", "waves", "millionths"], *choice(*SURFACE_UNITS)] | None = None
    wavelength: Wavelength = default(550e-9, "green light, where the eye is most sensitive; common practice")
