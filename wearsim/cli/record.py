"""``wearsim record``: what was done, and what came of it?"""

from __future__ import annotations

from datetime import date
from enum import StrEnum
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from wearsim.cli import completion, inputs
from wearsim.cli.history import history_of, plot_of
from wearsim.cli.options import FolderPath, JsonOutput, Options, Waited
from wearsim.errors import InputError

if TYPE_CHECKING:
    from wearsim.learn.mirror_folder import SessionNote

NAME = "record"
EXAMPLE = "wearsim record my-mirror --programme done.toml --readings after.toml"


class LapStartChoice(StrEnum):
    """How the lap began the session."""

    as_left = "as left"
    pressed = "pressed"
    spherical = "spherical"


Done = Annotated[
    Path,
    typer.Option("--programme", "-p", metavar="FILE", help="What was really done: programme.toml.", show_default=False),
]
After = Annotated[Path | None, typer.Option("--readings", "-r", metavar="FILE", help="Read afterwards: readings.toml.")]
ProfileOption = Annotated[
    Path | None, typer.Option("--profile", metavar="FILE", help="Or measured afterwards: profile.csv.")
]
TemperatureOption = Annotated[
    str | None, typer.Option("--temperature", metavar="T", help='Of the room, such as "18 degC" or "65 degF".')
]
AbrasiveOption = Annotated[
    str | None,
    typer.Option("--abrasive", metavar="NAME", help="If not the bench's.", autocompletion=completion.abrasives),
]
LapOption = Annotated[LapStartChoice | None, typer.Option("--lap", help="How the lap began; as left, if not said.")]
Notes = Annotated[str, typer.Option("--notes", metavar="TEXT", help="Whatever is worth remembering.")]
Day = Annotated[str | None, typer.Option("--date", metavar="DAY", help="Such as 2026-01-31; today, if not said.")]


def command(
    folder: FolderPath, options: Options, programme: Done, readings: After = None, profile: ProfileOption = None,
    temperature: TemperatureOption = None, abrasive: AbrasiveOption = None, lap: LapOption = None, waited: Waited = None,
    notes: Notes = "", day: Day = None, output: JsonOutput = None,
) -> None:  # fmt: skip
    """Add a session to a mirror's folder.

    What was done, and what was read or measured after it. The session is there whole or not at all; sessions
    recorded before are never changed.
    """
    options.reserve({output: (".json",)}, inputs=[folder, programme, readings, profile])
    from wearsim.learn.mirror_folder import open_folder
    from wearsim.learn.record import record, repeated_measurement
    from wearsim.show.text import paragraph

    given = {"temperature": temperature, "abrasive": abrasive, "lap": lap and lap.value, "waited": waited}
    note = _note(day, given, notes)
    try:
        session = record(folder, programme, note=note, readings=readings, profile=profile)
    except InputError as error:
        raise inputs.by_flag(error, {"date": "--date"}) from error
    mirror, messages = open_folder(folder), options.messages
    messages.waiting(mirror.bench, note.waited)
    repeated = repeated_measurement(mirror, session)
    if repeated is not None:
        messages.warn(
            f"the same numbers as measured {repeated}: was this session recorded twice, or the wrong file given? "
            f"To take it back, delete the folder {session.path}."
        )
    number, path, minutes, on = session.number, session.path, session.minutes, session.note.date
    options.deliver(
        lambda: {
            "number": number, "folder": str(path), "date": on.isoformat(), "worked_s": 60.0 * minutes,
            "waited_s": session.note.waited,
        },
        table=lambda: paragraph(f"Session {number} recorded in {path}: {minutes:g} minutes of work, {on}."),
        figure=lambda: plot_of(mirror, history_of(mirror, messages, options.seed)),
        json_file=output,
        done=f"session {number} is recorded in {path}; do not record it again",
    )  # fmt: skip
    messages.next("calibrate", folder)


def _note(day: str | None, given: dict[str, str | None], notes: str) -> SessionNote:
    from wearsim.learn.mirror_folder import note_from_table

    try:
        on = date.today() if day is None else date.fromisoformat(day)
    except ValueError as error:
        raise InputError("not a day", key="--date", value=day, expected="such as 2026-01-31") from error
    if on > date.today():
        expected = f"a day up to today, {date.today()} by this computer's clock"
        raise InputError("in the future", key="--date", value=str(on), expected=expected)
    table: dict[str, Any] = {key: value for key, value in given.items() if value is not None}
    return note_from_table({"date": on, "notes": notes, **table})
