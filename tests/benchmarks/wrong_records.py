"""What becomes of the constants when one session was recorded wrong, how much does it count, and is it said not to fit?

    python -m tests.benchmarks.wrong_records --count 30 --out wrong.jsonl
    python -m tests.benchmarks.wrong_records --table wrong.jsonl

Each seed: a practice mirror of its own as in learn_coverage.py (planar truth, here on 64 cells; constants from the
prior, jitter, a spread from session to session, noisy readings in 8 windows) and three sessions of random programmes.
One of the three is then recorded wrong, in each of the ways of KINDS in turn; everything else is as it was. A run goes
on where its file ends. The table is docs/learning.md's.
"""

from __future__ import annotations

import argparse
import tempfile
import time
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np

from tests.benchmarks import seeded_rows
from tests.benchmarks.learn_coverage import CELLS, STROKES, make_folder
from wearsim.bench.programme import Programme
from wearsim.bench.toml_io import programme_from_table, spell_table
from wearsim.errors import WearsimError
from wearsim.learn.calibrate import calibrate_sessions, filter_of
from wearsim.learn.mirror_folder import MirrorFolder
from wearsim.learn.observation import of_readings
from wearsim.learn.practice.mirror import FAULTS, DrawnMirror, KnifeEdgeTester, PracticeMirror, TrueValues, draw_mirror
from wearsim.learn.session_filter import SessionFilter, SessionModel
from wearsim.wear.constants import Belief, prior, vector_of

TRUTH = replace(CELLS, cells=64)
SESSIONS = 3
BENT = 2.0
"""Constants are bent where one of them moves by more than so many of its sigmas against the honest folder."""

Spells = list[dict[str, Any]]


def _longest(spells: Spells, fits: Callable[[dict[str, Any]], bool] = lambda _: True) -> int | None:
    """Place of the longest spell of work for which ``fits`` holds."""
    those = [i for i, spell in enumerate(spells) if spell["stroke"] != "press" and fits(spell)]
    return max(those, key=lambda i: float(spells[i]["minutes"]), default=None)


def other_piece(spells: Spells, rng: np.random.Generator) -> Spells:
    """Every spell recorded with the other piece on top."""
    other = {"tool": "mirror", "mirror": "tool"}
    return [spell if spell["stroke"] == "press" else {**spell, "on_top": other[spell["on_top"]]} for spell in spells]


def doubled(spells: Spells, rng: np.random.Generator) -> Spells:
    """Twice the minutes of work recorded."""
    return [spell if spell["stroke"] == "press" else {**spell, "minutes": 2 * spell["minutes"]} for spell in spells]


def other_stroke(spells: Spells, rng: np.random.Generator) -> Spells:
    """The longest spell recorded as another stroke."""
    place = _longest(spells)
    assert place is not None
    others = [one for one in STROKES if one["stroke"] != spells[place]["stroke"]]
    stroke = others[int(rng.integers(len(others)))]
    kept = {key: spells[place][key] for key in ("lap", "on_top", "minutes") if key in spells[place]}
    return [*spells[:place], {**stroke, **kept}, *spells[place + 1 :]]


def other_length(spells: Spells, rng: np.random.Generator) -> Spells | None:
    """The longest spell that has a length recorded with one half as long again; None where none has one."""
    place = _longest(spells, lambda spell: "length" in spell)
    if place is None:
        return None
    longer = {**spells[place], "length": 1.5 * spells[place]["length"]}
    return [*spells[:place], longer, *spells[place + 1 :]]


def left_out(spells: Spells, rng: np.random.Generator) -> Spells:
    """The longest spell not recorded."""
    place = _longest(spells)
    assert place is not None
    return [*spells[:place], *spells[place + 1 :]]


RECORDS: dict[str, Callable[[Spells, np.random.Generator], Spells | None]] = {
    "other piece on top": other_piece,
    "minutes doubled": doubled,
    "other stroke": other_stroke,
    "other length": other_length,
    "spell left out": left_out,
}
KINDS = ("honest", *RECORDS, "lap not pressed", "another mirror's sheet")


