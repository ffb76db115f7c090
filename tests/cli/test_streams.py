"""Streams that are full or closed, files that come meanwhile, names and texts that do harm: one line, and nothing lost."""

from __future__ import annotations

import os
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager
from functools import partial
from pathlib import Path

import matplotlib
import pytest

from tests.cli.conftest import Call
from wearsim.bench import whole_file as whole_files
from wearsim.bench.whole_file import whole_file
from wearsim.cli import terminal
from wearsim.cli.main import run
from wearsim.cli.terminal import LongWork, Messages
from wearsim.errors import CouldNotError, InputError
from wearsim.learn import cache
from wearsim.learn.cache import KeptCalibration
from wearsim.learn.mirror_folder import open_folder
from wearsim.show.style import new_figure, plot_style, save
from wearsim.study.run import StudyProgress
from wearsim.wear.constants import prior

FULL = Path("/dev/full")
needs_full = pytest.mark.skipif(not FULL.exists(), reason="needs /dev/full")


@contextmanager
def full_stdout(monkeypatch: pytest.MonkeyPatch) -> Iterator[None]:
    """No fixture: between set-up and test pytest puts a stream of its own there."""
    with FULL.open("w") as stream, monkeypatch.context() as patch:
        patch.setattr(sys, "stdout", stream)
        yield


