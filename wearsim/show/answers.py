"""The answer to a ready question as it is read and plotted: sentences first, then the curves as a table."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

from wearsim.bench.bench import Bench
from wearsim.bench.personal_units import height_text, height_unit, temperature_step, temperature_text
from wearsim.bench.units import LengthUnit, decimal, length_unit
from wearsim.kernels.arrays import Floats
from wearsim.show.comparison import RADIUS_NOT_CONIC
from wearsim.show.study import LINES, failures_text
from wearsim.show.study_scales import axis_scale
from wearsim.show.style import INK, new_figure, plot_style
from wearsim.show.text import Cell, band_words, in_diameters, paragraph, table
from wearsim.study.quantities import RISKS
from wearsim.study.questions import ACCEPTED, QUESTIONS, Answer, Curve
from wearsim.study.study_file import StudyResult

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure


_NAMES = {"tool": "Tool on top", "mirror": "Mirror on top"}
_HEADS = {
    "surface_rms": "RMS\nafter\n{high}", "conic_fit": "Conic\nafter\n", "edge_roll_change": "Edge roll\nadded\n{high}",
    "rim_height_change": "Rim\nadded\n{high}",
}  # fmt: skip
_RISKS = {"edge_roll_change": "roll_risk_added", "rim_height_change": "rim_risk_added"}
_DRAWN = {
    "overhang": ("rim_risk_added", "roll_risk_added", "rim_height_change", "edge_roll_change"),
    "on-top": ("surface_rms", "conic_fit"), "pitch": ("surface_rms", "conic_fit"),
}  # fmt: skip
_TITLES = {
    "rim_risk_added": "probability that these strokes lower the rim by more than {limit}",
    "roll_risk_added": "probability that these strokes lower the edge roll by more than {limit}",
    "rim_height_change": "rim added, against the surface inside 80 % of the radius [{high}]",
    "edge_roll_change": "edge roll added, against the run just inside the rim [{high}]",
    "surface_rms": "RMS of the surface after [{high}]", "conic_fit": "conic constant after, best fit",
}  # fmt: skip


def answer_text(bench: Bench, answer: Answer, result: StudyResult) -> str:
    """Question, answer, and the curves it rests on."""
    unit = length_unit(bench)
    sentences = {"overhang": _overhang_words, "on-top": _on_top_words, "pitch": _pitch_words}[answer.name](
        bench, answer
    )
    parts = ["\n".join([QUESTIONS[answer.name].words, *map(paragraph, sentences)])]
    parts += [_curve_text(bench, answer, one, unit) for one in answer.curves]
    if answer.name == "overhang":
        parts.append(paragraph(_NOTE))
    if result.failures:
        parts.append(failures_text(result))
    return "\n\n".join(parts)


_NOTE = (
    "Added: by these strokes alone, however the edge was before; negative = turned down; with the bench's own "
    "constants, and for nine of ten cases. Chance: how often it goes down by more than the limit, counted, smoothed "
    "from row to row, +- its standard error. Half within: how far in from the rim half of what is added reaches. A rim "
    "that goes down over a tenth of the mirror and more while the edge roll hardly moves is a change of the conic constant "
    "rather than a turned edge."
)


def setting_words(bench: Bench, answer: Answer, curve: Curve) -> str:
    """What distinguishes a curve, in words."""
    return _NAMES.get(curve.label) or f"Room at {temperature_text(float(curve.label), bench)}"


def _along(bench: Bench, answer: Answer, unit: LengthUnit) -> tuple[list[str], list[list[str]]]:
    """Heads and columns of the axis along the curves."""
    at = answer.curves[0].at
    if answer.name == "pitch":
        return ["Stiffness\nGPa/m"], [[f"{one / 1e9:.2g}" for one in at]]
    head = "Off" if answer.name == "overhang" else "Length"
    in_units = [unit.number(one * bench.mirror.diameter) for one in at]
    return [f"{head}\n{unit.name}", "of D"], [in_units, [in_diameters(one) for one in at]]


def _curve_text(bench: Bench, answer: Answer, curve: Curve, unit: LengthUnit) -> str:
    heads, columns = _along(bench, answer, unit)
    cells: list[list[Cell]] = [list(column) for column in columns]
    for name in (one for one in _HEADS if one in curve.values):
        heads.append(_HEADS[name].format(high=height_unit(0.0).name))
        cells.append(_banded(curve, name))
        risk = _RISKS.get(name)
        if risk is not None and answer.name == "overhang":
            heads.append("chance\n%")
            pairs = zip(curve.values[risk], curve.values[f"{risk}_error"], strict=True)
            cells.append([_share(share, error) for share, error in pairs])
    if "rim_width_added" in curve.values:
        heads.append(f"Half\nwithin\n{unit.name}")
        cells.append([unit.number(one) if np.isfinite(one) else "" for one in curve.values["rim_width_added"]])
    rows = list(zip(*cells, strict=True))
    return f"{setting_words(bench, answer, curve)}:\n{table(heads, rows, words=())}"


def _share(share: float, error: float) -> str:
    return "cannot" if not np.isfinite(share) else f"{100 * share:.0f} +-{100 * error:.0f}"


def _written(name: str, value: float) -> str:
    return decimal(value, 2) if name == "conic_fit" else height_unit(0.0).number(value)


def _banded(curve: Curve, name: str) -> list[Cell]:
    """A quantity with its band, empty where the case cannot be done."""
    values, ends = curve.values[name], curve.ends.get(name)
    cells: list[Cell] = []
    for place, value in enumerate(values):
        if not np.isfinite(value):
            cells.append("")
            continue
        text = _written(name, value)
        if ends is None:
            cells.append(text)
        else:
            cells.append((text, band_words(tuple(ends[place]), lambda end: _written(name, end))))
    return cells


def _overhang_words(bench: Bench, answer: Answer) -> list[str]:
    found, unit = answer.found, length_unit(bench)
    limit = found["edge_limit_m"] / bench.light.wavelength
    lines = [
        f"Fewer than one case in ten turns the edge down by more than {limit:g} wave ({height_text(found['edge_limit_m'])} "
        f"of surface) in {found['minutes']:g} minutes of W strokes, 0.3 of the diameter long:"
    ]
    for label, farthest in found["farthest"].items():
        if farthest is None:
            lines.append(f"{_NAMES[label]}: not even about the centre.")
            continue
        reach = f"{unit.short(farthest * bench.mirror.diameter)} ({in_diameters(farthest)} D) off centre"
        more = ", the farthest tried" if farthest >= found["tested_to"] else ""
        lines.append(f"{_NAMES[label]}: up to {reach}{more}.")
    before = [answer.curves[0].values[name][0] - answer.curves[0].values[f"{name}_change"][0] for name in
              ("edge_roll", "rim_height")]  # fmt: skip
    if np.all(np.isfinite(before)):
        lines.append(
            f"Before: edge roll {height_text(before[0])}, rim {height_text(before[1])} against the inner 80 %."
        )
    return lines


def _on_top_words(bench: Bench, answer: Answer) -> list[str]:
    best, unit = answer.found["best"], length_unit(bench)
    if not best:
        return ["No stroke of this question can be done on this bench."]
    lines = [
        f"{_NAMES[label]}: strokes of {unit.short(one['length'] * bench.mirror.diameter)} "
        f"({in_diameters(one['length'])} D) leave the least: {height_text(one['surface_rms_m'])} RMS after "
        f"{answer.found['minutes']:g} minutes, and in 19 of 20 cases less than {height_text(one['surface_rms_95_m'])}."
        for label, one in best.items()
    ]
    first = min(best, key=lambda label: float(best[label]["surface_rms_95_m"]))
    before, least = answer.found["surface_rms_before_m"], min(one["surface_rms_m"] for one in best.values())
    gain = f"Before: {before * 1e9:.0f} nm RMS."
    if least >= 0.95 * before:  # a twentieth is no gain that a session would show
        gain += " None of these strokes makes it noticeably better; propose searches all strokes."
    return [f"{_NAMES[first]} is the safer of the two from here.", *lines, gain, RADIUS_NOT_CONIC]


def _pitch_words(bench: Bench, answer: Answer) -> list[str]:
    rms, conic = answer.found["surface_rms"], answer.found["conic_fit"]
    step = temperature_step(4.0, bench)
    return [
        f"{answer.found['minutes']:g} minutes of W strokes, mirror on top, leave {_heights(rms)} RMS over all "
        f"pitches and rooms tried, and a conic constant of {_range(conic, 1.0, 2)}; with your pitch in your room "
        f"{height_text(rms['as_it_is'])} and {decimal(conic['as_it_is'], 2)}.",
        f"From a third of the stiffness to three times: conic {decimal(conic['softest'], 2)} to "
        f"{decimal(conic['hardest'], 2)}. From {step} colder to {step} warmer: {decimal(conic['coldest'], 2)} to "
        f"{decimal(conic['warmest'], 2)}.",
    ]


def _heights(found: dict[str, float]) -> str:
    unit = height_unit(found["most"])
    return f"{unit.number(found['least'])} to {unit.text(found['most'])}"


def _range(found: dict[str, float], scale: float, digits: int) -> str:
    return f"{decimal(found['least'] * scale, digits)} to {decimal(found['most'] * scale, digits)}"


def answer_figure(bench: Bench, answer: Answer, result: StudyResult) -> Figure:
    """Plot an answer: a panel for each quantity, a line for each curve, its band shaded."""
    names = _DRAWN[answer.name]
    with plot_style():
        figure = new_figure(8.0, 1.6 + 2.2 * len(names))
        panels = figure.subplots(len(names), 1, sharex=True, squeeze=False)[:, 0]
        for axes, name in zip(panels, names, strict=True):
            for line, curve in zip(LINES, answer.curves, strict=False):
                _draw(axes, curve, name, line, setting_words(bench, answer, curve))
            limit = f"{height_text(answer.found['edge_limit_m'])}" if name in RISKS else ""
            axes.set_title(_TITLES[name].format(limit=limit, high=height_unit(0.0).name), fontsize=10)
        if answer.name == "overhang":
            _mark(panels, answer)
        panels[-1].set_xlabel(axis_scale(result, answer.axis).label)
        if answer.name == "pitch":
            _, (stiffness,) = _along(bench, answer, length_unit(bench))
            panels[-1].set_xscale("log")
            panels[-1].set_xticks(answer.curves[0].at, stiffness)
            panels[-1].minorticks_off()
            panels[-1].set_xlabel("stiffness of the lap [GPa/m]")
        handles, labels = panels[0].get_legend_handles_labels()
        figure.legend(handles, labels, loc="outside lower center", ncols=min(len(labels), 3))
        figure.suptitle(f"{QUESTIONS[answer.name].words} After {answer.found['minutes']:g} minutes", fontsize=11)
    return figure


def _draw(axes: Axes, curve: Curve, name: str, line: dict[str, Any], label: str) -> None:
    scale = 1.0 if name in (*RISKS, "conic_fit") else 1e-9
    values: Floats = curve.values[name] / scale
    axes.plot(curve.at, values, label=label, linewidth=1.8, markersize=5, **line)
    if name in RISKS:
        error = curve.values[f"{name}_error"]
        low, high = np.clip(values - error, 0.0, 1.0), np.clip(values + error, 0.0, 1.0)
        axes.set_ylim(-0.02, 1.02)
    elif name in curve.ends:
        low, high = curve.ends[name].T / scale
    else:
        return
    axes.fill_between(curve.at, low, high, color=line["color"], alpha=0.15, linewidth=0.0)


def _mark(panels: Any, answer: Answer) -> None:
    """The accepted risk, and what is added at the limit."""
    for axes in panels[:2]:
        axes.axhline(ACCEPTED, color=INK, linewidth=0.9, linestyle=(0, (2, 2)))
    for axes in panels[2:]:
        axes.axhline(0.0, color=INK, linewidth=0.8)
        axes.axhline(
            -answer.found["edge_limit_m"] / height_unit(0.0).size, color=INK, linewidth=0.9, linestyle=(0, (2, 2))
        )
