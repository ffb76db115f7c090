"""The glass that a planar session starts from: a measured map, Zernike terms, or a round figure."""

from __future__ import annotations

from pathlib import Path

import h5py
import numpy as np

from wearsim.bench.bench import Bench
from wearsim.errors import InputError
from wearsim.kernels.planar_pieces import Floats, Glass
from wearsim.wear.accuracy import DEFAULT, Accuracy
from wearsim.wear.planar_figure import FigureFrame
from wearsim.wear.planar_grid import RoundStart
from wearsim.wear.start import start_figure

UNITS = {"error_m": 1.0, "error_um": 1e-6, "error_nm": 1e-9}
LARGEST = 1e-3  # |figure error| [m]


def planar_start(
    bench: Bench, frame: FigureFrame, glass: Glass, accuracy: Accuracy = DEFAULT
) -> RoundStart | Floats:
    """Height of the glass above its reference sphere, as the bench's figure says: round, or a map on `glass` [m].

    Raises
    ------
    InputError
        Where the figure's file cannot be used.
    """
    source = bench.figure
    if source.map is not None:
        try:
            return frame.height_of_map(read_height_map(source.map), glass)
        except InputError as error:
            raise InputError(
                error.message, file=source.map, value=error.value, expected=error.expected
            ) from error
    if source.zernike is not None:
        return frame.height_of_terms(np.array(source.zernike), glass)
    start = start_figure(bench, accuracy)
    return RoundStart(start.radius, start.height)


def read_height_map(path: Path) -> Floats:
    """Read a map of figure error, square over the mirror's diameter.

    As CSV: a first line ``error_nm`` (or ``error_um``, ``error_m``), then one line a row of cells, the top of the
    map first; cells off the glass may be left empty. As HDF5: a square dataset ``error`` with an attribute ``units``
    of nm, um or m, row 0 at the bottom.

    Returns
    -------
    ndarray, shape (k, k)
        Row 0 at the least y; NaN where nothing stands [m].

    Raises
    ------
    InputError
        If it cannot be read, is not square or holds impossible heights.
    """
    error = _from_hdf5(path) if path.suffix.lower() in (".h5", ".hdf5") else _from_csv(path)
    if error.ndim != 2 or error.shape[0] != error.shape[1]:
        raise InputError(
            "a height map must be square",
            file=path,
            value=str(error.shape),
            expected="as many rows as columns",
        )
    largest = float(np.max(np.abs(error[np.isfinite(error)]), initial=0.0))
    if largest > LARGEST:
        raise InputError("impossible height", file=path, value=f"{largest:g} m", expected="at most 1 mm")
    return error


def _from_csv(path: Path) -> Floats:
    try:
        head, *lines = path.read_text(encoding="utf-8").strip().splitlines()
    except (OSError, UnicodeDecodeError, ValueError) as error:
        raise InputError("cannot be read", file=path, expected="a CSV file of a height map") from error
    unit = head.strip().rstrip(",").strip()
    if unit not in UNITS:
        raise InputError("unknown first line", file=path, value=unit, expected=", ".join(UNITS))
    rows = [_row_of(line, path, number) for number, line in enumerate(lines, start=2)]
    if len({len(row) for row in rows}) > 1:
        raise InputError("rows of unequal length", file=path, expected="as many numbers in every row")
    return np.array(rows[::-1], dtype=np.float64) * UNITS[unit]


def _row_of(line: str, path: Path, number: int) -> list[float]:
    try:
        return [float(cell) if cell.strip() else float("nan") for cell in line.split(",")]
    except ValueError as error:
        raise InputError(
            "not a number", file=path, key=f"line {number}", expected="numbers and commas"
        ) from error


def _from_hdf5(path: Path) -> Floats:
    try:
        with h5py.File(path) as file:
            data = file["error"]
            units = str(data.attrs.get("units", ""))
            values = np.array(data, dtype=np.float64)
    except (OSError, KeyError, ValueError, TypeError) as error:
        raise InputError(
            "cannot be read", file=path, expected="HDF5 with a square dataset named error"
        ) from error
    if f"error_{units}" not in UNITS:
        raise InputError("unknown units", file=path, key="error", value=units, expected="nm, um or m")
    return values * UNITS[f"error_{units}"]
