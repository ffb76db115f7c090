"""How often do the sessions tell the hands' spread, and does the 90 % interval hold the truth?

    python tests/benchmarks/jitter_coverage.py --count 20 --out jitter.jsonl
    python tests/benchmarks/jitter_coverage.py --table jitter.jsonl
    python tests/benchmarks/jitter_coverage.py --count 6 --factor 4 --out wide.jsonl

Folders as in learn_coverage.py (planar truth, constants and spread from session to session from their priors, ordinary
readings), but the hands' spread is the bench's times a factor drawn from the prior. A run goes on where its file ends.
The table is docs/learning.md's.
"""

from __future__ import annotations

import argparse
import tempfile
import time
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np

from tests.benchmarks import seeded_rows
from tests.benchmarks.learn_coverage import CELLS, make_folder
from wearsim.learn.calibrate import calibrate_with_jitter
from wearsim.learn.folder import open_folder
from wearsim.learn.jitter import FACTOR, LEAST, MOST
from wearsim.learn.practice.mirror import draw_mirror

# Fewer cells than learn_coverage.py has, for time; the widest strokes are kept a little from tipping, as coarse cells need.
TRUTH = replace(CELLS, cells=64, tipping_cells=0.5)


def drawn_factor(seed: int) -> float:
    """A factor from the prior, within what is looked at."""
    rng = np.random.default_rng(np.random.SeedSequence(seed, spawn_key=(17,)))
    while True:
        factor = float(FACTOR ** rng.standard_normal())
        if LEAST <= factor <= MOST:
            return factor


def one_case(seed: int, sessions: int, draws: int, given: float | None) -> dict[str, Any]:
    """What is found in one folder."""
    drawn, began = draw_mirror(seed), time.monotonic()
    factor = drawn_factor(seed) if given is None else given
    hands = drawn.bench.hands.with_spread(factor)
    # the folder's text keeps the bench's own spread; only the mirror is worked with the other
    worked = replace(drawn, bench=drawn.bench.model_copy(update={"hands": hands}))
    with tempfile.TemporaryDirectory() as scratch:
        place = Path(scratch) / "mirror"
        make_folder(place, worked, seed, sessions, TRUTH)
        found = calibrate_with_jitter(open_folder(place), seed=seed, draws=draws).jitter
    if found is None:
        raise RuntimeError("nothing was asked of the hands")
    return {
        "seed": seed, "truth": factor, "factor": found.factor, "interval": list(found.interval()),
        "told": found.told, "share": found.share, "used": found.used, "better": found.better,
        "asked": len(found.asked), "seconds": time.monotonic() - began,
    }  # fmt: skip


def table(rows: list[dict[str, Any]]) -> str:
    """The table of docs/learning.md."""
    lines = ["| hands | folders | intervals that hold the truth | told | partly | median spread left, of the prior's |"]
    lines.append("| --- | --- | --- | --- | --- | --- |")
    parts = (("half the bench's or less", 0.0, 0.5), ("half to twice", 0.5, 2.0), ("twice or more", 2.0, np.inf))
    worked = [row for row in rows if "failed" not in row]
    for name, low, high in (*parts, ("all", 0.0, np.inf)):
        those = [row for row in worked if low < row["truth"] <= high]
        inside = sum(row["interval"][0] <= row["truth"] <= row["interval"][1] for row in those)
        told = [sum(row["told"] == word for row in those) for word in ("told", "partly")]
        share = np.median([row["share"] for row in those]) if those else np.nan
        lines.append(f"| {name} | {len(those)} | {inside} | {told[0]} | {told[1]} | {share:.2f} |")
    if len(worked) < len(rows):
        lines.append(f"| failed | {len(rows) - len(worked)} | 0 | 0 | 0 | |")
    return "\n".join(lines)


def main() -> None:
    """Run, or print the table."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--first", type=int, default=0)
    parser.add_argument("--count", type=int, default=20)
    parser.add_argument("--sessions", type=int, default=2)
    parser.add_argument("--draws", type=int, default=64)
    parser.add_argument("--factor", type=float, help="the same for all, not drawn")
    parser.add_argument("--out", type=Path, default=Path("jitter.jsonl"))
    parser.add_argument("--table", type=Path)
    given = parser.parse_args()
    if given.table is not None:
        print(table(seeded_rows.read(given.table)))
        return
    seeded_rows.collect(
        given.out, given.first, given.count, lambda seed: one_case(seed, given.sessions, given.draws, given.factor)
    )


if __name__ == "__main__":
    main()
