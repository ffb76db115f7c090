"""A mirror's folder: its bench, the sessions worked, under what conditions, and what was read after each.

::

    bench.toml            the bench, with the figure before the first session
    01/                   one numbered folder per session
      programme.toml      what was done
      session.toml        date, temperature, abrasive, how the lap began, notes
      readings.toml       what was read after it, or profile.csv
      earlier-1/          only where the record was corrected: the one that it replaces
    02/ ...
    03-set-aside-1/       a session that was set aside: kept, and not read
    03-replacement/       only where a correction was cut short: this is session 3, whatever 03 holds
    practice.toml         only in a folder for practice: the mirror in it is simulated

All of it is plain text that a person may write and edit.
"""

from __future__ import annotations

import os
import re
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date
from pathlib import Path
from typing import Annotated, Any, Literal

from pydantic import BeforeValidator, Field

from wearsim.bench import materials as catalogue
from wearsim.bench.bench import Bench
from wearsim.bench.fields import ChoiceRule, InputTable, Name, Temperature, choice, quantity, refuse, table_of
from wearsim.bench.figure_source import FigureSource
from wearsim.bench.input_errors import check_keys, parse_toml, read_table, read_text
from wearsim.bench.profile import Profile, read_profile
from wearsim.bench.programme import Programme
from wearsim.bench.toml_io import load_bench, load_programme
from wearsim.errors import InputError
from wearsim.knifeedge.readings import Readings, check_against_mirror, load_readings

BENCH, PRACTICE = "bench.toml", "practice.toml"
SESSION, PROGRAMME = "session.toml", "programme.toml"
READINGS, PROFILE = "readings.toml", "profile.csv"
LONGEST_NOTES = 20_000
LapStart = Literal["as left", "pressed", "spherical"]
_NUMBERED = re.compile(r"[0-9]+\Z")
_EARLIER = re.compile(r"earlier-([0-9]+)\Z")
_SET_ASIDE = re.compile(r"([0-9]+)-set-aside-([0-9]+)\Z")
_REPLACEMENT = re.compile(r"([0-9]+)-replacement\Z")
Pressing = Annotated[float, *quantity("a time", "10 min", "s", "min", least=0.0, most=6e7)]
Wait = Annotated[float, *quantity("a time", "2 h", "s", "min", least=0.0, most=6e7)]


def _date(value: Any) -> date:
    if type(value) is not date:
        raise refuse("not a date", "a date without quotes, such as 2026-01-31")
    return value


def _notes(value: Any) -> str:
    if not isinstance(value, str) or len(value) > LONGEST_NOTES:
        raise refuse("not text", f"at most {LONGEST_NOTES} characters")
    if any(0xD800 <= ord(letter) < 0xE000 for letter in value):  # bytes of a flag that are no UTF-8
        raise refuse("not UTF-8 text", f"at most {LONGEST_NOTES} characters")
    return value


def _yes_or_no(value: Any) -> bool:
    if not isinstance(value, bool):
        raise refuse("neither true nor false", "true or false, without quotes")
    return value


class SessionNote(InputTable):
    """Conditions of a session, from its ``session.toml``.

    Attributes
    ----------
    date : datetime.date
        Date of the session.
    temperature : float or None
        Room temperature [degC]; None: the bench's.
    abrasive : str or None
        An abrasive from the catalogue; None: the bench's.
    lap : {"as left", "pressed", "spherical"} or None
        State of the lap at the start: as the session before left it, pressed to the glass until it fitted, or spherical.
        None: as left, or in the first session as `start` in the bench says.
    pressed : float or None
        How long the lap was pressed on the glass before the first spell, pressings of the programme not counted [s];
        None: not recorded.
    waited : float or None
        How long the glass cooled before it was tested [s]; kept, and not used in any calculation.
    confirmed : bool
        Whether the person looked at this record again and stands by it.
    notes : str
        Anything worth remembering.
    """

    date: Annotated[date, BeforeValidator(_date), ChoiceRule("a date without quotes, such as 2026-01-31")]
    temperature: Temperature | None = None
    abrasive: Name | None = None
    lap: Annotated[LapStart, *choice("as left", "pressed", "spherical")] | None = None
    pressed: Pressing | None = None
    waited: Wait | None = None
    confirmed: Annotated[bool, BeforeValidator(_yes_or_no), ChoiceRule("true or false, without quotes")] = False
    notes: Annotated[str, BeforeValidator(_notes)] = Field(default="")

    def bench_for(self, bench: Bench) -> Bench:
        """The bench under these conditions (physics section 4: temperature moves the relaxation time).

        An abrasive other than the bench's moves the Preston coefficient by the ratio that the catalogue gives,
        also where the bench states a coefficient, which is that of its own abrasive.

        Parameters
        ----------
        bench : Bench
            As it usually is.

        Returns
        -------
        Bench
            With the temperature and the Preston coefficient of that session.

        Raises
        ------
        InputError
            For an abrasive that the catalogue does not have.
        """
        changes: dict[str, Any] = {}
        if self.temperature is not None:
            changes["temperature"] = self.temperature
        if self.abrasive is not None and self.abrasive != bench.wear.abrasive:
            ratio = catalogue.abrasive(self.abrasive).wear / catalogue.abrasive(bench.wear.abrasive).wear
            changes["abrasive"] = self.abrasive
            changes["preston"] = bench.preston * ratio
        return bench.model_copy(update={"wear": bench.wear.model_copy(update=changes)})


