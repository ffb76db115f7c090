"""Does the band of a later session hold what a second session leaves, when it is proposed anew after a test?

    python -m tests.benchmarks.later_sessions [--runs 40] [--minutes 60]

The demo is planned for two sessions. Then, with the constants drawn from the stated spreads and the glass from the
measurement's band, the first session is worked, its glass is read with an error like the first measurement's, the
constants are taken as known within the factor that the plan expects of a test, about their true values, and the second
session is proposed anew from there and worked. Prints how many of the RMS figure errors lie within the 5th to 95th
percentile that the plan said of its second session, below its upper end, and within the band of the second proposal itself.
The radial engine does all of it.
"""

from __future__ import annotations

import argparse
import time
from pathlib import Path

import numpy as np

import wearsim as ws
from wearsim.decide.propose import SPREAD_AFTER_SESSION
from wearsim.wear.constants import Belief, prior
from wearsim.wear.initial_figure import StartFigure, start_figure

DEMO = Path(__file__).parents[2] / "examples" / "demo" / "bench.toml"


def main() -> None:
    parser = argparse.ArgumentParser()
    parser.add_argument("--runs", type=int, default=40)
    parser.add_argument("--first", type=int, default=0)
    parser.add_argument("--minutes", type=float, default=60.0)
    arguments = parser.parse_args()
    bench = ws.load_bench(DEMO)
    plan = ws.propose(bench, minutes=arguments.minutes, sessions=2)
    (later,) = plan.later
    assert later.outcome.band is not None
    low, high = later.outcome.band.surface_rms
    print(f"planned: session 2 leaves {later.rms * 1e9:.1f} nm RMS ({low * 1e9:.1f} to {high * 1e9:.1f})")
    start, belief = start_figure(bench), prior(bench)
    spread = np.sqrt(np.diag(belief.covariance))
    then = np.minimum(spread, SPREAD_AFTER_SESSION)
    left, planned, below, proposed = [], 0, 0, 0
    for i in range(arguments.first, arguments.first + arguments.runs):
        rng = np.random.default_rng(np.random.SeedSequence(20261127, spawn_key=(i,)))
        began = time.perf_counter()
        logs = belief.mean + spread * rng.standard_normal(spread.size)
        truth = Belief(logs, np.zeros_like(belief.covariance))

        def error(rng: np.random.Generator = rng) -> np.ndarray:
            return start.root @ rng.standard_normal(start.root.shape[1])

        def worked(programme: ws.Programme, height: np.ndarray, truth: Belief = truth) -> ws.Outcome:
            glass = StartFigure(start.radius, height, start.root[:, :0])
            return ws.predict(bench, programme, belief=truth, start=glass)

        first = worked(plan.programme, start.height + error())
        read = StartFigure(start.radius, first.height + error(), start.root)
        known = Belief(logs + then * rng.standard_normal(then.size), np.diag(then**2))
        again = ws.propose(bench, minutes=arguments.minutes, belief=known, start=read)
        rms = worked(again.programme, first.height).surface_rms
        left.append(rms)
        band = again.outcome.band
        planned += low <= rms <= high
        below += rms <= high
        proposed += band is not None and band.surface_rms[0] <= rms <= band.surface_rms[1]
        print(
            f"{i:3d} k x {np.exp(logs[0]):5.2f} after 1: {first.surface_rms * 1e9:5.1f} after 2: {rms * 1e9:5.1f} nm; of "
            f"{len(left)} in the plan's band {planned}, below its top {below}, in the new proposal's {proposed}; median "
            f"{np.median(left) * 1e9:.1f} nm, {time.perf_counter() - began:.1f} s",
            flush=True,
        )


if __name__ == "__main__":
    main()
