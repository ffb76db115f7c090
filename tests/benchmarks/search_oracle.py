"""What a much longer global search reaches: differential evolution on the proposal's own engine and objective.

    python tests/benchmarks/search_oracle.py [--evaluations N] [--only TEXT] > oracle.txt

Prints for every start figure what ``propose`` and the oracle reach, the coupled runs and the seconds of both.
The oracle minimises the cost that the search minimises, over the same strokes and limits, all spells free in kind, piece on
top, sizes and minutes; a second oracle minimises the RMS with the constants known and nothing else.
"""

from __future__ import annotations

import argparse
import sys
import time
from pathlib import Path

import numpy as np
from scipy.optimize import differential_evolution

sys.path.insert(0, str(Path(__file__).parents[1] / "decide"))

from start_figures import CASES, StartCase

from wearsim.decide.library import Shape, is_allowed
from wearsim.decide.limits import Limits
from wearsim.decide.objective import Objective
from wearsim.decide.propose import propose
from wearsim.decide.refine import Refiner
from wearsim.decide.scenarios import Scenario
from wearsim.decide.trial import COARSE, Trials, Trying
from wearsim.errors import ContactError
from wearsim.wear.constants import AS_STATED
from wearsim.wear.predict import gauge_for
from wearsim.wear.state import start_state

KINDS = ("straight", "overhang", "w", "oval")


def programme_of(x: np.ndarray, limits: Limits) -> tuple[Trying, ...]:
    """Six numbers in 0..1 a spell: kind, piece on top, length, sweep, overhang, minutes."""
    spells = []
    for kind, top, length, sweep, overhang, minutes in x.reshape(-1, 6):
        name = KINDS[min(3, int(4 * kind))]
        shape = Shape(
            "tool" if top < 0.5 else "mirror", None, name, 0.06 + 0.84 * length,
            0.02 + 0.43 * sweep if name in ("w", "oval") else 0.0, 0.48 * overhang if name != "straight" else 0.0,
        )  # fmt: skip
        spells.append(Trying(shape, limits.minutes * max(0.0, minutes - 0.1) / 0.9))
    total = sum(t.minutes for t in spells)
    scale = min(1.0, limits.minutes / total) if total > 0 else 1.0
    return tuple(Trying(t.shape, t.minutes * scale) for t in spells if t.minutes * scale >= limits.shortest)


def oracle(
    case: StartCase, evaluations: int, plain_rms: bool, seed: int = 1
) -> tuple[float, float, int, float]:
    """Cost and RMS that differential evolution reaches [m], coupled runs, seconds."""
    bench = case.bench()
    limits = Limits(minutes=case.minutes)
    start = case.start(bench, COARSE)
    state = start_state(bench, start.radius, start.height, COARSE)
    objective = Objective(gauge_for(bench, start.radius), state, limits, bench.light.wavelength)
    trials = Trials(bench, limits, AS_STATED)
    refiner = Refiner(objective, [trials], (Scenario(AS_STATED, 1.0),), trials)

    def cost(x: np.ndarray) -> float:
        programme = programme_of(x, limits)
        if not all(is_allowed(t.shape, bench, limits) for t in programme):
            return 10.0 + sum(t.shape.length + t.shape.sweep + t.shape.overhang for t in programme)
        try:
            score = refiner.judge(programme).score
        except ContactError:
            return 10.0
        if plain_rms:
            beyond = max(0.0, abs(score.edge_roll) - objective.roll_limit)
            return float((score.rms + 3.0 * beyond) / objective.rms_before)
        return float(score.cost / objective.rms_before)

    began = time.perf_counter()
    population = 90
    found = differential_evolution(
        cost, [(0.0, 1.0)] * 6 * limits.spells, popsize=population // (6 * limits.spells), tol=1e-8, seed=seed,
        maxiter=evaluations // population, mutation=(0.4, 0.9), recombination=0.8, polish=False,
    )  # fmt: skip
    best = refiner.judge(programme_of(found.x, limits)).score
    return best.cost, best.rms, refiner.evaluations, time.perf_counter() - began


def main() -> None:
    parser = argparse.ArgumentParser()
    parser.add_argument("--evaluations", type=int, default=20000)
    parser.add_argument("--only", default="")
    arguments = parser.parse_args()
    for case in CASES:
        if arguments.only not in case.name:
            continue
        bench = case.bench()
        start = case.start(bench)
        began = time.perf_counter()
        done = propose(bench, limits=Limits(minutes=case.minutes), start=start)
        seconds = time.perf_counter() - began
        print(
            f"{case.name:48s} before {done.outcome.numbers_before.surface_rms * 1e9:7.1f}  propose: rms "
            f"{done.outcome.surface_rms * 1e9:6.2f} expected {done.expected_rms * 1e9:6.2f} "
            f"floor {done.floor * 1e9:6.2f} runs {done.evaluations} seconds {seconds:.1f}", flush=True,
        )  # fmt: skip
        if arguments.evaluations:
            for plain in (False, True):
                cost, rms, runs, seconds = oracle(case, arguments.evaluations, plain)
                print(
                    f"{'':20s}{'oracle of RMS alone' if plain else 'oracle of the cost':28s} cost {cost * 1e9:7.2f} "
                    f"rms {rms * 1e9:6.2f} runs {runs} seconds {seconds:.0f}", flush=True,
                )  # fmt: skip


if __name__ == "__main__":
    main()