@dataclass(frozen=True)
class KeptRecord:
    """A record that counts for nothing but is kept: a session that was set aside, or a record that was corrected.

    Parameters
    ----------
    number : int
        Of the session that it was.
    path : Path
        Its folder.
    date : datetime.date or None
        None where its files cannot be read; that hinders nobody.
    minutes : float or None
        Of work [min]; None likewise.
    """

    number: int
    path: Path
    date: date | None
    minutes: float | None

    @classmethod
    def read(cls, number: int, place: Path) -> KeptRecord:
        """As it lies there, as far as it can be read."""
        try:
            on, programme = read_note(place / SESSION).date, load_programme(place / PROGRAMME)
        except InputError:
            return cls(number, place, None, None)
        return cls(number, place, on, programme.minutes_of_work)


@dataclass(frozen=True, eq=False)
class Session:
    """One recorded session.

    Parameters
    ----------
    number : int
        From 1.
    path : Path
        Its folder.
    note : SessionNote
        Its conditions.
    programme : Programme
        What was worked.
    measurement : Readings or Profile
        What was read after it.
    figure : FigureSource
        The same as a bench names it, its file loaded.
    earlier : tuple of KeptRecord
        Records that this one replaced.
    """

    number: int
    path: Path
    note: SessionNote
    programme: Programme
    measurement: Readings | Profile
    figure: FigureSource
    earlier: tuple[KeptRecord, ...] = ()

    @property
    def measured(self) -> Path:
        """Its ``readings.toml`` or ``profile.csv``."""
        return self.path / (PROFILE if isinstance(self.measurement, Profile) else READINGS)

    @property
    def minutes(self) -> float:
        """Minutes of work, pressing not counted [min]."""
        return self.programme.minutes_of_work

    @property
    def text(self) -> str:
        """Everything that the session's files say."""
        files = (self.path / SESSION, self.path / PROGRAMME, self.measured)
        return "\n".join(f"{file.name}\n{read_text(file)}" for file in files)


def read_note(path: Path) -> SessionNote:
    """The conditions of a session; InputError with one line for the first fault."""
    return note_from_table(parse_toml(read_text(path, "the conditions of a session, at least its date"), path), path)


def note_from_table(table: dict[str, Any], file: Path | None = None) -> SessionNote:
    """A session's conditions from what its TOML holds."""
    check_keys(table, SessionNote.model_fields, file)
    note = read_table(SessionNote, table, "session", file)
    if note.abrasive is not None:
        try:
            catalogue.abrasive(note.abrasive)
        except InputError as error:
            raise InputError(
                error.message, file=file, key="session.abrasive", value=error.value, expected=error.expected
            ) from error
    return note


def dump_note(note: SessionNote) -> str:
    """TOML of a session's conditions; reading it gives an equal one."""
    import tomli_w

    table = {**table_of(note), "date": note.date}
    if not note.confirmed:
        del table["confirmed"]
    text: str = tomli_w.dumps(table, multiline_strings="\n" in note.notes)
    return text


@dataclass(frozen=True, eq=False)
class MirrorFolder:
    """A mirror's folder as it was read.

    Parameters
    ----------
    path : Path
    bench : Bench
    sessions : tuple of Session
        In order; ``sessions[i]`` is number i + 1.
    is_practice : bool
        Whether the mirror is a simulated one.
    set_aside : tuple of KeptRecord
        Sessions that were set aside.
    """

    path: Path
    bench: Bench
    sessions: tuple[Session, ...]
    is_practice: bool
    set_aside: tuple[KeptRecord, ...] = ()

    @property
    def kept(self) -> dict[str, str]:
        """Records that count for nothing and can be brought back: their names, and what they are in words."""
        kept = [*self.set_aside, *(one for session in self.sessions for one in session.earlier)]
        return {
            one.path.relative_to(self.path).as_posix(): f"session {one.number} of {one.date}, {one.minutes:g} min"
            for one in kept if one.date is not None and one.minutes is not None
        }  # fmt: skip

    def bench_after(self, count: int | None = None) -> Bench:
        """The bench with the measurement after so many sessions for its figure.

        Parameters
        ----------
        count : int, optional
            By default all.

        Returns
        -------
        Bench
            The folder's own where there is no session.
        """
        worked = self.sessions[:count]
        return self.bench.model_copy(update={"figure": worked[-1].figure}) if worked else self.bench


def session_name(number: int) -> str:
    """Name of a session's folder."""
    return f"{number:02d}"


