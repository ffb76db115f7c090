"""``proposal-for-02.toml``: what was proposed for a session, kept in the mirror's folder; and the same as it was worked.

One file a session, the last proposal for it: a record of that session, or a correction long after, can start from it.
"""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import Any

from wearsim.bench.input_errors import parse_toml
from wearsim.bench.programme import STROKES, Programme
from wearsim.bench.toml_io import dump_programme, load_programme, programme_from_table, spells_text
from wearsim.bench.units import counted
from wearsim.bench.whole_file import whole_file
from wearsim.errors import InputError
from wearsim.learn.mirror_folder import MirrorFolder, session_name
from wearsim.learn.whole_writes import write_file

CARD = "card.pdf"
_BEGINNING = "proposal-for-"


def proposal_file(folder: Path, number: int) -> Path:
    """Where the last proposal for a session is kept."""
    return folder / f"{_BEGINNING}{session_name(number)}.toml"


def keep_proposal(file: Path, programme: Programme) -> None:
    """Keep what is proposed for a session in place of what was proposed for it before.

    Parameters
    ----------
    file : Path
        Of :func:`proposal_file`.
    programme : Programme
        Without a spell where nothing was worth working.

    Raises
    ------
    CouldNotError
        Where the disc refuses; the file is then as it was.
    """
    head = f"# Proposed by wearsim for session {int(file.stem.removeprefix(_BEGINNING))}.\n\n"
    write_file(file.parent, file, head + (programme.text or dump_programme(programme)).rstrip() + "\n")


def proposal_has_spells(file: Path) -> bool:
    """Whether a kept proposal is there and has something to do; one that cannot be read counts, so that it is reported."""
    try:
        return file.exists() and bool(load_programme(file).spells)
    except InputError:
        return True


def keep_choice(mirror: MirrorFolder, programme: Programme, card: bytes) -> None:
    """Keep a chosen programme as what is proposed for the next session, and its card, an empty one in place of an earlier.

    Raises
    ------
    CouldNotError
        Where the disc refuses.
    """
    keep_proposal(proposal_file(mirror.path, len(mirror.sessions) + 1), programme)
    if card:
        with whole_file(mirror.path / CARD, force=True) as part:
            part.write_bytes(card)
    else:
        (mirror.path / CARD).unlink(missing_ok=True)


def kept_proposal(mirror: MirrorFolder, number: int) -> Programme:
    """What was last proposed for a session.

    Parameters
    ----------
    mirror : MirrorFolder
    number : int
        Of the session, from 1.

    Returns
    -------
    Programme
        Checked on the mirror's bench.

    Raises
    ------
    InputError
        Where nothing was, or where it was to work nothing.
    """
    file = proposal_file(mirror.path, number)
    if not file.exists():
        before = max(mirror.path.glob(f"{_BEGINNING}*.toml"), default=None)
        other = "" if before is None else f" (the newest proposal in this folder is {before.name})"
        expected = f"wearsim propose {mirror.path} (the folder) first, or --programme with the work done{other}"
        raise InputError(f"nothing was proposed for session {number}", file=file, expected=expected)
    programme = load_programme(file, mirror.bench)
    if not programme.spells:
        raise InputError("no stroke was proposed", file=file, expected="--programme with the work done")
    return programme


def with_minutes(programme: Programme, minutes: Sequence[float], source: str) -> Programme:
    """A programme with the minutes that were worked.

    Parameters
    ----------
    programme : Programme
    minutes : sequence of float
        One for each spell, in order [min]; pressings may be left out, they stay as they are. A spell of 0 minutes was not
        worked.
    source : str
        What the programme is, for the first line of its text.

    Returns
    -------
    Programme
        Its text says where it is from; the spells of 0 minutes are not in it.

    Raises
    ------
    InputError
        Where there are fewer or more minutes than spells, or nothing is left.
    """
    spells = programme.spells
    worked = [place for place, spell in enumerate(spells) if not spell.is_press]
    places = worked if len(minutes) == len(worked) else list(range(len(spells)))
    if len(minutes) != len(places):
        raise InputError(
            "the number of values does not match the spells",
            key="minutes",
            value=_listed(minutes),
            expected=_wanted(programme, worked),
        )
    instead = dict(zip(places, minutes, strict=True))
    text = programme.text or dump_programme(programme)
    table: dict[str, Any] = parse_toml(text, programme.file)
    tables = [
        {**spell, "minutes": instead.get(place, spell["minutes"])} for place, spell in enumerate(table.get("spell", []))
    ]
    kept = [spell for spell in tables if spell["minutes"] != 0]
    if not kept:
        raise InputError(
            "no work was done", key="minutes", value=_listed(minutes), expected="more than 0 for at least one spell"
        )
    text = f"# {source}, minutes as worked: {_listed(minutes)}.\n\n" + spells_text(kept)
    return programme_from_table({"spell": kept}, text=text)


def _listed(minutes: Sequence[float]) -> str:
    return ",".join(f"{one:g}" for one in minutes)


def _wanted(programme: Programme, worked: list[int]) -> str:
    """How many numbers, and for what."""
    spells = "; ".join(f"{STROKES[spell.stroke].words}, {spell.minutes:g} min" for spell in programme.spells)
    count, less = len(programme.spells), len(worked)
    fewer = f", or {less} without the cold pressing" if 0 < less < count else ""
    return f"{counted(count, 'number')}{', one per spell' * (count > 1)}{fewer} (planned: {spells})"
