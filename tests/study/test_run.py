"""Whoever does the work, and whatever happens to them: the same bytes of data."""

from __future__ import annotations

import multiprocessing
import os
import resource
import signal
import subprocess
import sys
import time
from concurrent.futures import BrokenExecutor, Executor, Future
from pathlib import Path
from typing import Any

import pytest

from tests.helpers.studies import COARSE, Inline, content, small_study
from wearsim.errors import CouldNotError, StoreError
from wearsim.show.study import failures_text
from wearsim.study import cases
from wearsim.study.cases import Chunk, job_for
from wearsim.study.checkpoint import checkpoint_folder, locked, open_checkpoint
from wearsim.study.executors import Pool, ProcessPool
from wearsim.study.run import Dispatcher, StudyProgress, digest_of, run_study, work_missing
from wearsim.study.study_file import read_study

ROOT = Path(__file__).parents[2]
STUDY = small_study()
CHUNK = 5


def half_done(output: Path, count: int) -> None:
    """What a run leaves that was killed after ``count`` parts, a part half written among it."""
    job = job_for(STUDY, accuracy=COARSE)
    checkpoint = open_checkpoint(output, digest_of(STUDY, job), CHUNK, STUDY.cases)

    class Enough(Exception):
        pass

    def stop(progress: StudyProgress) -> None:
        if progress.done >= count * CHUNK:
            raise Enough

    with pytest.raises(Enough):
        work_missing(STUDY, job, checkpoint, Pool(Inline(), 1), stop)
    (checkpoint.folder / "part-0000007.npz.partial").write_bytes(b"half a part")


def test_one_process_and_two_give_the_same_bytes(whole: Path, tmp_path: Path) -> None:
    run_study(STUDY, tmp_path / "two.h5", workers=2, accuracy=COARSE)
    assert content(tmp_path / "two.h5") == content(whole)
    assert [path.name for path in tmp_path.iterdir()] == ["two.h5"]


def test_kernels_just_compiled_and_kernels_from_the_cache_give_the_same_bytes(whole: Path, whole_here: Path) -> None:
    # What this process has not loaded before it compiles; workers load. A helper shared between objects would show.
    assert content(whole_here) == content(whole)


def test_a_study_goes_on_with_what_is_there(whole_here: Path, tmp_path: Path) -> None:
    output, seen = tmp_path / "out.h5", []
    half_done(output, 4)
    kept = {path: path.stat().st_mtime_ns for path in checkpoint_folder(output).glob("*.npz")}
    assert len(kept) == 4
    run_study(STUDY, output, Inline(), accuracy=COARSE, progress=seen.append)
    assert (seen[0].done, seen[0].kept, seen[-1].done) == (20, 20, 48)
    assert content(output) == content(whole_here)
    assert not checkpoint_folder(output).exists()


def test_kill_9_costs_nothing_that_was_complete(whole: Path, tmp_path: Path) -> None:
    """The whole process group of parent and workers is killed while cases are being worked."""
    output = tmp_path / "out.h5"
    script = tmp_path / "script.py"
    script.write_text(
        "import sys, time\n"
        f"sys.path.insert(0, {str(ROOT)!r})\n"
        "from tests.helpers.studies import COARSE, small_study\n"
        "from wearsim.study import run\n"
        "run.RUNS_IN_CHUNK = 9\n"
        "if __name__ == '__main__':\n"
        "    run.run_study(small_study(), sys.argv[1], workers=1, accuracy=COARSE, progress=lambda p: time.sleep(0.3))\n"
    )
    process = subprocess.Popen([sys.executable, script, output], start_new_session=True)
    deadline = time.monotonic() + 120
    while len(list(checkpoint_folder(output).glob("*.npz"))) < 2 and time.monotonic() < deadline:
        time.sleep(0.02)
    os.killpg(process.pid, signal.SIGKILL)
    assert process.wait() == -signal.SIGKILL
    done = len(list(checkpoint_folder(output).glob("*.npz")))
    assert 2 <= done < 16 and not output.exists()
    seen: list[StudyProgress] = []
    run_study(STUDY, output, workers=1, accuracy=COARSE, progress=seen.append)
    assert seen[0].kept == 3 * done
    assert content(output) == content(whole)


