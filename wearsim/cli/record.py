"""``wearsim record``: what was done, and what came of it? And what was recorded wrong."""

from __future__ import annotations

import math
import shlex
from dataclasses import dataclass
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
    from wearsim.bench.bench import Bench
    from wearsim.bench.programme import Programme
    from wearsim.cli.terminal import Messages
    from wearsim.learn.mirror_folder import MirrorFolder, Session, SessionNote

NAME = "record"
FAR_LESS = 0.5
"""Share of the pressing asked for below which a word is said of it [1]. A judgement."""
EXAMPLE = "wearsim record my-mirror --as-proposed --readings after.toml"


class LapStartChoice(StrEnum):
    """How the lap began the session."""

    as_left = "as left"
    pressed = "pressed"
    spherical = "spherical"


Done = Annotated[
    Path | None,
    typer.Option("--programme", "-p", metavar="FILE", help="Programme that was carried out: programme.toml."),
]
AsProposed = Annotated[
    bool, typer.Option("--as-proposed", help="Record that the folder's last proposal was carried out.")
]
MinutesWorked = Annotated[
    str | None, typer.Option("--minutes", metavar="LIST", help="Minutes actually worked, one number per spell: 10,20.")
]
After = Annotated[
    Path | None,
    typer.Option(
        "--readings", "-r", metavar="FILE",
        help="Readings taken afterwards: copy FOLDER/readings.toml to after.toml and fill in the new readings.",
    ),
]  # fmt: skip
ProfileOption = Annotated[
    Path | None, typer.Option("--profile", metavar="FILE", help="Profile measured afterwards: profile.csv.")
]
TemperatureOption = Annotated[
    str | None, typer.Option("--temperature", metavar="T", help='Temperature of the room: "18 C" or "65 F".')
]
AbrasiveOption = Annotated[
    str | None,
    typer.Option(
        "--abrasive", metavar="NAME", help="Abrasive, if not the bench's.", autocompletion=completion.abrasives
    ),
]
LapOption = Annotated[
    LapStartChoice | None,
    typer.Option(
        "--lap",
        help="State of the lap at the start; as left, by default. spherical: pressed on a spherical surface, such as "
        "the mirror before it was parabolized.",
    ),
]
Pressed = Annotated[
    str | None, typer.Option("--pressed", metavar="TIME", help='Time the lap was pressed before spell 1: "10 min".')
]
Notes = Annotated[str | None, typer.Option("--notes", metavar="TEXT", help="Anything worth remembering.")]
Day = Annotated[
    str | None, typer.Option("--date", metavar="DAY", help="Date of the session, such as 2026-01-31; today by default.")
]
Replace = Annotated[
    int | None, typer.Option("--replace", metavar="N", help="Session to correct: the other options replace its record.")
]
Undo = Annotated[bool, typer.Option("--undo", help="Set the last session aside; it can be restored.")]
Restore = Annotated[
    str | None, typer.Option("--restore", metavar="NAME", help="Set-aside or replaced record to restore.")
]
Confirm = Annotated[int | None, typer.Option("--confirm", metavar="N", help="Session to confirm as recorded.")]


def command(
    folder: FolderPath, options: Options, programme: Done = None, as_proposed: AsProposed = False,
    minutes: MinutesWorked = None, readings: After = None, profile: ProfileOption = None,
    temperature: TemperatureOption = None, abrasive: AbrasiveOption = None, lap: LapOption = None,
    pressed: Pressed = None, waited: Waited = None, notes: Notes = None, day: Day = None, replace: Replace = None,
    undo: Undo = False, restore: Restore = None, confirm: Confirm = None, output: JsonOutput = None,
) -> None:  # fmt: skip
    """Add a session to a mirror's folder, or correct one.

    Give the work done, and the readings or the profile measured afterwards. Each FILE is looked for from the current
    directory, then in FOLDER. A session is recorded whole or not at all.
    No record is ever lost: one that is corrected or set aside is kept under another name, and history lists it.
    """
    programme, profile = (inputs.here_or_in(folder, path) for path in (programme, profile))
    readings = inputs.here_or_in(folder, readings, is_readings=True)
    options.reserve({output: (".json",)}, inputs=[folder, programme, readings, profile])
    inputs.parse_waited(waited)
    conditions = {
        "temperature": temperature and _in_bench_unit(folder, temperature), "abrasive": abrasive,
        "lap": lap and lap.value, "pressed": pressed and inputs.as_time(pressed, "min"),
        "waited": waited and inputs.as_time(waited, ""), "notes": notes,
    }  # fmt: skip
    given = _Given(programme, as_proposed, minutes, readings, profile, conditions, day)
    _check_alone(given, {"--replace": replace, "--undo": undo or None, "--restore": restore, "--confirm": confirm})
    messages = options.messages
    if undo:
        answer = _undo(folder)
    elif restore is not None:
        answer = _restore(folder, restore)
    elif confirm is not None:
        answer = _confirm(folder, confirm)
    else:
        answer = _record(folder, given, messages) if replace is None else _replace(folder, replace, given, messages)
    options.deliver(
        lambda: answer.payload,
        table=lambda: answer.text,
        figure=lambda: _history_plot(folder, options),
        json_file=output,
        done="the folder has been changed as asked; do not give the command again",
    )
    messages.next(*answer.then)


