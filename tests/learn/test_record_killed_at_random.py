"""``kill -9`` of ``wearsim record`` at moments that chance picks, as it adds a session and as it replaces one.

Whatever was left, the same command given once more (or nothing, where it was done) ends with the same bytes as a run that
nobody disturbed.
"""

from __future__ import annotations

import json
import os
import signal
import subprocess
import sys
from datetime import UTC, date, datetime
from pathlib import Path

import pytest

from tests.learn.test_record_killed import files, read
from wearsim.cli.main import run
from wearsim.learn import record_seal
from wearsim.learn.mirror_folder import SessionNote, open_folder
from wearsim.learn.record import record
from wearsim.learn.whole_writes import PARTIAL, open_to_write

KILLS = 6
CLOCK = datetime(2026, 5, 6, tzinfo=UTC)
# A process that has loaded everything already, so that its children are killed at their work; one child and one copy of
# the folder for each kill.
SCRIPT = """
import json, os, random, shutil, signal, sys, time
from datetime import UTC, datetime
from pathlib import Path
from wearsim.cli.main import run
from wearsim.learn import record_seal
record_seal._clock = lambda: datetime(2026, 5, 6, tzinfo=UTC)
folder, kills, seed, arguments = Path(sys.argv[1]), int(sys.argv[2]), int(sys.argv[3]), sys.argv[4:]

def copied(name):
    place = folder.with_name(name)
    shutil.copytree(folder, place)
    return place

def child(place):
    pid = os.fork()
    if pid == 0:
        os._exit(run(["record", str(place), *arguments, "-q"]))
    return pid

def ended(pid):
    return os.waitstatus_to_exitcode(os.waitpid(pid, 0)[1])

os.dup2(os.open(os.devnull, os.O_WRONLY), 1)
assert run(["record", str(copied("first")), *arguments, "-q"]) == 0  # loads all there is
taken = []
for name in ("second", "whole"):
    began = time.perf_counter()
    assert ended(child(copied(name))) == 0
    taken.append(time.perf_counter() - began)
chance, ends, longest = random.Random(seed), [], 1.1 * min(taken)
while ends.count(-signal.SIGKILL) < kills and len(ends) < 10 * kills:
    pid = child(copied(f"copy-{len(ends)}"))
    time.sleep(chance.uniform(0.0, longest))
    os.kill(pid, signal.SIGKILL)
    ends.append(ended(pid))
    longest *= 1.0 if ends[-1] else 0.8  # it was quicker than those before: other work was beside them
folder.with_name("ends.json").write_text(json.dumps(ends))
"""


@pytest.mark.slow
@pytest.mark.skipif(not hasattr(os, "fork"), reason="needs fork and kill -9")
@pytest.mark.parametrize(
    ("seed", "arguments"),
    [(7, ("--profile", "before.csv", "--date", "2026-05-06")), (8, ("--replace", "1", "--notes", "n" * 5000))],
    ids=["add", "replace"],
)
def test_killed_at_random_moments(
    seed: int, arguments: tuple[str, ...], mirror_folder: Path, done: Path, after: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(record_seal, "_clock", lambda: CLOCK)
    monkeypatch.chdir(mirror_folder)
    record(mirror_folder, done, note=SessionNote(date=date(2026, 3, 1)), readings=after)
    command = [*arguments, *(("-p", str(done)) if "--replace" not in arguments else ())]
    before = read(open_folder(mirror_folder))
    script = [sys.executable, "-c", SCRIPT, str(mirror_folder), str(KILLS), str(seed), *command]
    subprocess.run(script, check=True, timeout=240, cwd=mirror_folder, stdout=subprocess.DEVNULL)
    ends = json.loads(mirror_folder.with_name("ends.json").read_text())
    assert set(ends) <= {-signal.SIGKILL, 0} and ends.count(-signal.SIGKILL) == KILLS
    whole = mirror_folder.with_name("whole")
    wanted = read(open_folder(whole))
    assert wanted != before
    for kill, end in enumerate(ends):
        place = mirror_folder.with_name(f"copy-{kill}")
        told = read(open_folder(place))
        assert told == wanted or (told == before and end != 0)
        if told == before:
            assert run(["record", str(place), *command, "-q"]) == 0
        assert read(open_to_write(place)) == wanted
        assert files(place) == files(whole)
        assert not list(place.glob("*-replacement"))
        left = [path for path in place.iterdir() if path.name not in {one.name for one in whole.iterdir()}]
        assert all(path.name.startswith(PARTIAL) for path in left)
