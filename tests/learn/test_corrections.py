"""A record that is put right is kept as it was, and what the person wrote stays as it was written."""

from __future__ import annotations

from datetime import date
from pathlib import Path

import pytest

from wearsim.errors import CouldNotError, InputError
from wearsim.learn.cache import KeptCalibration, keep, recalled, stale
from wearsim.learn.calibrate import DRAWS
from wearsim.learn.corrections import confirm, replace_record, restore, set_last_aside
from wearsim.learn.mirror_folder import SessionNote, open_folder
from wearsim.learn.record import record
from wearsim.learn.whole_writes import PARTIAL
from wearsim.wear.constants import prior

NOTE = SessionNote(date=date(2026, 2, 3), temperature=18.5, pressed=600.0, notes="the lap sang")


def contents(folder: Path) -> dict[str, bytes]:
    return {str(p.relative_to(folder)): p.read_bytes() for p in sorted(folder.rglob("*")) if p.is_file()}


@pytest.fixture
def two(mirror_folder: Path, done: Path, after: Path) -> Path:
    """A mirror's folder with two sessions, the second measured in another way, and a photograph in each."""
    record(mirror_folder, done, note=NOTE, readings=after)
    later = NOTE.model_copy(update={"date": date(2026, 2, 5), "pressed": None})
    record(mirror_folder, done, note=later, profile=mirror_folder / "before.csv")
    for name in ("01", "02"):
        (mirror_folder / name / "photo.jpg").write_bytes(b"\xff\xd8" + name.encode())
    return mirror_folder


@pytest.fixture
def longer(done: Path) -> Path:
    """The same programme with other minutes."""
    path = done.with_name("longer.toml")
    path.write_text(done.read_text().replace("minutes = 12", "minutes = 15"))
    return path


def test_a_programme_is_replaced_and_the_rest_stays(two: Path, longer: Path) -> None:
    before = contents(two)
    done = replace_record(two, 1, programme=longer)
    assert done.kept == two / "01" / "earlier-1"
    now = contents(two)
    assert {name: now[f"01/earlier-1/{Path(name).name}"] for name in before if name[:2] == "01"} == {
        name: content for name, content in before.items() if name[:2] == "01"
    }
    assert {name: now[name] for name in before if name[:2] != "01"} == {
        name: content for name, content in before.items() if name[:2] != "01"
    }
    assert now["01/programme.toml"] == longer.read_bytes()
    assert now["01/readings.toml"] == before["01/readings.toml"]
    assert done.session.note == NOTE and done.session.minutes == 15.0
    (earlier,) = done.session.earlier
    assert (earlier.number, earlier.path, earlier.date, earlier.minutes) == (1, done.kept, NOTE.date, 12.0)
    assert not list(two.glob(f"{PARTIAL}*")) and not list(two.glob("*-replacement"))


def test_a_measurement_of_another_kind_and_a_note(two: Path, after: Path) -> None:
    note = SessionNote(date=date(2026, 2, 4), notes="read again")
    session = replace_record(two, 2, readings=after, note=note).session
    assert {path.name for path in session.path.iterdir()} == {
        "programme.toml", "readings.toml", "recorded.toml", "session.toml", "earlier-1",
    }  # fmt: skip
    assert (session.path / "readings.toml").read_text() == after.read_text() and session.note == note
    assert (session.path / "earlier-1" / "profile.csv").exists()


def test_what_cannot_be_used_changes_nothing(two: Path, done: Path, after: Path) -> None:
    before = contents(two)
    for number in (-1, 0, 3):
        with pytest.raises(InputError, match="1 to 2"):
            replace_record(two, number, programme=done)
        with pytest.raises(InputError, match="1 to 2"):
            confirm(two, number)
    with pytest.raises(InputError, match="both"):
        replace_record(two, 1, readings=after, profile=after)
    with pytest.raises(InputError, match="windows"):
        replace_record(two, 1, readings=done)
    with pytest.raises(InputError, match="before session 1"):
        replace_record(two, 2, note=NOTE.model_copy(update={"date": date(2026, 2, 2)}))
    with pytest.raises(InputError, match="after session 2"):
        replace_record(two, 1, note=NOTE.model_copy(update={"date": date(2026, 2, 6)}))
    for name in ("03-set-aside-1", "01/earlier-1", "01", ".."):
        with pytest.raises(InputError, match="no such record is kept"):
            restore(two, name)
    assert contents(two) == before


def test_aside_and_back(two: Path) -> None:
    before = contents(two)
    kept = set_last_aside(two)
    assert kept.path == two / "02-set-aside-1"
    mirror = open_folder(two)
    assert [session.number for session in mirror.sessions] == [1] and mirror.set_aside == (kept,)
    assert set_last_aside(two).path == two / "01-set-aside-1"
    with pytest.raises(CouldNotError, match="no session is recorded"):
        set_last_aside(two)
    with pytest.raises(InputError, match="session 1 first"):
        restore(two, "02-set-aside-1")
    assert sorted(contents(two).values()) == sorted(before.values())
    assert restore(two, "01-set-aside-1").kept is None
    assert restore(two, two / "02-set-aside-1").session.number == 2  # the folder before its name
    assert contents(two) == before