def _in_bench_unit(folder: Path, temperature: str) -> str:
    """A temperature, a plain number with the unit in which the folder's bench has temperatures."""
    from wearsim.bench.personal_units import room_temperature, temperature_unit
    from wearsim.bench.toml_io import load_bench

    bench = folder / "bench.toml"
    if not bench.is_file():
        return temperature
    with inputs.named_by_flag({"temperature": "--temperature"}):
        return room_temperature(temperature, temperature_unit(load_bench(bench)))


@dataclass(frozen=True)
class _Given:
    """What was said of a session; None and False for what was not."""

    programme: Path | None
    as_proposed: bool
    minutes: str | None
    readings: Path | None
    profile: Path | None
    conditions: dict[str, str | None]
    day: str | None

    @property
    def flags(self) -> list[str]:
        """The flags that were given."""
        values: dict[str, Any] = {
            "programme": self.programme, "as-proposed": self.as_proposed, "minutes": self.minutes,
            "readings": self.readings, "profile": self.profile, **self.conditions, "date": self.day,
        }  # fmt: skip
        return [f"--{key}" for key, value in values.items() if value is not None and value is not False]

    @property
    def says_conditions(self) -> bool:
        """Whether it says a day or a condition."""
        return self.day is not None or any(value is not None for value in self.conditions.values())


@dataclass(frozen=True)
class _Answer:
    """One JSON object, the same in words, and the sensible next command."""

    payload: dict[str, Any]
    text: str
    then: tuple[object, ...]


def _check_alone(given: _Given, corrections: dict[str, Any]) -> None:
    """Refuse two corrections in one, and what a correction has no use for."""
    asked = [flag for flag, value in corrections.items() if value is not None]
    others = asked[1:] if not asked or asked[0] == "--replace" else [*asked[1:], *given.flags]
    if others:
        raise InputError("cannot be combined with " + ", ".join(others), key=asked[0], expected="one after the other")
    if asked == ["--replace"] and not given.flags:
        expected = "what is different, such as --minutes 10,20, --readings FILE or --notes TEXT"
        raise InputError("no correction given", key="--replace", value=corrections["--replace"], expected=expected)


# --- what was worked, and under what conditions


def _record(folder: Path, given: _Given, messages: Messages) -> _Answer:
    """A session added."""
    from wearsim.learn.mirror_folder import open_folder
    from wearsim.learn.record import record

    mirror = open_folder(folder)
    worked = _worked(given, mirror, len(mirror.sessions) + 1)
    if worked is None:
        expected = "--as-proposed, --minutes 10,20 (the proposal with these minutes), or --programme FILE"
        raise InputError("the work done is not given", expected=expected)
    if given.readings is None and given.profile is None:
        expected = f"--readings FILE{inputs.sheet_hint(folder, ' ({})')}, or --profile FILE"
        raise InputError("no measurement after the session is given", expected=expected)
    note = _note(given, None)
    with inputs.named_by_flag({"date": "--date"}):
        session = record(folder, worked, note=note, readings=given.readings, profile=given.profile)
    _warn_of_repeated(folder, session, messages)
    _say_how_pressed(folder, mirror.bench, session, messages)
    messages.waiting(mirror.bench, session.note.waited)
    text = _said(f"Session {session.number} recorded in {session.path}: {_work(session)}.", session)
    return _Answer(_payload(session), text, ("calibrate", folder))


