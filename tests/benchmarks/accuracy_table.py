"""Print error against time of the radial engine over its numerical settings.

Run ``python -m tests.benchmarks.accuracy_table``. Error: largest difference of the removal of one 20-minute
spell from that on a converged grid, as a share of the removal's range. Time: processor time, best of several,
warm, one core; path weights kept from the first.
"""

from __future__ import annotations

import argparse
import time
from collections.abc import Iterable
from dataclasses import replace

import numpy as np
from scipy.interpolate import CubicSpline

from tests.benchmarks.accuracy_benches import Case, cases
from tests.helpers.workbench import work_spell
from wearsim.wear.accuracy import DEFAULT, Accuracy

CONVERGED = Accuracy(
    glass_rings=120, pitch_rings=120, rim_share=0.8, offsets=60, per_radius=40, per_turn=36, ring_per_turn=36,
    table_cells=1600, draws=2048, phases=96, tolerance=1e-4,
)  # fmt: skip

COARSER_AND_FINER: tuple[tuple[str, tuple[float, ...]], ...] = (
    ("glass_rings", (28, 32, 48)),
    ("pitch_rings", (28, 32, 48)),
    ("offsets", (10, 12, 18, 24)),
    ("per_radius", (8, 10, 18)),
    ("per_turn", (8, 10, 16)),
    ("ring_per_turn", (8, 10, 16)),
    ("table_cells", (200, 800)),
    ("draws", (64, 128, 512)),
    ("phases", (12, 48)),
    ("tolerance", (8e-3, 4e-3, 1e-3, 5e-4)),
)


def removal(case: Case, accuracy: Accuracy) -> CubicSpline:
    """Removal of the case's spell as a function of radius [m]."""
    start = case.start(accuracy)
    after, _ = work_spell(case.bench, case.spell, start, accuracy=accuracy)
    return CubicSpline(start.radius, start.height - after.height)


def error(case: Case, accuracy: Accuracy, truth: CubicSpline) -> tuple[float, float]:
    """Largest and RMS (by area) difference from ``truth``, as shares of the removal's range [1]."""
    at = truth.x
    right = truth(at)
    apart = (removal(case, accuracy)(at) - right) / np.ptp(right)
    weight = np.gradient(at**2)
    return float(np.abs(apart).max()), float(np.sqrt(weight @ apart**2 / weight.sum()))


def milliseconds(case: Case, accuracy: Accuracy, repeats: int) -> float:
    """Best processor time of one spell, warm [ms]: what others run on the machine counts for less."""
    start = case.start(accuracy)
    best = np.inf
    for _ in range(repeats):
        begin = time.thread_time()
        work_spell(case.bench, case.spell, start, accuracy=accuracy)
        best = min(best, time.thread_time() - begin)
    return best * 1e3


def row(name: str, accuracy: Accuracy, truths: Iterable[tuple[Case, CubicSpline]], repeats: int) -> str:
    """One line of the table: worst and median error, and longest and mean time over the cases."""
    pairs = list(truths)
    errors = np.array([error(case, accuracy, truth) for case, truth in pairs])
    times = np.array([milliseconds(case, accuracy, repeats) for case, _ in pairs])
    worst = int(errors[:, 0].argmax())
    return (
        f"| {name} | {errors[:, 0].max():.2%} | {np.median(errors[:, 0]):.2%} | {errors[:, 1].max():.2%} "
        f"| {times.max():.1f} | {times.mean():.1f} | {pairs[worst][0].name} |"
    )


def variants(base: Accuracy) -> list[tuple[str, Accuracy]]:
    """The base, and every knob turned alone."""
    found = [("default", base)]
    for knob, values in COARSER_AND_FINER:
        found += [(f"{knob} {value:g}", replace(base, **{knob: value})) for value in values]
    return found


def main() -> None:
    """Print both tables."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--repeats", type=int, default=5)
    parser.add_argument("--short", action="store_true", help="the default alone, case by case")
    choice = parser.parse_args()
    truths = [(case, removal(case, CONVERGED)) for case in cases()]
    print("| case | largest error | RMS error | time [ms] |\n| --- | --- | --- | --- |")
    for case, truth in truths:
        largest, rms = error(case, DEFAULT, truth)
        print(f"| {case.name} | {largest:.2%} | {rms:.2%} | {milliseconds(case, DEFAULT, choice.repeats):.1f} |")
    if choice.short:
        return
    print("\n| setting | worst | median | worst RMS | longest [ms] | mean [ms] | worst case |")
    print("| --- | --- | --- | --- | --- | --- | --- |")
    for name, accuracy in variants(DEFAULT):
        print(row(name, accuracy, truths, choice.repeats), flush=True)


if __name__ == "__main__":
    main()
