"""``wearsim record``: what was done, and what came of it?"""

from __future__ import annotations

from datetime import date
from enum import StrEnum
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from wearsim.cli import completion as ready
from wearsim.cli.inputs import FolderPath, Waited, by_flag, tell_waiting
from wearsim.cli.options import JsonOutput, Manners
from wearsim.errors import InputError

if TYPE_CHECKING:
    from wearsim.learn.folder import Session, SessionNote

NAME = "record"
EXAMPLE = "wearsim record my-mirror --programme done.toml --readings after.toml"


class LapStart(StrEnum):
    """How the lap began the session."""

    as_left = "as left"
    pressed = "pressed"
    spherical = "spherical"


Done = Annotated[
    Path,
    typer.Option("--programme", "-p", metavar="FILE", help="What was really done: programme.toml.", show_default=False),
]
After = Annotated[Path | None, typer.Option("--readings", "-r", metavar="FILE", help="Read afterwards: readings.toml.")]
Profile = Annotated[Path | None, typer.Option("--profile", metavar="FILE", help="Or measured afterwards: profile.csv.")]
Temperature = Annotated[
    str | None, typer.Option("--temperature", metavar="T", help='Of the room, such as "18 degC" or "65 degF".')
]
Abrasive = Annotated[
    str | None, typer.Option("--abrasive", metavar="NAME", help="If not the bench's.", autocompletion=ready.abrasives)
]
Lap = Annotated[LapStart | None, typer.Option("--lap", help="How the lap began; as left, if not said.")]
Notes = Annotated[str, typer.Option("--notes", metavar="TEXT", help="Whatever is worth remembering.")]
Day = Annotated[str | None, typer.Option("--date", metavar="DAY", help="Such as 2026-01-31; today, if not said.")]


def command(
    folder: FolderPath, manners: Manners, programme: Done, readings: After = None, profile: Profile = None,
    temperature: Temperature = None, abrasive: Abrasive = None, lap: Lap = None, waited: Waited = None,
    notes: Notes = "", day: Day = None, output: JsonOutput = None,
) -> None:  # fmt: skip
    """Add a session to a mirror's folder.

    What was done, and what was read or measured after it. The session is there whole or not at all; sessions
    recorded before are never changed.
    """
    manners.reserve({output: (".json",)}, inputs=[folder, programme, *(path for path in (readings, profile) if path)])
    from wearsim.learn.folder import open_folder
    from wearsim.learn.record import record, same_as
    from wearsim.show.text import paragraph

    said = {"temperature": temperature, "abrasive": abrasive, "lap": lap and lap.value, "waited": waited}
    note = _note(day, said, notes)
    try:
        session = record(folder, programme, note=note, readings=readings, profile=profile)
    except InputError as error:
        raise by_flag(error, {"date": "--date"}) from error
    there = open_folder(folder)
    tell_waiting(manners.voice, there.bench, note.waited)
    twin = same_as(there, session)
    if twin is not None:
        manners.voice.warn(
            f"the same numbers as measured {twin}: was this session recorded twice, or the wrong file given? "
            f"To take it back, delete the folder {session.path}."
        )
    manners.deliver(
        lambda: _payload(session),
        table=lambda: paragraph(
            f"Session {session.number} recorded in {session.path}: {session.minutes:g} minutes of work, "
            f"{session.note.date}."
        ),
        figure=lambda: _figure(folder, manners.seed),
        write=lambda: manners.write_json(_payload(session), output),
    )
    manners.voice.next("calibrate", folder)


def _note(day: str | None, said: dict[str, str | None], notes: str) -> SessionNote:
    from wearsim.learn.folder import note_from_table

    try:
        on = date.today() if day is None else date.fromisoformat(day)
    except ValueError as error:
        raise InputError("not a day", key="--date", value=day, expected="such as 2026-01-31") from error
    if on > date.today():
        expected = f"a day up to today, {date.today()} by this computer's clock"
        raise InputError("in the future", key="--date", value=str(on), expected=expected)
    table = {key: value for key, value in said.items() if value is not None}
    return note_from_table({"date": on, "notes": notes, **table})


def _payload(session: Session) -> dict[str, Any]:
    return {
        "number": session.number,
        "folder": str(session.path),
        "date": session.note.date.isoformat(),
        "worked_s": 60.0 * session.minutes,
        "waited_s": session.note.waited,
    }


def _figure(folder: Path, seed: int) -> Any:
    from wearsim.bench.units import length_unit
    from wearsim.learn.folder import open_folder
    from wearsim.learn.history import history
    from wearsim.show.history import history_figure

    there = open_folder(folder)
    return history_figure(history(there, seed=seed), there.bench.mirror, length_unit(there.bench))
