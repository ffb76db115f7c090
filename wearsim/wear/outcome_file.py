"""Outcomes in HDF5: provenance first, units on every dataset, a seal over all of it, and back into an equal outcome.

The seal (:func:`seal`) is a digest of everything that a file says, kept in the file itself. HDF5's own check sums see
a flipped bit of a number, but neither one in a text nor a number that was written over; the seal sees all of them.

Where a write fails inside the HDF5 library it cannot close its file, and the process may crash much later. So it
writes through :class:`ReliableFile`: what the disk does not take is held in memory, the library closes in good order,
and the error is raised afterwards. The same with Ctrl-C: where it comes while the library calls back into Python it is
lost or turns into another error, so it is held until the file is closed. :func:`new_hdf5` does both; whoever writes for
long asks :attr:`ReliableFile.is_given_up` between its parts and stops early.
"""

from __future__ import annotations

import errno
import hashlib
import io
import os
import platform
import re
import secrets
import signal
import threading
import time
import tomllib
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager, suppress
from dataclasses import asdict
from datetime import UTC, datetime
from pathlib import Path
from typing import Any
from urllib.parse import unquote

import h5py
import numpy as np

import wearsim
from wearsim.bench.figure_source import Light
from wearsim.bench.input_errors import is_ordinary, read_table
from wearsim.bench.mirror import Mirror
from wearsim.errors import CouldNotError, InputError, StoreError, WearsimError
from wearsim.figure.metrics import NINE_IN_TEN, FigureGauge, FigureNumbers
from wearsim.kernels.arrays import Floats
from wearsim.wear.outcome import (
    BANDS,
    FIGURE_NUMBERS,
    PROFILES,
    SPELL_BANDS,
    SPELL_NUMBERS,
    Band,
    Outcome,
    OutcomeField,
    SpellSummary,
)


@contextmanager
def interrupt_held() -> Iterator[Callable[[], bool]]:
    """Hold Ctrl-C until the block has ended; it takes effect then.

    Yields
    ------
    callable
        Whether one is being held.
    """
    before = signal.getsignal(signal.SIGINT)
    if threading.current_thread() is not threading.main_thread() or not callable(before):
        yield lambda: False  # signals are the main thread's affair; or nobody listens to this one
        return
    held: list[int] = []  # not the frame: it would keep the library's objects beyond its end
    signal.signal(signal.SIGINT, lambda number, _: held.append(number))
    try:
        yield lambda: bool(held)
    finally:
        signal.signal(signal.SIGINT, before)
    if held:
        before(held[0], None)


@contextmanager
def new_hdf5(path: Path, **options: Any) -> Iterator[tuple[h5py.File, ReliableFile]]:
    """A new HDF5 file that neither a full disk nor Ctrl-C breaks off in the library's midst.

    Parameters
    ----------
    **options
        For :class:`h5py.File`.

    Yields
    ------
    h5py.File, ReliableFile
        The file, and what tells whether to stop early.

    Raises
    ------
    OSError
        Once the file is closed: what the disk did not take.
    KeyboardInterrupt
        Once the file is closed.
    """
    with interrupt_held() as interrupted, ReliableFile(path, interrupted) as stream:
        with h5py.File(stream, "w", **options) as file:
            yield file, stream
        stream.sync()


