"""Do predictions and calibrations hold on glass that is not quite the model?

    python -m tests.benchmarks.real_glass_coverage --count 6 --options real --out real.jsonl
    python -m tests.benchmarks.real_glass_coverage --table real.jsonl

Each folder: an invented mirror of 0.2 to 0.5 m, f/4.5 to f/7, whose glass is ``independent_glass.py``; constants from the
bench's spread; three sessions as a person would work them (cold pressing, then two or three spells of 10 to 25 minutes),
recorded and calibrated as a person would. Even seeds are measured with profiles of 22 rows good to 5 to 20 nm, odd ones with
a knife edge. Then the fourth session is predicted, and worked. Prints for each folder the chi-square of every session,
whether one was set aside, the 90% intervals of the constants and of what sessions determine of them, and the band of the
next session's RMS, with the true values; a star marks an interval that misses. Then the shares. A run goes on where its file
ends. ``--independent`` is the share of a profile's variance that differs from row to row by itself.
"""

from __future__ import annotations

import argparse
import tempfile
import time
from dataclasses import fields
from datetime import date, timedelta
from pathlib import Path
from typing import Any

import numpy as np

from tests.benchmarks import seeded_rows
from tests.benchmarks.independent_glass import PRESETS, Glass, GlassConstants
from wearsim.bench.bench import Bench
from wearsim.bench.profile import write_profile
from wearsim.bench.programme import Programme
from wearsim.bench.toml_io import dump_programme, programme_from_table
from wearsim.figure.aperture import ClearAperture
from wearsim.learn.cache import KeptCalibration
from wearsim.learn.calibrate import DRAWS, Calibration, calibrate
from wearsim.learn.mirror_folder import MirrorFolder, SessionNote, open_folder
from wearsim.learn.posterior import ConstantsPosterior
from wearsim.learn.practice.mirror import DrawnMirror, KnifeEdgeTester, draw_mirror, draw_true_values, sheet_text
from wearsim.learn.present_state import present_state
from wearsim.learn.record import create_folder, record
from wearsim.wear.constants import NAMES, PRODUCTS
from wearsim.wear.predict import gauge_for, predict

SESSIONS = 3
EFFECTIVE = {
    "k": {"preston": 1.0},
    "stiffness": {"stiffness": 1.0},
    "k x stiffness": PRODUCTS["smoothing"],
    "flow": PRODUCTS["flow"],
}
"""Constants that are judged, as powers of what the true values have a name for."""
STROKES: tuple[dict[str, Any], ...] = (
    {"stroke": "one-third"},
    {"stroke": "straight", "length": 0.4},
    {"stroke": "straight", "length": 0.5},
    {"stroke": "w", "length": 0.4, "side_sweep": 0.12},
    {"stroke": "w", "length": 0.5, "side_sweep": 0.2},
)
POINTS = 201
PROGRAMMES, TESTS = 21, 22
"""Purposes of the streams of random numbers."""


def stream(seed: int, purpose: int, number: int = 0) -> np.random.Generator:
    """The stream of one purpose in one session of a folder."""
    return np.random.default_rng(np.random.SeedSequence(seed, spawn_key=(purpose, number)))


def programme_by_hand(rng: np.random.Generator) -> Programme:
    """Cold pressing, then two or three spells of 10 to 25 minutes."""
    spells: list[dict[str, Any]] = [{"stroke": "press", "minutes": 5}]
    for _ in range(int(rng.integers(2, 4))):
        stroke = STROKES[int(rng.integers(len(STROKES)))]
        spells.append(
            {**stroke, "on_top": ("tool", "mirror")[int(rng.integers(2))], "minutes": int(rng.integers(10, 26))}
        )
    return programme_from_table({"spell": [{"lap": "full", **spell} for spell in spells]})


class Tester:
    """How one folder's glass is measured: with profiles or with a knife edge."""

    def __init__(self, bench: Bench, seed: int, independent: float) -> None:
        self.bench, self.seed, self.has_profiles, self.independent = bench, seed, seed % 2 == 0, independent
        self.sigma = round(float(stream(seed, TESTS).uniform(5e-9, 20e-9)), 10)

    @property
    def words(self) -> str:
        """In a few words."""
        return f"profiles {self.sigma * 1e9:.0f} nm" if self.has_profiles else "knife edge"

    def measure(self, glass: Glass, place: Path) -> dict[str, Path]:
        """Write what is measured into a folder; the keyword of ``record`` for it, and its path."""
        noise = int(stream(self.seed, TESTS, 1 + glass.sessions).integers(2**32))
        if self.has_profiles:
            found = glass.measured_profile(self.sigma, seed=noise, independent=self.independent)
            path = place / "after.csv"
            write_profile(path, found.radius, found.error, found.sigma)
            return {"profile": path}
        knife, path = KnifeEdgeTester(), place / "after.toml"
        path.write_text(sheet_text(glass.readings(knife.zones(self.bench), knife.sigma, noise, knife.repeats)))
        return {"readings": path}


