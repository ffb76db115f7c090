"""Writing into a mirror's folder: each thing is there whole or not at all, whatever happens meanwhile.

A session is written into a folder of its own under a hidden name inside the mirror's folder, every file forced to the
disc, and that folder then renamed to its number: a rename is one step of the file system. A single file likewise. Who
is killed leaves at most something hidden, which nothing reads and which a record a day later clears away.

A record that replaces another takes three such steps, each of which leaves a folder that reads the same: it is renamed
to ``02-replacement``, and counts from then on; what it replaces is moved into it, as ``earlier-1``; it takes the name
``02``. A replacement that was cut short is finished by whatever writes next (:func:`finish_replacements`).
"""

from __future__ import annotations

import errno
import os
import shutil
import time
from itertools import count
from pathlib import Path

from wearsim.bench.whole_file import to_disk
from wearsim.errors import CouldNotError
from wearsim.learn.mirror_folder import MirrorFolder, open_folder, replacements

PARTIAL = ".being-recorded-"
STALE = 86_400.0
"""Age after which something hidden is left over from a record that died [s]."""
FASTER = "another record was made meanwhile; look at the folder with wearsim history, and repeat it if still needed"


def open_to_write(folder: str | Path) -> MirrorFolder:
    """A mirror's folder before something is written into it: what was cut short is finished, what is stale cleared."""
    mirror = open_folder(folder)
    clear_stale(mirror.path)
    if not replacements(mirror.path):
        return mirror
    finish_replacements(mirror.path)
    return open_folder(folder)


def hidden(folder: Path, name: str) -> Path:
    """A hidden name in a folder, which nobody else has."""
    return folder / f"{PARTIAL}{name}-{os.getpid()}-{time.monotonic_ns()}"


def install(partial: Path, place: Path, texts: dict[str, str], faster: str = FASTER) -> None:
    """Write a folder under a hidden name and rename it; ``faster`` is said where there is one of its name by then."""
    try:
        _write_folder(partial, texts)
        _rename(partial, place)
    except OSError as error:
        shutil.rmtree(partial, ignore_errors=True)
        raise _could_not(error, place, faster) from error


def move(place: Path, to: Path) -> None:
    """Give a folder another name, or another place in the mirror's folder; CouldNotError where the disc refuses."""
    try:
        _rename(place, to)
    except OSError as error:
        raise _could_not(error, to, FASTER, errno.ENOENT) from error


def write_file(folder: Path, place: Path, text: str) -> None:
    """Write a file of a mirror's folder in place of the one of its name, if there is one.

    Parameters
    ----------
    folder : Path
        The mirror's.
    place : Path
        Where the file goes, somewhere in it.

    Raises
    ------
    CouldNotError
        Where the disc refuses; the file is then as it was.
    """
    partial = hidden(folder, place.name)
    try:
        _write(partial, text)
        partial.replace(place)
        to_disk(place.parent)
    except OSError as error:
        partial.unlink(missing_ok=True)
        raise _could_not(error, place, FASTER) from error


def finish_replacements(folder: Path) -> dict[str, Path]:
    """Let records that replace others take their places.

    Returns
    -------
    dict of str to Path
        Name of the session's folder, and where the record that was moved out of it is kept.
    """
    kept = {}
    for name, replacement in replacements(folder).items():
        place = folder / name
        if place.exists():
            earlier = free_name(replacement, "earlier-")
            move(place, earlier)
            kept[name] = place / earlier.name
        move(replacement, place)
    return kept


def free_name(folder: Path, beginning: str, first: int = 1) -> Path:
    """The first name with a number behind it that a folder does not have yet."""
    return next(place for number in count(first) if not (place := folder / f"{beginning}{number}").exists())


def clear_stale(folder: Path) -> None:
    """Clear away what records that died a day or more ago left."""
    for partial in folder.glob(f"{PARTIAL}*"):
        try:
            if time.time() - partial.stat().st_mtime > STALE:
                shutil.rmtree(partial, ignore_errors=True) if partial.is_dir() else partial.unlink()
        except OSError:
            continue


def _could_not(error: OSError, place: Path, faster: str, *also: int) -> CouldNotError:
    """The line for an error of the disc; ``also``: more of its numbers that mean that another record was faster."""
    meanwhile = error.errno in (errno.EEXIST, errno.ENOTEMPTY, *also)
    return CouldNotError(f"{place}: {faster if meanwhile else f'cannot be written ({error.strerror or error})'}")


def _rename(place: Path, to: Path) -> None:
    if to.exists():  # the rename would replace an empty folder
        raise FileExistsError(errno.EEXIST, "exists", str(to))
    place.rename(to)
    for parent in {place.parent, to.parent}:
        to_disk(parent)


def _write_folder(partial: Path, texts: dict[str, str]) -> None:
    partial.mkdir()
    for name, text in texts.items():
        _write(partial / name, text)
    to_disk(partial)


def _write(path: Path, text: str) -> None:
    with path.open("w", encoding="utf-8", newline="\n") as stream:
        stream.write(text)
    to_disk(path)
