"""``wearsim page`` where it cannot begin: one line, and what to do about it."""

from __future__ import annotations

from importlib.machinery import ModuleSpec
from pathlib import Path

import pytest

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
