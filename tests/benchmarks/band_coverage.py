"""Does the proposal's band hold what the planar engine gives, with everything uncertain drawn?

    python -m tests.benchmarks.band_coverage [--runs 100] [--cells 64] [--minutes 60]

The demo's proposal is worked by the planar engine, stroke by stroke with the hands' spread, with the constants drawn from
the stated spreads and the start figure from the measurement's band. Prints how many of the RMS figure errors lie within the
5th to 95th percentile of the proposal's outcome, from as many draws as `propose` makes where nobody says how many.
"""

from __future__ import annotations

import argparse
import time
from pathlib import Path

import numba
import numpy as np

import wearsim as ws
from wearsim.wear.accuracy import PlanarAccuracy
from wearsim.wear.constants import Belief, prior
from wearsim.wear.initial_figure import StartFigure, start_figure
from wearsim.wear.predict import predict

DEMO = Path(__file__).parents[2] / "examples" / "demo" / "bench.toml"


def main() -> None:
    parser = argparse.ArgumentParser()
    parser.add_argument("--runs", type=int, default=100)
    parser.add_argument("--first", type=int, default=0)
    parser.add_argument("--cells", type=int, default=64)
    parser.add_argument("--minutes", type=float, default=60.0)
    arguments = parser.parse_args()
    numba.set_num_threads(1)
    bench = ws.load_bench(DEMO)
    proposal = ws.propose(bench, minutes=arguments.minutes)
    assert proposal.outcome.band is not None
    low, high = proposal.outcome.band.surface_rms
    print(f"band {low * 1e9:.1f} to {high * 1e9:.1f} nm RMS; predicted {proposal.outcome.surface_rms * 1e9:.1f}")
    start, belief = start_figure(bench), prior(bench)
    root = np.linalg.cholesky(belief.covariance)
    inside = 0
    for i in range(arguments.first, arguments.first + arguments.runs):
        rng = np.random.default_rng(np.random.SeedSequence(20261125, spawn_key=(i,)))
        logs = belief.mean + root @ rng.standard_normal(len(belief.mean))
        height = start.height + start.root @ rng.standard_normal(start.root.shape[1])
        truth = StartFigure(start.radius, height, start.root[:, :0])
        began = time.perf_counter()
        outcome = predict(
            bench, proposal.programme, "planar", seed=i, belief=Belief(logs, np.zeros_like(belief.covariance)),
            start=truth, planar=PlanarAccuracy(cells=arguments.cells),
        )  # fmt: skip
        inside += low <= outcome.surface_rms <= high
        done = i + 1 - arguments.first
        print(
            f"{i:3d} k x {np.exp(logs[0]):5.2f} rms {outcome.surface_rms * 1e9:6.1f} inside {inside}/{done} "
            f"{time.perf_counter() - began:.1f} s", flush=True,
        )  # fmt: skip


if __name__ == "__main__":
    main()
