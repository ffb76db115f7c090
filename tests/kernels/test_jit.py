"""Arrays that kernels borrow: nothing is let go of that is still wanted, nothing is kept that is not."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path
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


KERNEL = """
import resource, sys
from wearsim.kernels import _jit

if sys.argv[1:] == ["full"]:
    resource.setrlimit(resource.RLIMIT_FSIZE, (0, resource.getrlimit(resource.RLIMIT_FSIZE)[1]))

@_jit.kernel
def double(x: float) -> float:
    return 2.0 * x

assert double(1.5) == 3.0
hits = sum(double.stats.cache_hits.values())
print(hits, _jit.is_compiled(), _jit.why_not_kept())
"""


def test_a_damaged_full_or_impossible_cache_is_made_anew_or_done_without(tmp_path: Path) -> None:
    script, place = tmp_path / "script.py", tmp_path / "cache"
    script.write_text(KERNEL)

    def run(*arguments: str, cache: Path = place) -> str:
        environment = {**os.environ, "NUMBA_CACHE_DIR": str(cache)}
        done = subprocess.run(
            [sys.executable, script, *arguments],
            env=environment,
            capture_output=True,
            text=True,
            check=False,
            timeout=60,
        )
        assert done.returncode == 0, done.stderr
        return done.stdout.strip()

    full = run("full")
    assert full.startswith("0 False") and "too large" in full
    assert run() == "0 True None"
    for damage in (lambda raw: b"", lambda raw: raw[:-40] + bytes(20) + raw[-20:]):
        for path in [*place.rglob("*.nbi"), *place.rglob("*.nbc")]:
            path.write_bytes(damage(path.read_bytes()))
        assert run() == "0 True None"
    assert run() == "1 True None"
    (tmp_path / "file").write_text("no folder")
    assert run(cache=tmp_path / "file").startswith(f"0 False {tmp_path / 'file'}")
