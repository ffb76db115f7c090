"""A folder damaged by hand: one clear line that says which file and what."""

from __future__ import annotations

import shutil
from collections.abc import Callable
from datetime import date
from pathlib import Path

import pytest

from wearsim.errors import InputError
from wearsim.learn.mirror_folder import SessionNote, open_folder
from wearsim.learn.record import record


@pytest.fixture
def two_sessions(mirror_folder: Path, done: Path, after: Path) -> Path:
    for day in (1, 2):
        record(mirror_folder, done, note=SessionNote(date=date(2026, 3, day)), readings=after)
    return mirror_folder


def edit(name: str, old: str, new: str) -> Callable[[Path], None]:
    def spoil(folder: Path) -> None:
        text = (folder / name).read_text()
        assert old in text
        (folder / name).write_text(text.replace(old, new))

    return spoil


DAMAGES: dict[str, tuple[Callable[[Path], object], tuple[str, ...]]] = {
    "no bench": (lambda f: (f / "bench.toml").unlink(), ("bench.toml", "missing")),
    "bench no TOML": (edit("bench.toml", "[mirror]", "[mirror"), ("bench.toml", "a ] is missing")),
    "bench key": (edit("bench.toml", "thickness", "thinness"), ("bench.toml", "mirror.thinness", "unknown key")),
    "first figure gone": (lambda f: (f / "before.csv").unlink(), ("before.csv", "no such file")),
    "no programme": (lambda f: (f / "01/programme.toml").unlink(), ("01/programme.toml", "missing")),
    "no conditions": (lambda f: (f / "02/session.toml").unlink(), ("02/session.toml", "missing")),
    "no measurement": (lambda f: (f / "02/readings.toml").unlink(), ("02", "no measurement")),
    "two measurements": (
        lambda f: shutil.copy(f / "before.csv", f / "02/profile.csv"), ("02", "both readings.toml and profile.csv"),
    ),
    "half a sheet": (
        edit("02/readings.toml", ", 1.22, 1.57]", "]"), ("02/readings.toml", "readings, row 2", "too short"),
    ),
    "wrong unit": (edit("01/readings.toml", '"mm"', '"m"'), ("01/readings.toml",)),
    "conditions key": (edit("01/session.toml", "date", "day"), ("01/session.toml", "day", "unknown key")),
    "no date": (edit("01/session.toml", "2026-03-01", '"monday"'), ("01/session.toml", "session.date")),
    "bare temperature": (
        lambda f: (f / "01/session.toml").write_text("date = 2026-03-01\ntemperature = 18\n"),
        ("01/session.toml", "temperature", "the unit is missing"),
    ),
    "unknown abrasive": (
        lambda f: (f / "01/session.toml").write_text('date = 2026-03-01\nabrasive = "sand"\n'),
        ("01/session.toml", "abrasive", "sand"),
    ),
    "a stroke misspelt": (edit("02/programme.toml", '"w"', '"v"'), ("02/programme.toml", "stroke")),
    "one left out": (lambda f: (f / "01").rename(f / "03"), ("01", "session 1 is missing")),
    "one twice": (lambda f: shutil.copytree(f / "01", f / "1"), ("the same session as",)),
    "number nought": (lambda f: shutil.copytree(f / "01", f / "00"), ("00", "counted from 1")),
    "a file for a session": (
        lambda f: (f / "03").write_text(""), ("03", "this is a file, but a session's folder is expected here"),
    ),
    "binary": (lambda f: (f / "02/programme.toml").write_bytes(b"\0\1\2"), ("02/programme.toml", "binary")),
}  # fmt: skip


@pytest.mark.parametrize("damage", DAMAGES)
def test_damage_is_named(damage: str, two_sessions: Path) -> None:
    spoil, fragments = DAMAGES[damage]
    assert len(open_folder(two_sessions).sessions) == 2
    spoil(two_sessions)
    with pytest.raises(InputError) as caught:
        open_folder(two_sessions)
    line = str(caught.value)
    assert "\n" not in line
    for fragment in fragments:
        assert fragment in line, line


def test_strangers_in_the_folder_do_no_harm(two_sessions: Path) -> None:
    (two_sessions / "notes.txt").write_text("bought more cerium oxide")
    (two_sessions / "photos").mkdir()
    assert len(open_folder(two_sessions).sessions) == 2


def test_no_folder_at_all(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="no such folder"):
        open_folder(tmp_path / "nowhere")
