"""Is the best that ``propose`` shows under uncertain constants as good as a long search of the same strokes finds?

    python -m tests.benchmarks.uncertain_oracle [--first 0] [--count 14] [--sessions 0]
    python -m tests.benchmarks.uncertain_oracle --programmes

A search of its own, slow and plain: differential evolution over rows of the repertoire, sizes and minutes of one and two
spells, an island for every order of the pieces on top; then steps of every size and of the minutes from the best, as long
as one betters it. It shares with ``propose`` the coupled engine, the weighted cases of the constants, what is made small
(what a programme asks of a person included), and which strokes hands do. The fourteen start figures of
tests/helpers/start_figures.py and docs/performance.md, with the default spreads, or with spreads as one or two sessions
leave them. A line a figure: what is made small (RMS to expect, with what slopes on short scales count as, times the effort)
in nm, of the best that ``propose`` shows and of this search, their ratio, and how long both took. With ``--programmes`` what
``propose`` says of each of them: the RMS before and to expect [nm], the programme, and its processor time [s].
"""

from __future__ import annotations

import argparse
import itertools
import time
from collections.abc import Iterator
from dataclasses import replace

import numpy as np
from scipy.optimize import differential_evolution

from tests.benchmarks.nested_limits import AFTER, WIDEST, belief_after
from tests.helpers.start_figures import CASES, StartCase, ring
from wearsim.bench.units import length_unit
from wearsim.decide.choice import LARGE_GAIN, ROUGHER
from wearsim.decide.coarse_engine import Plan, PlannedSpell
from wearsim.decide.least_squares import Refiner
from wearsim.decide.limits import USUAL_SHORTEST, Clock
from wearsim.decide.propose import propose
from wearsim.decide.repertoire import REPERTOIRE, Gentle, common_strokes, is_allowed, size_step
from wearsim.decide.search_problem import ProposalProblem
from wearsim.decide.stroke_library import FREE, StrokeSpec
from wearsim.errors import ContactError
from wearsim.show.strokes import spell_words
from wearsim.wear.accuracy import DEFAULT

FIGURES = (
    *CASES,
    StartCase("raised ring at 0.7, 20 in f/5", 508, 5.0, 60, ring(200, 0.7, 0.12), None, 1.0, 12.0, 22.0),
)
BAD = 10.0
NUMBERS = 5
POPULATION, GENERATIONS, POLISHED, ROUNDS = 4, 22, 3, 12


class Ground:
    """One start figure: numbers in, what is made small out."""

    def __init__(self, case: StartCase, sessions: int) -> None:
        self.bench = case.bench(spread=True)
        self.belief = belief_after(self.bench, sessions)
        self.limits = replace(WIDEST, minutes=float(case.minutes), spells=2, shortest=USUAL_SHORTEST)
        self.start = case.start(self.bench)
        settled = self.limits.settled(self.bench).with_certainty(False)
        belief = self.belief.with_session_spread(0.1)
        self.problem = ProposalProblem(self.bench, settled, belief, self.start, None, DEFAULT, Clock())
        present = abs(self.problem.objective.roll_before) / self.bench.light.wavelength  # an edge may stay as it is
        self.problem = replace(self.problem, limits=replace(settled, edge_limit=max(present, settled.edge_limit)))
        self.refiner: Refiner = self.problem.in_all_scenarios()
        strokes = common_strokes(self.bench, settled)
        self.gentle = Gentle(self.problem.nominal, self.refiner.objective.start, strokes)
        self.step = size_step(self.bench)
        self.known: dict[Plan, float] = {}

    def judge(self, plan: Plan) -> float:
        """What is made small, over the RMS at the start; BAD where the programme is not one that hands do."""
        if plan not in self.known:
            self.known[plan] = self._judged(plan)
        return self.known[plan]

    def _judged(self, plan: Plan) -> float:
        objective, limits = self.refiner.objective, self.problem.limits
        if sum(one.minutes for one in plan) > limits.minutes or any(one.minutes < limits.shortest for one in plan):
            return BAD
        state, before = objective.start, objective.figures(objective.start.height)
        try:
            for spell in plan:
                if not (is_allowed(spell.stroke, self.bench, limits) and self.gentle.allows(state, spell)):
                    return BAD
                state = self.problem.nominal.after(state, spell)
                after = objective.figures(state.height)
                if after[1] > ROUGHER * before[1] and after[0] > (1.0 - LARGE_GAIN) * before[0]:
                    return BAD
                before = after
            return self.refiner.evaluate(plan).score.cost / objective.rms_before
        except ContactError:
            return BAD

    def plan(self, x: np.ndarray, tops: tuple[str, ...]) -> Plan:
        """The programme of whole steps that numbers in 0..1 stand for, NUMBERS a spell."""
        left, spells = self.problem.limits.minutes, []
        for row, top in zip(x.reshape(-1, NUMBERS), tops, strict=True):
            kind = REPERTOIRE[min(int(row[0] * len(REPERTOIRE)), len(REPERTOIRE) - 1)]
            limits = (kind.lengths, kind.sweeps, kind.overhangs)
            sizes = [low + share * (high - low) for share, (low, high) in zip(row[1:4], limits, strict=True)]
            if self.bench.laps[0].diameter < 0.9 * self.bench.mirror.diameter:
                sizes[0] = row[1] * self.bench.laps[0].diameter / self.bench.mirror.diameter
                sizes[2] = 0.5 * row[3] if kind.overhangs[1] else 0.0
            if kind.kind == "one-third":
                sizes[0] = 1.0 / 3.0
            else:
                sizes = [round(self.step * round(size / self.step), 4) for size in sizes]
            minutes = float(round(row[4] ** 2 * left))
            left -= minutes
            spells.append(PlannedSpell(StrokeSpec(top, self.bench.laps[0].name, kind.kind, *sizes), minutes))
        return tuple(spells)

    def steps_from(self, plan: Plan) -> Iterator[Plan]:
        """Every programme one step of a size or of some minutes away."""
        for place, spell in enumerate(plan):
            for minutes in (-10.0, -5.0, -2.0, -1.0, 1.0, 2.0, 5.0, 10.0):
                yield (*plan[:place], replace(spell, minutes=spell.minutes + minutes), *plan[place + 1 :])
            for name, change in itertools.product(FREE[spell.stroke.kind], (-2, -1, 1, 2)):
                size = round(getattr(spell.stroke, name) + change * self.step, 4)
                if size >= 0.0:
                    moved = replace(spell, stroke=replace(spell.stroke, **{name: size}))
                    yield (*plan[:place], moved, *plan[place + 1 :])
            if len(plan) > 1:
                yield (*plan[:place], *plan[place + 1 :])


