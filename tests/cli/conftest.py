"""The demo in a folder of the test's own, and a way to call the command line inside the process."""

from __future__ import annotations

import shutil
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pytest

from wearsim.bench.bench import Bench
from wearsim.cli.main import run
from wearsim.decide.proposal import Proposal
from wearsim.decide.propose import propose

WIDTH = 80
DEMO = Path(__file__).parents[2] / "examples" / "demo"


@dataclass(frozen=True)
class Called:
    """What a call of ``wearsim`` came to."""

    code: int
    out: str
    err: str


Call = Callable[..., Called]


@pytest.fixture
def demo(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A copy of the demo, as the current folder."""
    folder = tmp_path / "demo"
    shutil.copytree(DEMO, folder)
    monkeypatch.chdir(folder)
    return folder


@pytest.fixture
def call(capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch) -> Call:
    """``call("predict", "bench.toml", ...)`` as at a terminal that is none: whatever is called, no line too wide."""
    monkeypatch.setenv("COLUMNS", str(WIDTH))

    def called(*arguments: str) -> Called:
        capsys.readouterr()
        code = run(arguments)
        captured = capsys.readouterr()
        wide = [line for line in captured.out.splitlines() if len(line) > WIDTH]
        assert "--json" in arguments or not wide, wide
        return Called(code, captured.out, captured.err)

    return called


@pytest.fixture
def searched_once(monkeypatch: pytest.MonkeyPatch) -> None:
    """Whoever asks ``propose`` what was asked before gets what was found then."""
    monkeypatch.setattr("wearsim.decide.propose.propose", _searched)


_FOUND: dict[str, Proposal] = {}


def _searched(bench: Bench, **asked: Any) -> Proposal:
    asked.pop("progress")
    measured = bench.figure.path.read_bytes() if bench.figure.path else b""
    question = repr((bench.text, measured, sorted(asked.items())))
    if question not in _FOUND:
        _FOUND[question] = propose(bench, **asked)
    return _FOUND[question]


@pytest.fixture
def tipping(demo: Path) -> Path:
    """A programme whose stroke carries the top piece off, whichever is on top."""
    path = demo / "tips.toml"
    path.write_text('[[spell]]\nstroke = "straight"\nlength = 1.5\nminutes = 3\n')
    return path
