"""A library of two hundred thousand strokes: path weights, the product with the offset basis, thinning.

    python -m pytest tests/benchmarks/test_library.py -o addopts="" -s
    python -m tests.benchmarks.test_library

The first compares ``test_wear_of_100000_strokes`` (the basis solved anew at the state, then the product, path weights
cached) with ``test_bare_product``. The second makes the library of the demo stage by stage: processor time of each, the
memory, and the error of the columns against many more draws and poses. Both are in docs/performance.md.
"""

from __future__ import annotations

import resource
import time
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

import wearsim as ws
from tests.helpers.any_stroke import any_limits
from wearsim.decide.stroke_library import LIBRARY, StrokeWear, allowed_strokes, steps_for, thinned
from wearsim.wear.initial_figure import start_figure
from wearsim.wear.radial.offset_basis import offset_basis, path_matrix
from wearsim.wear.state import start_state

STROKES = 100_000
DEMO = Path(__file__).parents[2] / "examples" / "demo" / "bench.toml"


@pytest.fixture(scope="module")
def ready():
    """Bench, state, the basis's offsets and the cached path weights of a hundred thousand strokes, tool on top."""
    bench = ws.load_bench(DEMO)
    start = start_figure(bench)
    state = start_state(bench, start.radius, start.height, ws.Accuracy())
    limits = any_limits(on_top=("tool",))
    some = allowed_strokes(bench, limits, 40)
    basis = offset_basis(bench, state, "tool", bench.laps[0])
    jitter = (bench.hands.length_jitter, bench.hands.centre_jitter)
    strokes = [shape.stroke_on(bench.mirror.diameter, limits.rate) for shape in some]
    rows = path_matrix(strokes, jitter, basis.offset, basis.cases, "tool", ws.Accuracy(draws=16, phases=12))
    weights = np.ascontiguousarray(np.resize(rows, (STROKES, rows.shape[1])))
    return bench, state, weights


def test_wear_of_100000_strokes(benchmark, ready) -> None:
    bench, state, weights = ready

    def work() -> np.ndarray:
        basis = offset_basis(bench, state, "tool", bench.laps[0])
        return basis.wear(weights, bench.preston)

    result = benchmark(work)
    assert result.shape == (STROKES, state.radius.size)
    assert np.all(result >= 0.0)


def test_bare_product(benchmark, ready) -> None:
    bench, state, weights = ready
    table = offset_basis(bench, state, "tool", bench.laps[0]).pressure.reshape(weights.shape[1], -1)
    benchmark(lambda: weights @ table)


def timed(what: str, work: Callable[[], object]) -> object:
    """The result of a stage, its processor time said."""
    began = time.process_time()
    result = work()
    print(f"{what:60s} {time.process_time() - began:7.2f} s", flush=True)
    return result


def main() -> None:
    bench, limits = ws.load_bench(DEMO), any_limits()
    ws.library(bench, steps=4)  # compiled
    start = start_figure(bench)
    state = start_state(bench, start.radius, start.height, LIBRARY)
    before = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    steps = timed("steps for 200,000 strokes", lambda: steps_for(bench, limits, 200_000))
    found = timed("allowed strokes", lambda: allowed_strokes(bench, limits, steps))
    columns = timed(
        "path weights and columns", lambda: StrokeWear(bench, state, limits, accuracy=LIBRARY).columns(found)
    )
    for closeness in (1e-3, 1e-2):
        kept = timed(f"thinned to {closeness:g}", lambda c=closeness: thinned(columns, c))
        print(f"    {len(found)} strokes ({steps} lengths), {len(kept)} kept")
    more = (resource.getrusage(resource.RUSAGE_SELF).ru_maxrss - before) / 1e3
    print(f"    {more:.0f} MB more than before, of which columns {columns.nbytes / 1e6:.0f} MB")
    some = tuple(found[i] for i in np.random.default_rng(3).choice(len(found), 400, replace=False))
    exact = StrokeWear(bench, state, limits, accuracy=replace(LIBRARY, draws=4096, phases=48)).columns(some)
    for phases in (6, 8, 12, 24):
        accuracy = replace(LIBRARY, phases=phases)
        rough = timed(
            f"400 strokes, {phases} poses",
            lambda a=accuracy: StrokeWear(bench, state, limits, accuracy=a).columns(some),
        )
        error = np.linalg.norm(rough - exact, axis=1) / np.linalg.norm(exact, axis=1)
        print(f"    error of a column: median {np.median(error):.3%}, worst {error.max():.3%}")


if __name__ == "__main__":
    main()
