"""Records are a chain: each holds a digest of the one before, and what was edited since is found, and of when it is."""

from __future__ import annotations

import os
from datetime import UTC, date, datetime
from pathlib import Path

import pytest

from tests.helpers.start_figures import KNOWN
from wearsim.cli.main import run
from wearsim.errors import InputError
from wearsim.learn.corrections import confirm, replace_record, restore, set_last_aside
from wearsim.learn.mirror_folder import SessionNote, open_folder
from wearsim.learn.record import record
from wearsim.learn.record_seal import FILE, RecordSeal, changes

WHEN = datetime(2026, 5, 7, 12, 30, tzinfo=UTC)


@pytest.fixture
def three(mirror_folder: Path, done: Path, after: Path) -> Path:
    """A folder with three sessions."""
    for day in (1, 2, 3):
        record(mirror_folder, done, note=SessionNote(date=date(2026, 3, day), notes="as planned"), readings=after)
    return mirror_folder


def edit(file: Path, old: str, new: str) -> None:
    """Change a file, as if at :data:`WHEN`."""
    text = file.read_text()
    assert old in text
    file.write_text(text.replace(old, new))
    os.utime(file, (WHEN.timestamp(),) * 2)


def found(folder: Path) -> dict[int, list[str]]:
    """What is not as it was recorded, by session."""
    return {number: [one.what for one in some] for number, some in changes(open_folder(folder)).items() if some}


def test_each_record_holds_the_seal_of_the_one_before(three: Path) -> None:
    seals = [RecordSeal.read(three / name) for name in ("01", "02", "03")]
    first, second, third = (seal for seal in seals if seal is not None)
    assert (first.before, second.before, third.before) == ("", first.value, second.value)
    assert set(first.files) == {"programme.toml", "readings.toml", "session.toml"}
    assert first.recorded is not None and first.recorded.tzinfo is not None
    assert len({first.value, second.value, third.value}) == 3
    assert found(three) == {}


@pytest.mark.parametrize(
    ("name", "old", "new"),
    [
        ("programme.toml", "minutes = 12", "minutes = 13"),
        ("readings.toml", "1.60", "1.61"),
        ("session.toml", "as planned", "as usual"),
    ],
)
@pytest.mark.parametrize("session", ["01", "03"])
def test_an_edited_file_is_named_with_its_time(session: str, name: str, old: str, new: str, three: Path) -> None:
    edit(three / session / name, old, new)
    (change,) = changes(open_folder(three))[int(session)]
    assert (change.what, change.modified) == (f"{name} was edited after it was recorded", WHEN)
    assert list(found(three)) == [int(session)]


def test_line_ends_of_another_system_are_no_edit(three: Path) -> None:
    file = three / "01/programme.toml"
    file.write_bytes(file.read_bytes().replace(b"\n", b"\r\n"))
    assert found(three) == {}


def test_whoever_hides_an_edit_breaks_the_chain(three: Path) -> None:
    edit(three / "01/readings.toml", "1.60", "1.61")
    seal = RecordSeal.read(three / "01")
    assert seal is not None
    now = RecordSeal.now(three / "01")
    (three / "01" / FILE).write_text(RecordSeal(seal.recorded, seal.before, now.files).text)
    assert found(three) == {1: ["the record was changed after session 2 was recorded"]}
    (three / "01" / FILE).unlink()
    assert found(three) == {1: ["the record was changed after session 2 was recorded"]}


def test_corrections_are_no_breaks(three: Path, done: Path, after: Path) -> None:
    confirm(three, 1)
    replace_record(three, 2, note=SessionNote(date=date(2026, 3, 2), notes="warmer"))
    assert found(three) == {}
    restore(three, "02/earlier-1")
    replace_record(three, 1, readings=after)
    set_last_aside(three)
    set_last_aside(three)
    record(three, done, note=SessionNote(date=date(2026, 3, 2), notes="another"), readings=after)
    record(three, done, note=SessionNote(date=date(2026, 3, 4), notes="another"), readings=after)
    assert found(three) == {}
    restore(three, "02-set-aside-1")
    restore(three, "03-set-aside-1")
    assert found(three) == {}
    (three / "02").rename(three / "02-replacement")  # a correction that was cut short
    assert found(three) == {}


def test_folders_without_digests_load_and_the_first_record_begins_the_chain(
    three: Path, done: Path, after: Path
) -> None:
    for name in ("01", "02", "03"):
        (three / name / FILE).unlink()
    assert found(three) == {}
    record(three, done, note=SessionNote(date=date(2026, 3, 4)), readings=after)
    assert found(three) == {}
    edit(three / "03/readings.toml", "1.60", "1.61")
    ago = WHEN.timestamp() - 1e6
    for name in ("programme.toml", "session.toml"):
        os.utime(three / "03" / name, (ago, ago))
    (change,) = changes(open_folder(three))[3]
    assert (change.what, change.modified) == ("the record was changed after session 4 was recorded", WHEN)


@pytest.mark.parametrize("text", ["not = = TOML", "before = 1", "\0", ""])
def test_a_damaged_seal_hinders_nothing_and_is_said(text: str, three: Path, done: Path, after: Path) -> None:
    (three / "03" / FILE).write_text(text)
    record(three, done, note=SessionNote(date=date(2026, 3, 4)), readings=after)
    assert found(three) == {3: [f"{FILE} cannot be read"]}
    with pytest.raises(InputError, match=FILE):
        RecordSeal.read(three / "03")


def test_a_kept_record_that_cannot_be_read_hinders_nothing(three: Path) -> None:
    replace_record(three, 1, note=SessionNote(date=date(2026, 3, 1), notes="warmer"))
    for name in (FILE, "readings.toml"):
        (three / "01/earlier-1" / name).write_bytes(b"\0")
    assert found(three) == {1: ["the record was changed after session 2 was recorded"]}


def test_history_says_what_was_edited(
    mirror_folder: Path, done: Path, after: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    import tomli_w

    with (mirror_folder / "bench.toml").open("a") as stream:
        stream.write(tomli_w.dumps({"spread": KNOWN}))  # so that it is calibrated in no time
    record(mirror_folder, done, note=SessionNote(date=date(2026, 3, 1)), readings=after)
    assert run(["history", str(mirror_folder), "-q"]) == 0
    assert "edited" not in capsys.readouterr().out
    edit(mirror_folder / "01/readings.toml", "1.60", "1.61")
    monkeypatch.setenv("COLUMNS", "100")
    assert run(["history", str(mirror_folder), "-q"]) == 0
    said = " ".join(capsys.readouterr().out.split())
    local = WHEN.astimezone().strftime("%Y-%m-%d %H:%M")
    assert f"1: readings.toml was edited after it was recorded (last written {local})." in said
    assert run(["history", str(mirror_folder), "-q", "--json"]) == 0
    assert '"modified_utc": "2026-05-07T12:30:00+00:00"' in capsys.readouterr().out
