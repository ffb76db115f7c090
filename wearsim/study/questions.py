"""Standard questions about one's own bench, each a study that needs no file: how far to overhang, which on top, what pitch.

A question sets up the study and takes its answer from what came out: curves over one axis, and what follows from them.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any, Literal

import numpy as np

from wearsim.bench.bench import Bench
from wearsim.bench.fields import Extent
from wearsim.bench.programme import Spell
from wearsim.bench.toml_io import spell_table
from wearsim.errors import InputError
from wearsim.kernels.arrays import Floats
from wearsim.study.plan import Study, study_from_table
from wearsim.study.quantities import RISKS, smoothed_shares
from wearsim.study.study_file import StudyResult
from wearsim.wear.strokes import stroke_reach

QuestionName = Literal["overhang", "on-top", "pitch"]
MINUTES = 20.0
TELLABLE = 0.25
"""Share by which the 95% ends of two RMS differ before one is called better: a standard error of that end over 32 draws
(derived: ``sqrt(p (1 - p) / n)`` over the density of a logarithmic normal whose end is three times its median)."""
ACCEPTED = 0.1
"""A risk that a careful worker takes (judgement): one case in ten."""
FACTOR, DEGREES = 3.0, 4.0
"""How far the question of the pitch goes to each side: a factor of the stiffness, and degrees of the room."""


@dataclass(frozen=True)
class Curve:
    """What came out along the question's axis, for one setting of the other.

    Parameters
    ----------
    label : str
        The other setting, as in a file.
    at : (n,) ndarray
        Along the axis.
    values : mapping of str to (n,) ndarray
        By the names of quantities, in SI units; NaN for what cannot be done. With them `overhang`, how far the edge of
        the top piece passes that of the bottom piece at the farthest [m], and `draws_kept`, the draws that were counted.
    ends : mapping of str to (n, 2) ndarray
        5th and 95th percentile over the uncertain constants, for those that have a band.
    """

    label: str
    at: Floats
    values: Mapping[str, Floats]
    ends: Mapping[str, Floats] = field(default_factory=dict)


@dataclass(frozen=True)
class Answer:
    """A question's answer.

    Parameters
    ----------
    name : {"overhang", "on-top", "pitch"}
        Of the question.
    axis : str
        Name of the coordinate along the curves.
    spell : Spell
        What was asked about, before the axes change it.
    curves : tuple of Curve
    found : dict
        What follows from them, by name, for ``--json`` and for the sentences.
    """

    name: QuestionName
    axis: str
    spell: Spell
    curves: tuple[Curve, ...]
    found: dict[str, Any]

    def to_json(self) -> dict[str, Any]:
        """One object for ``--json``: SI units and plain shares; null for what cannot be done."""
        curves = [
            {
                "setting": one.label, self.axis: one.at.tolist(),
                **{name: _plain(values) for name, values in one.values.items()},
                **{f"{name}_band": _plain(ends) for name, ends in one.ends.items()},
            }
            for one in self.curves
        ]  # fmt: skip
        return {"question": self.name, "spell": spell_table(self.spell), "curves": curves, "found": self.found}


def _plain(values: Floats) -> Any:
    """Lists, None in place of NaN."""
    if values.ndim > 1:
        return [_plain(row) for row in values]
    return [value if np.isfinite(value) else None for value in values.tolist()]


@dataclass(frozen=True)
class Question:
    """A standard question.

    Parameters
    ----------
    words : str
        As a person asks it.
    table : callable
        Its study's table without ``[study]``, for a bench: the second axis is the one along the curves.
    keep : tuple of str
        Quantities that are kept.
    draws : int
    find : callable
        What follows from the curves and the study.
    """

    words: str
    table: Callable[[Bench], dict[str, Any]]
    keep: tuple[str, ...]
    draws: int
    find: Callable[[tuple[Curve, ...], StudyResult], dict[str, Any]]


def study_of(name: QuestionName, bench: Bench, path: Path) -> Study:
    """The study of a question for a bench, whose file or folder is ``path``.

    Raises
    ------
    InputError
        Where the bench cannot be asked it.
    """
    import tomli_w

    question = QUESTIONS[name]
    about = {"bench": str(path), "draws": question.draws, "keep": list(question.keep)}
    table = {"study": about, **question.table(bench)}
    return study_from_table(table, text=tomli_w.dumps(table), bench=bench)


def answer_of(name: QuestionName, study: Study, result: StudyResult) -> Answer:
    """A question's answer from its study (:func:`study_of`), worked out."""
    question, spell = QUESTIONS[name], study.programme.spells[0]
    across, along = result.dimensions
    labels, at = result.coordinates[across].values, np.asarray(result.coordinates[along].values, dtype=float)
    curves = []
    for place, label in enumerate(labels):
        curve = _curve(question, result, place, str(label), at)
        spells = [_moved(spell, along, str(label), one) for one in at]
        passed = np.array([_overhang_of(study.bench, one) for one in spells])
        curves.append(replace(curve, values={**curve.values, "overhang": passed}))
    return Answer(name, along, spell, tuple(curves), question.find(tuple(curves), result))


