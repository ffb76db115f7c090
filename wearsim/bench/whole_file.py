"""Files that are there whole or not at all, and the digest by which a text is known again."""

from __future__ import annotations

import errno
import hashlib
import os
import re
import secrets
import time
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path

from wearsim.errors import CouldNotError, InputError, WearsimError


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
        to_disk(partial)
        _give_name(partial, path, force)
        to_disk(path.parent)
    except FileExistsError as error:
        raise InputError("already exists", file=path, expected="another name, or --force") from error
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


def to_disk(path: Path) -> None:
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
        return CouldNotError(f"{path}: cannot be written ({why}); nothing was written")
    return InputError(f"cannot be written ({why})", file=path)


def digest(text: str) -> str:
    """SHA-256 of a text."""
    return hashlib.sha256(text.encode()).hexdigest()
