"""A pipe, a device or a socket where a file is expected: no command waits for it, reads it without end, or fails in us."""

from __future__ import annotations

import os
import shutil
import signal
import socket
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest
import tomli_w

from tests.cli.conftest import DEMO, Call
from tests.cli.test_folder_commands import SHEET
from tests.helpers.start_figures import KNOWN
from wearsim.cli.main import run
from wearsim.learn.draft import FILE as PAGE
from wearsim.learn.draft import Draft

pytestmark = pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="needs pipes with names")
PATIENCE = 120
"""Seconds after which a call hangs: the slowest takes four alone."""
COMMANDS = {
    "history": ("history", ".", "--dry-run"), "predict": ("predict", ".", "-p", "done.toml", "--dry-run"),
    "calibrate": ("calibrate", ".", "--dry-run"), "propose": ("propose", ".", "--dry-run"),
    "compare": ("compare", ".", "-p", "done.toml", "--dry-run"), "mask": ("mask", "bench.toml"),
    "reduce": ("reduce", "after.toml", "--bench", "bench.toml"),
    "reduce a session": ("reduce", "01/readings.toml"),
    "record": ("record", ".", "-p", "done.toml", "--readings", "after.toml", "--date", "2026-01-03"),
    "record as proposed": ("record", ".", "--as-proposed", "--readings", "after.toml", "--date", "2026-01-03"),
    "undo": ("record", ".", "--undo"), "rehearse": ("rehearse", ".", "--dry-run"),
    "study": ("study", "study.toml", "--dry-run"),
}  # fmt: skip
STUDY = '[study]\nbench = "bench.toml"\nprogramme = "done.toml"\n[[axis]]\nkey = "hands.push"\nlist = ["20 N"]\n'
FILES = (
    "bench.toml", "profile.csv", "done.toml", "after.toml", "study.toml", "01/programme.toml", "01/session.toml",
    "01/readings.toml", "01/recorded.toml", "01/earlier-1/session.toml", "02-set-aside-1/programme.toml",
    "proposal-for-02.toml", "calibration.toml", "practice.toml", "page.json", ".being-recorded-02-1-1", "notes.txt",
)  # fmt: skip


@pytest.fixture(scope="module")
def sound(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A mirror's folder with one session that was corrected, and one that was set aside; what goes into it beside it."""
    folder = tmp_path_factory.mktemp("sound") / "mirror"
    shutil.copytree(DEMO, folder)
    (folder / "programme.toml").rename(folder / "done.toml")
    (folder / "bench.toml").write_text((folder / "bench.toml").read_text() + tomli_w.dumps({"spread": KNOWN}))
    (folder / "after.toml").write_text(SHEET)
    (folder / "study.toml").write_text(STUDY)
    shutil.copy(folder / "done.toml", folder / "proposal-for-02.toml")
    worked = ("-p", str(folder / "done.toml"), "--readings", str(folder / "after.toml"), "-q")
    for arguments in (
        (*worked, "--date", "2026-01-01"), (*worked, "--date", "2026-01-02"), ("--undo", "-q"),
        ("--replace", "1", "--notes", "warm", "-q"),
    ):  # fmt: skip
        assert run(["record", str(folder), *arguments]) == 0
    return folder


@pytest.fixture
def folder(sound: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A copy of it, as the current folder."""
    place = tmp_path / "mirror"
    shutil.copytree(sound, place)
    monkeypatch.chdir(place)
    return place


def to_pipe(path: Path) -> None:
    os.mkfifo(path)


def to_device(path: Path) -> None:
    path.symlink_to("/dev/zero")


def to_socket(path: Path) -> None:
    place = Path.cwd()
    os.chdir(path.parent)  # a socket's name is short
    try:
        with socket.socket(socket.AF_UNIX) as there:
            there.bind(path.name)
    finally:
        os.chdir(place)


def to_folder(path: Path) -> None:
    path.mkdir()


@contextmanager
def bounded() -> Iterator[None]:
    """A call that hangs ends as an error."""

    def too_long(*_: object) -> None:
        raise AssertionError(f"a call of more than {PATIENCE} s")

    before = signal.signal(signal.SIGALRM, too_long)
    signal.alarm(PATIENCE)
    try:
        yield
    finally:
        signal.alarm(0)
        signal.signal(signal.SIGALRM, before)


@pytest.mark.parametrize(
    "kind", [to_pipe, *(pytest.param(kind, marks=pytest.mark.slow) for kind in (to_device, to_socket, to_folder))]
)
@pytest.mark.parametrize("file", FILES)
def test_no_command_waits_for_it(file: str, kind: Callable[[Path], None], folder: Path, call: Call) -> None:
    (folder / file).unlink(missing_ok=True)
    kind(folder / file)
    with bounded():
        for name, command in COMMANDS.items():
            called = call(*command)
            failed = [line for line in called.err.splitlines() if line.startswith("wearsim: ")]
            assert called.code in (0, 2) and len(failed) == (called.code == 2), (name, called)
            if name in ("record", "record as proposed") and called.code == 0:
                assert call("record", ".", "--undo").code == 0
            assert name != "undo" or called.code != 0 or call("record", ".", "--restore", _newest()).code in (0, 2)


def _newest() -> str:
    """The session that was set aside last."""
    return max(Path().glob("0?-set-aside-*"), key=lambda place: place.stat().st_mtime_ns).name


@pytest.mark.parametrize("kind", [to_pipe, to_device, to_socket])
@pytest.mark.parametrize(
    ("file", "command"),
    [
        ("bench.toml", "history"), ("01/programme.toml", "predict"), ("01/session.toml", "calibrate"),
        ("01/readings.toml", "propose"), ("after.toml", "record"), ("after.toml", "reduce"), ("done.toml", "record"),
        ("profile.csv", "predict"), ("proposal-for-02.toml", "record as proposed"),
    ],
)  # fmt: skip
def test_the_line_names_it(file: str, command: str, kind: Callable[[Path], None], folder: Path, call: Call) -> None:
    (folder / file).unlink()
    kind(folder / file)
    before = sorted(folder.rglob("*"))
    with bounded():
        called = call(*COMMANDS[command])
    (line,) = called.err.splitlines()
    assert called.code == 2 and called.out == ""
    assert file in line and ("not an ordinary file" in line or "missing" in line or "cannot be read" in line), line
    assert sorted(folder.rglob("*")) == before


@pytest.mark.parametrize("kind", [to_pipe, to_device, to_socket])
@pytest.mark.parametrize("command", ["history", "calibrate", "predict", "propose"])
def test_what_is_kept_for_speed_is_worked_out_again(
    command: str, kind: Callable[[Path], None], folder: Path, call: Call
) -> None:
    kind(folder / "calibration.toml")
    arguments = [word for word in COMMANDS[command] if word != "--dry-run"]
    arguments += {"predict": ["--draws", "0"], "propose": ["--time-limit", "1", "--draws", "0", "--spells", "1"]}.get(
        command, []
    )
    with bounded():
        assert call(*arguments).code == 0
    assert (folder / "calibration.toml").is_file() and not (folder / "calibration.toml").is_symlink()


@pytest.mark.parametrize("kind", [to_pipe, to_device, to_socket])
def test_what_was_typed_on_the_page(kind: Callable[[Path], None], folder: Path) -> None:
    kind(folder / PAGE)
    with bounded():
        assert Draft.load(folder) == Draft.load(folder / "nowhere") or not Draft.load(folder).rounds