class Case:
    """One seed's mirror with its three honest sessions.

    Parameters
    ----------
    seed : int
    folder : MirrorFolder
    drawn : DrawnMirror
    truth : TrueValues
    """

    def __init__(self, seed: int, folder: MirrorFolder, drawn: DrawnMirror, truth: TrueValues) -> None:
        self.seed, self.drawn, self.truth = seed, drawn, truth
        self.session_filter, self.before = filter_of(folder), prior(folder.bench)
        self.wrong = 1 + int(self._stream(0).integers(SESSIONS))

    def _stream(self, number: int) -> np.random.Generator:
        return np.random.default_rng(np.random.SeedSequence(self.seed, spawn_key=(23, number)))

    def recorded(self, kind: str) -> SessionFilter | None:
        """The sessions as a person recorded it who got one session wrong; None where that cannot be."""
        models = list(self.session_filter.models)
        place = self.wrong - 1
        if kind in RECORDS:
            spells = [_plain(one) for one in spells_of(models[place].programme)]
            wrong = RECORDS[kind](spells, self._stream(KINDS.index(kind)))
            if wrong is None:
                return None
            models[place] = replace(models[place], programme=programme_from_table({"spell": wrong}))
        elif kind == "another mirror's sheet":
            models[place] = self._read(models[place], self._other())
        elif kind == "lap not pressed":
            models = self._not_pressed(models)
        return replace(self.session_filter, models=tuple(models))

    def _read(self, model: SessionModel, mirror: PracticeMirror) -> SessionModel:
        readings = mirror.read(KnifeEdgeTester())
        return replace(model, observation=of_readings(model.bench, readings, self.session_filter.first.radius))

    def _other(self) -> PracticeMirror:
        """A mirror of the same size with another fault, never worked."""
        glass = self.drawn.bench.mirror
        fault = FAULTS[(FAULTS.index(self.drawn.fault) + 1 + self.seed % 3) % len(FAULTS)]
        focal_ratio = 0.5 * glass.radius_of_curvature / glass.diameter
        other = draw_mirror(self.seed + 10_000, fault, glass.diameter, focal_ratio)
        return PracticeMirror(self.drawn.bench, replace(self.truth, seed=self.seed + 10_000), other.start, TRUTH)

    def _not_pressed(self, models: list[SessionModel]) -> list[SessionModel]:
        """The wrong session begun on a spherical lap without its pressing, and recorded as on a pressed one."""
        mirror = PracticeMirror(self.drawn.bench, self.truth, self.drawn.start, TRUTH)
        out = []
        for model in models:
            programme = model.programme
            if model.number == self.wrong:
                laps = {name: np.zeros_like(lap) for name, lap in mirror._state.laps.items()}
                mirror._state = replace(mirror._state, laps=laps)
                programme = Programme(spells=tuple(one for one in programme.spells if not one.is_press))
                model = replace(model, lap="pressed")
            mirror.work(programme, model.bench)
            out.append(model if model.number < self.wrong else self._read(model, mirror))
        return out


def spells_of(programme: Programme) -> list[dict[str, Any]]:
    """Spells as tables of a file."""
    return [spell_table(spell) for spell in programme.spells]


def _plain(spell: dict[str, Any]) -> dict[str, Any]:
    """The same with minutes as a number."""
    return {key: value for key, value in spell.items() if value is not None}


def found_in(session_filter: SessionFilter, before: Belief, seed: int) -> dict[str, Any]:
    """What calibration says of the sessions: which do not fit, how much each counts, the constants and their intervals."""
    began = time.process_time()
    found = calibrate_sessions(session_filter, before, seed=seed)
    low, high = found.posterior.interval()
    return {
        "misfits": found.misfits, "weights": [fit.weight for fit in found.sessions],
        "chances": [fit.chance for fit in found.sessions], "low": low.tolist(), "high": high.tolist(),
        "mean": found.belief.mean.tolist(), "sigma": np.sqrt(np.diagonal(found.belief.covariance)).tolist(),
        "seconds": time.process_time() - began,
    }  # fmt: skip