class ReliableFile(io.FileIO):
    """A new file for writing and reading back, whatever the disk takes of it.

    Parameters
    ----------
    interrupted : callable, optional
        Whether the person has asked for an end.

    Attributes
    ----------
    error : OSError or None
        The first that a write met.
    """

    def __init__(self, path: Path, interrupted: Callable[[], bool] = lambda: False) -> None:
        super().__init__(path, "w+")
        self._interrupted = interrupted
        self._held: list[tuple[int, bytes]] = []
        self._end = 0
        self.error: OSError | None = None

    @property
    def is_given_up(self) -> bool:
        """Whether nothing more need be written: the disk does not take it, or an end was asked for."""
        return self.error is not None or self._interrupted()

    def write(self, data: Any, /) -> int:
        """Write at the present place; what the disk does not take is held."""
        content, done, place = bytes(data), 0, self.tell()
        try:
            while done < len(content):
                done += super().write(content[done:])
        except OSError as error:
            self.error = self.error or error
            self._held.append((place + done, content[done:]))
        self._end = max(self._end, self.seek(place + len(content)))
        return len(content)

    def readinto(self, buffer: Any, /) -> int:
        """Read from the present place, what is held included."""
        view, place = memoryview(buffer).cast("B"), self.tell()
        count = max(0, min(len(view), self._end - place))
        content = bytearray(self.read(count).ljust(count, b"\0"))
        for begin, held in self._held:
            low, high = max(begin, place), min(begin + len(held), place + count)
            if low < high:
                content[low - place : high - place] = held[low - begin : high - begin]
        view[:count] = content
        self.seek(place + count)
        return count

    def seek(self, offset: int, whence: int = io.SEEK_SET, /) -> int:
        """Go to a place; the end is that of what was written, held or not."""
        return super().seek(self._end + offset) if whence == io.SEEK_END else super().seek(offset, whence)

    def truncate(self, size: int | None = None, /) -> int:
        """Let the file end here."""
        self._end = self.tell() if size is None else size
        try:
            super().truncate(self._end)
        except OSError as error:
            self.error = self.error or error
        return self._end

    def sync(self) -> None:
        """Bring everything down to the disk.

        Raises
        ------
        OSError
            The first error that any write met.
        """
        if self.error is not None:
            raise self.error
        os.fsync(self.fileno())


# name -> (unit, what it is, names of its dimensions); a coordinate has none
_MAPS: dict[str, tuple[str, str, tuple[str, ...]]] = {
    "x": ("m", "place on the mirror", ()),
    "y": ("m", "place on the mirror, at right angles", ()),
    "pitch_x": ("m", "place on the lap", ()),
    "pitch_y": ("m", "place on the lap, at right angles", ()),
    "zernike_index": ("1", "single index of ISO 24157", ()),
    "ripple_frequency": ("1/m", "spatial frequency along the radius", ()),
    "before": ("m", "figure error before, positive = high", ("y", "x")),
    "after": ("m", "figure error after, positive = high", ("y", "x")),
    "removal": ("m", "glass removed", ("y", "x")),
    "glass": ("1", "share of the cell that is glass", ("y", "x")),
    "pitch": ("m", "pitch after, above the reference sphere", ("pitch_y", "pitch_x")),
    "facets": ("1", "share of the cell that is pitch", ("pitch_y", "pitch_x")),
    "zernike": ("m", "Zernike coefficients of the figure error, at the start and after each spell",
                ("stage", "zernike_index")),
    "ripple_amplitude": ("m", "amplitude of zonal ripple in the removal", ("ripple_frequency",)),
}  # fmt: skip


def scale(file: h5py.Group, name: str, values: Any, unit: str, text: str, **options: Any) -> None:
    """A coordinate: a dataset that others name as their dimension."""
    dataset = file.create_dataset(name, data=values, **options)
    dataset.attrs["units"], dataset.attrs["long_name"] = unit, text
    dataset.make_scale(name)


def data(
    file: h5py.Group, name: str, values: Any, unit: str, text: str, dimensions: tuple[str, ...], **options: Any
) -> None:
    """A dataset over coordinates of its group, or of the file."""
    dataset = file.create_dataset(name, data=values, **options)
    dataset.attrs["units"], dataset.attrs["long_name"] = unit, text
    for place, dimension in enumerate(dimensions):
        dataset.dims[place].attach_scale(file[dimension] if dimension in file else file.file[dimension])