@needs_full
@pytest.mark.parametrize("how", [[], ["--json"]])
def test_a_full_stdout_is_one_line(
    how: list[str], demo: Path, capfd: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    before = sorted(demo.iterdir())
    with full_stdout(monkeypatch):
        assert run(["mask", "bench.toml", "-q", *how]) == 1
    assert capfd.readouterr().err == "wearsim: stdout cannot be written (No space left on device)\n"
    assert sorted(demo.iterdir()) == before


@needs_full
def test_a_session_that_is_recorded_is_a_success(
    demo: Path, capfd: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    with full_stdout(monkeypatch):
        assert run(["record", ".", "-p", "programme.toml", "--profile", "profile.csv", "--date", "2026-01-02"]) == 0
    assert "do not give the command again" in " ".join(capfd.readouterr().err.split())
    assert len(open_folder(demo).sessions) == 1


def test_closed_streams(demo: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    for name in ("stdin", "stdout", "stderr"):
        monkeypatch.setattr(sys, name, None)
    assert run(["mask", "bench.toml"]) == 0
    assert run(["new", "another"]) == 2
    for stream in (sys.stdout, sys.stderr):
        stream.close()


def test_what_a_terminal_obeys_is_not_sent_to_it(call: Call, demo: Path) -> None:
    (demo / "esc.toml").write_text('"\\u001b[2Jkey\\u009b" = 1\n[mirror]\n')
    called = call("mask", "esc.toml")
    assert called.code == 2
    assert called.err.startswith("wearsim: esc.toml: \\x1b[2Jkey\\x9b: unknown key") and called.err.count("\n") == 1
    assert terminal.shown("a\x07b\tc\nd\x7f\x85") == "a\\x07b\tc\nd\\x7f\\x85"


@pytest.mark.parametrize(
    "arguments",
    [
        ["mask", "x" * 300 + ".toml"],
        ["mask", "bench.toml", "--plot", "x" * 300 + ".png"],
        ["mask", "no\nsuch.toml"],
        ["record", ".", "-p", "programme.toml", "--profile", "profile.csv", "--notes", "a\udcff"],
        ["mask", "bench.toml", "--seed", str(2**64)],
        ["mask", "bench.toml/x"],
    ],
)
def test_impossible_names_and_texts(arguments: list[str], call: Call, demo: Path) -> None:
    before = sorted(demo.rglob("*"))
    called = call(*arguments)
    assert called.code == 2 and called.err.startswith("wearsim: ") and called.err.count("\n") == 1
    assert sorted(demo.rglob("*")) == before


def test_of_two_runs_with_one_name_the_second_is_told(tmp_path: Path) -> None:
    path = tmp_path / "plot.png"
    with pytest.raises(InputError, match="already exists"), whole_file(path) as late:
        with whole_file(path) as early:
            early.write_text("early")
        late.write_text("late")
    assert path.read_text() == "early" and list(tmp_path.iterdir()) == [path]
    (tmp_path / "link").symlink_to(tmp_path / "nowhere")
    with pytest.raises(InputError, match="already exists"), whole_file(tmp_path / "link"):
        pass
    assert path.stat().st_mode & 0o777 == 0o666 & ~os.umask(os.umask(0o22)) or path.stat().st_mode & 0o400


def test_what_a_dead_process_left_is_swept(tmp_path: Path) -> None:
    old = time.time() - 1e5
    names = {
        ".wearsim-999999999-abc.partial": False,  # no such process
        f".wearsim-{os.getpid()}-abc.partial": True, ".wearsim-mine.partial": True, "other.partial": True,
    }  # fmt: skip
    for name in names:
        (tmp_path / name).write_text("")
        os.utime(tmp_path / name, (old, old))
    (tmp_path / ".wearsim-999999999-new.partial").write_text("")
    with whole_file(tmp_path / "a.txt") as part:
        part.write_text("a")
    left = {name for name, stays in names.items() if stays} | {"a.txt", ".wearsim-999999999-new.partial"}
    assert {path.name for path in tmp_path.iterdir()} == left


def test_a_folder_that_cannot_be_written_remembers_nothing(demo: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    assert run(["record", ".", "-p", "programme.toml", "--profile", "profile.csv", "--date", "2026-01-02", "-q"]) == 0

    def read_only(*_: object) -> None:
        raise OSError(30, "Read-only file system")

    monkeypatch.setattr(whole_files, "_partial_name", read_only)
    folder = open_folder(demo)
    cache.keep(folder, 1, KeptCalibration(prior(folder.bench), 0.1), 0, 8)
    assert not (demo / cache.FILE).exists()


@pytest.mark.parametrize("ending", [".png", ".pdf", ".svg"])
def test_the_persons_own_style_and_dollars_change_nothing(
    ending: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def drawn(path: Path) -> bytes:
        with plot_style():
            figure = new_figure(2.0, 1.0)
            figure.add_subplot().set_title("a $lap$ of \\frac{ $")
        save(figure, path, ending)
        return path.read_bytes()

    plain = drawn(tmp_path / "plain")
    with matplotlib.rc_context({"text.usetex": True, "font.size": 31.0}):
        assert drawn(tmp_path / "own") == plain


@needs_full
def test_a_plot_on_a_full_disk_is_an_ordinary_error(tmp_path: Path) -> None:
    with plot_style():
        figure = new_figure(2.0, 1.0)
        figure.add_subplot()
    with pytest.raises(OSError, match="No space left"):
        save(figure, FULL, ".pdf")
    with pytest.raises(CouldNotError, match="cannot be written"), whole_file(tmp_path / "a.pdf"):
        raise OSError(28, "No space left on device")
    assert list(tmp_path.iterdir()) == []


def test_long_work_is_forecast_once(capsys: pytest.CaptureFixture[str]) -> None:
    """Of a thousand seconds; the time before the first report, in which all was loaded, counts for nothing."""
    time_now = [0.0]
    work = LongWork(Messages(), lambda: time_now[0])
    said = []
    for at, share in ((60.0, 0.01), (61.0, 0.011), (62.5, 0.0125), (90.0, 0.02), (1000.0, 0.5)):
        time_now[0] = at
        work.report(share)
        said.append(capsys.readouterr().err)
    assert said == ["", "", "This will take about 16 min more. Ctrl-C stops it without keeping anything.\n", "", ""]


def test_of_short_work_nothing_is_said(capsys: pytest.CaptureFixture[str]) -> None:
    time_now = [0.0]
    for messages in (Messages(), Messages(quiet=True)):
        work = LongWork(messages, lambda: time_now[0])
        for share in (0.0, 0.1, 0.4, 1.0):
            time_now[0] = 100.0 * share * (1 + 99 * messages.quiet)
            work.report(share)
    assert capsys.readouterr().err == ""


def test_a_study_away_from_a_terminal_is_forecast_from_the_first_case_on(
    capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    """100 of 1000 cases were kept; 100 more take 100 s, and the start of the workers counts for nothing."""
    time_now = [0.0]
    monkeypatch.setattr(terminal, "LongWork", partial(LongWork, clock=lambda: time_now[0]))
    for quiet in (True, False):
        with Messages(quiet=quiet).case_bar() as report:
            for at, done in ((0.0, 100), (60.0, 110), (61.0, 111), (160.0, 210), (161.0, 211)):
                time_now[0] = at
                report(StudyProgress(done, 100, 0, 1000))
    assert (
        capsys.readouterr().err == "This will take about 13 min more. Ctrl-C stops it and keeps the finished cases.\n"
    )