def searched(ground: Ground, seed: int = 1) -> float:
    """The least that the long search finds [m]."""
    for count in (1, 2):
        for tops in itertools.product(ground.problem.limits.pieces, repeat=count):
            differential_evolution(
                lambda x, tops=tops: ground.judge(ground.plan(x, tops)), [(0.0, 1.0)] * (NUMBERS * count),
                popsize=POPULATION, maxiter=GENERATIONS, mutation=(0.4, 0.9), recombination=0.8, tol=0.0, atol=0.0,
                polish=False, seed=seed,
            )  # fmt: skip
    for plan in sorted(ground.known, key=ground.known.__getitem__)[:POLISHED]:
        for _ in range(ROUNDS):
            best = min(ground.steps_from(plan), key=ground.judge)
            if ground.judge(best) >= ground.judge(plan):
                break
            plan = best
    return min(ground.known.values()) * ground.refiner.objective.rms_before


def shown(ground: Ground) -> float:
    """The least of the common programmes that ``propose`` shows, and of stopping [m]."""
    settled = ground.problem.limits
    done = propose(ground.bench, limits=ground.limits, start=ground.start, belief=ground.belief, draws=0, aim=0.999)
    plans = [one.candidate.plan for one in done.choices]
    practised = [plan for plan in plans if all(is_allowed(one.stroke, ground.bench, settled) for one in plan)]
    costs = [ground.refiner.evaluate(plan).score.cost for plan in practised]
    return min([ground.refiner.objective.rms_before, *costs])


def said(case: StartCase) -> str:
    """What ``propose`` says of a start figure."""
    bench, began = case.bench(spread=True), time.process_time()
    done = propose(bench, minutes=float(case.minutes), start=case.start(bench), draws=0, aim=0.999)
    spells = done.programme.spells
    words = "; ".join(
        f"{one.minutes:g} min {spell_words(one, bench.mirror.diameter, length_unit(bench))}" for one in spells
    )
    took = time.process_time() - began
    return f"{case.name}: {1e9 * done.stopped_rms:.0f}, {1e9 * done.expected_rms:.0f}, {words}; {took:.1f} s"


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.split("\n")[0])
    parser.add_argument("--first", type=int, default=0)
    parser.add_argument("--count", type=int, default=len(FIGURES))
    parser.add_argument("--sessions", type=int, default=0, choices=sorted(AFTER))
    parser.add_argument("--programmes", action="store_true")
    given = parser.parse_args()
    if given.programmes:
        for case in FIGURES[given.first : given.first + given.count]:
            print(said(case), flush=True)
        return
    for case in FIGURES[given.first : given.first + given.count]:
        ground, began = Ground(case, given.sessions), time.process_time()
        ours = shown(ground)
        middle = time.process_time()
        best = min(searched(ground), ground.refiner.objective.rms_before)
        took = time.process_time() - middle
        print(
            f"{case.name}: {1e9 * ours:.1f}, {1e9 * best:.1f}, ratio {ours / best:.3f}; {middle - began:.1f} s, "
            f"{took:.0f} s, {len(ground.known)} programmes", flush=True,
        )  # fmt: skip


if __name__ == "__main__":
    main()