def true_rms(glass: Glass) -> float:
    """RMS figure error over the clear aperture, piston and r^2 taken off [m]."""
    mirror = glass.bench.mirror
    radius = np.linspace(mirror.hole_radius, mirror.radius, POINTS)
    aperture = ClearAperture(radius, mirror.hole_radius, mirror.clear_radius)
    return aperture.rms(aperture.level(glass.profile(radius)))


def glass_of(drawn: DrawnMirror, seed: int, options: str) -> Glass:
    """The true glass of a folder."""
    truth = draw_true_values(drawn.bench, seed).constants
    constants = GlassConstants(**{one.name: getattr(truth, one.name) for one in fields(GlassConstants)})
    error = drawn.start.height - drawn.bench.mirror.geometry.departure(drawn.start.radius)
    return Glass(drawn.bench, drawn.start.radius, error, PRESETS[options], constants, seed)


def note_of(seed: int, number: int) -> SessionNote:
    """Day and temperature of a session."""
    temperature = round(float(stream(seed, PROGRAMMES, 100 + number).uniform(17.0, 21.0)), 1)
    return SessionNote(date=date(2026, 1, 1) + timedelta(number), temperature=temperature)


def begin_folder(place: Path, drawn: DrawnMirror, glass: Glass, tester: Tester) -> None:
    """A new folder with the first measurement."""
    ((keyword, path),) = tester.measure(glass, place.parent).items()
    name = f"before{path.suffix}"
    text = drawn.text.replace('readings = "readings.toml"', f'{keyword} = "{name}"')
    create_folder(place, text, {name: path.read_text()})


def work_and_record(place: Path, glass: Glass, tester: Tester, seed: int) -> MirrorFolder:
    """Three sessions, worked and recorded."""
    done = place.parent / "done.toml"
    for number in range(1, SESSIONS + 1):
        programme, note = programme_by_hand(stream(seed, PROGRAMMES, number)), note_of(seed, number)
        done.write_text(dump_programme(programme))
        glass.work(programme, note.bench_for(glass.bench))
        record(place, done, note=note, **tester.measure(glass, place.parent))
    return open_folder(place)


def figure_known(folder: MirrorFolder, glass: Glass, found: Calibration) -> dict[str, Any]:
    """RMS of the figure as read alone and as all that is known has it, with its band, and the true one [m]."""
    state = present_state(folder, KeptCalibration.of(found))
    gauge = gauge_for(state.bench, state.start.radius)
    rms = gauge.aperture.rms
    true = gauge.error(glass.profile(state.start.radius) + state.bench.mirror.geometry.departure(state.start.radius))
    parts = {}
    for name, figure in (("read", state.read), ("known", state.start)):
        drawn = [gauge.error(height) for height in figure.draws(100, 0)]
        band = np.percentile([rms(one) for one in drawn], [5, 95])
        away = rms(gauge.error(figure.height) - true)
        parts[name] = {"rms": rms(gauge.error(figure.height)), "band": band.tolist(), "away": away,
                       "sigma": float(np.mean([rms(one - gauge.error(figure.height)) for one in drawn]))}  # fmt: skip
    return {**parts, "true": rms(true)}


def next_session(folder: MirrorFolder, glass: Glass, found: Calibration, seed: int) -> dict[str, Any]:
    """The band of the next session's RMS, and the true one after it is worked [m]."""
    programme, note = programme_by_hand(stream(seed, PROGRAMMES, SESSIONS + 1)), note_of(seed, SESSIONS + 1)
    state = present_state(folder, KeptCalibration.of(found)).under_conditions(note)
    outcome = predict(state.bench, programme, seed=seed, **state.arguments)
    before = true_rms(glass)
    glass.work(programme, note.bench_for(glass.bench))
    band = [outcome.surface_rms] * 2 if outcome.band is None else outcome.band.surface_rms.tolist()
    return {"before_m": before, "predicted_m": outcome.surface_rms, "band_m": band, "true_m": true_rms(glass)}


def intervals(posterior: ConstantsPosterior, truth: GlassConstants) -> dict[str, list[float]]:
    """Of each effective constant the 5th and 95th percentile and the true value, as factors on the bench's."""
    found = {}
    for name, powers in EFFECTIVE.items():
        values = sum(power * posterior.vectors[:, NAMES.index(one)] for one, power in powers.items())
        true = sum(power * np.log(getattr(truth, one)) for one, power in powers.items())
        found[name] = np.exp([*posterior.interval_of(np.asarray(values)), true]).tolist()
    return found