def one_case(seed: int, kinds: tuple[str, ...] = KINDS) -> dict[str, Any]:
    """Every kind of wrong record in one folder."""
    drawn, began = draw_mirror(seed), time.process_time()
    with tempfile.TemporaryDirectory() as scratch:
        folder, truth = make_folder(Path(scratch) / "mirror", drawn, seed, SESSIONS, TRUTH)
        case = Case(seed, folder, drawn, truth)
        told: dict[str, Any] = {}
        for kind in kinds:
            try:
                session_filter = case.recorded(kind)
                told[kind] = None if session_filter is None else found_in(session_filter, case.before, seed)
            except WearsimError as error:
                told[kind] = {"failed": str(error)}
    return {
        "seed": seed, "fault": drawn.fault, "wrong": case.wrong, "truth": vector_of(truth.constants).tolist(),
        "found": told, "seconds": time.process_time() - began,
    }  # fmt: skip


def _line(kind: str, rows: list[dict[str, Any]]) -> str:
    those = [(row, row["found"][kind]) for row in rows if row["found"].get(kind) is not None]
    told = [(row, one) for row, one in those if "failed" not in one]
    failed = f" ({len(those) - len(told)} failed)" if len(told) < len(those) else ""
    if not told:
        return f"| {kind} | {len(those)}{failed} |" + " |" * 6
    wrong = np.array([row["wrong"] - 1 for row, _ in told])
    weights = np.array([one["weights"] for _, one in told])
    its, others = weights[np.arange(len(told)), wrong], np.delete(weights, wrong + SESSIONS * np.arange(len(told)))
    named = sum(row["wrong"] in one["misfits"] for row, one in told)
    accused = sum(bool(set(one["misfits"]) - {row["wrong"]}) for row, one in told)
    truth = np.array([row["truth"] for row, _ in told])
    low, high = (np.array([one[key] for _, one in told]) for key in ("low", "high"))
    inside = ((truth >= low) & (truth <= high)).mean()
    honest = [(one, row["found"].get("honest")) for row, one in told]
    moved = [bent(right, one) for one, right in honest if right and "failed" not in right]
    cells = (named, accused, f"{its.mean():.2f}", f"{others.mean():.2f}", f"{inside:.0%}", sum(moved))
    return f"| {kind} | {len(those)}{failed} | " + " | ".join(map(str, cells)) + " |"


def bent(honest: dict[str, Any], wrong: dict[str, Any]) -> bool:
    """Whether a constant moved by more than :data:`BENT` of the sigmas that are now claimed."""
    moved = np.abs(np.array(wrong["mean"]) - honest["mean"]) / np.maximum(wrong["sigma"], 1e-9)
    return bool(moved.max() > BENT)


def table(rows: list[dict[str, Any]]) -> str:
    """The table of docs/learning.md."""
    head = (
        "recorded | folders | said not to fit | another session said not to fit | its weight | weight of the others | "
        "intervals that hold the truth | bent"
    )
    rule = " | ".join(["---"] * len(head.split(" | ")))
    return "\n".join([f"| {head} |", f"| {rule} |", *(_line(kind, rows) for kind in KINDS)])


def main() -> None:
    """Run, or print the table."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--first", type=int, default=0)
    parser.add_argument("--count", type=int, default=30)
    parser.add_argument("--out", type=Path, default=Path("wrong.jsonl"))
    parser.add_argument("--table", type=Path)
    given = parser.parse_args()
    if given.table is not None:
        print(table(seeded_rows.read(given.table)))
        return
    seeded_rows.collect(given.out, given.first, given.count, one_case)


if __name__ == "__main__":
    main()