def _moved(spell: Spell, along: str, label: str, at: float) -> Spell:
    """The question's spell at one place along a curve."""
    field_name = along.removeprefix("spell_1_")
    changes: dict[str, Any] = {}
    if field_name != along:
        changes[field_name] = Extent(float(at))
    if label in ("tool", "mirror"):
        changes["on_top"] = label
    return spell.model_copy(update=changes)


def _overhang_of(bench: Bench, spell: Spell) -> float:
    """How far the top piece's edge passes the bottom piece's at the farthest of a stroke, without jitter [m]."""
    lap = bench.laps[0].radius
    beyond = lap - bench.mirror.radius if spell.on_top == "tool" else bench.mirror.radius - lap
    return stroke_reach(spell.stroke_on(bench.mirror.diameter)) + beyond


def _curve(question: Question, result: StudyResult, place: int, label: str, at: Floats) -> Curve:
    def taken(name: str) -> Floats:
        return np.asarray(result.quantities[name].values[place], dtype=float)

    values = {name: taken(name) for name in question.keep}
    ends = {name: taken(f"{name}_band")[:, [0, -1]] for name in question.keep if f"{name}_band" in result.quantities}
    if question.draws:
        left = values["draws_kept"] = question.draws - np.nan_to_num(taken("draws_failed"), nan=question.draws)
        for name in RISKS:
            values[name], values[f"{name}_error"] = smoothed_shares(at, taken(name), np.maximum(left, 1.0))
    return Curve(label, at, values, ends)


def _spell(bench: Bench, **rest: Any) -> list[dict[str, Any]]:
    lap = {} if bench.laps[0].name is None else {"lap": bench.laps[0].name}
    return [{**lap, "minutes": MINUTES, **rest}]


def _lap_key(bench: Bench) -> str:
    return "lap" if len(bench.laps) == 1 else "lap 1"


_ON_TOP = {"key": "spell 1.on_top", "list": ["tool", "mirror"]}


def _overhang(bench: Bench) -> dict[str, Any]:
    """W strokes of 0.3 of the diameter, from the middle out to 0.35 of it."""
    places = {"key": "spell 1.side_overhang", "grid": {"first": 0.0, "last": 0.35, "count": 8}}
    return {"spell": _spell(bench, stroke="w", length=0.3, side_sweep=0.1), "axis": [_ON_TOP, places]}


def _on_top(bench: Bench) -> dict[str, Any]:
    """Straight strokes centre over centre, from short to long."""
    lengths = {"key": "spell 1.length", "grid": {"first": 0.1, "last": 0.7, "count": 7}}
    return {"spell": _spell(bench, stroke="straight", length=1 / 3), "axis": [_ON_TOP, lengths]}


def _pitch(bench: Bench) -> dict[str, Any]:
    """W strokes of half the diameter, mirror on top; the first lap's pitch softer and harder, the room colder and warmer."""
    stiffness, room = bench.laps[0].stiffness, bench.wear.temperature
    pitches = [float(stiffness * FACTOR**power) for power in (-1.0, -0.5, 0.0, 0.5, 1.0)]
    rooms = [room + DEGREES * step for step in (-1.0, 0.0, 1.0)]
    axes = [
        {"key": "wear.temperature", "list": [f"{one!r} degC" for one in rooms]},
        {"key": f"{_lap_key(bench)}.stiffness", "list": [f"{one!r} Pa/m" for one in pitches]},
    ]
    return {"spell": _spell(bench, stroke="w", on_top="mirror", length=0.5, side_sweep=0.1), "axis": axes}


def _farthest(curves: tuple[Curve, ...], result: StudyResult) -> dict[str, Any]:
    """How far out both risks, with their standard errors, are accepted, and by how much the edges pass each other there.

    Null where not even about the centre.
    """
    found: dict[str, Any] = {
        "accepted_risk": ACCEPTED,
        "edge_limit_m": _limit(result),
        "minutes": MINUTES,
        "farthest": {},
    }
    found["overhang_m"] = {}
    for one in curves:
        is_safe = np.ones(one.at.size, dtype=bool)
        for name in RISK_OF.values():
            is_safe &= one.values[name] + one.values[f"{name}_error"] <= ACCEPTED
        count = int(np.argmin(is_safe)) if not is_safe.all() else is_safe.size
        found["farthest"][one.label] = float(one.at[count - 1]) if count else None
        found["overhang_m"][one.label] = float(one.values["overhang"][count - 1]) if count else None
        found["tested_to"] = float(one.at[-1])
    return found


