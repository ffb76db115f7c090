"""The answer to a standard question as it is read and plotted: sentences first, then the curves as a table."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

from wearsim.bench.bench import Bench
from wearsim.bench.fields import Extent
from wearsim.bench.personal_units import height_text, height_unit, temperature_step, temperature_text
from wearsim.bench.programme import STROKES
from wearsim.bench.units import LengthUnit, decimal, length_unit, stroke_unit
from wearsim.kernels.arrays import Floats
from wearsim.show.comparison import RADIUS
from wearsim.show.study import LINES, failures_text
from wearsim.show.style import INK, new_figure, plot_style
from wearsim.show.text import Cell, band_words, in_diameters, paragraph, table
from wearsim.study.quantities import RISKS, none_seen
from wearsim.study.questions import ACCEPTED, ADDED, DEGREES, QUESTIONS, RISK_OF, Answer, Curve
from wearsim.study.study_file import StudyResult

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure


TITLE_LETTERS = 85
"""Letters on a line over a plot."""
_NAMES = {"tool": "Tool on top", "mirror": "Mirror on top"}
_HEADS = {
    "surface_rms": "RMS\nafter\n{high}", "conic_fit": "Conic\nafter\n", "edge_roll_change": "Edge roll\nadded\n{high}",
    "rim_height_change": "Rim\nadded\n{high}",
}  # fmt: skip
_DRAWN = {
    "overhang": ("rim_risk_added", "roll_risk_added", "rim_height_change", "edge_roll_change"),
    "on-top": ("surface_rms", "conic_fit", *ADDED), "pitch": ("surface_rms", "conic_fit", *ADDED),
}  # fmt: skip
_TITLES = {
    "rim_risk_added": "probability that these strokes lower the rim by more than {limit}",
    "roll_risk_added": "probability that these strokes lower the edge roll by more than {limit}",
    "rim_height_change": "rim added, relative to the surface inside 80% of the radius [{high}]",
    "edge_roll_change": "edge roll added, relative to the slope just inside the rim [{high}]",
    "surface_rms": "RMS of the surface after [{high}]", "conic_fit": "conic constant after, best fit",
}  # fmt: skip


def answer_text(bench: Bench, answer: Answer, result: StudyResult) -> str:
    """Question, answer, and the curves behind it."""
    unit = length_unit(bench)
    sentences = {"overhang": _overhang_words, "on-top": _on_top_words, "pitch": _pitch_words}[answer.name](
        bench, answer
    )
    asked = f"Strokes: {_stroke_words(bench, answer)}."
    parts = ["\n".join([QUESTIONS[answer.name].words, *map(paragraph, [*sentences, asked])])]
    parts += [_curve_text(bench, answer, one, unit) for one in answer.curves]
    parts += [paragraph(note) for note in _NOTES[answer.name]]
    if result.failures:
        parts.append(failures_text(result))
    return "\n\n".join(parts)


_EDGE_NOTE = (
    "Added: the change that these strokes make, whatever the edge was before; negative = turned down. The number is for the "
    "bench's own constants"
)
_NOTES = {
    "overhang": (
        f"{_EDGE_NOTE}; nine of ten cases fall inside the band. Off centre: distance of the middle of the strokes. Over: "
        "how far, at most, the top piece's edge passes that of the piece below it, which many people call overhang. Chance: "
        "how often the edge goes down by more than the limit, counted over the draws and smoothed from row to row, +- "
        "the standard error. Where it happened in no draw, \"<\" gives the upper limit at 95% confidence. Half within: "
        "distance in from the rim at which the change has fallen to half (-: there is a larger change farther in).",
        "The rim is compared with the sphere that best fits the inner 80%. A mirror that turns oblate lifts its rim "
        "by this measure, which can hide a narrow turned edge: look at the edge roll too, which compares the rim "
        "with the slope just inside it, continued outwards. A rim that goes down over a tenth of the mirror or more while "
        "the edge roll hardly changes is a change of the conic constant rather than a turned edge.",
        "Effects not modelled make a turned edge more likely, not less: pitch that bulges over the rim, a lap that rocks as "
        "it passes the edge. In practice turned edges are said to be about 6 mm (1/4 in) wide; the model's are half that "
        "(see the validation page). Stay well inside these figures, and test the edge early.",
    ),
    "on-top": (f"{_EDGE_NOTE}; nine of ten cases fall inside the band.",),
    "pitch": (
        f"{_EDGE_NOTE}.",
        "Pitch is not sold by stiffness, and stiffness is hard to measure. It is known only within a factor of three; "
        "the rows show how much that matters. The pitches that you can buy or temper differ in how slowly they flow, "
        "as one pitch does in a colder or warmer room.",
    ),
}  # fmt: skip


def _stroke_words(bench: Bench, answer: Answer) -> str:
    """The strokes that were worked: minutes, kind, and the sizes that no axis changes."""
    unit, size, spell = stroke_unit(bench), bench.mirror.diameter, answer.spell

    def said(extent: Extent) -> str:
        return f"{unit.short(extent.on(size))} ({in_diameters(extent.on(size) / size)} D)"

    sizes = []
    if spell.length is not None and not answer.axis.endswith("length"):
        sizes.append(f"{said(spell.length)} long")
    if spell.side_sweep is not None:
        sizes.append(f"{said(spell.side_sweep)} to each side of their middle")
    kind = f"{spell.minutes:g} minutes of {STROKES[spell.stroke].words} strokes"
    if answer.name == "pitch":
        sizes.append(f"{spell.on_top} on top")
    if answer.name != "overhang":
        sizes.append("over the centre")
    return ", ".join([kind, *sizes])


def setting_words(bench: Bench, answer: Answer, curve: Curve) -> str:
    """What distinguishes a curve, in words."""
    return _NAMES.get(curve.label) or f"Room at {temperature_text(float(curve.label), bench)}"


def _along(bench: Bench, answer: Answer, unit: LengthUnit) -> tuple[list[str], list[list[str]]]:
    """Heads and columns of the axis along the curves."""
    at = answer.curves[0].at
    if answer.name == "pitch":
        own = at[at.size // 2]
        return ["Stiffness\ntimes yours", "GPa/m"], [
            [f"{one / own:.2g}" for one in at],
            [f"{one / 1e9:.2g}" for one in at],
        ]
    head = "Off\ncentre" if answer.name == "overhang" else "Length"
    in_units = [unit.number(one * bench.mirror.diameter) for one in at]
    return [f"{head}\n{unit.name}", "of D"], [in_units, [in_diameters(one) for one in at]]


def _curve_text(bench: Bench, answer: Answer, curve: Curve, unit: LengthUnit) -> str:
    heads, columns = _along(bench, answer, unit)
    cells: list[list[Cell]] = [list(column) for column in columns]
    if answer.name == "overhang":
        heads.append(f"Over\n{unit.name}")
        cells.append([unit.number(one) for one in curve.values["overhang"]])
    for name in (one for one in _HEADS if one in curve.values):
        heads.append(_HEADS[name].format(high=height_unit(0.0).name))
        cells.append(_banded(curve, name))
        if answer.name == "overhang" and name in RISK_OF:
            heads.append("chance\n%")
            cells.append(_chances(curve, RISK_OF[name]))
    if "rim_width_added" in curve.values:
        heads.append(f"Half\nwithin\n{unit.name}")
        widths = curve.values["rim_width_added"]
        cells.append(["" if not np.isfinite(one) else unit.number(one) if one else "-" for one in widths])
    rows = list(zip(*cells, strict=True))
    if answer.name == "on-top" and "conic_fit_before" in answer.found:
        rms, conic = answer.found["surface_rms_before_m"], answer.found["conic_fit_before"]
        alone: list[Cell] = ["none", "-", _written("surface_rms", rms), _written("conic_fit", conic), "0", "0"]
        rows.insert(0, tuple(alone))
    return f"{setting_words(bench, answer, curve)}:\n{table(heads, rows, words=())}"


def _chances(curve: Curve, risk: str) -> list[Cell]:
    """Chances in per cent, an upper bound where no draw was counted."""
    cells: list[Cell] = []
    for share, error, draws in zip(
        curve.values[risk], curve.values[f"{risk}_error"], curve.values["draws_kept"], strict=True
    ):
        if not np.isfinite(share):
            cells.append("cannot")
        elif round(100 * share) == 0:
            cells.append(f"<{np.ceil(100 * none_seen(draws)):.0f}")
        else:
            cells.append(f"{100 * share:.0f} +-{100 * error:.0f}")
    return cells


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
        "on the surface) with:"
    ]
    for label, farthest in found["farthest"].items():
        if farthest is None:
            lines.append(f"{_NAMES[label]}: none; even strokes over the centre carry more risk than that.")
            continue
        reach = f"{unit.short(farthest * bench.mirror.diameter)} ({in_diameters(farthest)} D) off centre"
        more = ", the farthest tried" if farthest >= found["tested_to"] else ""
        top, bottom = ("lap", "glass") if label == "tool" else ("glass", "lap")
        lines.append(
            f"{_NAMES[label]}: strokes whose middle is up to {reach}{more}. The {top}'s edge then overhangs the "
            f"{bottom} by up to {unit.short(found['overhang_m'][label])}."
        )
    before = [answer.curves[0].values[name][0] - answer.curves[0].values[f"{name}_change"][0] for name in
              ("edge_roll", "rim_height")]  # fmt: skip
    if np.all(np.isfinite(before)):
        lines.append(
            f"Before: edge roll {height_text(before[0])}, rim {height_text(before[1])} relative to the inner 80%."
        )
    return lines


def _on_top_words(bench: Bench, answer: Answer) -> list[str]:
    best, unit = answer.found["best"], length_unit(bench)
    if not best:
        return ["None of the strokes in this question can be worked on this bench."]
    lines = [
        f"{_NAMES[label]}: strokes of {unit.short(one['length'] * bench.mirror.diameter)} "
        f"({in_diameters(one['length'])} D{_end_of_range(one)}) give the best result: "
        f"{height_text(one['surface_rms_m'])} RMS, and in 19 of 20 cases less than "
        f"{height_text(one['surface_rms_95_m'])}.{_edge_of_best(answer, one)}"
        for label, one in best.items()
    ]
    better = answer.found["better"]
    head = "As good as each other from here: the difference is within the uncertainty."
    if better is not None or len(best) == 1:
        head = f"{_NAMES[better or next(iter(best))]} is the safer of the two from here."
    before, least = answer.found["surface_rms_before_m"], min(one["surface_rms_m"] for one in best.values())
    gain = f"Left alone: {height_text(before)} RMS."
    if least >= 0.95 * before:  # a twentieth is no gain that a session would show
        gain += " None of these strokes makes it noticeably better: leave it alone, or ask propose for others."
    return [head, *lines, gain, f"{RADIUS}."]


def _end_of_range(one: dict[str, Any]) -> str:
    return ", the shortest tried" if one["is_shortest"] else ", the longest tried" if one["is_longest"] else ""


def _edge_of_best(answer: Answer, one: dict[str, Any]) -> str:
    """A warning where one case in twenty turns the edge down by more than the limit."""
    if one["edge_5_m"] >= -answer.found["edge_limit_m"]:
        return ""
    return f" The edge: in 1 of 20 cases these strokes lower it by more than {height_text(-one['edge_5_m'])}."


def _pitch_words(bench: Bench, answer: Answer) -> list[str]:
    rms, conic = answer.found["surface_rms"], answer.found["conic_fit"]
    step, slower = temperature_step(DEGREES, bench), 10.0 ** (DEGREES / bench.laps[0].degrees_per_decade)
    lines = [
        f"With your pitch in your room: {height_text(rms['as_it_is'])} RMS and a conic constant of "
        f"{decimal(conic['as_it_is'], 2)}. Over all pitches and rooms tried: {_heights(rms)} RMS, conic "
        f"{decimal(conic['least'], 2)} to {decimal(conic['most'], 2)}.",
        f"Conic constant: {decimal(conic['as_it_is'], 2)} with your pitch, {decimal(conic['softest'], 2)} with pitch a "
        f"third as stiff, {decimal(conic['hardest'], 2)} with pitch three times as stiff. With your pitch, "
        f"{decimal(conic['coldest'], 2)} in a room {step} colder and {decimal(conic['warmest'], 2)} in one {step} warmer "
        f"(the pitch then flows {slower:.2g} times slower or faster).",
    ]
    worst = answer.found["worst_edge"]
    if worst["added_m"] < -answer.found["edge_limit_m"]:
        name = {"edge_roll_change": "edge roll", "rim_height_change": "rim"}[worst["of"]]
        lines.insert(0, (
            f"Watch the edge: at {temperature_text(worst['temperature_degC'], bench)} and {worst['stiffness_factor']:.2g} "
            f"times the stiffness these strokes lower the {name} by {height_text(-worst['added_m'])}, more than "
            f"{height_text(answer.found['edge_limit_m'])}, which counts as a turned edge."
        ))  # fmt: skip
    return lines


def _heights(found: dict[str, float]) -> str:
    unit = height_unit(found["most"])
    return f"{unit.number(found['least'])} to {unit.text(found['most'])}"


def answer_figure(bench: Bench, answer: Answer, result: StudyResult) -> Figure:
    """Plot an answer: a panel for each quantity, a line for each curve, its band shaded."""
    names = _DRAWN[answer.name]
    with plot_style():
        figure = new_figure(8.0, 1.8 + 2.2 * len(names))
        panels = figure.subplots(len(names), 1, sharex=True, squeeze=False)[:, 0]
        for axes, name in zip(panels, names, strict=True):
            for line, curve in zip(LINES, answer.curves, strict=False):
                _draw(axes, curve, name, line, setting_words(bench, answer, curve))
            limit = f"{height_text(answer.found['edge_limit_m'])}" if name in RISKS else ""
            axes.set_title(_TITLES[name].format(limit=limit, high=height_unit(0.0).name), fontsize=10)
            _mark(axes, answer, name)
        _scale_along(panels[-1], bench, answer)
        handles, labels = panels[0].get_legend_handles_labels()
        figure.legend(handles, labels, loc="outside lower center", ncols=min(len(labels), 3))
        asked = paragraph(_stroke_words(bench, answer), width=TITLE_LETTERS)
        figure.suptitle(f"{QUESTIONS[answer.name].words}\n{asked}", fontsize=11)
    return figure


def _scale_along(axes: Axes, bench: Bench, answer: Answer) -> None:
    """The axis along the curves: in the person's unit, beneath it the share of the diameter."""
    unit = length_unit(bench)
    if answer.name == "pitch":
        axes.set_xscale("log")
        axes.set_xlabel("stiffness of the pitch, times yours [GPa/m beneath]")
    else:
        what = "middle of the strokes off centre" if answer.name == "overhang" else "length of the strokes"
        axes.set_xlabel(f"{what} [{unit.name}; beneath: of the diameter]")
    _, (first, second) = _along(bench, answer, unit)
    axes.set_xticks(answer.curves[0].at, [f"{one}\n{other}" for one, other in zip(first, second, strict=True)])
    axes.minorticks_off()


def _draw(axes: Axes, curve: Curve, name: str, line: dict[str, Any], label: str) -> None:
    scale = 1.0 if name in (*RISKS, "conic_fit") else height_unit(0.0).size
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


def _mark(axes: Axes, answer: Answer, name: str) -> None:
    """The accepted risk, what is added at the limit, and what leaving it alone gives."""
    dashed: dict[str, Any] = {"color": INK, "linewidth": 0.9, "linestyle": (0, (2, 2))}
    alone = {"surface_rms": "surface_rms_before_m", "conic_fit": "conic_fit_before"}.get(name)
    if name in RISKS:
        axes.axhline(ACCEPTED, **dashed)
    elif name in ADDED:
        axes.axhline(0.0, color=INK, linewidth=0.8)
        axes.axhline(-answer.found["edge_limit_m"] / height_unit(0.0).size, **dashed)
    elif alone in answer.found:
        axes.axhline(answer.found[alone] / (1.0 if name == "conic_fit" else height_unit(0.0).size), **dashed)
