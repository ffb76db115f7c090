"""A session into a mirror's folder, and a new folder for a mirror: whole or not at all (:mod:`.whole_writes`)."""

from __future__ import annotations

import re
from contextlib import suppress
from pathlib import Path

from wearsim.bench.input_errors import read_text
from wearsim.bench.profile import Profile
from wearsim.bench.programme import Programme
from wearsim.bench.toml_io import dump_programme, load_programme
from wearsim.errors import InputError
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
from wearsim.learn.record_seal import sealed
from wearsim.learn.whole_writes import free_name, hidden, install, open_to_write

_NAME = re.compile(r"[\w][\w .,+-]{0,59}\Z")


def record(
    folder: str | Path, programme: str | Path | Programme, *, note: SessionNote, readings: str | Path | None = None,
    profile: str | Path | None = None,
) -> Session:  # fmt: skip
    """Add a session to a mirror's folder.

    Parameters
    ----------
    folder : str or Path
        The mirror's folder.
    programme : str, Path or Programme
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
    mirror = open_to_write(folder)
    number = len(mirror.sessions) + 1
    check_day(mirror, number, note)
    texts = checked_texts(mirror, programme, readings, profile, note)
    name = session_name(number)
    faster = "another session was recorded in the meantime; record this one again as the next session"
    install(hidden(mirror.path, name), mirror.path / name, sealed(mirror, number, texts), faster)
    return open_folder(folder).sessions[number - 1]


def check_day(mirror: MirrorFolder, number: int, note: SessionNote) -> None:
    """Sessions follow each other, each begins on what the one before it left; InputError for a day that is out of order."""
    before, after = mirror.sessions[: number - 1], mirror.sessions[number:]
    if before and note.date < before[-1].note.date:
        other, message, expected = before[-1], "before", "that date or later"
    elif after and note.date > after[0].note.date:
        other, message, expected = after[0], "after", "that date or earlier"
    else:
        return
    raise InputError(
        f"{message} session {other.number}, which is dated {other.note.date}", key="date", value=str(note.date),
        expected=f"{expected}: sessions are recorded in the order of the work (a wrong date in "
        f"{other.path / SESSION} can be corrected there)",
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
    with suppress(InputError):  # a sheet that holds nothing yet; the session is recorded all the same
        if bench.figure.kind != "map" and first is not None and _numbers(load_measurement(first, bench)) == numbers:
            return "before the first session"
    return None


def _numbers(measurement: Readings | Profile) -> list[list[float]]:
    """Every number that a measurement gives [m]: of a sheet its rows, of a profile its columns."""
    if isinstance(measurement, Profile):
        return [measurement.radius.tolist(), measurement.error.tolist()]
    zones = measurement.zones
    return [zones.inner.tolist(), zones.outer.tolist(), *measurement.positions.tolist()]


def checked_texts(
    mirror: MirrorFolder, programme: str | Path | Programme, readings: str | Path | None, profile: str | Path | None,
    note: SessionNote,
) -> dict[str, str]:  # fmt: skip
    """What each file of a session will hold, everything checked; InputError for the first fault."""
    if (readings is None) == (profile is None):
        came = "both readings and a profile given" if readings is not None else "neither readings nor a profile given"
        raise InputError(came, expected="either readings or a profile")
    worked = _worked(mirror, programme)
    measured = Path(readings if readings is not None else profile)  # type: ignore[arg-type]
    name = READINGS if readings is not None else PROFILE
    if (measured.suffix.lower() == ".csv") != (name == PROFILE):
        expected = "a .csv file" if name == PROFILE else "a .toml file"
        raise InputError(f"wrong extension for a {name.partition('.')[0]} file", file=measured, expected=expected)
    load_measurement(measured, mirror.bench)
    note.bench_for(mirror.bench)
    return {PROGRAMME: worked, name: read_text(measured), SESSION: dump_note(note)}


def _worked(mirror: MirrorFolder, programme: str | Path | Programme) -> str:
    """Text of what was worked, checked on the mirror's bench."""
    if not isinstance(programme, Programme):
        return load_programme(programme, mirror.bench).text
    return programme.check_on(mirror.bench).text or dump_programme(programme)


def folder_name(text: str) -> str:
    """The name of a mirror's folder, as it was typed; InputError where it is none that every system takes."""
    name = text.strip()
    if not _NAME.match(name) or name.endswith("."):
        raise InputError("not a name", key="name", value=name, expected="letters, digits, spaces and -")
    return name


def free_folder_name(place: Path, name: str = "my-mirror") -> str:
    """A name for a folder that is not there yet: this one, or with a number behind it."""
    return name if not (place / name).exists() else free_name(place, f"{name}-", 2).name


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
        Where it already exists.
    CouldNotError
        Where the disc refuses.
    """
    place = Path(path)
    if place.exists():
        raise InputError("already exists", file=place, expected="the name of a new folder")
    if not place.parent.is_dir():
        raise InputError("the folder does not exist", file=place, expected="a path in an existing folder")
    texts = {BENCH: bench_text, **files, **({} if practice is None else {PRACTICE: practice})}
    install(hidden(place.parent, place.name), place, texts, "another program created it in the meantime")
    return place
