"""One session of a mirror: what was done, under what conditions, and what was read after it."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from pathlib import Path
from typing import Annotated, Any, Literal

from pydantic import BeforeValidator, Field

from wearsim.bench import catalogue
from wearsim.bench.bench import Bench
from wearsim.bench.faults import check_keys, read_piece
from wearsim.bench.piece import Name, Piece, Words, choice, table_of
from wearsim.bench.programme import Programme
from wearsim.bench.quantity import Temperature, quantity, refuse
from wearsim.bench.reading import parse_toml, read_text
from wearsim.errors import InputError

SESSION = "session.toml"
PROGRAMME = "programme.toml"
READINGS = "readings.toml"
PROFILE = "profile.csv"
LONGEST_NOTES = 20_000
LapStart = Literal["as left", "pressed", "spherical"]
Wait = Annotated[float, *quantity("a time", "2 h", "s", "min", least=0.0)]


def _date(value: Any) -> date:
    if type(value) is not date:
        raise refuse("not a date", "a day without quotes, such as 2026-01-31")
    return value


def _notes(value: Any) -> str:
    if not isinstance(value, str) or len(value) > LONGEST_NOTES:
        raise refuse("not a text", f"at most {LONGEST_NOTES} letters")
    return value


class SessionNote(Piece):
    """Conditions of a session, from its ``session.toml``.

    Attributes
    ----------
    date : datetime.date
        The day that it was worked.
    temperature : float or None
        Of the room [degC]; None: the bench's.
    abrasive : str or None
        Of the catalogue; None: the bench's.
    lap : {"as left", "pressed", "spherical"} or None
        How the lap began: as the session before left it, pressed to the glass until it fitted, or spherical. None:
        as left, and in a first session as the bench starts it.
    waited : float or None
        How long the glass stood before it was read [s]; kept, and not used in any calculation.
    notes : str
        Whatever is worth remembering.
    """

    date: Annotated[date, BeforeValidator(_date), Words("a day without quotes, such as 2026-01-31")]
    temperature: Temperature | None = None
    abrasive: Name | None = None
    lap: Annotated[LapStart, *choice("as left", "pressed", "spherical")] | None = None
    waited: Wait | None = None
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
            The same one where nothing differs.

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
        if not changes:
            return bench
        return bench.model_copy(update={"wear": bench.wear.model_copy(update=changes)})


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
    programme : Programme
    measured : Path
        ``readings.toml`` or ``profile.csv``.
    """

    number: int
    path: Path
    note: SessionNote
    programme: Programme
    measured: Path

    @property
    def minutes(self) -> float:
        """Of work, pressing not counted [min]."""
        return float(sum(spell.minutes for spell in self.programme.spells if not spell.is_press))

    @property
    def text(self) -> str:
        """Everything that the session's files say."""
        files = (self.path / SESSION, self.path / PROGRAMME, self.measured)
        return "\n".join(f"{file.name}\n{read_text(file)}" for file in files)


def read_note(path: Path) -> SessionNote:
    """The conditions of a session.

    Raises
    ------
    InputError
        One line for the first fault.
    """
    table = parse_toml(read_text(path, "the conditions of a session, at least its date"), path)
    return note_from_table(table, path)


def note_from_table(table: dict[str, Any], file: Path | None = None) -> SessionNote:
    """A session's conditions from what its TOML holds."""
    check_keys(table, SessionNote.model_fields, file)
    note = read_piece(SessionNote, table, "session", file)
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

    text: str = tomli_w.dumps({**table_of(note), "date": note.date}, multiline_strings="\n" in note.notes)
    return text
