"""``kill -9`` of a study's process alone, at moments that chance picks: nothing lost, the same bytes, no worker left."""

from __future__ import annotations

import os
import random
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest

from tests.helpers.studies import COARSE, content, small_study
from wearsim.study.checkpoint import checkpoint_folder
from wearsim.study.run import run_study

ROOT = Path(__file__).parents[2]
KILLS = 10
"""Of each of the two; forty with those of tests/learn/test_record_killed_at_random.py."""
SCRIPT = f"""
import multiprocessing, pathlib, sys, time
sys.path.insert(0, {str(ROOT)!r})
from tests.helpers.studies import COARSE, small_study
from wearsim.study import run

def report(progress):
    pids = [str(child.pid) for child in multiprocessing.active_children()]
    pathlib.Path(sys.argv[2]).write_text(" ".join(pids))
    time.sleep(0.1)

if __name__ == "__main__":
    run.RUNS_IN_CHUNK = 9
    run.run_study(small_study(), sys.argv[1], workers=2, accuracy=COARSE, progress=report)
"""


def is_alive(pid: int) -> bool:
    """Whether a process is there that has not ended; who is to be reaped has."""
    try:
        return Path(f"/proc/{pid}/stat").read_text().rpartition(")")[2].split()[0] not in "ZX"
    except OSError:
        return False


@pytest.mark.slow
@pytest.mark.skipif(not Path("/proc/self/stat").exists(), reason="needs /proc")
@pytest.mark.parametrize("seed", [7, 8])
def test_killed_at_random_moments(seed: int, whole: Path, tmp_path: Path) -> None:
    script, chance, number, interrupted = tmp_path / "script.py", random.Random(seed), 0, 0
    script.write_text(SCRIPT)
    for kill in range(KILLS):
        output, pids = tmp_path / f"{number}.h5", tmp_path / f"pids-{kill}"
        process = subprocess.Popen([sys.executable, script, output, pids])
        time.sleep(chance.uniform(0.2, 5.0))
        process.send_signal(signal.SIGKILL)
        interrupted += process.wait() == -signal.SIGKILL
        workers = [int(pid) for pid in pids.read_text().split()] if pids.exists() else []
        until = time.monotonic() + 20.0
        while any(map(is_alive, workers)) and time.monotonic() < until:
            time.sleep(0.05)
        assert not any(map(is_alive, workers))
        if output.exists():  # done, or so close that nothing but the parts was left
            assert content(output) == content(whole)
            number += 1
    assert interrupted > KILLS // 2
    for left_over in tmp_path.rglob("*.partial"):  # of one killed as it wrote its output: swept away once it is old
        os.utime(left_over, (0.0, 0.0))
    last = tmp_path / f"{number}.h5"
    run_study(small_study(), last, workers=1, accuracy=COARSE)
    assert content(last) == content(whole)
    assert not checkpoint_folder(last).exists() and not list(tmp_path.rglob("*.partial"))