@pytest.mark.parametrize("room", [300, 2_500, 12_000])
def test_a_full_disk_stops_the_study_and_room_lets_it_go_on(room: int, whole_here: Path, tmp_path: Path) -> None:
    """Files may grow to so many bytes: no part fits, or no part of so many cases, or not the output."""
    output = tmp_path / "out.h5"
    if room == 12_000:
        half_done(output, 4)
    before = resource.getrlimit(resource.RLIMIT_FSIZE)
    resource.setrlimit(resource.RLIMIT_FSIZE, (room, before[1]))
    try:
        with pytest.raises(CouldNotError, match="cannot be written") as error:
            run_study(STUDY, output, Inline(), accuracy=COARSE)
    finally:
        resource.setrlimit(resource.RLIMIT_FSIZE, before)
    assert "same command again" in str(error.value) and "\n" not in str(error.value)
    assert not output.exists()
    assert not list(tmp_path.rglob("*.partial"))
    run_study(STUDY, output, Inline(), accuracy=COARSE)
    assert content(output) == content(whole_here)


def test_a_worker_that_dies_costs_a_retry(whole: Path, tmp_path: Path) -> None:
    output, pool = tmp_path / "out.h5", ProcessPool(1)
    job = job_for(STUDY, accuracy=COARSE)
    checkpoint = open_checkpoint(output, digest_of(STUDY, job), 3, STUDY.cases)
    executors = []

    def strike(progress: StudyProgress) -> None:
        if progress.done >= 3 and not executors:
            executors.append(pool.executor)
            os.kill(multiprocessing.active_children()[0].pid, signal.SIGKILL)

    try:
        work_missing(STUDY, job, checkpoint, pool, strike)
    finally:
        pool.close()
    assert executors and pool.executor is not executors[0]
    run_study(STUDY, output, Inline(), accuracy=COARSE)  # all parts are there: only the file is made
    assert content(output) == content(whole)


class Doomed(Executor):
    """Every worker dies at once."""

    def submit(self, fn: Any, /, *args: Any, **kwargs: Any) -> Future[Any]:
        future: Future[Any] = Future()
        future.set_exception(BrokenExecutor("died"))
        return future


def test_retries_end(tmp_path: Path) -> None:
    class Stubborn(Pool):
        renewed = 0

        def renew(self) -> Executor:
            Stubborn.renewed += 1
            return self.executor

    job = job_for(STUDY, accuracy=COARSE)
    with pytest.raises(CouldNotError, match="cases 1 to 48 lost their worker 3 times"):
        Dispatcher(job, iter([Chunk(0, 0, 48)]), Stubborn(Doomed(), 1), lambda chunk, result: None).run()
    assert Stubborn.renewed == 3
    with pytest.raises(CouldNotError, match="executor failed"):
        run_study(STUDY, tmp_path / "p.h5", Doomed(), accuracy=COARSE)


def test_damaged_parts_and_parts_of_another_study_are_refused(tmp_path: Path) -> None:
    output = tmp_path / "out.h5"
    half_done(output, 2)
    with pytest.raises(StoreError, match="unfinished work of another study"):
        run_study(STUDY, output, Inline(), seed=1, accuracy=COARSE)
    part = next(checkpoint_folder(output).glob("*.npz"))
    raw = part.read_bytes()
    middle = raw.index(b"v edge_roll.npy") + 200  # among the numbers, behind the two headers
    for damaged in (raw[:-30], raw[:middle] + bytes([raw[middle] ^ 1]) + raw[middle + 1 :], b""):
        part.write_bytes(damaged)
        with pytest.raises(StoreError, match=rf"{part.name}: damaged"):
            run_study(STUDY, output, Inline(), accuracy=COARSE)
        assert part.read_bytes() == damaged
    part.unlink()
    assert run_study(STUDY, output, Inline(), accuracy=COARSE).cases == 48


def test_a_lost_or_damaged_list_costs_nothing(tmp_path: Path, whole_here: Path) -> None:
    """The parts say themselves which study they are of."""
    output, seen = tmp_path / "out.h5", []
    half_done(output, 4)
    (checkpoint_folder(output) / "study.json").write_bytes(b"{")
    run_study(STUDY, output, Inline(), accuracy=COARSE, progress=seen.append)
    assert seen[0].kept == 20 and content(output) == content(whole_here)
    half_done(tmp_path / "two.h5", 2)
    (checkpoint_folder(tmp_path / "two.h5") / "study.json").unlink()
    with pytest.raises(StoreError, match="unfinished work of another study"):
        run_study(STUDY, tmp_path / "two.h5", Inline(), seed=1, accuracy=COARSE)


