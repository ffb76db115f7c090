"""Do the 90% intervals of the constants hold the truth in 85-95% of simulated folders?

    python -m tests.benchmarks.learn_coverage --first 0 --count 200 --sessions 4 --out coverage.jsonl
    python -m tests.benchmarks.learn_coverage --table coverage.jsonl

Each folder: a practice mirror of its own (planar truth, constants from the prior, jitter, a spread from session to
session, noisy readings in 8 windows), random programmes, recorded like a person would; calibrated after three.
A folder on which something failed counts as one whose intervals do not hold the truth. A run goes on where its file
ends. The table is docs/learning.md's.
"""

from __future__ import annotations

import argparse
import tempfile
import time
from datetime import date, timedelta
from pathlib import Path
from typing import Any

import numpy as np

from tests.benchmarks import seeded_rows
from wearsim.bench.programme import Programme
from wearsim.bench.toml_io import dump_programme, programme_from_table
from wearsim.learn.cache import KeptCalibration
from wearsim.learn.calibrate import DRAWS, Calibration, calibrate_sessions, filter_of
from wearsim.learn.mirror_folder import MirrorFolder, SessionNote, open_folder
from wearsim.learn.practice.mirror import (
    DrawnMirror,
    KnifeEdgeTester,
    PracticeMirror,
    draw_mirror,
    draw_true_values,
    sheet_text,
)
from wearsim.learn.present_state import present_state
from wearsim.learn.record import create_folder, record
from wearsim.learn.session_filter import SessionFilter
from wearsim.wear.accuracy import PlanarAccuracy
from wearsim.wear.constants import NAMES, PRODUCTS, powers, prior, vector_of
from wearsim.wear.discrepancy import Discrepancy
from wearsim.wear.initial_figure import start_figure
from wearsim.wear.predict import gauge_for, predict

CELLS = PlanarAccuracy(cells=96, poses=12, share_of_rate=0.02)
STROKES: tuple[dict[str, Any], ...] = (
    {"stroke": "one-third"},
    {"stroke": "straight", "length": 0.5},
    {"stroke": "w", "length": 0.4, "side_sweep": 0.15},
    {"stroke": "w", "length": 0.6, "side_sweep": 0.2},
    {"stroke": "overhang", "length": 0.4, "side_overhang": 0.2},
    {"stroke": "oval", "length": 0.3, "side_sweep": 0.1},
)


def random_programme(rng: np.random.Generator) -> Programme:
    """Cold pressing and two or three spells of 6 to 20 minutes, such as a person might work."""
    spells: list[dict[str, Any]] = [{"stroke": "press", "minutes": 5}]
    for _ in range(int(rng.integers(2, 4))):
        stroke = STROKES[int(rng.integers(len(STROKES)))]
        on_top = ("tool", "mirror")[int(rng.integers(2))]
        spells.append({**stroke, "lap": "full", "on_top": on_top, "minutes": int(rng.integers(6, 21))})
    return programme_from_table({"spell": [{"lap": "full", **spell} for spell in spells]})


def make_folder(
    place: Path, drawn: DrawnMirror, seed: int, sessions: int, cells: PlanarAccuracy = CELLS
) -> tuple[MirrorFolder, Any]:
    """A folder with its sessions worked, read and recorded; and the truth."""
    truth = draw_true_values(drawn.bench, seed)
    mirror, tester = PracticeMirror(drawn.bench, truth, drawn.start, cells), KnifeEdgeTester()
    create_folder(place, drawn.text, {"readings.toml": sheet_text(mirror.read(tester))})
    rng = np.random.default_rng(np.random.SeedSequence(seed, spawn_key=(9,)))
    done, after = place.parent / "done.toml", place.parent / "after.toml"
    for number in range(sessions):
        programme = random_programme(rng)
        temperature = round(float(rng.uniform(17.0, 21.0)), 1)
        note = SessionNote(date=date(2026, 1, 1) + timedelta(number), temperature=temperature)
        mirror.work(programme, note.bench_for(drawn.bench))
        done.write_text(dump_programme(programme))
        after.write_text(sheet_text(mirror.read(tester)))
        record(place, done, note=note, readings=after)
    return open_folder(place), truth