def write_maps(group: h5py.Group, maps: Mapping[str, Floats]) -> None:
    """Every map with its coordinates; what belongs to a lap but the first has the lap's name and a colon before it.

    Raises
    ------
    KeyError
        For a map that is none of ours.
    """
    kinds = {name: _MAPS[name.rpartition(": ")[2]] for name in maps}
    for name in sorted(maps, key=lambda one: len(kinds[one][2])):  # coordinates first: the others lie over them
        lap, (unit, text, dimensions) = name.rpartition(": ")[0], kinds[name]
        text += f" ({lap})" if lap else ""
        if not dimensions:
            scale(group, link_of(name), maps[name], unit, text)
        else:
            own = [f"{lap}: {one}" if f"{lap}: {one}" in maps else one for one in dimensions]
            over = tuple(map(link_of, own))
            data(group, link_of(name), maps[name], unit, text, over, compression="gzip", shuffle=True)


def read_maps(group: h5py.Group) -> dict[str, Floats]:
    """All maps of a group."""
    return {unquote(link): np.asarray(values[()]) for link, values in group.items()}


def link_of(name: str) -> str:
    """A name as HDF5 can link to it, whatever a person called a lap: a slash would begin a group. ``unquote`` undoes it."""
    link = name.replace("%", "%25").replace("/", "%2F")
    return "%2E" if link == "." else link


FORMAT = "wearsim outcome"
VERSION = 3
"""1: before bands of all numbers, of the removal, of every spell and of the figure before; 2: before the
rim's height and the seal."""
LAYOUT = ("v110", "v110")
"""Since HDF5 1.10 (2016): headers carry check sums, so that damage is not taken for structure."""
SEAL = "content_sha256"
DAMAGE = (OSError, LookupError, RuntimeError, ValueError, TypeError, AttributeError, ArithmeticError, MemoryError)
"""What h5py raises where bytes are not what they were."""
# The library's own notes of which dataset is a scale of which: the names of the scales show it instead.
_OF_SCALES = ("CLASS", "NAME", "DIMENSION_LIST", "REFERENCE_LIST", "_Netcdf4Dimid", "_Netcdf4Coordinates")
_SLAB = 4_000_000  # values that are looked at together


def seal(file: h5py.File) -> None:
    """Write the digest of all that a file says; nothing may be written after it."""
    file.flush()
    file.attrs[SEAL] = _content_digest(file)


def check_seal(file: h5py.File) -> None:
    """Compare a file with its seal; every value is read.

    Raises
    ------
    ValueError
        Where they differ, or where there is no seal.
    """
    if str(file.attrs.get(SEAL)) != _content_digest(file):
        raise ValueError("the content is not what was sealed")


def _content_digest(file: h5py.File) -> str:
    found = hashlib.sha256()
    _digest_item(file, found)
    return found.hexdigest()


def _digest_item(item: h5py.Group | h5py.Dataset, found: Any) -> None:
    """Attributes, then values, or members in the order of their names."""
    for name in sorted(item.attrs):
        if name != SEAL and name not in _OF_SCALES:
            _digest_values(f"{item.name}@{name}", np.asarray(item.attrs[name]), found)
    if isinstance(item, h5py.Group):
        for name in sorted(item):
            _digest_item(item[name], found)
        return
    scales = [scale.name for dimension in item.dims for scale in dimension.values()]
    _digest_values(f"{item.name} {item.shape}", np.asarray(scales), found)
    for part in _slabs(item):
        _digest_values(item.name, np.asarray(item[part]), found)


