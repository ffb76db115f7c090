"""No proposal is predicted worse than doing nothing: many random start figures.

    python -m tests.benchmarks.never_worse [--count 500] [--first 0] [--spells 3] [--planar] > never_worse.txt

A line a figure, then the sums. Mirrors, laps, limits and figures are drawn from the seed; every third has the default
spreads, the others known constants. Ends with 1 where one is worse. ``--planar`` has the planar engine judge too.
"""

from __future__ import annotations

import argparse
import sys
import time

import numpy as np

from tests.helpers.any_stroke import any_limits
from tests.helpers.start_figures import KNOWN
from wearsim.bench.bench import Bench
from wearsim.bench.profile import Profile
from wearsim.bench.toml_io import bench_from_table
from wearsim.decide.propose import propose
from wearsim.wear.accuracy import DEFAULT
from wearsim.wear.initial_figure import StartFigure, from_profile
from wearsim.wear.predict import predict


def random_bench(rng: np.random.Generator, spread: bool) -> Bench:
    """A mirror of 150 to 500 mm, f/4 to f/8, on a lap of half its size to its own."""
    diameter = float(rng.uniform(150.0, 500.0))
    share = 1.0 if rng.random() < 0.6 else float(rng.uniform(0.5, 1.0))
    table = {
        "mirror": {
            "diameter": f"{diameter} mm", "radius_of_curvature": f"{2.0 * diameter * rng.uniform(4.0, 8.0)} mm",
            "thickness": f"{diameter / 7.0} mm",
        },
        "lap": {"diameter": f"{share * diameter} mm", "mass": f"{45.0 * (share * diameter / 1e3) ** 2} kg"},
        "figure": {"conic": -1.0},
    }  # fmt: skip
    return bench_from_table(table if spread else {**table, "spread": KNOWN})


def random_start(bench: Bench, rng: np.random.Generator) -> StartFigure:
    """Cosines and a ring, 1 nm to 1 um high."""
    x = np.linspace(0.0, 1.0, 121)
    order = np.arange(1.0, 7.0)
    error = (rng.normal(size=6) / order) @ np.cos(np.pi * order[:, None] * x**2)
    error += rng.normal() * np.exp(-(((x - rng.uniform(0.2, 0.95)) / rng.uniform(0.06, 0.2)) ** 2))
    size = 10.0 ** rng.uniform(-9.0, -6.0)
    return from_profile(bench, Profile(x * bench.mirror.radius, size * error, None), DEFAULT)


def judged(number: int, spells: int, planar: bool) -> tuple[str, bool, bool]:
    """A line about one figure, whether it is worse, whether nothing is proposed."""
    rng = np.random.default_rng(np.random.SeedSequence(20260117, spawn_key=(number,)))
    bench = random_bench(rng, number % 3 == 0)
    start = random_start(bench, rng)
    limits = any_limits(minutes=float(rng.integers(5, 180)), spells=spells)
    began = time.perf_counter()
    done = propose(bench, limits=limits, start=start, draws=0)
    seconds = time.perf_counter() - began
    before, after = done.outcome.numbers_before.surface_rms, done.outcome.surface_rms
    line = f"{number:4d} before {before * 1e9:8.2f} after {after * 1e9:8.2f} floor {done.floor * 1e9:8.2f} nm"
    worse = after > before
    if planar and done.programme.spells:
        other = predict(bench, done.programme, "planar", draws=0, start=start).surface_rms
        worse = worse or other > before
        line += f" planar {other * 1e9:8.2f} nm"
    return (f"{line} spells {len(done.programme.spells)} seconds {seconds:5.1f}", worse, not done.programme.spells)


def main() -> int:
    parser = argparse.ArgumentParser()
    parser.add_argument("--count", type=int, default=500)
    parser.add_argument("--first", type=int, default=0)
    parser.add_argument("--spells", type=int, default=3)
    parser.add_argument("--planar", action="store_true")
    arguments = parser.parse_args()
    worse = empty = 0
    for number in range(arguments.first, arguments.first + arguments.count):
        line, bad, nothing = judged(number, arguments.spells, arguments.planar)
        print(line + ("  WORSE" if bad else ""), flush=True)
        worse, empty = worse + bad, empty + nothing
    print(f"{arguments.count} figures: {worse} worse than doing nothing, {empty} with nothing to do")
    return 1 if worse else 0


if __name__ == "__main__":
    sys.exit(main())
