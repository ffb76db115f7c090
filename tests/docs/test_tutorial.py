"""What the tutorial says of what its commands print holds, and its pictures are those of its commands."""

from __future__ import annotations

import re
from pathlib import Path

import make_tutorial_pictures
import pytest
import run_blocks

TEXT = (run_blocks.ROOT / "docs" / "tutorial.md").read_text(encoding="utf-8")
COMMANDS = [command for block in run_blocks.blocks(TEXT) for command in block.commands]


def first(words: str) -> str:
    return next(command for command in COMMANDS if command.startswith(f"wearsim {words}"))


@pytest.fixture
def shed(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """The folder as it is once the ready files have taken the place of the new ones."""
    run_blocks.lay_out(tmp_path)
    monkeypatch.chdir(tmp_path)
    for command in COMMANDS[: COMMANDS.index("cat shed/readings.toml")]:
        assert run_blocks.run_line(command).code == 0
    return tmp_path


def test_the_proposal_comes_without_warnings_as_it_says(shed: Path) -> None:
    assert "Here there are none" in TEXT
    done = run_blocks.run_line(first("propose"))
    assert done.code == 0 and "Warning" not in done.out + done.err
    assert f"--minutes {make_tutorial_pictures.MINUTES:.0f} " in first("propose")


def test_too_short_a_wait_is_warned_of_and_a_long_one_is_not(shed: Path) -> None:
    short = next(command for command in COMMANDS if "--waited" in command)
    assert "wait 2.7 h" in " ".join(run_blocks.run_line(short).err.split())
    assert "feign" not in run_blocks.run_line(short.replace("40 min", "4 h")).err


def test_every_picture_is_made(shed: Path) -> None:
    shown = set(re.findall(r"\(generated/tutorial-(\w+)\.\w+\)", TEXT))
    assert shown == {"surface", "card"}
    assert make_tutorial_pictures.surface().axes
