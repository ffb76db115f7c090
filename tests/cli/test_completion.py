"""What a shell is told to complete to; how quick that is hangs on what is imported for it."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import pytest

from wearsim.bench.materials import names
from wearsim.cli import completion as ready

HEAVY = ("numba", "scipy", "pint", "matplotlib", "h5py", "numpy", "rich")


def test_names_are_those_of_the_catalogue() -> None:
    rooms = {"glasses": ready.glasses, "pitches": ready.pitches, "abrasives": ready.abrasives}
    for room, complete in rooms.items():
        assert tuple(complete("")) == tuple(sorted(names(room))) and complete("no-such") == []
        first = complete("")[0]
        assert first in complete(first[:3])


def test_benches_and_what_lies_there(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)
    (tmp_path / "mine").mkdir()
    for name in ("mine/bench.toml", "mine/notes.txt", "mirror.toml"):
        (tmp_path / name).write_text("")
    assert set(names("benches")) < set(ready.benches(""))
    assert ready.benches("mi") == ["mine/", "mirror.toml"]
    assert ready.benches("mine/") == ["mine/bench.toml"]
    assert ready.benches("no/such") == []
    assert "overhang-risk" in ready.studies("over")


def test_it_imports_nothing_heavy() -> None:
    code = (
        "import sys, wearsim.cli.main as m\n"
        "try: m.run([])\n"
        "except SystemExit: pass\n"
        f"print([name for name in {HEAVY!r} if name in sys.modules], file=sys.stderr)\n"
    )
    asked = {"COMP_WORDS": "wearsim predict raised", "COMP_CWORD": "2", "_WEARSIM_COMPLETE": "complete_bash"}
    done = subprocess.run(
        [sys.executable, "-c", code], capture_output=True, text=True, check=True, env={**os.environ, **asked}
    )
    assert done.stdout.split() == ["raised-zone-300"] and done.stderr.strip() == "[]"
