"""The closed loop on practice mirrors: is the surface 20 nm RMS or better within six sessions, and is none spoilt?

    python -m tests.benchmarks.closed_loop --count 50 --out loop.jsonl
    python -m tests.benchmarks.closed_loop --table loop.jsonl

Each mirror: raised ring, oblate, sphere or turned edge in turn; 0.2-0.5 m, f/4.5-f/7; preston, stiffness and
relaxation time off by up to a factor of two, edge gain too; 5 % jitter, 8 % from session to session; planar truth;
readings of 0.1 mm at 0.35 of the radius in 8 windows, 3 repeats. The bench keeps the default spread.
A mirror on which something failed counts as not good enough. A run goes on where its file ends. The table is
docs/learning.md's.
"""

from __future__ import annotations

import argparse
import tempfile
import time
from pathlib import Path
from typing import Any

import numpy as np

from tests.benchmarks import seeded_rows
from wearsim.learn.practice.mirror import FAULTS, TrueValues
from wearsim.learn.practice.practice_file import Practice
from wearsim.learn.practice.rehearse import TARGET, rehearse, replay, start_practice, true_rms
from wearsim.wear.constants import Constants

SESSION_SPREAD = 0.08


def practice_mirror(seed: int) -> Practice:
    """The practice mirror of a seed."""
    rng = np.random.default_rng(np.random.SeedSequence(seed, spawn_key=(31,)))
    factors = [float(2.0**power) for power in rng.uniform(-1.0, 1.0, 4)]
    truth = TrueValues(Constants(*factors), SESSION_SPREAD, seed)
    return Practice(seed, FAULTS[seed % len(FAULTS)], true_values=truth)


def one_loop(seed: int, minutes: float = 60.0) -> dict[str, Any]:
    """Go round the loop with one mirror."""
    began, said = time.monotonic(), [""]
    with tempfile.TemporaryDirectory() as scratch:
        folder = start_practice(Path(scratch) / "mirror", practice_mirror(seed))
        practice, mirror = replay(folder)
        first = true_rms(mirror)
        rounds = list(rehearse(folder.path, minutes=minutes, starts=2, progress=said.append))
    glass = folder.bench.mirror
    return {
        "seed": seed, "fault": practice.fault, "diameter": glass.diameter, "first_m": first,
        "focal_ratio": 0.5 * glass.radius_of_curvature / glass.diameter, "ended": said[-1],
        "true_m": [one.true for one in rounds], "measured_m": [one.measured for one in rounds],
        "predicted_m": [one.predicted for one in rounds], "band_m": [one.predicted_band for one in rounds],
        "minutes": [sum(spell.minutes for spell in one.programme.spells) for one in rounds],
        "seconds": time.monotonic() - began,
    }  # fmt: skip


def worsened(row: dict[str, Any]) -> float:
    """By how much the worst session left the mirror worse than it was and than its band's upper end said [m]."""
    before = [row["first_m"], *row["true_m"][:-1]]
    allowed = [max(b, band[1]) for b, band in zip(before, row["band_m"], strict=True)]
    return max((after - most for after, most in zip(row["true_m"], allowed, strict=True)), default=0.0)


def table(rows: list[dict[str, Any]]) -> str:
    """The table of docs/learning.md."""
    lines = [
        "| fault | mirrors | 20 nm or better | median RMS first, last | sessions, median | worse than said | failed |"
    ]
    lines.append("| --- | --- | --- | --- | --- | --- | --- |")
    for fault in (*FAULTS, "all"):
        every = [row for row in rows if fault in (FAULTS[row["seed"] % len(FAULTS)], "all")]
        those = [row for row in every if "failed" not in row]
        failed = len(every) - len(those)
        if not those:
            lines += [f"| {fault} | {failed} | 0 | | | | {failed} |"] if failed else []
            continue
        last = np.array([[row["first_m"], *row["true_m"]][-1] for row in those])
        first = np.array([row["first_m"] for row in those])
        done = np.median([len(row["true_m"]) for row in those])
        bad = sum(worsened(row) > 0.0 for row in those)
        lines.append(
            f"| {fault} | {len(every)} | {int(np.sum(last <= TARGET))} | {1e9 * np.median(first):.0f}, "
            f"{1e9 * np.median(last):.0f} nm | {done:g} | {bad} | {failed} |"
        )
    return "\n".join(lines)


def main() -> None:
    """Run, or print the table."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--first", type=int, default=0)
    parser.add_argument("--count", type=int, default=50)
    parser.add_argument("--minutes", type=float, default=60.0)
    parser.add_argument("--out", type=Path, default=Path("loop.jsonl"))
    parser.add_argument("--table", type=Path)
    given = parser.parse_args()
    if given.table is not None:
        print(table(seeded_rows.read(given.table)))
        return
    seeded_rows.collect(given.out, given.first, given.count, lambda seed: one_loop(seed, given.minutes))


if __name__ == "__main__":
    main()
