"""What all tests share: one kernel cache, floating-point errors that raise, one rng."""

from __future__ import annotations

import os
import tempfile
from collections.abc import Iterator
from pathlib import Path

# Before wearsim.kernels is imported: a cache left by an older source must not answer for this one. Workers share it.
# Whoever sets NUMBA_CACHE_DIR answers for what lies there (.ci/run: what its build of the documentation compiled).
_CACHE = None if "NUMBA_CACHE_DIR" in os.environ else tempfile.TemporaryDirectory(prefix="wearsim-kernels-")
if _CACHE is not None:
    os.environ["NUMBA_CACHE_DIR"] = _CACHE.name

# Processes that tests start work with the source that is tested, whose kernels are compiled already, and not with a copy
# that is installed.
_SOURCE = str(Path(__file__).parents[1])
os.environ["PYTHONPATH"] = os.pathsep.join(filter(None, [_SOURCE, os.environ.get("PYTHONPATH")]))

import numpy as np  # noqa: E402
import pytest  # noqa: E402
from hypothesis import settings  # noqa: E402

# No deadline: the first example pays for compiling kernels or loading units. The same examples each time.
settings.register_profile("wearsim", deadline=None, derandomize=True, print_blob=False)
settings.load_profile("wearsim")

MANY = 1000
"""Tests from which on it is worth while to compile the kernels first."""


def pytest_collection_finish(session: pytest.Session) -> None:
    """Before a whole run, each of the first two workers compiles one engine's kernels: else both compile both."""
    worker = getattr(session.config, "workerinput", {}).get("workerid")
    engine = {"gw0": "radial", "gw1": "planar"}.get(worker)
    if engine and len(session.items) > MANY:
        from tests.helpers.small_bench import small_bench
        from tests.helpers.workbench import make_programme, make_spell
        from wearsim.wear.predict import predict

        programme = make_programme(make_spell("w", minutes=0.1, length=0.3, side_sweep=0.1))
        predict(small_bench(), programme, engine, draws=0)


def pytest_unconfigure() -> None:
    if _CACHE is not None:
        _CACHE.cleanup()


@pytest.fixture
def rng() -> np.random.Generator:
    """The one source of chance in tests."""
    return np.random.default_rng(20260117)


@pytest.fixture(autouse=True)
def _floating_point_errors_raise() -> Iterator[None]:
    with np.errstate(all="raise", under="ignore"):
        yield
