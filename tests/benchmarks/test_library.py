"""The wear of a hundred thousand strokes at one state: one table and one matrix product.

    python -m pytest tests/benchmarks/test_library.py -o addopts=""

Compare ``test_wear_of_100000_strokes`` (the basis solved anew at the state, then the product, path weights cached) with
``test_bare_product``: the ratio is in docs/performance.md.
"""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

import wearsim as ws
from wearsim.decide.library import shapes
from wearsim.decide.limits import Limits
from wearsim.wear.basis import offset_basis, path_matrix
from wearsim.wear.start import start_figure
from wearsim.wear.state import start_state

STROKES = 100_000
DEMO = Path(__file__).parents[2] / "examples" / "demo" / "bench.toml"


@pytest.fixture(scope="module")
def ready():
    """Bench, state, the basis's offsets and the cached path weights of a hundred thousand strokes, tool on top."""
    bench = ws.load_bench(DEMO)
    start = start_figure(bench)
    state = start_state(bench, start.radius, start.height, ws.Accuracy())
    limits = Limits(on_top=("tool",))
    some = shapes(bench, limits, 40)
    basis = offset_basis(bench, state, "tool", bench.laps[0])
    jitter = (bench.hands.length_jitter, bench.hands.centre_jitter)
    strokes = [shape.stroke(bench.mirror.diameter, limits.rate) for shape in some]
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
