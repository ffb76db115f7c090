"""Ratios of the study to the engine below it.  pytest tests/benchmarks/test_study.py --benchmark-only"""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest

import wearsim as ws
from tests.benchmarks.study_cases import study_of
from tests.helpers.workbench import work
from wearsim.study.cases import Chunk, Job, job_for, work_chunk
from wearsim.study.plan import sample_of
from wearsim.wear.initial_figure import start_figure
from wearsim.wear.predict import gauge_for
from wearsim.wear.state import start_state

COUNT = 50


@pytest.fixture(scope="module")
def job() -> tuple[Job, Any]:
    study = study_of(10_000)
    rows = sample_of(study, 0)
    return job_for(study), rows


def test_bare_engine(benchmark: Any, job: tuple[Job, Any]) -> None:
    settled = [job[0].bench_and_programme(place, job[1][place]) for place in range(COUNT)]
    start = start_figure(settled[0][0])
    states = [start_state(bench, start.radius, start.height, job[0].accuracy) for bench, _ in settled]
    gauge = gauge_for(settled[0][0], start.radius)

    def bare() -> None:
        for (bench, programme), state in zip(settled, states, strict=True):
            gauge.numbers(work(bench, programme, state).end.height)

    benchmark(bare)


def test_predict(benchmark: Any, job: tuple[Job, Any]) -> None:
    settled = [job[0].bench_and_programme(place, job[1][place]) for place in range(COUNT)]
    benchmark(lambda: [ws.predict(*pair, draws=0) for pair in settled])


def test_study_chunk(benchmark: Any, job: tuple[Job, Any]) -> None:
    part = benchmark(lambda: work_chunk(job[0], Chunk(0, 0, COUNT, job[1][:COUNT])))
    assert np.all(part.failure == 0)
