"""A figure that is not round: a measured map or Zernike terms, on the planar grid or as its mean over rings."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import numpy as np

from wearsim.bench.bench import Bench
from wearsim.errors import InputError
from wearsim.figure.conic import conic_departure
from wearsim.kernels.planar_pieces import Floats, Glass
from wearsim.wear.planar_figure import FigureFrame
from wearsim.wear.planar_grid import across_glass, glass_of, ring_mean

UNITS = {"error_m": 1.0, "error_um": 1e-6, "error_nm": 1e-9}
LARGEST = 1e-3  # |figure error| [m]
CELLS = 160  # across the mirror, where a map is only read for its mean over rings


def frame_for(bench: Bench) -> FigureFrame:
    """What a bench's figure is referred to."""
    mirror = bench.mirror
    return FigureFrame(mirror.radius_of_curvature, mirror.conic, mirror.clear_radius)


def uneven_start(bench: Bench, glass: Glass) -> Floats:
    """Height of the glass above its reference sphere from the bench's map or Zernike terms, on `glass` [m].

    Raises
    ------
    InputError
        Where the map's file cannot be used, or the bench has neither.
    """
    source, frame = bench.figure, frame_for(bench)
    if source.zernike is not None:
        return frame.height_of_terms(np.array(source.zernike), glass)
    if source.map is None:
        raise InputError("no map and no terms", file=bench.file, key="figure", expected="map or zernike")
    try:
        return frame.height_of_map(read_height_map(source.map), glass)
    except InputError as error:
        raise InputError(
            error.message, file=source.map, value=error.value, expected=error.expected
        ) from error


@dataclass(frozen=True, eq=False)
class RoundMean:
    """What averages see of a figure that is not round.

    Parameters
    ----------
    height : ndarray, shape (n,)
        Mean height over rings, above the reference sphere [m].
    left_out : float
        RMS over the clear aperture of what the mean leaves out, tilt apart [m].
    """

    height: Floats
    left_out: float


def round_mean(bench: Bench, radius: Floats) -> RoundMean:
    """Mean over rings of the bench's map or Zernike terms, at these radii ``(n,)`` [m].

    Raises
    ------
    InputError
        Where the map's file cannot be used.
    """
    mirror, frame = bench.mirror, frame_for(bench)
    glass = glass_of(mirror.radius, mirror.hole_radius, across_glass(mirror.radius, CELLS), 0.0, 1.0)
    height, weight = uneven_start(bench, glass), frame.clear_share(glass)
    error = height - frame.departure(glass)  # the conic itself would lose to the reading between cells
    rings = np.linspace(mirror.hole_radius, mirror.radius, CELLS)
    uneven = error - np.interp(glass.distance, rings, ring_mean(error, glass.across, rings))
    tilt = frame.figure(height, glass).zernike[[1, 2]]
    square = float(np.sum(weight * uneven**2) / np.sum(weight) - np.sum(tilt**2))
    mean = ring_mean(error, glass.across, radius)
    mean += conic_departure(radius, mirror.radius_of_curvature, mirror.conic)
    return RoundMean(mean, max(square, 0.0) ** 0.5)


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
    import h5py  # here, not above: slow to load, and most benches have no map

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
