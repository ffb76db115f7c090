"""A record put right: replaced, set aside, brought back or confirmed. No record is ever lost.

A session that is set aside becomes ``03-set-aside-1`` and counts for nothing. A record that is replaced moves into the
one that replaces it, ``02/earlier-1``. Both can be brought back. Nothing is deleted, folders are only renamed, so that
whatever else a person has put into them stays with them.
"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from wearsim.bench.input_errors import parse_toml, read_text
from wearsim.bench.profile import Profile
from wearsim.bench.programme import Programme
from wearsim.errors import CouldNotError, InputError
from wearsim.learn.mirror_folder import (
    PROGRAMME,
    SESSION,
    KeptRecord,
    MirrorFolder,
    Session,
    SessionNote,
    dump_note,
    open_folder,
    read_session,
    session_name,
)
from wearsim.learn.record import check_day, checked_texts
from wearsim.learn.record_seal import sealed
from wearsim.learn.whole_writes import finish_replacements, free_name, hidden, install, move, open_to_write, write_file


@dataclass(frozen=True, eq=False)
class Correction:
    """What a correction came to.

    Parameters
    ----------
    session : Session
        As it now lies in the folder.
    kept : Path or None
        Where the record is that it replaces; None where it replaces none.
    """

    session: Session
    kept: Path | None


def replace_record(
    folder: str | Path, number: int, *, programme: str | Path | Programme | None = None,
    readings: str | Path | None = None, profile: str | Path | None = None, note: SessionNote | None = None,
) -> Correction:  # fmt: skip
    """Replace a session's record; what is not given stays as it was recorded, except that it is not confirmed any more.

    Parameters
    ----------
    folder : str or Path
        The mirror's folder.
    number : int
        Of the session, from 1.
    programme : str, Path or Programme, optional
        What was done.
    readings, profile : str or Path, optional
        What was read afterwards: at most one of them.
    note : SessionNote, optional
        The conditions.

    Returns
    -------
    Correction
        The session, and where its earlier record is kept.

    Raises
    ------
    InputError
        A folder, number or file that cannot be used, a day that is out of order; nothing is written then.
    CouldNotError
        Where the disc refuses, or another record was faster; the record is then as it was.
    """
    mirror = open_to_write(folder)
    session = session_of(mirror, number)
    if note is not None and note.date != session.note.date:
        check_day(mirror, number, note)
    if readings is None and profile is None:
        is_profile = isinstance(session.measurement, Profile)
        readings, profile = (None, session.measured) if is_profile else (session.measured, None)
    changed = (note or session.note).model_copy(update={"confirmed": False})
    texts = checked_texts(mirror, programme or session.path / PROGRAMME, readings, profile, changed)
    name = session.path.name
    install(hidden(mirror.path, name), _replacement(session), sealed(mirror, number, texts))
    return _corrected(mirror.path, number, name)


def set_last_aside(folder: str | Path) -> KeptRecord:
    """Set the last session aside: it is kept, and counts for nothing.

    Parameters
    ----------
    folder : str or Path
        The mirror's folder.

    Returns
    -------
    KeptRecord
        Under its other name.

    Raises
    ------
    CouldNotError
        Where there is no session, or the disc refuses.
    """
    mirror = open_to_write(folder)
    if not mirror.sessions:
        raise CouldNotError(f"{mirror.path}: no session is recorded in this folder, so none can be set aside")
    last = mirror.sessions[-1]
    place = free_name(mirror.path, f"{last.path.name}-set-aside-")
    move(last.path, place)
    return KeptRecord(last.number, place, last.note.date, last.minutes)


def restore(folder: str | Path, name: str | Path) -> Correction:
    """Bring a record back that was set aside or replaced; one that is in its place is kept as an earlier one.

    Parameters
    ----------
    folder : str or Path
        The mirror's folder.
    name : str or Path
        Of the record: ``03-set-aside-1``, ``02/earlier-1``; the folder's own name may stand before it.

    Returns
    -------
    Correction
        The session, and where the record is kept whose place it took.

    Raises
    ------
    InputError
        No such record, one that cannot be used, or one with a session missing before it; nothing is changed then.
    CouldNotError
        Where the disc refuses.
    """
    mirror = open_to_write(folder)
    record, sessions = _kept_record(mirror, Path(name)), mirror.sessions
    if record.number > len(sessions) + 1:
        expected = f"restore session {len(sessions) + 1} first"
        raise InputError(f"session {record.number} cannot be restored yet", value=str(name), expected=expected)
    read_session(record.number, record.path, mirror.bench)
    if record.number > len(sessions):
        move(record.path, mirror.path / session_name(record.number))
        return Correction(open_folder(folder).sessions[-1], None)
    session = sessions[record.number - 1]
    move(record.path, _replacement(session))
    return _corrected(mirror.path, record.number, session.path.name)


def confirm(folder: str | Path, number: int) -> Session:
    """Mark a session's record as looked at again and believed.

    Parameters
    ----------
    folder : str or Path
        The mirror's folder.
    number : int
        Of the session, from 1.

    Returns
    -------
    Session
        With ``note.confirmed``.

    Raises
    ------
    InputError
        A folder or number that cannot be used.
    CouldNotError
        Where the disc refuses.
    """
    mirror = open_to_write(folder)
    session = session_of(mirror, number)
    if not session.note.confirmed:
        write_file(mirror.path, session.path / SESSION, _confirmed(session))
    return open_folder(folder).sessions[number - 1]


def session_of(mirror: MirrorFolder, number: int) -> Session:
    """A session by its number; InputError where there is none."""
    count = len(mirror.sessions)
    if not 1 <= number <= count:
        expected = (
            "a session's number; no session is recorded yet" if not count else "1" if count == 1 else f"1 to {count}"
        )
        raise InputError("no such session", key="session", value=number, expected=expected)
    return mirror.sessions[number - 1]


def _confirmed(session: Session) -> str:
    """Its conditions as the person wrote them, one line added."""
    file = session.path / SESSION
    text = read_text(file)
    if "confirmed" in parse_toml(text, file):
        return dump_note(session.note.model_copy(update={"confirmed": True}))
    return f"{text.rstrip()}\nconfirmed = true\n"


def _replacement(session: Session) -> Path:
    return session.path.with_name(f"{session.path.name}-replacement")


def _corrected(folder: Path, number: int, name: str) -> Correction:
    """The session after its replacement has taken its place, put there by us or by whoever writes at the same moment."""
    for is_last in (False, True):
        try:
            kept = finish_replacements(folder).get(name)
            break
        except CouldNotError:
            if is_last:
                raise
    if kept is None:
        kept = max((folder / name).glob("earlier-*"), key=lambda one: int(one.name.rpartition("-")[2]), default=None)
    return Correction(open_folder(folder).sessions[number - 1], kept)


def _kept_record(mirror: MirrorFolder, name: Path) -> KeptRecord:
    """A record that counts for nothing, by its name."""
    kept = [*mirror.set_aside, *(record for session in mirror.sessions for record in session.earlier)]
    for record in kept:
        if name in (record.path, record.path.relative_to(mirror.path)) or name.resolve() == record.path.resolve():
            return record
    names = ", ".join(str(record.path.relative_to(mirror.path)) for record in kept)
    expected = f"one of {names}" if names else "one that history lists; this folder has none"
    raise InputError("no such record is kept", file=mirror.path, value=str(name), expected=expected)