def _slabs(dataset: h5py.Dataset) -> Iterator[Any]:
    """A dataset in pieces that fit into memory, along its first dimension."""
    if not dataset.shape:
        yield ()
        return
    rows = max(1, _SLAB // max(1, int(np.prod(dataset.shape[1:]))))
    for first in range(0, dataset.shape[0], rows):
        yield slice(first, first + rows)


def _digest_values(name: str, values: Any, found: Any) -> None:
    texts = values.dtype.kind in "OSU"
    found.update(f"{name} {'text' if texts else values.dtype.str} {values.shape}\0".encode())
    if not texts:
        found.update(np.ascontiguousarray(values).tobytes())
        return
    for value in values.ravel().tolist():
        raw = value if isinstance(value, bytes) else str(value).encode("utf-8", "surrogateescape")
        found.update(len(raw).to_bytes(8, "little") + raw)


@contextmanager
def whole_file(path: Path, *, force: bool = False) -> Iterator[Path]:
    """A partial name to write to; given the name ``path`` when the block ends well, removed when it does not.

    The partial file is there already, under a name that nobody can guess, and is down on the disk before it gets its
    own; without ``force`` it never takes the place of a file that came meanwhile.

    Parameters
    ----------
    force : bool
        Whether an existing file may be replaced.

    Yields
    ------
    Path
        In the same folder.

    Raises
    ------
    InputError
        Where the file exists and ``force`` is not given, or its folder cannot be written.
    CouldNotError
        Where the disk does not take it.
    """
    path = Path(path)
    partial: Path | None = None
    try:
        if not force and os.path.lexists(path):
            raise FileExistsError
        partial = _partial_name(path.parent)  # known before it is there: whatever interrupts, it is removed
        os.close(os.open(partial, os.O_CREAT | os.O_EXCL | os.O_WRONLY, 0o666))
        yield partial
        _to_disk(partial)
        _give_name(partial, path, force)
        _to_disk(path.parent)
    except FileExistsError as error:
        raise InputError("exists already", file=path, expected="another name, or --force") from error
    except OSError as error:
        raise _not_written(path, error) from error
    finally:
        if partial is not None:
            partial.unlink(missing_ok=True)


_PARTIAL = re.compile(r"\.wearsim-(\d+)-\w+\.partial")
_LEFT_OVER = 3600.0  # a partial file that nobody has written to for so long, its writer gone, is left over [s]
_DISK = (errno.ENOSPC, errno.EDQUOT, errno.EFBIG, errno.EIO)


def _partial_name(folder: Path) -> Path:
    """A name of this process in a folder that nobody can guess; what dead processes left there is swept away."""
    for old in folder.glob(".wearsim-*.partial"):
        found = _PARTIAL.fullmatch(old.name)
        with suppress(OSError):
            if found and time.time() - old.lstat().st_mtime > _LEFT_OVER and not _is_alive(int(found[1])):
                old.unlink()
    return folder / f".wearsim-{os.getpid()}-{secrets.token_hex(12)}.partial"


def _is_alive(process: int) -> bool:
    try:
        os.kill(process, 0)
    except ProcessLookupError:
        return False
    except OSError:
        return True
    return True


def _give_name(partial: Path, path: Path, force: bool) -> None:
    """Rename; without ``force`` only where nothing has the name, which two runs cannot both find."""
    if force:
        partial.replace(path)
        return
    try:
        os.link(partial, path)
    except FileExistsError:
        raise
    except OSError:  # a file system without links
        if os.path.lexists(path):
            raise FileExistsError from None
        partial.replace(path)


def _to_disk(path: Path) -> None:
    """Force a file, or a folder's entries, down to the disk."""
    handle = os.open(path, os.O_RDONLY)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)


def _not_written(path: Path, error: OSError) -> WearsimError:
    """The one line for a file that could not be written: a fault of the disk, or of the name."""
    why = error.strerror or str(error)
    if error.errno in _DISK:
        return CouldNotError(f"{path}: cannot be written ({why}); nothing of it is there")
    return InputError(f"cannot be written ({why})", file=path)


def provenance(**more: Any) -> dict[str, Any]:
    """Who wrote a file, when and with what."""
    import numba
    import scipy

    return {
        "creator": f"wearsim {wearsim.__version__}",
        "written_utc": datetime.now(UTC).isoformat(timespec="seconds"),
        "python": platform.python_version(),
        "libraries": f"numpy {np.__version__}, scipy {scipy.__version__}, numba {numba.__version__}, "
        f"h5py {h5py.__version__}",
        **more,
    }


def digest(text: str) -> str:
    """SHA-256 of a text."""
    return hashlib.sha256(text.encode()).hexdigest()


