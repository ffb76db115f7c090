"""Time, memory and overhead of studies.

    python -m tests.benchmarks.study_speed overhead
    python -m tests.benchmarks.study_speed run CASES WORKERS [MINUTES [coarse]]

Times are wall clock and processor time; on a machine that others use, repeat and take the best.
"""

from __future__ import annotations

import os
import resource
import shutil
import sys
import tempfile
import time
from pathlib import Path

from tests.benchmarks.study_cases import study_of
from wearsim.wear.accuracy import DEFAULT, Accuracy

ROUNDS, COUNT = 80, 20
# Cheap cases, to see what the study itself costs as their number grows.
COARSE = Accuracy(
    glass_rings=12, pitch_rings=12, offsets=4, per_radius=6, per_turn=6, ring_per_turn=6, table_cells=60, draws=16,
    phases=6,
)  # fmt: skip


def overhead() -> None:
    """Processor time of a chunk against the bare engine on the same cases, turn about, the best of each."""
    from tests.helpers.workbench import work
    from wearsim.study.cases import Chunk, _changed, job_for, work_chunk
    from wearsim.study.plan import sample_of
    from wearsim.wear.initial_figure import start_figure
    from wearsim.wear.predict import gauge_for, predict
    from wearsim.wear.state import start_state

    study = study_of(10_000)
    job, rows = job_for(study), sample_of(study, 0)
    settled = [job.bench_and_programme(place, rows[place]) for place in range(COUNT)]
    start = start_figure(study.bench)
    state = start_state(study.bench, start.radius, start.height, job.accuracy)
    gauge = gauge_for(study.bench, start.radius)

    def engine() -> None:
        for bench, programme in settled:
            gauge.numbers(work(bench, programme, state).end.height)

    def chunk() -> None:
        _changed.cache_clear()  # every case has a bench of its own: none may be remembered from the last round
        work_chunk(job, Chunk(0, 0, COUNT, rows[:COUNT]))

    def whole_predict() -> None:
        for bench, programme in settled:
            predict(bench, programme, draws=0)

    best: dict[str, float] = {}
    for _ in range(ROUNDS):
        for task in (engine, chunk, whole_predict):
            begun = time.process_time()
            task()
            took = (time.process_time() - begun) / COUNT * 1e3
            best[task.__name__] = min(took, best.get(task.__name__, took))
    for name, took in best.items():
        print(f"{name:14} {took:.3f} ms of processor a case")
    print(f"overhead of the chunk over the engine {best['chunk'] / best['engine'] - 1:+.1%}")


def run(cases: int, workers: int, minutes: float, accuracy: Accuracy) -> None:
    """One whole study: wall, processor time of the workers, memory, size."""
    from wearsim.study.run import run_study

    study = study_of(cases, minutes)
    folder = Path(tempfile.mkdtemp())
    try:
        begun, marks = time.perf_counter(), []
        run_study(
            study,
            folder / "out.h5",
            workers=workers,
            accuracy=accuracy,
            progress=lambda p: marks.append((time.perf_counter(), p.done)),
        )
        wall = time.perf_counter() - begun
        size = (folder / "out.h5").stat().st_size
    finally:
        shutil.rmtree(folder)
    own, children = (resource.getrusage(who) for who in (resource.RUSAGE_SELF, resource.RUSAGE_CHILDREN))
    worked = marks[-1][0] - marks[1][0]  # from the first chunk to the last
    print(
        f"{study.cases} cases, {workers} workers: {wall:.1f} s wall ({worked:.1f} s from first chunk to last); "
        f"processor: workers {children.ru_utime + children.ru_stime:.1f} s, parent {own.ru_utime + own.ru_stime:.1f} s; "
        f"largest memory: parent {own.ru_maxrss / 1024:.0f} MB, a worker {children.ru_maxrss / 1024:.0f} MB; "
        f"file {size / 1e6:.2f} MB; load {os.getloadavg()[0]:.1f}"
    )


if __name__ == "__main__":
    if sys.argv[1] == "overhead":
        overhead()
    else:
        minutes = float(sys.argv[4]) if len(sys.argv) > 4 else 20.0
        run(int(sys.argv[2]), int(sys.argv[3]), minutes, COARSE if sys.argv[-1] == "coarse" else DEFAULT)