def _replace(folder: Path, number: int, given: _Given, messages: Messages) -> _Answer:
    """A session's record corrected; the earlier one is kept."""
    from wearsim.learn.corrections import replace_record, session_of
    from wearsim.learn.mirror_folder import open_folder

    mirror = open_folder(folder)
    with inputs.named_by_flag({"session": "--replace", "date": "--date"}):
        before = session_of(mirror, number)
        note = _note(given, before.note) if given.says_conditions else None
        done = replace_record(
            folder, number, programme=_worked(given, mirror, number, before.programme), readings=given.readings,
            profile=given.profile, note=note,
        )  # fmt: skip
    if given.readings or given.profile:
        _warn_of_repeated(folder, done.session, messages)
    if given.conditions["waited"]:
        messages.waiting(mirror.bench, done.session.note.waited)
    text = _said(f"Session {number} corrected in {done.session.path}: {_work(done.session)}.", done.session)
    text += _kept_text(folder, "The earlier record is kept", done.kept)
    return _Answer({**_payload(done.session), "kept": _name(done.kept)}, text, ("calibrate", folder))


def _worked(
    given: _Given, mirror: MirrorFolder, number: int, recorded: Programme | None = None
) -> Path | Programme | None:
    """The programme that was worked, where something was said of it; minutes alone change what is recorded or proposed."""
    from wearsim.learn.proposal_file import kept_proposal, with_minutes

    if given.programme is not None and given.as_proposed:
        raise InputError("cannot be combined with --as-proposed", key="--programme", value=str(given.programme))
    minutes = None if given.minutes is None else _parse_minutes(given.minutes)
    if given.programme is not None:
        if minutes is None:
            return given.programme
        programme, source = inputs.stated_programme(given.programme, mirror.bench), given.programme.name
    elif given.as_proposed or (minutes is not None and recorded is None):
        programme, source = kept_proposal(mirror, number), f"As proposed for session {number}"
    elif minutes is not None and recorded is not None:
        programme, source = recorded, "As recorded before"
    else:
        return None
    if minutes is None:
        return programme
    with inputs.named_by_flag({"minutes": "--minutes"}):
        return with_minutes(programme, minutes, source)


def _parse_minutes(text: str) -> list[float]:
    try:
        minutes = [float(part) for part in text.split(",")]
    except ValueError:
        minutes = [math.nan]
    if not all(0.0 <= one < math.inf for one in minutes):
        expected = "plain numbers, one per spell in their order, such as 10,20 or 7.5,20; 0 for a spell left out"
        raise InputError("not a list of minutes", key="--minutes", value=text, expected=expected)
    return minutes


def _note(given: _Given, before: SessionNote | None) -> SessionNote:
    """The conditions that were said; those that were not as before, in a new session as the bench has them."""
    from wearsim.bench.fields import table_of
    from wearsim.learn.mirror_folder import note_from_table

    said = {key: value for key, value in given.conditions.items() if value is not None}
    table: dict[str, Any] = {} if before is None else table_of(before)
    on = table.get("date", date.today()) if given.day is None else _parse_day(given.day)
    with inputs.named_by_flag({f"session.{key}": f"--{key}" for key in given.conditions}):
        return note_from_table({**table, **said, "date": on})


def _parse_day(day: str) -> date:
    try:
        on = date.fromisoformat(day)
    except ValueError as error:
        raise InputError("not a date", key="--date", value=day, expected="a date such as 2026-01-31") from error
    if on > date.today():
        expected = f"today or an earlier date; today is {date.today()} by this computer's clock"
        raise InputError("in the future", key="--date", value=str(on), expected=expected)
    return on


# --- the other corrections


def _undo(folder: Path) -> _Answer:
    """The last session set aside."""
    from wearsim.bench.units import counted
    from wearsim.learn.corrections import set_last_aside
    from wearsim.learn.proposal_file import proposal_file, proposal_has_spells
    from wearsim.show.text import paragraph

    kept = set_last_aside(folder)
    work = "" if kept.minutes is None else f" ({counted(kept.minutes, 'minute')} of work)"
    text = paragraph(f"Session {kept.number} of {kept.date}{work} is set aside.")
    text += _kept_text(folder, "It is kept", kept.path)
    payload = {"number": kept.number, "date": kept.date and kept.date.isoformat(), "kept": str(kept.path)}
    is_proposed = proposal_has_spells(proposal_file(folder, kept.number))
    worked = ("--as-proposed",) if is_proposed else ("--programme", "done.toml")
    return _Answer(payload, text, ("record", folder, *worked, "--readings", "after.toml"))


def _restore(folder: Path, name: str) -> _Answer:
    """A record brought back."""
    from wearsim.learn.corrections import restore

    done = restore(folder, name)
    session = done.session
    text = _said(f"Session {session.number} is restored to {session.path}: {_work(session)}.", session)
    text += _kept_text(folder, "The record that was in its place is kept", done.kept)
    return _Answer({**_payload(session), "kept": _name(done.kept)}, text, ("calibrate", folder))