def write_outcome(outcome: Outcome, path: str | Path, *, seed: int = 0, force: bool = False) -> None:
    """Write an outcome with everything needed to understand it.

    Parameters
    ----------
    outcome : Outcome
    path : str or Path
    seed : int
        That it was computed with.
    force : bool
        Whether an existing file may be replaced.

    Raises
    ------
    InputError
        Where the file exists already or cannot be written.
    """
    with whole_file(Path(path), force=force) as partial, new_hdf5(partial, libver=LAYOUT) as (file, _):
        file.attrs["format"] = FORMAT
        file.attrs["format_version"] = VERSION
        about = provenance(
            seed=seed, engine=outcome.engine, warnings=list(outcome.warnings), no_band=outcome.no_band,
            bench_toml=outcome.bench_text, programme_toml=outcome.programme_text,
            bench_sha256=digest(outcome.bench_text), programme_sha256=digest(outcome.programme_text),
            peak_pressure=outcome.peak_pressure, lift_off_share=outcome.lift_off_share,
        )  # fmt: skip
        file.attrs.update(about)
        scale(file, "radius", outcome.radius, "m", "radius on the mirror")
        scale(file, "stage", np.arange(len(outcome.stages)), "1", "spells done")
        _write_all(file, PROFILES, vars(outcome))
        for name in ("numbers_before", "numbers"):
            file.create_group(name).attrs.update(asdict(getattr(outcome, name)))
        _write_spells(file, outcome)
        _write_band(file, outcome.band)
        _write_laps(file, outcome)
        write_maps(file.create_group("maps"), outcome.maps)
        file.create_group("details").attrs.update(outcome.details)
        seal(file)


def _write_all(group: h5py.Group, table: Mapping[str, OutcomeField], values: Mapping[str, Any]) -> None:
    """The quantities of a table that are there, each with its unit and its words."""
    for name, one in table.items():
        if values[name] is not None:
            data(group, name, values[name], one.unit, one.text, one.dimensions)


def _write_spells(file: h5py.File, outcome: Outcome) -> None:
    group = file.create_group("spells")
    group.attrs["label"] = [spell.label for spell in outcome.spells]
    scale(group, "spell", np.arange(1, len(outcome.spells) + 1), "1", "number of the spell")
    columns = {name: np.array([getattr(spell, name) for spell in outcome.spells], float) for name in SPELL_NUMBERS}
    _write_all(group, SPELL_NUMBERS, columns)


def _write_band(file: h5py.File, band: Band | None) -> None:
    if band is None:
        return
    group = file.create_group("band")
    group.attrs["draws"], group.attrs["failed"] = band.draws, band.failed
    scale(group, "percentile", np.array(NINE_IN_TEN), "1", "percentile over the draws")
    _write_all(group, {**BANDS, **SPELL_BANDS}, vars(band))
    for when, numbers in (("", band.numbers), ("before_", band.numbers_before)):
        for name, ends in numbers.items():
            words = f"{FIGURE_NUMBERS[name].text} {'before' if when else 'after'}"
            data(group, when + name, ends, FIGURE_NUMBERS[name].unit, words, ("percentile",))
    group.create_group("details").attrs.update(band.details)


def _write_laps(file: h5py.File, outcome: Outcome) -> None:
    laps = file.create_group("laps")
    for name, radius in outcome.pitch_radius.items():
        group = laps.create_group(link_of(name))
        scale(group, "pitch_radius", radius, "m", "radius on the lap")
        height = outcome.pitch_height[name]
        data(group, "pitch_height", height, "m", "pitch after, above the reference sphere", ("pitch_radius",))


def read_outcome(path: str | Path) -> Outcome:
    """Read an outcome back.

    Parameters
    ----------
    path : str or Path

    Returns
    -------
    Outcome
        Equal to the one that was written.

    Raises
    ------
    StoreError
        Where the file is missing, damaged, of a newer version or not an outcome.
    """
    path = Path(path)
    if not is_ordinary(path):
        raise StoreError("no such file", file=path, expected="a file written by wearsim")
    try:
        with h5py.File(path, "r") as file:
            return _read(file, path)
    except DAMAGE as error:
        raise StoreError("damaged, or not an HDF5 file", file=path, expected="a file written by wearsim") from error


