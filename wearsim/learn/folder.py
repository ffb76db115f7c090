"""A mirror's folder: its bench, the sessions done, and the measurements of one mirror.

::

    bench.toml            the bench, with the figure before the first session
    01/                   one numbered folder a session
      programme.toml      what was done
      session.toml        date, temperature, abrasive, how the lap began, notes
      readings.toml       what was read after it, or profile.csv
    02/ ...
    practice.toml         only in a folder for practice: the mirror in it is simulated

All of it is plain text that a person may write and edit.
"""

from __future__ import annotations

import re
from dataclasses import dataclass, replace
from pathlib import Path

from wearsim.bench.bench import Bench
from wearsim.bench.files import load_bench, load_programme
from wearsim.bench.lengths import length_unit
from wearsim.bench.piece import DefaultUsed
from wearsim.bench.profile import read_profile
from wearsim.errors import InputError
from wearsim.knifeedge.readings import check_against_mirror, load_readings
from wearsim.learn.session import PROFILE, PROGRAMME, READINGS, SESSION, Session, read_note

BENCH = "bench.toml"
PRACTICE = "practice.toml"
_NUMBERED = re.compile(r"[0-9]+\Z")


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
    """

    path: Path
    bench: Bench
    sessions: tuple[Session, ...]
    is_practice: bool

    @property
    def minutes(self) -> float:
        """Of work in all sessions [min]."""
        return sum(session.minutes for session in self.sessions)

    def with_jitter(self, factor: float) -> MirrorFolder:
        """The same folder, its bench's hands with another spread from stroke to stroke, and saying so.

        Parameters
        ----------
        factor : float
            So many times what the bench states [1].

        Returns
        -------
        MirrorFolder
        """
        if factor == 1.0:
            return self
        hands = self.bench.hands.with_spread(factor)
        source = f"told by the sessions: {factor:.3g} times what the bench states (calibrate --jitter)"
        told = (
            DefaultUsed("hands.length_jitter", f"{hands.length_jitter:.3g}", source),
            DefaultUsed("hands.centre_jitter", length_unit(self.bench).about(hands.centre_jitter, 3), source),
        )
        kept = tuple(d for d in self.bench.defaults_used if d.key not in {one.key for one in told})
        bench = self.bench.model_copy(update={"hands": hands, "defaults_used": kept + told})
        return replace(self, bench=bench)

    @property
    def first_figure(self) -> Path | None:
        """The file measured before the first session, where the bench names one."""
        return self.bench.figure.path


def is_folder(path: Path) -> bool:
    """Whether this is a folder, and so a mirror's folder or meant to be one."""
    return path.is_dir()


def session_name(number: int) -> str:
    """Name of a session's folder."""
    return f"{number:02d}"


def open_folder(path: str | Path) -> MirrorFolder:
    """Read a mirror's folder, every file checked.

    Parameters
    ----------
    path : str or Path

    Returns
    -------
    MirrorFolder

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
    bench = load_bench(folder / BENCH)
    sessions = tuple(_session(number, place, bench) for number, place in _numbered(folder))
    return MirrorFolder(folder, bench, sessions, (folder / PRACTICE).exists())


def _numbered(folder: Path) -> list[tuple[int, Path]]:
    """Folders of sessions in order, none missing, none twice."""
    found = sorted((int(place.name), place) for place in folder.iterdir() if _NUMBERED.match(place.name))
    for expected, (number, place) in enumerate(found, start=1):
        if not place.is_dir():
            raise InputError("a file where a session's folder is expected", file=place)
        if number < expected:
            other = found[expected - 2][1].name if expected > 1 else session_name(1)
            message = "sessions are counted from 1" if number == 0 else f"the same session as {other}"
            raise InputError(
                message, file=place, expected=f"one folder a session, this one {session_name(expected)}"
            )
        if number > expected:
            raise InputError(
                f"session {expected} is missing", file=folder / session_name(expected),
                expected=f"one folder a session, none left out before {place.name}",
            )  # fmt: skip
    return found


def _session(number: int, place: Path, bench: Bench) -> Session:
    for name, what in (
        (PROGRAMME, "what was done"),
        (SESSION, "the session's conditions, at least its date"),
    ):
        if not (place / name).is_file():
            raise InputError("missing", file=place / name, expected=what)
    note = read_note(place / SESSION)
    programme = load_programme(place / PROGRAMME, bench)
    return Session(number, place, note, programme, check_measured(measured_in(place), bench))


def measured_in(place: Path) -> Path:
    """The one measurement in a session's folder.

    Raises
    ------
    InputError
        None, or two.
    """
    there = [place / name for name in (READINGS, PROFILE) if (place / name).exists()]
    if len(there) == 1:
        return there[0]
    message = "both readings.toml and profile.csv" if there else "no measurement"
    raise InputError(
        message, file=place, expected="either readings.toml or profile.csv, read after the session"
    )


def check_measured(path: Path, bench: Bench) -> Path:
    """The same path, what it holds checked against the mirror.

    Raises
    ------
    InputError
    """
    mirror = bench.mirror
    if path.suffix.lower() == ".csv":
        read_profile(path, mirror)
    else:
        check_against_mirror(
            load_readings(path), radius=mirror.radius, radius_of_curvature=mirror.radius_of_curvature,
            conic=mirror.conic,
        )  # fmt: skip
    return path
