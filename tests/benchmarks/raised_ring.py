"""The raised ring near the edge, proposed by one engine and judged by the other, with the removal off as well.

    python -m tests.benchmarks.raised_ring [--cells 128] [--minutes 90]

250 nm exp(-((r/a - 0.85)/0.10)^2) on a 0.4 m f/4.5 paraboloid of 11 kg, a full-size lap of 5 kg, 30 N of push, the lap
pressed, constants taken as known: today's programme (three spells), then the planar engine, stroke by stroke with the hands'
spread, with the Preston coefficient times 0.8, 1.0 and 1.2. Asked for: a fifth of the start, a third where the removal is
off, and an edge roll within an eighth of a wave of surface height. Ends with 1 where one of them is missed.
"""

from __future__ import annotations

import argparse
import sys
import time

import numpy as np

from tests.helpers.any_stroke import any_limits
from tests.helpers.start_figures import CASES, StartCase
from wearsim.bench.programme import Programme
from wearsim.decide.propose import propose
from wearsim.wear.accuracy import PlanarAccuracy
from wearsim.wear.constants import NAMES, Belief
from wearsim.wear.outcome import Outcome
from wearsim.wear.predict import predict

CASE = next(case for case in CASES if "raised ring at 0.85" in case.name)
# Factor on the Preston coefficient, and the share of the start's RMS that may be left.
ASKED = ((1.0, 1.0 / 5.0), (0.8, 1.0 / 3.0), (1.2, 1.0 / 3.0))


def judged(case: StartCase, programme: Programme, factor: float, cells: int) -> Outcome:
    """The planar engine's verdict with the removal off by a factor."""
    logs = np.array([np.log(factor) if name == "preston" else 0.0 for name in NAMES])
    belief = Belief(logs, np.zeros((len(NAMES), len(NAMES))))
    bench = case.bench()
    return predict(
        bench, programme, "planar", belief=belief, start=case.start(bench), planar=PlanarAccuracy(cells=cells)
    )


def main() -> int:
    parser = argparse.ArgumentParser()
    parser.add_argument("--cells", type=int, default=128)
    parser.add_argument("--minutes", type=float, default=CASE.minutes)
    arguments = parser.parse_args()
    bench, began = CASE.bench(), time.process_time()
    done = propose(bench, limits=any_limits(minutes=arguments.minutes), start=CASE.start(bench), draws=0)
    before = done.outcome.numbers_before.surface_rms
    print(done.programme.text)
    print(
        f"radial: rms {before * 1e9:.1f} -> {done.outcome.surface_rms * 1e9:.2f} nm, edge roll "
        f"{done.outcome.edge_roll * 1e9:.1f} nm, {time.process_time() - began:.0f} s of processor time", flush=True,
    )  # fmt: skip
    missed = 0
    for factor, share in ASKED:
        began = time.process_time()
        outcome = judged(CASE, done.programme, factor, arguments.cells)
        good = outcome.surface_rms <= share * before and abs(outcome.edge_roll) <= bench.light.wavelength / 8.0
        missed += not good
        print(
            f"planar, {arguments.cells} cells, k x {factor:.1f}: rms {outcome.surface_rms * 1e9:.2f} nm (asked "
            f"{share * before * 1e9:.2f}), edge roll {outcome.edge_roll * 1e9:.1f} nm (asked "
            f"{bench.light.wavelength / 8.0 * 1e9:.1f}), {time.process_time() - began:.0f} s "
            + ("" if good else " MISSED"), flush=True,
        )  # fmt: skip
    return 1 if missed else 0


if __name__ == "__main__":
    sys.exit(main())
