"""``wearsim page`` where it cannot begin: one line, and what to do about it."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import time
from importlib.machinery import ModuleSpec
from pathlib import Path

import pytest

from tests.page.conftest import ROOT
from wearsim.cli import page
from wearsim.cli.options import Options
from wearsim.errors import CouldNotError, InputError


@pytest.mark.parametrize("missing", page.NEEDED)
def test_without_its_extra_it_says_how_to_get_it(monkeypatch: pytest.MonkeyPatch, missing: str, tmp_path: Path) -> None:
    monkeypatch.setattr(page, "find_spec", lambda name: None if name == missing else ModuleSpec(name, None))
    with pytest.raises(CouldNotError, match=r"pip install '\.\[page\]'"):
        page.command(Options(), tmp_path)


def test_a_folder_that_is_not_there_is_named(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="no such folder"):
        page.command(Options(), tmp_path / "gone")


def test_the_browser_is_opened_when_the_page_listens(tmp_path: Path) -> None:
    look, seen = tmp_path / "look.py", tmp_path / "seen"
    look.write_text(
        f"import sys, urllib.request\nstatus = urllib.request.urlopen(sys.argv[1]).status\n"
        f"open({str(seen)!r}, 'a').write(f'{{status}} {{sys.argv[1]}}\\n')\n"
    )
    process = subprocess.Popen(
        [sys.executable, "-m", "wearsim", "page", str(tmp_path)], cwd=ROOT, stdout=subprocess.DEVNULL,
        env={**os.environ, "BROWSER": f"{sys.executable} {look} %s"},
    )  # fmt: skip
    try:
        end = time.monotonic() + 180.0
        while not seen.exists() and time.monotonic() < end:
            assert process.poll() is None
            time.sleep(0.1)
        assert seen.read_text().startswith("200 http://127.0.0.1:")
    finally:
        process.send_signal(signal.SIGINT)
        process.wait(60)
