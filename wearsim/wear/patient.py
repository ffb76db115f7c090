"""A file that a full disk cannot make HDF5 stumble over.

Where a write fails inside the HDF5 library it cannot close its file, and the process may crash much later. So it
writes through :class:`PatientFile`: what the disk does not take is held in memory, the library closes in good order,
and the error is told afterwards. The same with Ctrl-C: where it comes while the library calls back into Python it is lost
or turns into another error, so it is held until the file is closed. :func:`new_hdf5` does both; whoever writes for
long looks at :attr:`PatientFile.gives_up` between its parts and stops early.
"""

from __future__ import annotations

import io
import os
import signal
import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import h5py


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
def new_hdf5(path: Path, **options: Any) -> Iterator[tuple[h5py.File, PatientFile]]:
    """A new HDF5 file that neither a full disk nor Ctrl-C breaks off in the library's midst.

    Parameters
    ----------
    path : Path
    **options
        For :class:`h5py.File`.

    Yields
    ------
    h5py.File, PatientFile
        The file, and what tells whether to stop early.

    Raises
    ------
    OSError
        Once the file is closed: what the disk did not take.
    KeyboardInterrupt
        Once the file is closed.
    """
    with interrupt_held() as interrupted, PatientFile(path, interrupted) as stream:
        with h5py.File(stream, "w", **options) as file:
            yield file, stream
        stream.sync()


class PatientFile(io.RawIOBase):
    """A new file for reading and writing.

    Parameters
    ----------
    path : Path
    interrupted : callable, optional
        Whether the person has asked for an end.

    Attributes
    ----------
    error : OSError or None
        The first that a write met.
    """

    def __init__(self, path: Path, interrupted: Callable[[], bool] = lambda: False) -> None:
        self._interrupted = interrupted
        self._file = path.open("w+b", buffering=0)
        self._held: list[tuple[int, bytes]] = []
        self._place = 0
        self._end = 0
        self.error: OSError | None = None

    @property
    def gives_up(self) -> bool:
        """Whether nothing more need be written: the disk does not take it, or an end was asked for."""
        return self.error is not None or self._interrupted()

    def write(self, data: Any, /) -> int:
        """Write at the present place; what the disk does not take is held."""
        content, done = bytes(data), 0
        try:
            self._file.seek(self._place)
            while done < len(content):
                done += self._file.write(content[done:])
        except OSError as error:
            self.error = self.error or error
            self._held.append((self._place + done, content[done:]))
        self._place += len(content)
        self._end = max(self._end, self._place)
        return len(content)

    def readinto(self, buffer: Any, /) -> int:
        """Read from the present place, what is held included."""
        view = memoryview(buffer).cast("B")
        count = max(0, min(len(view), self._end - self._place))
        self._file.seek(self._place)
        content = bytearray((self._file.read(count) or b"").ljust(count, b"\0"))
        for begin, held in self._held:
            low, high = max(begin, self._place), min(begin + len(held), self._place + count)
            if low < high:
                content[low - self._place : high - self._place] = held[low - begin : high - begin]
        view[:count] = content
        self._place += count
        return count

    def seek(self, offset: int, whence: int = io.SEEK_SET, /) -> int:
        """Go to a place."""
        self._place = {io.SEEK_SET: 0, io.SEEK_CUR: self._place, io.SEEK_END: self._end}[whence] + offset
        return self._place

    def tell(self) -> int:
        """The present place."""
        return self._place

    def truncate(self, size: int | None = None, /) -> int:
        """Let the file end here."""
        self._end = self._place if size is None else size
        try:
            self._file.truncate(self._end)
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
        os.fsync(self._file.fileno())

    def readable(self) -> bool:
        """It is."""
        return True

    def writable(self) -> bool:
        """It is."""
        return True

    def seekable(self) -> bool:
        """It is."""
        return True

    def close(self) -> None:
        """Close the file below."""
        self._file.close()
        super().close()
