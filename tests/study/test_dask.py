"""A real Dask scheduler and two workers, each a process of its own, one with threads: the same bytes, a death survived."""

from __future__ import annotations

import json
import os
import subprocess
import sys
import time
from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.helpers.studies import COARSE, content, small_study
from wearsim.errors import CouldNotError, InputError
from wearsim.study import executors, run
from wearsim.study.run import StudyProgress, run_study

Cluster = tuple[str, list[subprocess.Popen[bytes]]]


@pytest.fixture(scope="module")
def cluster(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Cluster]:
    folder = tmp_path_factory.mktemp("dask")
    where = folder / "scheduler.json"
    quiet = {"stdout": subprocess.DEVNULL, "stderr": subprocess.DEVNULL, "cwd": folder}
    common = ["--scheduler-file", str(where), "--no-dashboard"]
    start = [sys.executable, "-m"]
    head = subprocess.Popen(
        [*start, "distributed.cli.dask_scheduler", *common, "--host", "127.0.0.1", "--port", "0"], **quiet
    )
    workers = [
        subprocess.Popen(
            [
                *start,
                "distributed.cli.dask_worker",
                *common,
                "--no-nanny",
                "--nthreads",
                threads,
                "--host",
                "127.0.0.1",
            ],
            **quiet,
        )
        for threads in "14"
    ]
    try:
        deadline = time.monotonic() + 60
        while not (where.exists() and where.stat().st_size) and time.monotonic() < deadline:
            time.sleep(0.1)
        yield json.loads(where.read_text())["address"], workers
    finally:
        for process in [*workers, head]:
            process.kill()
            process.wait()


def test_dask_gives_the_same_bytes_and_survives_a_death(
    cluster: Cluster, whole: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    address, workers = cluster
    from distributed import Client

    with Client(address, set_as_default=False) as client:
        client.wait_for_workers(2, timeout=60)
        assert len(set(client.run(os.getpid).values()) - {os.getpid()}) == 2
    run_study(small_study(), tmp_path / "both.h5", scheduler=address, accuracy=COARSE)
    assert content(tmp_path / "both.h5") == content(whole)

    with Client(address, set_as_default=False) as client:
        run_study(small_study(), tmp_path / "given.h5", client.get_executor(pure=False), accuracy=COARSE)
    assert content(tmp_path / "given.h5") == content(whole)

    monkeypatch.setattr(run, "RUNS_IN_CHUNK", 6)  # many small chunks

    def strike(progress: StudyProgress) -> None:
        if progress.done and workers[0].poll() is None:
            workers[0].kill()
            workers[0].wait()

    run_study(small_study(), tmp_path / "one.h5", scheduler=address, accuracy=COARSE, progress=strike)
    assert workers[0].poll() is not None
    assert content(tmp_path / "one.h5") == content(whole)


def test_nobody_at_the_address_is_one_line(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(executors, "TIMEOUT", 1.0)
    with pytest.raises(CouldNotError, match="no scheduler answers there"):
        run_study(small_study(), tmp_path / "o.h5", scheduler="tcp://127.0.0.1:9", accuracy=COARSE)


@pytest.mark.parametrize("address", ["foo", "tcp://", "tcp://host", "host:port", "tcp://host:8786/more"])
def test_what_is_no_address_is_refused_before_anyone_is_called(address: str, tmp_path: Path) -> None:
    with pytest.raises(InputError, match="not a scheduler's address"):
        run_study(small_study(), tmp_path / "o.h5", scheduler=address, accuracy=COARSE)
