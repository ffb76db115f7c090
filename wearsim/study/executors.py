"""Who does the work: processes of this machine, a Dask cluster, or any executor; and the kernels that they need.

``concurrent.futures.Executor`` is all that the study knows. A :class:`Pool` opens one, opens another where one has
broken, and says which failures are a worker's death rather than a fault.

Workers that start together would each compile the same kernels at once. So the kernels are compiled by a process of
their own that works a few seconds of the programme and ends; a mark in the cache folder says that it has been. Where
the cache cannot be written all compile for themselves; the results are the same to the last bit (kernels that others
call are compiled into them: :func:`wearsim.kernels._jit.inlined`).
"""

from __future__ import annotations

import importlib
import multiprocessing
import os
import pickle
import re
import subprocess
import sys
import time
from concurrent.futures import BrokenExecutor, CancelledError, Executor, ProcessPoolExecutor
from dataclasses import replace
from functools import lru_cache
from pathlib import Path
from typing import Any

from wearsim.errors import ContactError, CouldNotError, InputError
from wearsim.kernels._jit import cache_folder
from wearsim.parallel import begin_worker, child_environment, worker_count
from wearsim.study.cases import Chunk, ChunkResult, Job, work_case, work_chunk

TIMEOUT = 60.0
"""A scheduler, and its first worker, answer within this [s]."""
_ADDRESS = re.compile(r"(?:\w+://)?[^/\s]+:\d{1,5}")
_RECOUNT = 5.0
"""Workers of a cluster are counted again after this [s]."""
_MINUTES = 0.05
"""A spell this long runs through every kernel."""


class Pool:
    """Workers behind an executor that was handed in: used as it is, and not replaced when it breaks.

    Parameters
    ----------
    executor : Executor
    size : int
        Workers behind it, as far as it is known: how much is sent ahead.
    """

    lost: tuple[type[BaseException], ...] = (BrokenExecutor,)
    """What a future raises whose worker has died."""

    def __init__(self, executor: Executor, size: int | None = None) -> None:
        self.executor = executor
        self.size = size or int(getattr(executor, "_max_workers", 0) or worker_count())

    def count(self) -> int:
        """Workers at this moment."""
        return self.size

    def open(self) -> Executor:
        """The executor to work with."""
        return self.executor

    def renew(self) -> Executor:
        """The executor to go on with after a loss.

        Raises
        ------
        CouldNotError
            Where there is none.
        """
        raise CouldNotError("the executor failed; finished cases are kept. Run the study again with a new executor")

    def close(self, abandon: bool = False) -> None:
        """Let the workers go; ``abandon``: without waiting for what they are at."""


class ProcessPool(Pool):
    """Processes of this machine."""

    def __init__(self, workers: int) -> None:
        super().__init__(_new_processes(workers), workers)

    def open(self) -> Executor:
        """The pool, its processes started."""
        try:
            with child_environment():
                self.executor.submit(os.getpid).result()
        except BrokenExecutor as error:
            raise CouldNotError(
                'the worker processes die when they start (in a script, start the work under if __name__ == "__main__")'
            ) from error
        return self.executor

    def renew(self) -> Executor:
        """A new pool: a broken one stays broken."""
        self.close(abandon=True)
        self.executor = _new_processes(self.size)
        return self.open()

    def close(self, abandon: bool = False) -> None:
        """Let the processes go."""
        self.executor.shutdown(wait=not abandon, cancel_futures=True)


def _new_processes(workers: int) -> ProcessPoolExecutor:
    context = multiprocessing.get_context("spawn")  # fork copies locks that other threads hold
    with child_environment():  # the locks of a pool have a process of their own that watches over them
        return ProcessPoolExecutor(workers, mp_context=context, initializer=begin_worker)


class ClientPool(Pool):
    """The executor of a Dask client: workers come and go, and the scheduler finds others for what one had."""

    def __init__(self, executor: Executor, client: Any) -> None:
        super().__init__(executor, 1)
        self.lost = (BrokenExecutor, CancelledError, _dask().KilledWorker)
        self._client = client
        self._counted = -_RECOUNT

    def count(self) -> int:
        """Workers at this moment, counted every few seconds."""
        if time.monotonic() - self._counted > _RECOUNT:
            self._counted = time.monotonic()
            self.size = max(1, sum(self._client.nthreads().values()))
        return self.size


