"""Sessions go into the folder whole, once, in order, and as they were written."""

from __future__ import annotations

import json
import os
import stat
from datetime import date, timedelta
from pathlib import Path

import pytest

from wearsim.cli.main import run
from wearsim.cli.terminal import Messages
from wearsim.errors import CouldNotError, InputError
from wearsim.learn.mirror_folder import SessionNote, dump_note, open_folder, read_note
from wearsim.learn.record import create_folder, record
from wearsim.learn.whole_writes import PARTIAL, STALE

NOTE = SessionNote(date=date(2026, 2, 3), temperature=18.5, abrasive="rouge", notes="charge: thin\nthe lap sang")


def contents(folder: Path) -> dict[str, bytes]:
    return {str(p.relative_to(folder)): p.read_bytes() for p in sorted(folder.rglob("*")) if p.is_file()}


def test_a_session_is_kept_as_it_was_written(mirror_folder: Path, done: Path, after: Path) -> None:
    session = record(mirror_folder, done, note=NOTE, readings=after)
    assert session.number == 1 and session.path == mirror_folder / "01"
    assert (session.path / "programme.toml").read_text() == done.read_text()
    assert (session.path / "readings.toml").read_text() == after.read_text()
    assert session.note == NOTE
    assert session.minutes == 12.0  # pressing is no work
    assert not list(mirror_folder.glob(f"{PARTIAL}*"))


def test_the_second_session_leaves_the_first_alone(mirror_folder: Path, done: Path, after: Path) -> None:
    record(mirror_folder, done, note=NOTE, readings=after)
    before = contents(mirror_folder)
    second = record(mirror_folder, done, note=NOTE, profile=mirror_folder / "before.csv")
    assert second.number == 2 and second.measured.name == "profile.csv"
    now = contents(mirror_folder)
    assert {name: now[name] for name in before} == before
    assert [session.number for session in open_folder(mirror_folder).sessions] == [1, 2]


@pytest.mark.parametrize(
    "note",
    [
        NOTE,
        SessionNote(date=date(2026, 1, 1)),
        SessionNote(date=date(2026, 1, 1), waited=0.0),
        SessionNote(date=date(2026, 1, 1), waited=5400.0),
        SessionNote(date=date(2026, 1, 1), lap="pressed", notes='a "quoted" word and a \\ and é'),
    ],
)
def test_conditions_survive_the_file(note: SessionNote, tmp_path: Path) -> None:
    path = tmp_path / "session.toml"
    path.write_text(dump_note(note), encoding="utf-8")
    assert read_note(path) == note


def test_conditions_move_the_bench(mirror_folder: Path) -> None:
    bench = open_folder(mirror_folder).bench
    moved = NOTE.bench_for(bench)
    assert moved.wear.temperature == 18.5
    # catalogue: iron oxide wears 0.4 of what cerium oxide does (judgement)
    assert moved.preston == pytest.approx(0.4 * bench.preston)
    # physics section 4: ten times as slow for 6 degC colder
    ratio = moved.relaxation_time_at(moved.laps[0]) / bench.relaxation_time_at(bench.laps[0])
    assert ratio == pytest.approx(10.0 ** (1.5 / 6.0))
    assert SessionNote(date=date(2026, 1, 1)).bench_for(bench) == bench


def test_what_cannot_be_used_is_refused_and_nothing_written(mirror_folder: Path, done: Path, after: Path) -> None:
    before = contents(mirror_folder)
    with pytest.raises(InputError, match="neither"):
        record(mirror_folder, done, note=NOTE)
    with pytest.raises(InputError, match="both"):
        record(mirror_folder, done, note=NOTE, readings=after, profile=after)
    with pytest.raises(InputError, match="windows"):
        record(mirror_folder, done, note=NOTE, readings=done)
    with pytest.raises(InputError, match="abrasive"):
        record(mirror_folder, done, note=NOTE.model_copy(update={"abrasive": "sand"}), readings=after)
    done.write_text("[[spell]]\nstroke = 'waltz'\nminutes = 3\n")
    with pytest.raises(InputError, match="stroke"):
        record(mirror_folder, done, note=NOTE, readings=after)
    assert contents(mirror_folder) == before