def test_what_others_left_among_the_parts_stays(tmp_path: Path, whole_here: Path) -> None:
    output = tmp_path / "out.h5"
    folder = checkpoint_folder(output)
    (folder / "kept").mkdir(parents=True)
    for name in ("diary.txt", "kept/part-0000001.npz", "notes.partial"):
        (folder / name).write_text("mine")
    for force in (False, True):
        run_study(STUDY, output, Inline(), accuracy=COARSE, force=force)
        assert sorted(path.name for path in folder.rglob("*")) == [
            "diary.txt",
            "kept",
            "notes.partial",
            "part-0000001.npz",
        ]
    assert content(output) == content(whole_here)
    checkpoint_folder(tmp_path / "two.h5").write_text("a file")
    with pytest.raises(StoreError, match=r"two\.h5\.parts: a file is in the way of the folder for the study's parts"):
        run_study(STUDY, tmp_path / "two.h5", Inline(), accuracy=COARSE, force=True)


def test_two_at_once_on_one_output(tmp_path: Path) -> None:
    output = tmp_path / "out.h5"
    with (
        locked(output),
        pytest.raises(CouldNotError, match=rf"another study \(process {os.getpid()}\) is using it; wait"),
    ):
        run_study(STUDY, output, Inline(), accuracy=COARSE)
    assert list(tmp_path.iterdir()) == []


def test_a_fault_of_ours_in_a_case_is_recorded_and_the_study_goes_on(
    tmp_path: Path, whole_here: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    true = cases.work_case

    def faulty(job: Any, place: int, row: Any) -> Any:
        if place == 3:
            raise ZeroDivisionError("on purpose")
        return true(job, place, row)

    monkeypatch.setattr(cases, "work_case", faulty)
    result = run_study(STUDY, tmp_path / "out.h5", Inline(), accuracy=COARSE)
    good = read_study(whole_here)
    assert result.failures == {**good.failures, "fault": 1}
    assert result.reason(0, 0, 3) == "a bug in wearsim: ZeroDivisionError: on purpose"
    assert "1 hit a bug in wearsim; the first" in failures_text(result)

    def hungry(job: Any, place: int, row: Any) -> Any:
        raise MemoryError

    monkeypatch.setattr(cases, "work_case", hungry)
    with pytest.raises(CouldNotError, match=r"case \d+: out of memory"):
        run_study(STUDY, tmp_path / "two.h5", Inline(), accuracy=COARSE)


# Modules that Python itself, a worker or the process that compiles would load from the folder that one stands in.
SHADOWS = ("numpy", "numba", "signal", "types", "pickle", "multiprocessing", "wearsim")


def test_python_of_the_current_folder_is_not_run(whole: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    folder, script = tmp_path / "folder", tmp_path / "script.py"
    folder.mkdir()
    for name in SHADOWS:
        (folder / f"{name}.py").write_text(f"open({str(tmp_path / 'was run')!r}, 'a').write({name!r})\n")
    script.write_text(
        "import sys\n"
        f"sys.path.insert(0, {str(ROOT)!r})\n"
        "from tests.helpers.studies import COARSE, small_study\n"
        "from wearsim.study import executors, run\n"
        "from pathlib import Path\n"
        "if __name__ == '__main__':\n"
        "    executors.compiled_mark = lambda engine: Path('no mark')\n"
        "    run.run_study(small_study(), sys.argv[1], workers=1, accuracy=COARSE)\n"
    )
    monkeypatch.delenv("PYTHONSAFEPATH", raising=False)
    done = subprocess.run([sys.executable, script, tmp_path / "out.h5"], cwd=folder, capture_output=True, check=False)
    assert done.returncode == 0, done.stderr.decode()
    assert not (tmp_path / "was run").exists()
    assert content(tmp_path / "out.h5") == content(whole)


def test_force_begins_anew(tmp_path: Path, whole_here: Path) -> None:
    output = tmp_path / "out.h5"
    half_done(output, 2)
    run_study(STUDY, output, Inline(), seed=1, accuracy=COARSE, force=True)
    assert content(output) != content(whole_here)
    run_study(STUDY, output, Inline(), accuracy=COARSE, force=True)
    assert content(output) == content(whole_here)
