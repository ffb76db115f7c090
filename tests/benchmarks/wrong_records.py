"""How often is a session that was recorded wrong found, and named; and how often is an honest one called wrong?

    python -m tests.benchmarks.wrong_records --count 30 --out wrong.jsonl
    python -m tests.benchmarks.wrong_records --table wrong.jsonl

Each seed: a practice mirror of its own as in learn_coverage.py (planar truth, here on 64 cells; constants from the
prior, jitter, a spread from session to session, noisy readings in 8 windows) and three sessions of random programmes.
One of the three is then recorded wrong, in each of the ways of KINDS in turn; everything else is as it was. The
constants are means, their sigmas root mean squares, over the modes of the records as they stand and of every other
size that is plausible, each mode taken as normal. A run goes on where its file ends. The table is
docs/learning.md's.
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
from wearsim.learn.wrong_records import SizeHypothesis, chances_of, check_records, plausible_places, with_chances

from tests.benchmarks import seeded_rows
from tests.benchmarks.learn_coverage import CELLS, STROKES, make_folder
from wearsim.bench.programme import Programme
from wearsim.bench.toml_io import programme_from_table, spell_table
from wearsim.errors import WearsimError
from wearsim.kernels.arrays import Floats
from wearsim.learn.calibrate import filter_of
from wearsim.learn.mirror_folder import MirrorFolder
from wearsim.learn.observation import of_readings
from wearsim.learn.practice.mirror import FAULTS, DrawnMirror, KnifeEdgeTester, PracticeMirror, TrueValues, draw_mirror
from wearsim.learn.session_filter import SessionFilter, SessionModel
from wearsim.wear.constants import NAMES, Belief, prior

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


def mixture_moments(hypotheses: tuple[SizeHypothesis, ...]) -> tuple[Floats, Floats]:
    """Mean (4,) and covariance (4, 4) of the constants' logarithms, every mode taken as normal [1]."""
    modes = [
        (one, mode) for one in map(hypotheses.__getitem__, plausible_places(hypotheses)) for mode in one.inference.modes
    ]
    weights = chances_of(one.log_odds + mode.evidence for one, mode in modes)
    tops = np.array([one.inference.logs_at(mode.middle) for one, mode in modes])
    mean = weights @ tops
    covariance = np.zeros((mean.size, mean.size))
    for weight, top, (one, mode) in zip(weights, tops, modes, strict=True):
        root = one.inference.axes @ mode.root[: one.inference.open_constants]
        covariance += weight * (root @ root.T + np.outer(top - mean, top - mean))
    return mean, covariance


def found_in(session_filter: SessionFilter, before: Belief) -> dict[str, Any]:
    """What calibration says of the sessions: who is set aside, in doubt or doubtful, the constants and their sigmas."""
    began = time.process_time()
    checked = check_records(session_filter, before, lambda _: None)
    chances = chances_of(one.weight for one in checked.hypotheses)
    fits = with_chances(checked.fits, checked.hypotheses, chances)
    mean, covariance = mixture_moments(checked.hypotheses)
    return {
        "set_aside": [fit.number for fit in fits if not fit.fits],
        "doubtful": [fit.number for fit in fits if fit.is_doubtful],
        "sizes": [fit.number for fit in fits if fit.has_size_in_doubt],
        "size_chances": {fit.number: fit.size_chance for fit in fits},
        "chances": [fit.chance for fit in fits], "held": len(plausible_places(checked.hypotheses)), "ratio": checked.ratio,
        "logs": mean.tolist(), "sigma": np.sqrt(np.diagonal(covariance)).tolist(),
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
                told[kind] = None if session_filter is None else found_in(session_filter, case.before)
            except WearsimError as error:
                told[kind] = {"failed": str(error)}
    logs = [float(np.log(getattr(truth.constants, name))) for name in NAMES]
    return {
        "seed": seed, "fault": drawn.fault, "wrong": case.wrong, "truth": logs, "found": told,
        "seconds": time.process_time() - began,
    }  # fmt: skip


def bent(honest: dict[str, Any], wrong: dict[str, Any]) -> bool:
    """Whether a constant moved by more than :data:`BENT` of the sigmas that are now claimed."""
    moved = np.abs(np.array(wrong["logs"]) - honest["logs"]) / np.maximum(wrong["sigma"], 1e-9)
    return bool(moved.max() > BENT)


SAID = ("right", "other", "doubt", "doubt of another", "doubtful", "unseen", "bent")


def _noticed(one: dict[str, Any], wrong: int | None) -> str:
    """What calibration says of a folder, of which session ``wrong`` is recorded wrong."""
    if one["set_aside"]:
        return "right" if one["set_aside"] == [wrong] else "other"
    if one["sizes"]:
        return "doubt" if wrong in one["sizes"] else "doubt of another"
    return "doubtful" if one["doubtful"] else "unseen"


def table(rows: list[dict[str, Any]]) -> str:
    """The table of docs/learning.md."""
    lines = [
        "| recorded | folders | set aside, and it alone | others set aside | in doubt | only another in doubt | "
        "doubtful | not noticed | of these bent |",
        "| --- | --- | --- | --- | --- | --- | --- | --- | --- |",
    ]
    for kind in KINDS:
        those = [(row, row["found"][kind]) for row in rows if row["found"].get(kind) is not None]
        told = [(row, one) for row, one in those if "failed" not in one]
        counts: dict[str, Any] = dict.fromkeys(SAID, 0)
        for row, one in told:
            honest = row["found"]["honest"]
            said = _noticed(one, row["wrong"] if kind != "honest" else None)
            counts[said] += 1
            counts["bent"] += said == "unseen" and "failed" not in honest and bent(honest, one)
        if kind == "honest":
            counts |= {"right": "", "doubt": "", "bent": ""}
        failed = f" ({len(those) - len(told)} failed)" if len(told) < len(those) else ""
        lines.append(f"| {kind} | {len(those)}{failed} | " + " | ".join(map(str, counts.values())) + " |")
    return "\n".join(lines)


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
