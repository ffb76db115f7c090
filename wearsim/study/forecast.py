"""Before a study runs: how many cases, how long, how large."""

from __future__ import annotations

import time
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from wearsim.kernels.arrays import Floats
from wearsim.parallel import worker_count
from wearsim.study.cases import Chunk, ChunkResult, Job, job_for, work_chunk
from wearsim.study.plan import Study, sample_of
from wearsim.study.study_file import expected_size
from wearsim.wear.accuracy import DEFAULT, Accuracy

TIMED_CASES = 8
"""Cases that are timed, spread over the study."""
TIMING_LIMIT = 4.0
"""No further case is timed after this [s]."""
TIMED_DRAWS = 4
"""Draws of each that are timed; all take as long."""
# Opening processes and loading the kernels in each, measured on the machine of docs/performance.md.
START_UP = 3.0


@dataclass(frozen=True)
class Forecast:
    """What a study will take.

    Parameters
    ----------
    cases : int
    runs : int
        Runs of the engine, draws of the constants included.
    workers : int
    seconds_per_case : float
        Of one worker, measured now [s].
    seconds : float
        Of the whole [s].
    file_bytes : int
        Size of the file; while it runs and at its end as much again for its parts.
    failed : int
        Of the cases that were timed.
    timed : int
        Cases that were timed.
    """

    cases: int
    runs: int
    workers: int
    seconds_per_case: float
    seconds: float
    file_bytes: int
    failed: int
    timed: int

    def to_json(self) -> dict[str, Any]:
        """One object for ``--json``.

        Returns
        -------
        dict
            Times in seconds, sizes in bytes, by the names of the keys.
        """
        return {
            "cases": self.cases, "engine_runs": self.runs, "workers": self.workers,
            "case_time_s": self.seconds_per_case, "time_s": self.seconds, "file_bytes": self.file_bytes,
            "timed_cases": self.timed, "timed_failed": self.failed,
        }  # fmt: skip


def forecast(study: Study, *, workers: int | None = None, seed: int = 0, accuracy: Accuracy = DEFAULT) -> Forecast:
    """Time a few cases of a study and estimate the whole.

    Parameters
    ----------
    study : Study
    workers : int, optional
        That it will have; all cores by default.
    seed : int
    accuracy : Accuracy

    Returns
    -------
    Forecast
    """
    job = job_for(study, seed, accuracy)
    short = replace(job, draws=min(job.draws, TIMED_DRAWS))
    rows = sample_of(study, seed)
    places = np.unique(np.linspace(0, study.cases - 1, min(TIMED_CASES, study.cases)).astype(int))
    _timed(short, int(places[0]), rows)  # compiles and loads
    timed: list[tuple[float, ChunkResult]] = []
    began = time.perf_counter()
    for place in places:
        timed.append(_timed(short, int(place), rows))
        if time.perf_counter() - began > TIMING_LIMIT:
            break
    each = float(np.mean([seconds for seconds, _ in timed])) * (1 + job.draws) / (1 + short.draws)
    inner = next((result.inner for _, result in timed if result.inner), {})
    count = min(workers or worker_count(), study.cases)
    return Forecast(
        study.cases, study.cases * (1 + job.draws), count, each, START_UP + each * study.cases / count,
        expected_size(study, job, inner, [reason for _, result in timed for reason in result.reason]),
        sum(result.failed for _, result in timed), len(timed),
    )  # fmt: skip


def _timed(job: Job, place: int, rows: Floats | None) -> tuple[float, ChunkResult]:
    row = None if rows is None else rows[[place % len(rows)]]
    began = time.perf_counter()
    result = work_chunk(job, Chunk(0, place, place + 1, row))
    return time.perf_counter() - began, result