def open_folder(path: str | Path) -> MirrorFolder:
    """Read a mirror's folder, every file checked; nothing is calibrated.

    Parameters
    ----------
    path : str or Path
        With a ``bench.toml`` and the sessions' folders in it.

    Returns
    -------
    MirrorFolder
        The bench and all sessions, in order.

    Raises
    ------
    InputError
        One line that names the first file at fault, and what is wrong with it.
    """
    folder = Path(path)
    if not folder.is_dir():
        raise InputError("no such folder", file=folder, expected="a mirror's folder, with a bench.toml in it")
    if not (folder / BENCH).is_file():
        raise InputError("missing", file=folder / BENCH, expected="the bench of this mirror's folder")
    while True:
        before = _places(folder)
        try:
            return _read_folder(folder)
        except (InputError, OSError):  # of a folder that a correction moves away at this moment
            if _places(folder) == before:
                raise


def _places(folder: Path) -> dict[str, int]:
    """Everything in a folder, by its name and by what it is to the file system."""
    with os.scandir(folder) as entries:
        return {entry.name: entry.inode() for entry in entries if not entry.name.startswith(".")}


def _read_folder(folder: Path) -> MirrorFolder:
    bench = load_bench(folder / BENCH)
    sessions = tuple(read_session(number, place, bench) for number, place in _numbered(folder))
    return MirrorFolder(folder, bench, sessions, (folder / PRACTICE).exists(), _set_aside(folder))


def replacements(folder: Path) -> dict[str, Path]:
    """Records that replace the session of this name and have not taken its place yet."""
    return {found[1]: place for place in sorted(folder.iterdir()) if (found := _REPLACEMENT.match(place.name))}


def _set_aside(folder: Path) -> tuple[KeptRecord, ...]:
    """Sessions that were set aside, by number and in the order in which that was done."""
    found = [(int(match[1]), int(match[2]), place) for place, match in _matching(folder.iterdir(), _SET_ASIDE)]
    return tuple(KeptRecord.read(number, place) for number, _, place in sorted(found))


def _earlier(number: int, place: Path) -> tuple[KeptRecord, ...]:
    """Records that a session's record replaced, those that they had replaced behind each."""
    found = sorted((int(match[1]), inside) for inside, match in _matching(place.iterdir(), _EARLIER))
    return tuple(
        record for _, inside in found for record in (KeptRecord.read(number, inside), *_earlier(number, inside))
    )


def _matching(places: Iterable[Path], pattern: re.Pattern[str]) -> list[tuple[Path, re.Match[str]]]:
    return [(place, match) for place in places if (match := pattern.match(place.name)) and place.is_dir()]


def _numbered(folder: Path) -> list[tuple[int, Path]]:
    """Folders of sessions in order, none missing, none twice; a replacement counts for what it replaces."""
    replaced = replacements(folder)
    there = {place.name: place for place in folder.iterdir() if _NUMBERED.match(place.name)}
    found = sorted((int(name), place) for name, place in {**there, **replaced}.items())
    for expected, (number, place) in enumerate(found, start=1):
        if not place.is_dir():
            raise InputError("this is a file, but a session's folder is expected here", file=place)
        if number < expected:
            other = found[expected - 2][1].name if expected > 1 else session_name(1)
            message = "sessions are counted from 1" if number == 0 else f"the same session as {other}"
            raise InputError(message, file=place, expected=f"one folder per session, this one {session_name(expected)}")
        if number > expected:
            raise InputError(
                f"session {expected} is missing", file=folder / session_name(expected),
                expected=f"one folder per session, none left out before {place.name}",
            )  # fmt: skip
    return found


def read_session(number: int, place: Path, bench: Bench) -> Session:
    """A session as it is recorded in a folder, everything checked; InputError for the first fault."""
    for name, what in ((PROGRAMME, "what was done"), (SESSION, "the session's conditions, at least its date")):
        if not (place / name).is_file():
            raise InputError("missing", file=place / name, expected=what)
    note = read_note(place / SESSION)
    programme = load_programme(place / PROGRAMME, bench)
    file = _measured_in(place)
    measurement = load_measurement(file, bench)
    figure = FigureSource(profile=file) if isinstance(measurement, Profile) else FigureSource(readings=file)
    return Session(number, place, note, programme, measurement, figure.loaded(), _earlier(number, place))


def _measured_in(place: Path) -> Path:
    """The one measurement in a session's folder."""
    found = [place / name for name in (READINGS, PROFILE) if (place / name).exists()]
    if len(found) == 1:
        return found[0]
    message = "both readings.toml and profile.csv" if found else "no measurement"
    raise InputError(message, file=place, expected="either readings.toml or profile.csv, measured after the session")


def load_measurement(path: Path, bench: Bench) -> Readings | Profile:
    """A sheet of readings or a profile, by its name, checked against the mirror; InputError for the first fault."""
    if path.suffix.lower() == ".csv":
        return read_profile(path, bench.mirror)
    readings = load_readings(path)
    check_against_mirror(readings, bench.mirror.geometry)
    return readings
