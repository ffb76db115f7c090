"""What the tutorial says of what its commands print holds, and its pictures are those of its commands."""

from __future__ import annotations

import contextlib
import re
from pathlib import Path

import make_tutorial_pictures
import pytest
import run_blocks

TEXT = (run_blocks.ROOT / "docs" / "tutorial.md").read_text(encoding="utf-8")
COMMANDS = [command for block in run_blocks.blocks(TEXT) for command in block.commands]


def first(words: str) -> str:
    return next(command for command in COMMANDS if command.startswith(f"wearsim {words}"))


@pytest.fixture(scope="module")
def shed(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The folder in which the page is run."""
    folder = tmp_path_factory.mktemp("shed")
    run_blocks.lay_out(folder)
    return folder


@pytest.fixture(scope="module")
def ran(shed: Path) -> dict[str, run_blocks.Ran]:
    """What every command of the page came to, in order."""
    with contextlib.chdir(shed):
        return {command: run_blocks.run_line(command) for command in COMMANDS}


@pytest.mark.parametrize("command", COMMANDS)
def test_it_runs_as_written(command: str, ran: dict[str, run_blocks.Ran]) -> None:
    assert ran[command].code == 0, ran[command].err
    assert "Traceback" not in ran[command].err


def test_the_proposal_comes_without_warnings_as_it_says(ran: dict[str, run_blocks.Ran]) -> None:
    assert "Here there are none" in TEXT
    done = ran[first("propose")]
    assert "Warning" not in done.out + done.err
    assert f"--minutes {make_tutorial_pictures.MINUTES:.0f} " in first("propose")


def test_too_short_a_wait_is_warned_of_and_a_long_one_is_not(shed: Path, ran: dict[str, run_blocks.Ran]) -> None:
    short = next(command for command in COMMANDS if "--waited" in command)
    assert "wait 2.7 h" in " ".join(ran[short].err.split())
    with contextlib.chdir(shed):
        assert "feign" not in run_blocks.run_line(short.replace("40 min", "4 h")).err


def test_every_picture_is_made() -> None:
    shown = set(re.findall(r"\(generated/tutorial-(\w+)\.\w+\)", TEXT))
    assert shown == {"surface", "card"}
    assert make_tutorial_pictures.surface().axes
