"""Arrays that kernels borrow: nothing is let go of that is still wanted, nothing is kept that is not."""

from __future__ import annotations

import sys
from typing import NamedTuple

import numpy as np
import pytest

from wearsim.kernels._jit import borrowed, inlined, kernel
from wearsim.kernels.arrays import Floats


class Pair(NamedTuple):
    """A number between two arrays, as a setting has them."""

    first: Floats
    factor: float
    second: Floats


@inlined
def _sum_of_slices(pair: Pair, room: Floats) -> float:
    pair, room = borrowed(pair), borrowed(room)
    total = 0.0
    for i in range(pair.first.size):
        part = room[: i + 1]
        part[:] = pair.factor * pair.first[: i + 1]
        total += part.sum() + pair.second[i:].sum()
    return total


@kernel
def _in_own_room(pair: Pair, size: int) -> float:
    room = np.empty(size)
    return _sum_of_slices(pair, room)


def test_borrowed_arrays_read_and_write_as_themselves() -> None:
    one, two = np.arange(5.0), np.arange(5.0) ** 2
    expected = sum(3.0 * one[: i + 1].sum() + two[i:].sum() for i in range(5))
    assert _in_own_room(Pair(one, 3.0, two), 5) == expected


def test_what_a_kernel_makes_it_lets_go_and_no_more() -> None:
    resource = pytest.importorskip("resource")
    pair = Pair(np.arange(100_000.0)[::2000].copy(), 2.0, np.ones(50))
    owners = sys.getrefcount(pair.first)
    _in_own_room(pair, 100_000)  # compiled
    before = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    found = {_in_own_room(pair, 100_000) for _ in range(500)}
    kept = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss - before
    # 400 MB if none were let go; kilobytes here, bytes on some systems
    assert kept < 100_000 * (1 if sys.platform == "linux" else 1024)
    assert len(found) == 1
    still = sys.getrefcount(pair.first)
    assert still == owners
