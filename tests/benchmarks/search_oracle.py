"""What a much longer global search reaches, on the proposal's own engine and limits.

    python tests/benchmarks/search_oracle.py [--evaluations N] [--restarts N] [--only TEXT] [--toml FILE] > oracle.txt

Prints for every start figure what ``propose`` and two oracles reach, with the coupled runs and the seconds: differential
evolution over kind, piece on top, sizes and minutes of all spells; and least squares from many random programmes. Each is
run once on the cost that the search minimises and once on the RMS figure error alone (with the limit on the edge roll).
``--toml`` writes the best RMS of all of them, by the full-accuracy engine, and where it came from:
tests/decide/oracle.toml. Without oracles (``--evaluations 0 --restarts 0``) only ``propose`` is run, and the other way
round with ``--no-propose``. Seconds are processor time.
"""

from __future__ import annotations

import argparse
import sys
import time
from pathlib import Path

import numpy as np
import tomli_w
from scipy.optimize import differential_evolution

sys.path.insert(0, str(Path(__file__).parents[1] / "decide"))

from start_figures import CASES, StartCase

from wearsim.bench.programme import Programme
from wearsim.decide.library import Shape, is_allowed
from wearsim.decide.limits import Limits
from wearsim.decide.objective import Objective
from wearsim.decide.propose import propose
from wearsim.decide.refine import Refiner
from wearsim.decide.scenarios import Scenario
from wearsim.decide.trial import COARSE, Trials, Trying
from wearsim.errors import ContactError
from wearsim.wear.constants import AS_STATED
from wearsim.wear.predict import gauge_for, predict
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


class Bed:
    """One start figure ready to be searched, on the search's own engine."""

    def __init__(self, case: StartCase, plain_rms: bool) -> None:
        self.bench = case.bench()
        spread = {"removal_spread": 0.0, "cost_spell": 0.0, "cost_change": 0.0, "cost_hour": 0.0}
        self.limits = Limits(minutes=case.minutes, **(spread if plain_rms else {}))
        start = case.start(self.bench, COARSE)
        state = start_state(self.bench, start.radius, start.height, COARSE)
        gauge = gauge_for(self.bench, start.radius)
        self.objective = Objective(gauge, state, self.limits, self.bench.light.wavelength)
        self.trials = Trials(self.bench, self.limits, AS_STATED)
        self.refiner = Refiner(self.objective, [self.trials], (Scenario(AS_STATED, 1.0),), self.trials)

    def cost(self, x: np.ndarray) -> float:
        programme = programme_of(x, self.limits)
        if not all(is_allowed(t.shape, self.bench, self.limits) for t in programme):
            return 10.0 + sum(t.shape.length + t.shape.sweep + t.shape.overhang for t in programme)
        try:
            return float(self.refiner.judge(programme).score.cost / self.objective.rms_before)
        except ContactError:
            return 10.0

    def evolution(self, evaluations: int) -> tuple[Trying, ...]:
        """Differential evolution."""
        population = 90
        found = differential_evolution(
            self.cost, [(0.0, 1.0)] * 6 * self.limits.spells, popsize=population // (6 * self.limits.spells),
            tol=1e-8, seed=1, maxiter=evaluations // population, mutation=(0.4, 0.9), recombination=0.8,
            polish=False,
        )  # fmt: skip
        return programme_of(found.x, self.limits)

    def restarts(self, count: int) -> tuple[Trying, ...]:
        """Least squares from the better half of random programmes."""
        rng = np.random.default_rng(2)
        starts = [x for x in rng.random((40 * count, 6 * self.limits.spells)) if self.cost(x) < 1.0]
        starts = sorted(starts[: 2 * count], key=self.cost)[:count]
        best, least = (), np.inf
        for x in starts:
            done = self.refiner.improve(programme_of(x, self.limits), steps=25)
            if done.score.cost < least and all(
                is_allowed(t.shape, self.bench, self.limits) for t in done.programme
            ):
                best, least = done.programme, done.score.cost
        return best


def report(
    name: str, case: StartCase, bed: Bed, programme: tuple[Trying, ...], seconds: float
) -> dict[str, object]:
    """One line: what an oracle reached, by the full-accuracy engine."""
    limits = bed.limits
    spells = tuple(t.shape.spell(t.minutes, limits.rate) for t in programme)
    outcome = predict(bed.bench, Programme(spells=spells), start=case.start(bed.bench), draws=0)
    print(
        f"    {name:44s} rms {outcome.surface_rms * 1e9:7.2f} roll {outcome.edge_roll * 1e9:6.1f} "
        f"runs {bed.refiner.evaluations} seconds {seconds:.0f}", flush=True,
    )  # fmt: skip
    return {
        "rms_nm": round(outcome.surface_rms * 1e9, 3), "by": name, "runs": bed.refiner.evaluations,
        "seconds": round(seconds, 1),
    }  # fmt: skip


def proposed(case: StartCase) -> None:
    """One line: what ``propose`` reaches."""
    bench, began = case.bench(), time.process_time()
    done = propose(bench, limits=Limits(minutes=case.minutes), start=case.start(bench))
    print(
        f"{case.name:48s} rms {done.outcome.surface_rms * 1e9:7.2f} roll {done.outcome.edge_roll * 1e9:6.1f} "
        f"runs {done.evaluations} seconds {time.process_time() - began:.1f} before "
        f"{done.outcome.numbers_before.surface_rms * 1e9:.1f} floor {done.floor * 1e9:.2f}", flush=True,
    )  # fmt: skip


def oracles(case: StartCase, evaluations: int, restarts: int) -> list[dict[str, object]]:
    """What every oracle asked for reaches."""
    out = []
    for plain in (True, False):
        what = "RMS alone" if plain else "the cost"
        for way, count in (("evolution", evaluations), ("restarts", restarts)):
            if count:
                bed, began = Bed(case, plain), time.process_time()
                programme = bed.evolution(count) if way == "evolution" else bed.restarts(count)
                name = f"{count} {way} on {what}"
                out.append(report(name, case, bed, programme, time.process_time() - began))
    return out


def main() -> None:
    parser = argparse.ArgumentParser()
    parser.add_argument("--evaluations", type=int, default=10000)
    parser.add_argument("--restarts", type=int, default=40)
    parser.add_argument("--only", default="")
    parser.add_argument("--no-propose", action="store_true")
    parser.add_argument("--toml", type=Path)
    arguments = parser.parse_args()
    kept = []
    for case in CASES:
        if arguments.only not in case.name:
            continue
        if not arguments.no_propose:
            proposed(case)
        found = oracles(case, arguments.evaluations, arguments.restarts)
        if found:
            best = min(found, key=lambda one: float(str(one["rms_nm"])))
            kept.append({"name": case.name, **best})
    if arguments.toml:
        arguments.toml.write_text(tomli_w.dumps({"oracle": kept}), encoding="utf-8")


if __name__ == "__main__":
    main()