def test_a_session_that_was_recorded_in_its_place_is_kept(two: Path, longer: Path, after: Path) -> None:
    set_last_aside(two)
    other = record(two, longer, note=NOTE, readings=after)
    assert other.number == 2
    everything = sorted(contents(two).values())
    done = restore(two, "02-set-aside-1")
    assert done.session.minutes == 12.0 and done.kept == two / "02" / "earlier-1"
    assert (done.session.path / "photo.jpg").exists()
    again = restore(two, "02/earlier-1")
    assert again.session.minutes == 15.0 and again.kept == two / "02" / "earlier-1"
    assert sorted(contents(two).values()) == everything


def test_every_earlier_record_can_be_brought_back(two: Path, longer: Path) -> None:
    for notes in ("a", "b", "c"):
        replace_record(two, 1, note=NOTE.model_copy(update={"notes": notes}))
    everything = sorted(contents(two).values())
    for notes in ("the lap sang", "b", "a", "c"):
        mirror = open_folder(two)
        names = {str(one.path.relative_to(two)) for one in mirror.sessions[0].earlier}
        assert len(names) == 3
        (wanted,) = (name for name in names if f'"{notes}"' in (two / name / "session.toml").read_text())
        assert restore(two, wanted).session.note.notes == notes
        assert sorted(contents(two).values()) == everything


def test_a_kept_record_that_is_damaged_hinders_nobody(two: Path) -> None:
    set_last_aside(two)
    (two / "02-set-aside-1" / "programme.toml").write_text("no TOML at all [")
    (kept,) = open_folder(two).set_aside
    assert kept.date is None and kept.minutes is None
    before = contents(two)
    with pytest.raises(InputError, match=r"02-set-aside-1/programme\.toml"):
        restore(two, "02-set-aside-1")
    assert contents(two) == before


def test_confirmed_beside_what_the_person_wrote(two: Path) -> None:
    file = two / "01" / "session.toml"
    file.write_text("# by hand\ndate = 2026-02-03  # a cold day")
    session = confirm(two, 1)
    assert session.note.confirmed
    assert file.read_text() == "# by hand\ndate = 2026-02-03  # a cold day\nconfirmed = true\n"
    before = contents(two)
    assert confirm(two, 1).note == session.note and contents(two) == before
    file.write_text("date = 2026-02-03\nconfirmed = false\n")
    assert not open_folder(two).sessions[0].note.confirmed
    assert confirm(two, 1).note.confirmed
    # another record is not what was confirmed
    assert not replace_record(two, 1, note=NOTE.model_copy(update={"confirmed": True})).session.note.confirmed
    file.write_text('date = 2026-02-03\nconfirmed = "yes"\n')
    with pytest.raises(InputError, match="true or false"):
        open_folder(two)


@pytest.mark.parametrize("moved", [False, True])
def test_a_replacement_that_was_cut_short_counts_and_is_finished(moved: bool, two: Path, longer: Path) -> None:
    replace_record(two, 1, programme=longer)
    whole = contents(two)
    (two / "01").rename(two / "01-replacement")
    if not moved:
        (two / "01-replacement" / "earlier-1").rename(two / "01")
    assert [session.minutes for session in open_folder(two).sessions] == [15.0, 12.0]
    confirm(two, 2)
    whole["02/session.toml"] += b"confirmed = true\n"
    assert contents(two) == whole


def test_what_was_calibrated_does_not_count_for_another_record(two: Path, longer: Path, after: Path) -> None:
    def calibrated() -> None:
        mirror = open_folder(two)
        for count in range(1, len(mirror.sessions) + 1):
            keep(mirror, count, KeptCalibration(prior(mirror.bench), 0.08), 0, DRAWS)

    def known() -> list[bool]:
        mirror = open_folder(two)
        return [recalled(mirror, count) is not None for count in range(1, len(mirror.sessions) + 1)]

    calibrated()
    assert known() == [True, True]
    confirm(two, 2)
    assert known() == [True, False] and stale(open_folder(two)) is not None
    calibrated()
    replace_record(two, 2, note=NOTE.model_copy(update={"date": date(2026, 2, 5), "pressed": 60.0}))
    assert known() == [True, False]
    calibrated()
    replace_record(two, 1, programme=longer)
    assert known() == [False, False]
    calibrated()
    set_last_aside(two)
    assert known() == [True]
    record(two, longer, note=NOTE, readings=after)
    assert known() == [True, False]
    restore(two, "02-set-aside-1")
    assert known() == [True, True]  # these very records were calibrated
    restore(two, "01/earlier-1")
    assert known() == [False, False]
