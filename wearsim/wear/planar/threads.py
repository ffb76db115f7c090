"""The planar engine's threads: how many, which of numba's threading layers, one caller at a time."""

from __future__ import annotations

import importlib
import os
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any

import numba

from wearsim.parallel import worker_count

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
def crew(most: int) -> Iterator[None]:
    """Room for a parallel kernel: this thread alone calls one, with at most ``most`` threads at work.

    Numba's own settings come first: ``NUMBA_THREADING_LAYER`` the layer, ``NUMBA_NUM_THREADS`` or
    ``numba.set_num_threads`` the largest number of threads; then that of :mod:`wearsim.parallel`.

    Parameters
    ----------
    most : int
        More threads than this find nothing to do.

    Yields
    ------
    None
    """
    with _ONE_CALLER:
        choose_layer()
        before = numba.get_num_threads()
        numba.set_num_threads(max(1, min(before, most, worker_count())))
        try:
            yield
        finally:
            numba.set_num_threads(before)


def choose_layer() -> None:
    """Choose the threading layer, unless the person has chosen, or a parallel kernel has run already."""
    config: Any = numba.config
    if config.THREADING_LAYER == "default":
        config.THREADING_LAYER = _OWN_LAYER if _own_process and _has_openmp() else LAYER


def _has_openmp() -> bool:
    try:
        importlib.import_module("numba.np.ufunc.omppool")
    except ImportError:
        return False
    return True