def _confirm(folder: Path, number: int) -> _Answer:
    """A record that the person stands by."""
    from wearsim.learn.corrections import confirm

    with inputs.named_by_flag({"session": "--confirm"}):
        session = confirm(folder, number)
    text = f"Session {number} of {session.note.date} is confirmed as recorded."
    return _Answer(_payload(session), _said(text, session), ("calibrate", folder))


# --- said


def _warn_of_repeated(folder: Path, session: Session, messages: Messages) -> None:
    """Say that the same measurement was recorded before, and what can be done about it."""
    from wearsim.learn.mirror_folder import open_folder
    from wearsim.learn.record import repeated_measurement

    mirror = open_folder(folder)
    repeated = repeated_measurement(mirror, session)
    if repeated is None:
        return
    is_last = session.number == len(mirror.sessions)
    undo = f"To undo session {session.number}: wearsim record {folder} --undo. " if is_last else ""
    messages.warn(
        f"the same numbers as measured {repeated}: was this session recorded twice, or the wrong file given? {undo}"
        f"To use another file: wearsim record {folder} --replace {session.number} --readings FILE."
    )


def _say_how_pressed(folder: Path, bench: Bench, session: Session, messages: Messages) -> None:
    """What is assumed where nobody said for how long the lap was pressed, or what far less than was asked for means."""
    from wearsim.show.text import duration, paragraph
    from wearsim.wear.discrepancy import UNSAID, Discrepancy
    from wearsim.wear.predict import unpressed_laps

    note = session.note
    is_fresh = session.number == 1 or note.lap == "pressed"
    own = note.bench_for(bench)
    laps = [own.lap(name) for name in unpressed_laps(session.programme)]
    asked = [Discrepancy().pressing(own, lap, is_fresh=is_fresh) for lap in laps if lap.start == "pressed"]
    if not asked or note.lap == "spherical":
        return
    if note.pressed is None:
        messages.info(paragraph(
            f"No --pressed given: the lap is assumed to have been pressed for {duration(UNSAID)} before spell 1. To give "
            f'the true time: wearsim record {folder} --replace {session.number} --pressed "TIME"'
        ))  # fmt: skip
    elif note.pressed < FAR_LESS * max(asked):
        messages.info(paragraph(
            f"The lap was pressed for {duration(note.pressed)}; about {duration(max(asked))} would have made it fit. The "
            "calibration takes it to fit less well, and learns less from this session."
        ))  # fmt: skip


def _work(session: Session) -> str:
    from wearsim.bench.units import counted

    return f"{counted(session.minutes, 'minute')} of work, {session.note.date}"


def _said(text: str, session: Session) -> str:
    """The text, and below it each spell with its minutes, to be compared with the card."""
    from wearsim.show.strokes import spell_title
    from wearsim.show.text import paragraph

    spells = session.programme.spells
    titles = ["cold pressing" if spell.is_press else spell_title(spell) for spell in spells]
    lines = [f"{title}: {spell.minutes:g} min" for title, spell in zip(titles, spells, strict=True)]
    return "\n".join([paragraph(text), *(f"  {place}  {line}" for place, line in enumerate(lines, start=1))])


def _kept_text(folder: Path, what: str, kept: Path | None) -> str:
    """Where a record is kept, and on a line of its own the command that restores it."""
    if kept is None:
        return ""
    from wearsim.show.text import paragraph

    name = kept.relative_to(folder).as_posix()
    command = shlex.join(["wearsim", "record", str(folder), "--restore", name])
    return "\n" + paragraph(f"{what} in {kept}. To restore it:") + f"\n  {command}"


def _name(kept: Path | None) -> str | None:
    return None if kept is None else str(kept)


def _payload(session: Session) -> dict[str, Any]:
    from wearsim.bench.toml_io import spell_table

    note = session.note
    return {
        "number": session.number, "folder": str(session.path), "date": note.date.isoformat(),
        "worked_s": 60.0 * session.minutes, "programme": [spell_table(spell) for spell in session.programme.spells],
        "pressed_s": note.pressed, "waited_s": note.waited, "confirmed": note.confirmed,
    }  # fmt: skip


def _history_plot(folder: Path, options: Options) -> Any:
    from wearsim.learn.mirror_folder import open_folder

    mirror = open_folder(folder)
    return plot_of(mirror, history_of(mirror, options.messages, options.seed))