def test_left_overs_are_ignored_and_cleared_when_old(mirror_folder: Path, done: Path, after: Path) -> None:
    young, old = (mirror_folder / f"{PARTIAL}01-{name}" for name in ("young", "old"))
    for place in (young, old):
        place.mkdir()
        (place / "programme.toml").write_text("half a line")
    day_before = old.stat().st_mtime - 2 * STALE
    os.utime(old, (day_before, day_before))
    assert open_folder(mirror_folder).sessions == ()
    record(mirror_folder, done, note=NOTE, readings=after)
    assert young.exists() and not old.exists()


@pytest.mark.skipif(os.geteuid() == 0, reason="root writes everywhere")
def test_a_folder_that_cannot_be_written(mirror_folder: Path, done: Path, after: Path) -> None:
    mirror_folder.chmod(stat.S_IRUSR | stat.S_IXUSR)
    with pytest.raises(CouldNotError, match="cannot be written"):
        record(mirror_folder, done, note=NOTE, readings=after)
    mirror_folder.chmod(stat.S_IRWXU)


def test_the_faster_record_wins(mirror_folder: Path, done: Path, after: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    fsync = os.fsync

    def slow(handle: int) -> None:
        monkeypatch.setattr(os, "fsync", fsync)
        record(mirror_folder, done, note=NOTE, profile=mirror_folder / "before.csv")
        fsync(handle)

    monkeypatch.setattr(os, "fsync", slow)
    with pytest.raises(CouldNotError, match="another session was recorded in the meantime"):
        record(mirror_folder, done, note=NOTE, readings=after)
    (only,) = open_folder(mirror_folder).sessions
    assert only.measured.name == "profile.csv"
    assert not list(mirror_folder.glob(f"{PARTIAL}*"))


def test_a_new_folder_is_not_laid_over_an_old_one(mirror_folder: Path) -> None:
    with pytest.raises(InputError, match="already exists"):
        create_folder(mirror_folder, "", {})


def test_sessions_are_recorded_in_the_order_they_were_worked(
    mirror_folder: Path, done: Path, after: Path
) -> None:  # fmt: skip
    record(mirror_folder, done, note=NOTE, readings=after)
    before = contents(mirror_folder)
    slip = NOTE.model_copy(update={"date": date(2025, 2, 3)})
    with pytest.raises(InputError) as caught:
        record(mirror_folder, done, note=slip, readings=after)
    line = str(caught.value)
    for fragment in ("before session 1", "2026-02-03", "2025-02-03", "01/session.toml"):
        assert fragment in line
    assert contents(mirror_folder) == before
    assert record(mirror_folder, done, note=NOTE, readings=after).number == 2  # two on a day


def test_days_are_told_at_the_command_line(
    mirror_folder: Path, done: Path, after: Path, capsys: pytest.CaptureFixture[str]
) -> None:  # fmt: skip
    folder, day = str(mirror_folder), date.today()
    call = ("record", folder, "-p", str(done), "-r", str(after))
    told = mirror_folder.parent / "told.json"
    yesterday = day - timedelta(1)
    assert run([*call, "--date", str(yesterday), "--json", "-o", str(told)]) == 0
    assert json.loads(told.read_text()) == json.loads(capsys.readouterr().out)
    for wrong, fragment in ((day + timedelta(1), "in the future"), (day - timedelta(2), f"dated {yesterday}")):
        assert run([*call, "--date", str(wrong)]) == 2
        (line,) = capsys.readouterr().err.strip().splitlines()
        assert fragment in line and "--date" in line and str(wrong) in line
    assert run(call) == 0
    note = mirror_folder / "02" / "session.toml"
    note.write_text(note.read_text().replace(str(day), str(day - timedelta(9))))
    capsys.readouterr()
    Messages().dates(open_folder(folder))
    said = " ".join(capsys.readouterr().err.split())
    assert f"session 2 is dated {day - timedelta(9)}, before session 1 ({yesterday})" in said
    note.write_text(note.read_text().replace(str(day - timedelta(9)), str(day + timedelta(9))))
    Messages().dates(open_folder(folder))
    said = " ".join(capsys.readouterr().err.split())
    assert f"session 2 is dated {day + timedelta(9)}, in the future by this computer's clock" in said
