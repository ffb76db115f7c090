"""``kill -9`` in the middle of a record or a correction: it is done whole, or not at all, and no record is lost."""

from __future__ import annotations

import os
from datetime import date
from pathlib import Path

import pytest

from tests.helpers.killed import killed_at_every_moment
from wearsim.learn.corrections import replace_record, set_last_aside
from wearsim.learn.mirror_folder import MirrorFolder, SessionNote, open_folder
from wearsim.learn.record import record
from wearsim.learn.whole_writes import PARTIAL, open_to_write

pytestmark = pytest.mark.skipif(not hasattr(os, "fork"), reason="needs fork and kill -9")
IMPORTS = """
from datetime import UTC, date, datetime
from wearsim.learn import record_seal
from wearsim.learn.corrections import confirm, replace_record, restore, set_last_aside
from wearsim.learn.mirror_folder import SessionNote
from wearsim.learn.proposal_file import keep_proposal, proposal_file
from wearsim.learn.record import record
from wearsim.bench.toml_io import load_programme
longer = load_programme(others[0])
note = SessionNote(date=date(2026, 5, 6), notes="n" * 20000)
record_seal._clock = lambda: datetime(2026, 5, 6, tzinfo=UTC)  # what is recorded is the same in every copy
"""


@pytest.fixture
def longer(done: Path) -> Path:
    path = done.with_name("longer.toml")
    path.write_text(done.read_text().replace("minutes = 12", "minutes = 15"))
    return path


@pytest.fixture
def worked(mirror_folder: Path, done: Path, after: Path, longer: Path) -> Path:
    """Two sessions, the second corrected once, and another that had been recorded in its place."""
    for day in (1, 2):
        record(mirror_folder, done, note=SessionNote(date=date(2026, 3, day)), readings=after)
    set_last_aside(mirror_folder)
    other = SessionNote(date=date(2026, 3, 3), notes="another")
    record(mirror_folder, done, note=other, profile=mirror_folder / "before.csv")
    replace_record(mirror_folder, 2, programme=longer)
    return mirror_folder


def read(mirror: MirrorFolder) -> tuple[str, ...]:
    """What the folder says that was worked and read."""
    return tuple(session.text for session in mirror.sessions)


def files(folder: Path) -> list[bytes]:
    """Content of every file that is not hidden, whatever its name."""
    shown = (p for p in folder.rglob("*") if p.is_file() and PARTIAL not in str(p.relative_to(folder)))
    return sorted(path.read_bytes() for path in shown)


def test_a_record_is_whole_or_not_at_all(mirror_folder: Path, longer: Path, after: Path) -> None:
    copies = killed_at_every_moment(
        mirror_folder, IMPORTS, "record(place, longer, note=note, readings=others[1])", longer, after
    )
    assert len(copies) > 10
    sessions = [open_folder(copy).sessions for copy in copies]
    there = [len(one) for one in sessions]
    # before the rename nothing, from it on everything, and both were met with
    assert there == sorted(there) and (there[0], there[-1]) == (0, 1)
    for (session,) in filter(None, sessions):
        assert len(session.note.notes) == 20000
        names = {"programme.toml", "readings.toml", "recorded.toml", "session.toml"}
        assert {file.name for file in session.path.iterdir()} == names


CORRECTIONS = {
    "replace": ("replace_record(place, 2, programme=longer, note=note)", 15),
    "replace the first": ("replace_record(place, 1, programme=longer)", 15),
    "undo": ("set_last_aside(place)", 3),
    "restore an earlier one": ("restore(place, '02/earlier-1')", 9),
    "restore what was set aside": ("restore(place, '02-set-aside-1')", 9),
    "confirm": ("confirm(place, 1)", 5),
    "propose": ("keep_proposal(proposal_file(place, 3), longer)", 5),
}


@pytest.mark.parametrize("correction", CORRECTIONS)
def test_a_correction_is_whole_or_not_at_all(correction: str, worked: Path, longer: Path) -> None:
    action, least = CORRECTIONS[correction]
    before, kept = read(open_folder(worked)), files(worked)
    copies = killed_at_every_moment(worked, IMPORTS, action, longer)
    assert len(copies) >= least
    told = [read(open_folder(copy)) for copy in copies]
    done = told[-1]
    met = [told.index(one) for one in (before, done)]
    assert told == [before if place < met[1] else done for place in range(len(told))]
    assert (before == done) is (correction == "propose")
    whole = files(copies[-1])
    for copy in copies:
        assert files(copy) in (kept, whole)
        finished = open_to_write(copy)  # as whatever writes next begins
        assert read(finished) in (before, done) and files(copy) in (kept, whole)
        assert not list(copy.glob("*-replacement"))
