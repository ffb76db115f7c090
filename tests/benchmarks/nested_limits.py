"""Whether to allow more ever makes the best programme worse, and whether the proposed one is as good as the best.

    python -m tests.benchmarks.nested_limits [--count 60] [--first 0] [--sessions 0] [--known]

Random start figures of never_worse.py and the thirteen of tests/helpers/start_figures.py: every chain of limits from the
narrowest to the widest (spells 1, 2, 3; the tool, the mirror, either on top; 30, 60, 120 minutes; common strokes, any).
With the default spreads, with spreads as one or two sessions leave them, or with the constants known. A line a figure with
the largest growth of the expected RMS of the best where a limit is relaxed, then how many grew by more than 1%. Ends with 1
where one did.
"""

from __future__ import annotations

import argparse
import sys
import time
from dataclasses import replace
from functools import cache
from itertools import pairwise

import numpy as np

from tests.benchmarks.never_worse import random_bench, random_start
from tests.helpers.start_figures import CASES
from wearsim.bench.bench import Bench
from wearsim.decide.limits import Limits
from wearsim.decide.propose import propose
from wearsim.wear.constants import Belief, prior
from wearsim.wear.initial_figure import StartFigure

MOST = 1.01
AFTER = {0: 1.0, 1: 0.5, 2: 0.3}
"""Share of the spread of the constants' logarithms that so many sessions leave [1]. A judgement after docs/learning.md."""
WIDEST = Limits(minutes=120.0, spells=3, on_top=("tool", "mirror"), beyond=False)
CHAINS = {
    "spells": [{"spells": spells} for spells in (1, 2, 3)],
    "tool": [{"on_top": ("tool",)}, {}],
    "mirror": [{"on_top": ("mirror",)}, {}],
    "minutes": [{"minutes": minutes} for minutes in (30.0, 60.0, 120.0)],
    "repertoire": [{}, {"repertoire": "any"}],
}


def figure_of(number: int, known: bool) -> tuple[Bench, StartFigure]:
    """A bench and a start figure of a number; the constants known or with the default spreads."""
    if number < len(CASES):
        bench = CASES[number].bench(spread=not known)
        return bench, CASES[number].start(bench)
    rng = np.random.default_rng(np.random.SeedSequence(20260117, spawn_key=(number,)))
    bench = random_bench(rng, not known)
    return bench, random_start(bench, rng)


def belief_after(bench: Bench, sessions: int) -> Belief:
    """What is believed of the constants after so many sessions."""
    own = prior(bench)
    return Belief(own.mean, own.covariance * AFTER[sessions] ** 2)


def best_rms(bench: Bench, start: StartFigure, limits: Limits, sessions: int = 0) -> float:
    """Expected RMS of the best programme, or of stopping [m]."""
    done = propose(bench, limits=limits, start=start, belief=belief_after(bench, sessions), draws=0, aim=0.999)
    least = min((one.candidate.score.expected_rms for one in done.choices), default=np.inf)
    return min(least, done.outcome.numbers_before.surface_rms)


def growths(
    bench: Bench, start: StartFigure, chains: dict[str, list[dict]] = CHAINS, sessions: int = 0
) -> dict[str, float]:
    """Of each chain the largest factor by which the best grew where a limit was relaxed [1]."""
    found, best = {}, cache(lambda limits: best_rms(bench, start, limits, sessions))
    for name, chain in chains.items():
        values = [best(replace(WIDEST, **one)) for one in chain]
        found[name] = max(after / before for before, after in pairwise(values))
    return found


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__.split("\n")[0])
    parser.add_argument("--count", type=int, default=60)
    parser.add_argument("--first", type=int, default=0)
    parser.add_argument("--sessions", type=int, default=0, choices=sorted(AFTER))
    parser.add_argument("--known", action="store_true", help="the constants taken as known")
    given = parser.parse_args()
    grown = 0
    for number in range(given.first, given.first + given.count):
        began = time.process_time()
        found = growths(*figure_of(number, given.known), sessions=given.sessions)
        worst = max(found, key=lambda name: found[name])
        grown += found[worst] > MOST
        print(f"{number:3d} {worst} {found[worst]:.3f} {time.process_time() - began:.0f} s", flush=True)
    print(
        f"{given.count} figures: {grown} with a best that grew by more than {MOST - 1.0:.0%} when a limit was relaxed"
    )
    return 1 if grown else 0


if __name__ == "__main__":
    sys.exit(main())
