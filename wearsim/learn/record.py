"""A session into a mirror's folder: whole or not at all, whatever happens meanwhile.

The session is written into a folder of its own under a hidden name inside the mirror's folder, every file forced
to the disc, and that folder then renamed to its number: a rename is one step of the file system. A record that is
killed leaves at most a hidden folder, which nothing reads and which a record a day later clears away.
"""

from __future__ import annotations

import errno
import os
import shutil
import time
from pathlib import Path

from wearsim.bench.input_errors import read_text
from wearsim.bench.profile import Profile
from wearsim.bench.toml_io import load_programme
from wearsim.errors import CouldNotError, InputError
from wearsim.knifeedge.readings import Readings
from wearsim.learn.mirror_folder import (
    BENCH,
    PRACTICE,
    PROFILE,
    PROGRAMME,
    READINGS,
    SESSION,
    MirrorFolder,
    Session,
    SessionNote,
    dump_note,
    load_measurement,
    open_folder,
    session_name,
)

PARTIAL = ".being-recorded-"
STALE = 86_400.0
"""Age after which a hidden folder is left over from a record that died [s]."""


def record(
    folder: str | Path, programme: str | Path, *, note: SessionNote, readings: str | Path | None = None,
    profile: str | Path | None = None,
) -> Session:  # fmt: skip
    """Add a session to a mirror's folder.

    Parameters
    ----------
    folder : str or Path
        The mirror's folder.
    programme : str or Path
        What was done; its text is kept as it stands.
    note : SessionNote
        Date, temperature, abrasive, how the lap began, notes.
    readings, profile : str or Path, optional
        What was read afterwards: exactly one of them; kept as it stands.

    Returns
    -------
    Session
        As it now lies in the folder.

    Raises
    ------
    InputError
        A folder or file that cannot be used, or a day before that of the newest session; nothing is written then.
    CouldNotError
        Where the disc refuses, or another record was faster; nothing of this session is there then.
    """
    mirror = open_folder(folder)
    number = len(mirror.sessions) + 1
    _check_day(mirror, note)
    texts = _texts(mirror, Path(programme), readings, profile, note)
    _clear_stale(mirror.path)
    name = session_name(number)
    partial = mirror.path / f"{PARTIAL}{name}-{os.getpid()}-{time.monotonic_ns()}"
    _install(partial, mirror.path / name, texts, "another record was faster; record again for the session after it")
    return open_folder(folder).sessions[number - 1]


def _check_day(mirror: MirrorFolder, note: SessionNote) -> None:
    """Sessions follow each other: each begins on what the one before it left."""
    newest = mirror.sessions[-1] if mirror.sessions else None
    if newest is not None and note.date < newest.note.date:
        raise InputError(
            f"before session {newest.number}, which is dated {newest.note.date}", key="date", value=str(note.date),
            expected=f"a day from then on: sessions are recorded in the order they were worked (a wrong day in "
            f"{newest.path / SESSION} may be put right there)",
        )  # fmt: skip


def repeated_measurement(mirror: MirrorFolder, session: Session) -> str | None:
    """What was measured before and is, number for number, the same as after a session; None where nothing is.

    Parameters
    ----------
    mirror : MirrorFolder
        With the session in it.

    Returns
    -------
    str or None
        In words: ``"after session 2"``, or ``"before the first session"``.
    """
    numbers, bench = _numbers(session.measurement), mirror.bench
    for one in reversed(mirror.sessions[: session.number - 1]):
        if _numbers(one.measurement) == numbers:
            return f"after session {one.number}"
    first = bench.figure.path
    if bench.figure.kind != "map" and first is not None and _numbers(load_measurement(first, bench)) == numbers:
        return "before the first session"
    return None


def _numbers(measurement: Readings | Profile) -> list[list[float]]:
    """Every number that a measurement gives [m]: of a sheet its rows, of a profile its columns."""
    if isinstance(measurement, Profile):
        return [measurement.radius.tolist(), measurement.error.tolist()]
    zones = measurement.zones
    return [zones.inner.tolist(), zones.outer.tolist(), *measurement.positions.tolist()]


def _texts(
    mirror: MirrorFolder, programme: Path, readings: str | Path | None, profile: str | Path | None, note: SessionNote
) -> dict[str, str]:
    """What each file of the session will hold, everything checked."""
    if (readings is None) == (profile is None):
        came = "both" if readings is not None else "neither"
        raise InputError("what was read after the session", value=came, expected="either readings or a profile")
    load_programme(programme, mirror.bench)
    measured = Path(readings if readings is not None else profile)  # type: ignore[arg-type]
    name = READINGS if readings is not None else PROFILE
    if (measured.suffix.lower() == ".csv") != (name == PROFILE):
        expected = "a .csv file" if name == PROFILE else "a .toml file"
        raise InputError(f"not a {name.partition('.')[0]} by its name", file=measured, expected=expected)
    load_measurement(measured, mirror.bench)
    note.bench_for(mirror.bench)
    return {PROGRAMME: read_text(programme), name: read_text(measured), SESSION: dump_note(note)}


def _install(partial: Path, place: Path, texts: dict[str, str], faster: str) -> None:
    """Write a folder under a hidden name and rename it; ``faster`` is said where there is one of its name by then."""
    try:
        _write_whole(partial, texts)
        if place.exists():  # the rename would replace an empty folder
            raise FileExistsError(errno.EEXIST, "exists", str(place))
        partial.rename(place)
        _fsync_folder(place.parent)
    except OSError as error:
        shutil.rmtree(partial, ignore_errors=True)
        exists = error.errno in (errno.EEXIST, errno.ENOTEMPTY)
        reason = faster if exists else f"cannot be written ({error.strerror or error})"
        raise CouldNotError(f"{place}: {reason}") from error


def _write_whole(partial: Path, texts: dict[str, str]) -> None:
    partial.mkdir()
    for name, text in texts.items():
        with (partial / name).open("w", encoding="utf-8", newline="\n") as stream:
            stream.write(text)
            stream.flush()
            os.fsync(stream.fileno())
    _fsync_folder(partial)


def _fsync_folder(folder: Path) -> None:
    """Force a folder's entries to the disc."""
    handle = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)


def _clear_stale(folder: Path) -> None:
    """Clear away what records that died a day or more ago left."""
    for partial in folder.glob(f"{PARTIAL}*"):
        try:
            if time.time() - partial.stat().st_mtime > STALE:
                shutil.rmtree(partial, ignore_errors=True)
        except FileNotFoundError:
            continue


def create_folder(path: str | Path, bench_text: str, files: dict[str, str], practice: str | None = None) -> Path:
    """Make a mirror's folder, whole or not at all.

    Parameters
    ----------
    path : str or Path
        Must not exist yet.
    bench_text : str
        Its ``bench.toml``.
    files : dict of str to str
        More files, such as the measurement that the bench names.
    practice : str, optional
        Text of ``practice.toml``: what says that the mirror is simulated.

    Raises
    ------
    InputError
        Where it exists already.
    CouldNotError
        Where the disc refuses.
    """
    place = Path(path)
    if place.exists():
        raise InputError("exists already", file=place, expected="the name of a new folder")
    if not place.parent.is_dir():
        raise InputError("its folder is missing", file=place, expected="a name in a folder that is there")
    texts = {BENCH: bench_text, **files, **({} if practice is None else {PRACTICE: practice})}
    _install(place.with_name(f"{PARTIAL}{place.name}-{os.getpid()}"), place, texts, "made by another meanwhile")
    return place
