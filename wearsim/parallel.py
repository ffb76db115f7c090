"""How many threads or processes work at once: one number for the whole of wearsim, and threads in order.

No result depends on the number.
"""

from __future__ import annotations

import os
from collections.abc import Callable, Iterable
from concurrent.futures import ThreadPoolExecutor
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
    function : callable
    *items : iterable
        As for :func:`map`.
    workers : int, optional
        By default :func:`worker_count`; 1 works in the caller's own thread.
    done : callable
        Called in the caller's thread as each result is there, in order.
    """
    count = worker_count() if workers is None else workers
    found = []
    if count <= 1:
        for result in map(function, *items):
            found.append(result)
            done()
        return found
    with ThreadPoolExecutor(max_workers=count) as pool:
        for result in pool.map(function, *items):
            found.append(result)
            done()
    return found