def _best(curves: tuple[Curve, ...], result: StudyResult) -> dict[str, Any]:
    """For either piece on top the length that leaves the least RMS at the band's upper end, and the RMS if nothing is done.

    `better` is the piece whose best is clearly less than the other's, both as most likely and in 19 of 20 cases; null where
    neither is.
    """
    found: dict[str, Any] = {"minutes": MINUTES, "edge_limit_m": _limit(result), "best": {}, "better": None}
    for one in curves:
        for name, key in (("surface_rms_before", "surface_rms_before_m"), ("conic_fit_before", "conic_fit_before")):
            if np.any(np.isfinite(one.values[name])):
                found[key] = float(np.nanmin(one.values[name]))
        worst = one.ends["surface_rms"][:, 1]
        if np.any(np.isfinite(worst)):
            at = int(np.nanargmin(worst))
            found["best"][one.label] = {
                "length": float(one.at[at]), "surface_rms_m": float(one.values["surface_rms"][at]),
                "surface_rms_95_m": float(worst[at]), "conic_fit": float(one.values["conic_fit"][at]),
                "is_shortest": at == 0, "is_longest": at == one.at.size - 1,
                "edge_5_m": float(min(one.ends[name][at, 0] for name in ADDED)),
            }  # fmt: skip
    if len(found["best"]) == 2:
        first, second = sorted(found["best"], key=lambda label: float(found["best"][label]["surface_rms_95_m"]))
        good, other = found["best"][first], found["best"][second]
        is_less = good["surface_rms_m"] <= other["surface_rms_m"]
        if is_less and (1.0 + TELLABLE) * good["surface_rms_95_m"] < other["surface_rms_95_m"]:
            found["better"] = first
    return found


def _limit(result: StudyResult) -> float:
    """What counts as a turned edge [m]."""
    return float(result.attributes["edge_limit_waves"]) * float(result.attributes["wavelength_m"])


def _span(curves: tuple[Curve, ...], result: StudyResult) -> dict[str, Any]:
    """Least and most of the RMS and the conic over all that were tried, how much each setting moves it, the worst edge."""
    found: dict[str, Any] = {"minutes": MINUTES, "edge_limit_m": _limit(result)}
    for name in ("surface_rms", "conic_fit"):
        values = np.array([one.values[name] for one in curves])
        if not np.any(np.isfinite(values)):
            raise InputError(
                "none of the cases in this question can be worked on this bench", key="--question", value="pitch"
            )
        middle = values.shape[0] // 2, values.shape[1] // 2
        found[name] = {
            "least": float(np.nanmin(values)), "most": float(np.nanmax(values)), "as_it_is": float(values[middle]),
            "softest": float(values[middle[0], 0]), "hardest": float(values[middle[0], -1]),
            "coldest": float(values[0, middle[1]]), "warmest": float(values[-1, middle[1]]),
        }  # fmt: skip
    edges = np.array([[one.values[name] for name in ADDED] for one in curves])
    room, which, pitch = np.unravel_index(int(np.nanargmin(edges)), edges.shape)
    found["worst_edge"] = {
        "of": ADDED[which], "added_m": float(edges[room, which, pitch]),
        "temperature_degC": float(curves[room].label), "stiffness": float(curves[room].at[pitch]),
        "stiffness_factor": float(curves[room].at[pitch] / curves[room].at[curves[room].at.size // 2]),
    }  # fmt: skip
    return found


RISK_OF = {"edge_roll_change": "roll_risk_added", "rim_height_change": "rim_risk_added"}
"""The two measures of what is added to the edge, and the chance that each goes down by more than the limit."""
ADDED = tuple(RISK_OF)
_EDGE = ("edge_roll_change", "rim_height_change", "rim_width_added", "edge_roll", "rim_height")
QUESTIONS: dict[QuestionName, Question] = {
    "overhang": Question(
        "How far may I overhang?", _overhang, _EDGE, 64, _farthest
    ),
    "on-top": Question(
        "Tool on top or mirror on top?", _on_top,
        ("surface_rms", "conic_fit", *ADDED, "surface_rms_before", "conic_fit_before"),
        32, _best,
    ),
    "pitch": Question(
        "How much does the pitch matter?", _pitch, ("surface_rms", "conic_fit", *ADDED), 0, _span
    ),
}  # fmt: skip
