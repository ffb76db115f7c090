"""What the trade-off says of fewer minutes, against what ``propose`` finds when it may use no more.

``python -m tests.benchmarks.trade_off`` proposes for start figures of ``tests/decide/start_figures.py`` with the trade-off,
then for each of fewer minutes without it, and prints both as a table; processor time.
"""

from __future__ import annotations

import argparse
import time
from typing import Any

from tests.helpers.any_stroke import any_limits
from tests.helpers.start_figures import CASES, StartCase
from wearsim.decide.proposal import Proposal
from wearsim.decide.propose import propose

DEFAULT_CASES = (4, 0, 8, 11)
MINUTES = (60.0, 45.0, 30.0)


def timed(case: StartCase, minutes: float, **more: Any) -> tuple[Proposal, float]:
    """A proposal and its processor time [s]."""
    bench = case.bench()
    began = time.process_time()
    done = propose(bench, limits=any_limits(minutes=minutes), start=case.start(bench), draws=0, **more)
    return done, time.process_time() - began


def main() -> None:
    """Print the table."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--cases", type=int, nargs="*", default=DEFAULT_CASES)
    cases = [CASES[number] for number in parser.parse_args().cases]
    timed(cases[0], 10.0, starts=1, with_trade_off=True)  # loads, and compiles where that is still to do
    print("| start figure | minutes | curve | propose | ratio | time [s] | of it the trade-off |")
    print("| --- | --- | --- | --- | --- | --- | --- |")
    for case in cases:
        whole, plain = timed(case, case.minutes)
        bought, seconds = timed(case, case.minutes, with_trade_off=True)
        curve = bought.trade_off[-1]
        rows = [(case.minutes, whole)]
        rows += [(minutes, timed(case, minutes)[0]) for minutes in MINUTES if minutes < case.minutes]
        for minutes, own in rows:
            says = curve.at(minutes)
            took = f"{seconds:.1f} | {seconds - plain:.1f}" if minutes == case.minutes else "|"
            print(
                f"| {case.name} | {minutes:.0f} | {says * 1e9:.1f} | {own.expected_rms * 1e9:.1f} "
                f"| {says / own.expected_rms:.2f} | {took} |",
                flush=True,
            )


if __name__ == "__main__":
    main()