class SchedulerPool(ClientPool):
    """The workers of a Dask scheduler at an address, ``"tcp://host:port"``.

    Raises
    ------
    CouldNotError
        Where Dask is not installed, or nobody answers.
    """

    def __init__(self, address: str) -> None:
        if not _ADDRESS.fullmatch(address):  # Dask's own refusal comes back minutes later, as its client is thrown away
            raise InputError("not a scheduler's address", value=address, expected="tcp://host:port")
        try:
            client = _dask().Client(address, timeout=TIMEOUT, set_as_default=False)
        except (OSError, TimeoutError) as error:
            raise CouldNotError(f"{address}: no scheduler answers there") from error
        try:
            client.wait_for_workers(1, timeout=TIMEOUT)
        except TimeoutError as error:
            client.close()
            raise CouldNotError(f"{address}: the scheduler there has no workers") from error
        super().__init__(client.get_executor(pure=False), client)

    def close(self, abandon: bool = False) -> None:
        """Leave the cluster."""
        self.executor.shutdown(wait=not abandon)
        self._client.close()


def _dask() -> Any:
    try:
        return importlib.import_module("distributed")
    except ImportError as error:
        raise CouldNotError("--scheduler needs Dask: pip install wearsim[cluster]") from error


def pool_for(executor: Executor | None, workers: int | None, scheduler: str | None) -> Pool:
    """The pool that was asked for: an executor, a scheduler's address, or processes (all cores).

    Raises
    ------
    InputError
        Where more than one was.
    """
    if sum(choice is not None for choice in (executor, workers, scheduler)) > 1:
        raise InputError("only one of executor, workers and scheduler", key="workers")
    if executor is not None:
        client = getattr(executor, "_client", None)  # of a Dask client's executor
        return Pool(executor) if client is None else ClientPool(executor, client)
    return ProcessPool(workers or worker_count()) if scheduler is None else SchedulerPool(scheduler)


def compiled_mark(engine: str) -> Path:
    """The file that says that an engine's kernels are in the cache."""
    return cache_folder() / f"study-{engine}.ready"


def is_marked(mark: Path) -> bool:
    """Whether the mark is there; none is in a folder that cannot be read."""
    try:
        return mark.exists()
    except OSError:
        return False


def compile_kernels(job: Job) -> None:
    """Have the kernels of a job compiled by a process of their own, where that has not been done; once a process."""
    mark = compiled_mark(job.engine)
    asked = _asked(mark)
    if asked or is_marked(mark):
        return
    asked.append(True)
    environment = {**os.environ, "PYTHONPATH": os.pathsep.join(filter(None, sys.path))}
    subprocess.run(
        [sys.executable, "-P", "-m", "wearsim.study.executors"], input=pickle.dumps(job), env=environment, check=False,
        stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL,
    )  # fmt: skip


@lru_cache(maxsize=8)
def _asked(mark: Path) -> list[bool]:
    """Something in it where this process has asked for these kernels."""
    return []


def work_compiled(job: Job, chunk: Chunk) -> ChunkResult:
    """Work out a chunk with kernels from the cache; what workers run."""
    compile_kernels(job)
    return work_chunk(job, chunk)


def compile_here(job: Job) -> None:
    """Work a short version of a job's programme on its bench as it stands, and leave the mark.

    Where it cannot be worked no mark is left, and workers compile for themselves.
    """
    spells = tuple(spell.model_copy(update={"minutes": _MINUTES}) for spell in job.programme.spells)
    programme = job.programme.model_copy(update={"spells": spells})
    try:
        work_case(replace(job, programme=programme, axes=(), sampled=(), shape=(1,), draws=0), 0, None)
        compiled_mark(job.engine).touch()
    except (InputError, ContactError, OSError):
        return


if __name__ == "__main__":
    compile_here(pickle.load(sys.stdin.buffer))
