"""How many threads or processes work at once: one number for the whole of wearsim, and threads of Python and of numba.

No result depends on the number.
"""

from __future__ import annotations

import importlib
import multiprocessing
import os
import signal
import threading
from collections.abc import Callable, Iterable, Iterator
from concurrent.futures import ThreadPoolExecutor
from contextlib import contextmanager
from multiprocessing import connection
from typing import Any, TypeVar

T = TypeVar("T")
_chosen: int | None = None


def worker_count() -> int:
    """Threads or processes that work at once: what was set, else the processors that this process may use."""
    if _chosen is not None:
        return _chosen
    if hasattr(os, "process_cpu_count"):  # from Python 3.13 on
        return os.process_cpu_count() or 1
    return len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count() or 1


def set_worker_count(count: int | None) -> int | None:
    """Set the number for this process, and give it back; None for the processors that it may use.

    Raises
    ------
    ValueError
        Less than one.
    """
    global _chosen
    if count is not None and count < 1:
        raise ValueError(f"workers: {count}; expected at least 1")
    _chosen = count
    return count


def in_threads(
    function: Callable[..., T], *items: Iterable[Any], workers: int | None = None,
    done: Callable[[], None] = lambda: None,
) -> list[T]:  # fmt: skip
    """``function`` of the items, several at once, as a list in their order; the kernels let go of the lock.

    Parameters
    ----------
    workers : int, optional
        By default :func:`worker_count`; 1 works in the caller's own thread.
    done : callable
        Called in the caller's thread as each result is there, in order.
    """
    count = worker_count() if workers is None else workers

    def collected(results: Iterable[T]) -> list[T]:
        found = []
        for result in results:
            found.append(result)
            done()
        return found

    if count <= 1:
        return collected(map(function, *items))
    with ThreadPoolExecutor(max_workers=count) as pool:
        return collected(pool.map(function, *items))


# One thread of linear algebra a process: the processes fill the cores, and sums are in one order everywhere. And no
# Python of the folder that the person happens to be in: a file there may have the name of a module.
_CHILD = {
    "OMP_NUM_THREADS": "1", "OPENBLAS_NUM_THREADS": "1", "MKL_NUM_THREADS": "1", "NUMBA_NUM_THREADS": "1",
    "PYTHONSAFEPATH": "1",
}  # fmt: skip


@contextmanager
def child_environment() -> Iterator[None]:
    """While processes are started: what they find in their environment.

    Yields
    ------
    None
    """
    before = {name: os.environ.get(name) for name in _CHILD}
    os.environ.update(_CHILD)
    try:
        yield
    finally:
        for name, value in before.items():
            os.environ.pop(name, None) if value is None else os.environ.update({name: value})


def begin_worker() -> None:
    """In a new process: leave Ctrl-C to the parent, and end when the parent is gone, even killed.

    It is in this module because nothing heavy is imported here: a worker listens before it loads the rest.
    """
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    parent = multiprocessing.parent_process()
    if parent is not None:
        threading.Thread(target=_end_with, args=(parent.sentinel,), daemon=True).start()


def _end_with(parent: Any) -> None:
    connection.wait([parent])
    os._exit(1)


# The layer that numba would pick first on most machines (OpenMP) waits in a busy loop, so that on a machine that
# others work on too it burns a core for nothing; and a process that has used it must not fork. ``workqueue`` sleeps
# while it waits and survives a fork, but stops the process if two threads call it at once: hence the lock.
LAYER = "workqueue"
_ONE_CALLER = threading.RLock()

# OpenMP is quicker: its threads wait in a loop, and need not be woken. Two rules make it fit for a process that is the
# tool's own: nothing forks from a command, and a loop this short (tenths of a millisecond) gives way to other work.
_OWN_LAYER, _SPINS = "omp", "30000"
_own_process = False


def claim_process() -> None:
    """Say that this process does nothing but this command: OpenMP may be used where it is there.

    What a person has set (``NUMBA_THREADING_LAYER``, ``GOMP_SPINCOUNT``, ``OMP_WAIT_POLICY``) stands.
    """
    global _own_process
    _own_process = True
    if "OMP_WAIT_POLICY" not in os.environ:
        os.environ.setdefault("GOMP_SPINCOUNT", _SPINS)  # read when the library is loaded


@contextmanager
def kernel_threads(most: int) -> Iterator[None]:
    """Room for a parallel kernel: this thread alone calls one, with at most ``most`` threads at work.

    Numba's own settings come first: ``NUMBA_THREADING_LAYER`` the layer, ``NUMBA_NUM_THREADS`` or
    ``numba.set_num_threads`` the largest number of threads; then :func:`worker_count`.

    Yields
    ------
    None
    """
    import numba

    with _ONE_CALLER:
        choose_layer()
        before = numba.get_num_threads()
        numba.set_num_threads(max(1, min(before, most, worker_count())))
        try:
            yield
        finally:
            numba.set_num_threads(before)


def choose_layer() -> None:
    """Choose numba's threading layer, unless the person has chosen, or a parallel kernel has run already."""
    import numba

    config: Any = numba.config
    if config.THREADING_LAYER == "default":
        config.THREADING_LAYER = _OWN_LAYER if _own_process and _has_openmp() else LAYER


def _has_openmp() -> bool:
    try:
        importlib.import_module("numba.np.ufunc.omppool")
    except ImportError:
        return False
    return True
