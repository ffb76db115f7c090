"""A file that a full disk cannot make HDF5 stumble over.

Where a write fails inside the HDF5 library it cannot close its file, and the process may crash much later. So it
writes through :class:`PatientFile`: what the disk does not take is held in memory, the library closes in good order,
and the error is told afterwards. The writer looks at :attr:`PatientFile.error` between its parts and stops early.
"""

from __future__ import annotations

import io
import os
from pathlib import Path
from typing import Any


class PatientFile(io.RawIOBase):
    """A new file for reading and writing.

    Parameters
    ----------
    path : Path

    Attributes
    ----------
    error : OSError or None
        The first that a write met.
    """

    def __init__(self, path: Path) -> None:
        self._file = path.open("w+b", buffering=0)
        self._held: list[tuple[int, bytes]] = []
        self._place = 0
        self._end = 0
        self.error: OSError | None = None

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