def _read(file: h5py.File, path: Path) -> Outcome:
    attributes = file.attrs
    if attributes.get("format") != FORMAT:
        raise StoreError("not an outcome", file=path, value=attributes.get("format"), expected=FORMAT)
    if int(attributes["format_version"]) > VERSION:
        raise StoreError(
            "written by a newer wearsim", file=path, value=int(attributes["format_version"]),
            expected=f"format version up to {VERSION}",
        )  # fmt: skip
    if int(attributes["format_version"]) > 2:
        check_seal(file)
    laps = file["laps"]
    return Outcome(
        engine=str(attributes["engine"]),
        radius=file["radius"][()],
        **{name: file[name][()] for name in PROFILES},
        numbers_before=_read_numbers(file, "numbers_before", "before"),
        numbers=_read_numbers(file, "numbers", "figure_error"),
        pitch_radius={unquote(link): laps[link]["pitch_radius"][()] for link in laps},
        pitch_height={unquote(link): laps[link]["pitch_height"][()] for link in laps},
        spells=_read_spells(file),
        peak_pressure=float(attributes["peak_pressure"]),
        lift_off_share=float(attributes["lift_off_share"]),
        band=_read_band(file),
        no_band=str(attributes.get("no_band", "")),
        warnings=tuple(map(str, attributes["warnings"])),
        maps=read_maps(file["maps"]),
        details=_floats(file["details"]),
        bench_text=str(attributes["bench_toml"]),
        programme_text=str(attributes["programme_toml"]),
    )


def _floats(group: h5py.Group) -> dict[str, float]:
    return {name: float(value) for name, value in group.attrs.items()}


def _read_numbers(file: h5py.File, name: str, profile: str) -> FigureNumbers:
    """A figure's numbers; the rim's, which older files lack, are taken from the profile."""
    found = _floats(file[name])
    if "rim_height" not in found:
        gauge, error = _gauge(file), file[profile][()]
        found |= {"rim_height": gauge.rim_height(error), "rim_width": gauge.rim_width(error)}
    return FigureNumbers(**found)


def _gauge(file: h5py.File) -> FigureGauge:
    radius = file["radius"][()]
    return FigureGauge(radius, _mirror_of(file, radius).geometry, Light().wavelength)


def _mirror_of(file: h5py.File, radius: Floats) -> Mirror:
    """The mirror as its bench states it; of a bench that was built in Python one of this size, its rim the default."""
    table = tomllib.loads(str(file.attrs["bench_toml"]))
    if "mirror" in table:
        return read_table(Mirror, table["mirror"], "mirror", None)
    across = 2.0 * float(radius[-1])
    return Mirror(diameter=across, radius_of_curvature=100.0 * across, thickness=across, hole=2.0 * float(radius[0]))


def _read_spells(file: h5py.File) -> tuple[SpellSummary, ...]:
    """Every spell; the rim's numbers, which older files lack, are taken from the profiles after it."""
    group = file["spells"]
    columns = {name: group[name][()] for name in SPELL_NUMBERS if name in group}
    if "rim_height" not in columns:
        gauge, stages = _gauge(file), file["stages"][1:]
        columns |= {name: [getattr(gauge, name)(one) for one in stages] for name in ("rim_height", "rim_width")}
    return tuple(
        SpellSummary(label=str(label), **{name: float(values[i]) for name, values in columns.items()})
        for i, label in enumerate(group.attrs["label"])
    )


def _read_band(file: h5py.File) -> Band | None:
    if "band" not in file:
        return None
    group = file["band"]

    def numbers(when: str) -> dict[str, Floats]:
        return {name: group[when + name][()] for name in FIGURE_NUMBERS if when + name in group}

    return Band(
        numbers=numbers(""),
        numbers_before=numbers("before_"),
        draws=int(group.attrs["draws"]),
        failed=int(group.attrs["failed"]),
        **{name: group[name][()] for name in (*BANDS, *SPELL_BANDS) if name in group},
        details=dict(group["details"].attrs.items()) if "details" in group else {},
    )