def one_case(seed: int, options: str, independent: float, draws: int = DRAWS) -> dict[str, Any]:
    """Everything that the table needs of one folder."""
    drawn, began = draw_mirror(seed), time.monotonic()
    glass, tester = glass_of(drawn, seed, options), Tester(drawn.bench, seed, independent)
    first = true_rms(glass)
    with tempfile.TemporaryDirectory() as scratch:
        place = Path(scratch) / "mirror"
        begin_folder(place, drawn, glass, tester)
        folder = work_and_record(place, glass, tester, seed)
        worked = time.monotonic()
        found = calibrate(folder, seed=seed, draws=draws)
        calibrated = time.monotonic()
        figure = figure_known(folder, glass, found)  # before the glass is worked again
        after = next_session(folder, glass, found, seed)
    return {
        "seed": seed, "options": options, "independent": independent, "fault": drawn.fault,
        "diameter": drawn.bench.mirror.diameter, "test": tester.words, "first_m": first,
        "chi_square": [fit.chi_square for fit in found.sessions], "compared": found.sessions[0].compared,
        "set_aside": [not fit.fits for fit in found.sessions],
        "weight": [fit.weight for fit in found.sessions], "effective": found.posterior.effective,
        "figure": figure,
        "intervals": intervals(found.posterior, glass.constants), **after,
        "seconds_worked": worked - began, "seconds_calibrated": calibrated - worked,
    }  # fmt: skip


def is_held(ends: list[float], truth: float) -> bool:
    """Whether the truth lies within an interval."""
    return ends[0] <= truth <= ends[1]


def line(row: dict[str, Any]) -> str:
    """One folder's line of the table."""

    def star(ends: list[float], truth: float) -> str:
        return "" if is_held(ends, truth) else " *"

    marks = ["", " set aside"]
    chi = ", ".join(f"{one:.0f}{marks[out]}" for one, out in zip(row["chi_square"], row["set_aside"], strict=True))
    cells = [
        f"{low:.2f}-{high:.2f} ({true:.2f}){star([low, high], true)}" for low, high, true in row["intervals"].values()
    ]
    low, high, true = (1e9 * one for one in (*row["band_m"], row["true_m"]))
    what = f"{row['seed']}: {1e3 * row['diameter']:.0f} mm, {row['fault']}, {row['test']}"
    rms = f"{low:.0f}-{high:.0f} ({true:.0f}){star([low, high], true)}"
    return "| " + " | ".join([what, f"{chi} of {row['compared']}", *cells, rms]) + " |"


def table(rows: list[dict[str, Any]]) -> str:
    """A line per folder, and the shares."""
    failed, rows = [row for row in rows if "failed" in row], [row for row in rows if "failed" not in row]
    names = list(EFFECTIVE)
    head = ["folder", "chi-square per session", *(f"{name} (true)" for name in names), "next RMS [nm] (true)"]
    lines = ["| " + " | ".join(head) + " |", "| --- " * len(head) + "|", *map(line, rows), ""]
    held = {name: [is_held(row["intervals"][name][:2], row["intervals"][name][2]) for row in rows] for name in names}
    held["all four"] = [one for each in held.values() for one in each]
    held["next RMS"] = [is_held(row["band_m"], row["true_m"]) for row in rows]
    lines += [f"{name}: {sum(each)} of {len(each)} intervals hold the truth" for name, each in held.items()]
    for name in ("read", "known"):
        held_figure = [is_held(row["figure"][name]["band"], row["figure"]["true"]) for row in rows]
        away = np.median([row["figure"][name]["away"] for row in rows]) * 1e9
        sigma = np.median([row["figure"][name]["sigma"] for row in rows]) * 1e9
        lines.append(
            f"figure {name}: {sum(held_figure)} of {len(rows)} RMS bands hold; {away:.1f} nm away, {sigma:.1f} claimed"
        )
    aside = [one for row in rows for one in row["set_aside"]]
    lines.append(f"Sessions set aside: {sum(aside)} of {len(aside)}")
    lines.append(f"Folders on which something failed: {len(failed)} of {len(failed) + len(rows)}")
    if rows:
        seconds = np.median([row["seconds_calibrated"] for row in rows])
        lines.append(f"calibrate, three sessions: {seconds:.0f} s (median)")
    return "\n".join(lines)


def main() -> None:
    """Run, and print the table."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--first", type=int, default=0)
    parser.add_argument("--count", type=int, default=6)
    parser.add_argument("--options", choices=sorted(PRESETS), default="real")
    parser.add_argument("--independent", type=float, default=0.5)
    parser.add_argument("--draws", type=int, default=DRAWS)
    parser.add_argument("--out", type=Path, help="rows are kept here, and those that are there are not worked again")
    parser.add_argument("--table", type=Path, help="print the table of a file, and work nothing")
    given = parser.parse_args()
    if given.table is not None:
        print(table(seeded_rows.read(given.table)))
        return
    with tempfile.TemporaryDirectory() as scratch:
        out = given.out or Path(scratch) / "rows.jsonl"
        seeded_rows.collect(
            out, given.first, given.count, lambda seed: one_case(seed, given.options, given.independent, given.draws)
        )
        print(table(seeded_rows.read(out)))


if __name__ == "__main__":
    main()
