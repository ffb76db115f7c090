"""``kill -9`` in the middle of a record: the session is there whole, or it is not there."""

from __future__ import annotations

import json
import os
import shutil
import signal
import subprocess
import sys
from pathlib import Path

import pytest

from wearsim.learn.mirror_folder import open_folder

# For every moment a child of its own, in a copy of the folder, that kills itself just before that call to
# anything that touches the disc.
VICTIMS = """
import json, os, pathlib, shutil, signal, sys
from datetime import date
from wearsim.learn.mirror_folder import SessionNote
from wearsim.learn.record import record

folder, done, after = map(pathlib.Path, sys.argv[1:4])
DEADLY = ((os, "fsync"), (os, "open"), (pathlib.Path, "mkdir"), (pathlib.Path, "rename"), (pathlib.Path, "open"))

def child(place, moment):
    left = moment
    writing = False  # from the first folder that is made
    def mortal(owner, name):
        true = getattr(owner, name)
        def call(*args, **kwargs):
            nonlocal left, writing
            writing = writing or name == "mkdir"
            if writing and left == 0:
                os.kill(os.getpid(), signal.SIGKILL)
            left -= writing
            return true(*args, **kwargs)
        setattr(owner, name, call)
    for owner, name in DEADLY:
        mortal(owner, name)
    record(place, done, note=SessionNote(date=date(2026, 5, 6), notes="n" * 20000), readings=after)

ends = []
for moment in range(200):
    place = folder.with_name(f"copy-{moment}")
    shutil.copytree(folder, place)
    pid = os.fork()
    if pid == 0:
        child(place, moment)
        os._exit(0)
    status = os.waitstatus_to_exitcode(os.waitpid(pid, 0)[1])
    ends.append(status)
    if status == 0:
        break
print(json.dumps(ends))
"""


@pytest.mark.skipif(not hasattr(os, "fork"), reason="needs fork and kill -9")
def test_whole_or_not_at_all(mirror_folder: Path, done: Path, after: Path) -> None:
    command = [sys.executable, "-c", VICTIMS, *map(str, (mirror_folder, done, after))]
    ended = subprocess.run(command, capture_output=True, text=True, timeout=120, check=True)
    ends = json.loads(ended.stdout)
    assert set(ends[:-1]) == {-signal.SIGKILL} and ends[-1] == 0, ended.stderr
    assert len(ends) > 10
    there = [_sessions(mirror_folder.with_name(f"copy-{moment}")) for moment in range(len(ends))]
    # before the rename nothing, from it on everything, and both were met with
    assert there == sorted(there)
    assert there[0] == 0 and there[-1] == 1


def _sessions(place: Path) -> int:
    """Sessions in a folder, every file of theirs read, checked, and of full length."""
    sessions = open_folder(place).sessions
    for session in sessions:
        assert len(session.note.notes) == 20000
        names = {file.name for file in session.path.iterdir()}
        assert names == {"programme.toml", "readings.toml", "session.toml"}
    shutil.rmtree(place)
    return len(sessions)
