"""The figures of theory/turned-edge.md: what overhang does to the rim, with the tool on top."""

from __future__ import annotations

from functools import cache
from typing import Any

import numpy as np

from docs.tables import table
from wearsim.bench.bench import Bench, Wear
from wearsim.bench.figure_source import FigureSource
from wearsim.bench.lap import Lap
from wearsim.bench.mirror import Mirror
from wearsim.study.cases import job_for, work_case
from wearsim.study.plan import study_from_table
from wearsim.study.quantities import CaseOutcome, smoothed_shares

OVERHANGS = (0.0, 0.05, 0.1, 0.15, 0.2, 0.25, 0.3, 0.35)
AT = (0.0, 0.5, 0.8, 0.9, 0.95, 0.98, 1.0)
STROKES = {"W, 0.1 D to each side": 0.1, "straight": 0.0}
ABRASIVES = ("cerium-oxide", "rouge")
DRAWS = 48


def make_bench(abrasive: str) -> Bench:
    """A sphere of 200 mm f/6 to become a paraboloid, under a tool of half its mass."""
    mirror = Mirror(diameter=0.2, radius_of_curvature=2.4, thickness=0.03)
    lap = Lap(diameter=0.2, mass=0.5 * mirror.piece_mass)
    return Bench(mirror=mirror, laps=(lap,), wear=Wear(abrasive=abrasive), figure=FigureSource(conic=0.0))


@cache
def cases(abrasive: str, stroke: str) -> tuple[CaseOutcome, ...]:
    """Twenty minutes, tool on top, at every overhang."""
    spell = {"stroke": "w", "on_top": "tool", "length": 0.3, "side_sweep": STROKES[stroke], "minutes": 20}
    about = {"bench": "turned-edge", "draws": DRAWS, "keep": ["edge_roll"]}
    axis = {"key": "spell 1.side_overhang", "list": list(OVERHANGS)}
    study = study_from_table({"study": about, "spell": [spell], "axis": [axis]}, bench=make_bench(abrasive))
    job = job_for(study)
    return tuple(work_case(job, place, None) for place in range(study.cases))


def risks() -> str:
    """Chance of a turned edge by overhang, both measures, strokes and abrasives."""
    columns = []
    for abrasive in ABRASIVES:
        for stroke in STROKES:
            drawn = [case.over_draws for case in cases(abrasive, stroke)]
            for values in ("roll_added", "rim_added"):
                shares = np.array([one.share_below(getattr(one, values)) for one in drawn])
                counts = np.array([float(len(one.edge_roll)) for one in drawn])
                smooth, error = smoothed_shares(np.array(OVERHANGS), shares, counts)
                columns.append([f"{100 * s:.0f} ± {100 * e:.0f}" for s, e in zip(smooth, error, strict=True)])
    kinds = [f"{a.partition('-')[0]}, {s.partition(',')[0]}" for a in ABRASIVES for s in STROKES]
    heads = [f"{kind}: {what}" for kind in kinds for what in ("roll", "rim")]
    return table(" | ".join(["off centre, D", *heads]), zip(OVERHANGS, *columns, strict=True))


def profiles(abrasive: str) -> str:
    """Removal along the radius and what it adds to the rim, with the bench's own constants."""
    rows: list[list[Any]] = []
    for stroke in STROKES:
        for overhang, case in zip(OVERHANGS, cases(abrasive, stroke), strict=True):
            removal = np.interp(AT, case.radius / case.radius[-1], case.removal) * 1e9
            rim, width = case.rim_height_change * 1e9, case.gauge.rim_width(-case.removal) * 1e3
            heights = (*removal, case.edge_roll_change * 1e9, rim)
            cells = [f"{round(float(one)) + 0:d}" for one in heights]
            rows.append([f"{stroke.partition(',')[0]}, {overhang:g}", *cells, f"{width:.0f}" if width else "-"])
    heads = ["stroke, off centre", *(f"r/a {one:g}" for one in AT), "roll added", "rim added", "half within, mm"]
    return table(" | ".join(heads), rows)
