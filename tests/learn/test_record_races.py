"""Two who record into one folder at the same moment: each session that somebody was told is recorded is there, whole."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from datetime import date
from pathlib import Path

import pytest

from wearsim.learn.mirror_folder import SessionNote, open_folder
from wearsim.learn.record import record
from wearsim.learn.record_seal import changes
from wearsim.learn.whole_writes import open_to_write

ROUNDS = 6
# A process that has loaded everything; two of its children start at the same byte of a pipe.
SCRIPT = """
import json, os, sys
from pathlib import Path
from wearsim.cli.main import run
folder, rounds, one, other = Path(sys.argv[1]), int(sys.argv[2]), *(text.split("|") for text in sys.argv[3:5])
os.dup2(os.open(os.devnull, os.O_WRONLY), 1)
said = os.open(folder.with_name("said"), os.O_WRONLY | os.O_CREAT | os.O_APPEND)
os.dup2(said, 2)
ends = []
for number in range(rounds):
    gate, opened = os.pipe()
    children = []
    for arguments in (one, other):
        pid = os.fork()
        if pid == 0:
            os.close(opened)
            os.read(gate, 1)
            os._exit(run(["record", str(folder), *arguments, "-q"]))
        children.append(pid)
    os.close(gate)
    os.close(opened)
    ends.append([os.waitstatus_to_exitcode(os.waitpid(pid, 0)[1]) for pid in children])
folder.with_name("ends.json").write_text(json.dumps(ends))
"""
ADD = ("--profile", "before.csv", "--date", "2026-05-06", "-p", "done.toml")
RACES = {
    "two sessions": (ADD, (*ADD, "--notes", "b")),
    "a session and a correction": (ADD, ("--replace", "1", "--notes", "b")),
}


@pytest.mark.slow
@pytest.mark.skipif(not hasattr(os, "fork"), reason="needs fork")
@pytest.mark.parametrize("race", RACES)
def test_neither_is_lost_nor_spoilt(race: str, mirror_folder: Path, done: Path, after: Path) -> None:
    done.rename(mirror_folder / "done.toml")
    record(mirror_folder, mirror_folder / "done.toml", note=SessionNote(date=date(2026, 3, 1)), readings=after)
    one, other = ("|".join(arguments) for arguments in RACES[race])
    script = [sys.executable, "-c", SCRIPT, str(mirror_folder), str(ROUNDS), one, other]
    subprocess.run(script, check=True, timeout=240, cwd=mirror_folder)
    ends = json.loads(mirror_folder.with_name("ends.json").read_text())
    said = mirror_folder.with_name("said").read_text().splitlines()
    told = [end for both in ends for end in both]
    assert set(told) <= {0, 1} and all(0 in both for both in ends)
    assert len(said) == told.count(1) and all(
        "another session was recorded in the meantime" in line for line in said
    ), said
    mirror = open_to_write(mirror_folder)
    added = [both[0] for both in ends] + ([both[1] for both in ends] if race == "two sessions" else [])
    assert len(mirror.sessions) == 1 + added.count(0)
    corrected = 0 if race == "two sessions" else [both[1] for both in ends].count(0)
    assert len(mirror.sessions[0].earlier) == corrected
    assert not any(changes(open_folder(mirror_folder)).values())
