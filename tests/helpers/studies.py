"""What the tests of studies share: a small study on a worked bench, coarse, and how two files are compared."""

from __future__ import annotations

import tomllib
from concurrent.futures import Executor, Future
from pathlib import Path
from typing import Any

import h5py
import numpy as np

from wearsim.study.plan import Study, study_from_table
from wearsim.wear.accuracy import Accuracy

PASSING = ("written_utc", "content_sha256")
COARSE = Accuracy(
    glass_rings=16, pitch_rings=16, offsets=5, per_radius=8, per_turn=8, ring_per_turn=8, table_cells=100, draws=16,
    phases=8,
)  # fmt: skip

TEXT = """
[study]
bench = "raised-zone-300"
keep = ["edge_roll", "surface_rms", "strehl", "figure_error"]
draws = 2

[[spell]]
lap = "full"
stroke = "w"
length = 0.33
side_sweep = 0.1
minutes = 2

[[axis]]
key = "spell 1.on_top"
list = ["tool", "mirror"]

[[axis]]
key = "spell 1.side_overhang"
grid = { first = 0.0, last = 0.44, count = 3 }

[[axis]]
key = "hands.push"
sample = { spread = "uniform", least = "10 N", most = "50 N" }

[[axis]]
key = "lap 1.relaxation_time"
sample = { spread = "log-normal", median = "5 min", factor = 2.0 }

[sample]
count = 8
method = "sobol"
"""


def small_study(text: str = TEXT) -> Study:
    """48 cases, some of which tip off."""
    return study_from_table(tomllib.loads(text), text=text)


class Inline(Executor):
    """An executor that works at once, in this process."""

    _max_workers = 1

    def submit(self, fn: Any, /, *args: Any, **kwargs: Any) -> Future[Any]:
        future: Future[Any] = Future()
        try:
            future.set_result(fn(*args, **kwargs))
        except BaseException as error:
            future.set_exception(error)
        return future


def content(path: Path) -> dict[str, Any]:
    """Every dataset's bytes and every attribute but the time of writing and the seal, which covers it."""
    with h5py.File(path, "r") as file:
        found: dict[str, Any] = {
            f"@{k}": str(v) for k, v in file.attrs.items() if k not in ("written_utc", "content_sha256")
        }
        for name, dataset in file.items():
            values = dataset[()]
            found[name] = (dataset.dtype.str, dataset.shape, _bytes(values))
            found |= {f"{name}@{k}": str(v) for k, v in dataset.attrs.items() if "LIST" not in k}
    return found


def _bytes(values: Any) -> bytes:
    return b"\0".join(values.ravel()) if values.dtype == object else np.ascontiguousarray(values).tobytes()
