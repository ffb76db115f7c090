"""Sessions and corrections of them as they are typed: plain data in, and in words what was done."""

from __future__ import annotations

from datetime import date
from pathlib import Path
from typing import Any

from wearsim.bench.personal_units import room_temperature, temperature_unit
from wearsim.bench.toml_io import programme_from_text
from wearsim.bench.units import with_unit
from wearsim.errors import InputError
from wearsim.learn.corrections import Correction, replace_record, restore, session_of, set_last_aside
from wearsim.learn.mirror_folder import note_from_table, open_folder
from wearsim.learn.proposal_file import with_minutes
from wearsim.learn.record import record, repeated_measurement
from wearsim.learn.typed_readings import typed_file


def keep_session(
    path: Path, programme: str, minutes: list[float], rows: list[list[str]], source: str, conditions: dict[str, Any]
) -> dict[str, Any]:
    """Record a session and the readings after it; a plain number of the conditions has the unit usual for it."""
    folder = open_folder(path)
    given, unit = dict(conditions), temperature_unit(folder.bench)
    given |= {key: with_unit(given[key], "s", "min") for key in {"pressed"} & set(given)}
    given |= {key: room_temperature(given[key], unit) for key in {"temperature"} & set(given)}
    note = note_from_table({"date": date.today(), **given})
    done = with_minutes(programme_from_text(programme, folder.bench), minutes, "From the page")
    with typed_file(folder, rows, source) as readings:
        session = record(path, done, note=note, readings=readings)
    repeated = repeated_measurement(open_folder(path), session)
    return {"number": session.number, "minutes": session.minutes, "repeated": repeated or ""}


def correct_readings(path: Path, number: int, rows: list[list[str]], source: str) -> str:
    """Put other readings into a session's record; what was done, in words. The earlier record is kept."""
    with typed_file(open_folder(path), rows, source) as readings:
        return _corrected(replace_record(path, number, readings=readings))


def correct_record(path: Path, number: int, minutes: list[float], notes: str) -> str:
    """The same with other minutes and notes."""
    session = session_of(open_folder(path), number)
    done = with_minutes(session.programme, minutes, "As recorded before")
    note = session.note.model_copy(update={"notes": notes})
    return _corrected(replace_record(path, number, programme=done, note=note))


def _corrected(correction: Correction) -> str:
    return f"Session {correction.session.number} is corrected; the earlier record is kept."


def set_aside(path: Path, number: int) -> str:
    """Let the last session count for nothing, if it is the one that was meant."""
    if len(open_folder(path).sessions) != number:
        raise InputError("not the last session", key="session", value=number, expected="the last one")
    return f"Session {set_last_aside(path).number} is set aside. It can be restored."


def bring_back(path: Path, name: str) -> str:
    """Let a record that is kept count again."""
    return f"Session {restore(path, name).session.number} is as it was recorded then."