def one_case(seed: int, sessions: int, draws: int, cells: PlanarAccuracy = CELLS) -> dict[str, Any]:
    """Everything that the table needs of one folder."""
    drawn = draw_mirror(seed)
    began = time.monotonic()
    with tempfile.TemporaryDirectory() as scratch:
        folder, truth = make_folder(Path(scratch) / "mirror", drawn, seed, sessions, cells)
        worked = time.monotonic() - began
        session_filter, before = filter_of(folder), prior(folder.bench)
        result = calibrate_sessions(session_filter.upto(3), before, seed=seed, draws=draws)
        misses = (
            [_miss(folder, session_filter, 1, None), _miss(folder, session_filter, 4, result)] if sessions > 3 else []
        )
    low, high = result.posterior.interval(0.9)
    return {
        "seed": seed, "fault": drawn.fault, "diameter": drawn.bench.mirror.diameter,
        "truth": vector_of(truth.constants).tolist(), "truth_spread": truth.spread,
        "prior": np.sqrt(np.diagonal(before.covariance)).tolist(),
        "products": {name: result.product(name).tolist() for name in PRODUCTS},
        "low": low.tolist(), "high": high.tolist(), "mean": result.belief.mean.tolist(),
        "sigma": np.sqrt(np.diagonal(result.belief.covariance)).tolist(), "spread": result.posterior.spread,
        "effective": result.posterior.effective, "misfits": result.misfits,
        "chances": [fit.chance for fit in result.sessions], "chi": [fit.chi_square for fit in result.sessions],
        "weights": [fit.weight for fit in result.sessions],
        "removal": [fit.removal for fit in result.sessions],
        "misses_m": misses, "seconds_worked": worked, "seconds": time.monotonic() - began,
    }  # fmt: skip


def _miss(folder: MirrorFolder, session_filter: SessionFilter, number: int, found: Calibration | None) -> float:
    """RMS of predicted less measured after a session, predicted with what was known before it [m]."""
    known = KeptCalibration(prior(folder.bench), Discrepancy().spread) if found is None else KeptCalibration.of(found)
    session = folder.sessions[number - 1]
    before = present_state(folder, known, number - 1, session_filter=session_filter).under_conditions(session.note)
    outcome = predict(before.bench, session.programme, draws=0, **before.arguments)
    measured = start_figure(folder.bench_after(number))
    gauge = gauge_for(folder.bench, measured.radius)
    return gauge.aperture.rms(gauge.error(measured.height) - outcome.figure_error)


def table(rows: list[dict[str, Any]]) -> str:
    """The table of docs/learning.md."""
    failed = [row for row in rows if "failed" in row]
    rows = [row for row in rows if "failed" not in row]
    share = len(rows) / (len(rows) + len(failed))
    truth, low, high = (np.array([row[key] for row in rows]) for key in ("truth", "low", "high"))
    sigma, before = (np.array([row[key] for row in rows]) for key in ("sigma", "prior"))
    lines = ["| constant | intervals that hold the truth | median spread left, of the prior's |", "| --- | --- | --- |"]
    for i, name in enumerate(NAMES):
        inside = (truth[:, i] >= low[:, i]) & (truth[:, i] <= high[:, i])
        lines.append(f"| {name} | {share * inside.mean():.1%} | {np.median(sigma[:, i] / before[:, i]):.2f} |")
    for name in PRODUCTS:
        ends = np.log([row["products"][name] for row in rows])
        inside = (truth @ powers(name) >= ends[:, 0]) & (truth @ powers(name) <= ends[:, 2])
        lines.append(f"| {name} | {share * inside.mean():.1%} | |")
    every = ((truth >= low) & (truth <= high)).mean()
    lines.append(f"| all | {share * every:.1%} | |")
    misses = np.array([row["misses_m"] for row in rows if row["misses_m"]])
    middle = 1e9 * np.median(misses, axis=0)
    lines.append("")
    lines.append(
        "Predicted against measured, RMS, median over the folders: "
        + ", ".join(f"{m:.1f} nm in session {n}" for m, n in zip(middle, (1, 4), strict=True))
    )
    ratio = np.median(misses[:, -1] / misses[:, 0])
    lines.append(f"Median of last over first: {ratio:.2f}")
    lines.append(f"Sessions that do not fit: {sum(len(row['misfits']) for row in rows)} of {3 * len(rows)}")
    lines.append(f"Mean weight of a session: {np.mean([row['weights'] for row in rows]):.2f}")
    lines.append(f"Folders on which something failed: {len(failed)} of {len(rows) + len(failed)}")
    return "\n".join(lines)


def main() -> None:
    """Run, or print the table."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--first", type=int, default=0)
    parser.add_argument("--count", type=int, default=200)
    parser.add_argument("--sessions", type=int, default=4)
    parser.add_argument("--draws", type=int, default=DRAWS)
    parser.add_argument("--out", type=Path, default=Path("coverage.jsonl"))
    parser.add_argument("--table", type=Path)
    given = parser.parse_args()
    if given.table is not None:
        print(table(seeded_rows.read(given.table)))
        return
    seeded_rows.collect(given.out, given.first, given.count, lambda seed: one_case(seed, given.sessions, given.draws))


if __name__ == "__main__":
    main()
