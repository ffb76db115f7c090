"""HDF5 files that say all about themselves: provenance, units on every dataset, a seal over all of it.

The seal (:func:`seal`) is a digest of everything that a file says, kept in the file itself. HDF5's own check sums see
a flipped bit of a number, but neither one in a text nor a number that was written over; the seal sees all of them.

Where a write fails inside the HDF5 library it cannot close its file, and the process may crash much later. So it
writes through :class:`ReliableFile`: what the disk does not take is held in memory, the library closes in good order,
and the error is raised afterwards. The same with Ctrl-C: where it comes while the library calls back into Python it is
lost or turns into another error, so it is held until the file is closed. :func:`new_hdf5` does both; whoever writes for
long asks :attr:`ReliableFile.is_given_up` between its parts and stops early.
"""

from __future__ import annotations

import hashlib
import io
import os
import platform
import signal
import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import h5py
import numpy as np

import wearsim

LAYOUT = ("v110", "v110")
"""Since HDF5 1.10 (2016): headers carry check sums, so that damage is not taken for structure."""
SEAL = "content_sha256"
DAMAGE = (OSError, LookupError, RuntimeError, ValueError, TypeError, AttributeError, ArithmeticError, MemoryError)
"""What h5py raises where bytes are not what they were."""
# The library's own notes of which dataset is a scale of which: the names of the scales show it instead.
_OF_SCALES = ("CLASS", "NAME", "DIMENSION_LIST", "REFERENCE_LIST", "_Netcdf4Dimid", "_Netcdf4Coordinates")
_SLAB = 4_000_000  # values that are looked at together


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


def link_of(name: str) -> str:
    """A name as HDF5 can link to it, whatever a person called a lap: a slash would begin a group. ``unquote`` undoes it."""
    link = name.replace("%", "%25").replace("/", "%2F")
    return "%2E" if link == "." else link


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
