"""A study as it is read and plotted: what was varied, what came out, what failed, in people's words and units.

Lines differ by dash, marker and hatch as well as by colour; the ramp of the maps runs from light to dark, so that it
says the same in grey.
"""

from __future__ import annotations

from itertools import product
from typing import TYPE_CHECKING, Any, cast

import numpy as np

from wearsim.bench.units import counted
from wearsim.errors import CouldNotError
from wearsim.show.study_scales import axis_scale, is_number, quantity_scale
from wearsim.show.style import BLUE, INK, QUIET, RED, new_figure, plot_style
from wearsim.show.text import duration, paragraph, table
from wearsim.study.cases import FAILURES
from wearsim.study.forecast import Forecast
from wearsim.study.plan import Study
from wearsim.study.quantities import RISKS, smoothed_shares
from wearsim.study.study_file import SAMPLE, StudyResult

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure


_FAILED = {
    "tips_off": "tipped off", "refused": "refused", "no_balance": "could not be balanced", "fault": "hit a bug in wearsim",
}  # fmt: skip
MOST_PANELS = 6
MOST_LINES = 6
MOST_ROWS = 3
MOST_NUMBERS = 120
STRIP = 0.05
"""Height of a strip of what cannot be done, of its panel."""
LINES: tuple[dict[str, Any], ...] = (
    {"color": BLUE, "linestyle": "-", "marker": "o"},
    {"color": RED, "linestyle": (0, (6, 2)), "marker": "s"},
    {"color": INK, "linestyle": (0, (1, 1.2)), "marker": "^"},
    {"color": QUIET, "linestyle": (0, (6, 2, 1, 2)), "marker": "D"},
    {"color": BLUE, "linestyle": (0, (1, 1.2)), "marker": "v"},
    {"color": RED, "linestyle": "-", "marker": "P"},
)
_RAMP = ("#f7f4ec", "#c9d6d3", "#7fa3b5", "#2f6690", "#0b2545")

FixedPlaces = dict[str, int]


def scalars(result: StudyResult) -> list[str]:
    """Names of the quantities that are one number per case, the risk first, its own error left out."""
    names = [name for name in result.kept if result.quantities[name].dimensions == result.dimensions]
    side = (*(f"{name}_error" for name in RISKS), "draws_failed")
    return sorted((name for name in names if name not in side), key=lambda name: name != "risk")


def study_text(result: StudyResult) -> str:
    """Everything to read about a study."""
    sampled = [name for name, variable in result.coordinates.items() if variable.dimensions == (SAMPLE,)]
    varied = [_varied(result, name) for name in dict.fromkeys([*result.dimensions, *sampled])]
    found = []
    for name in scalars(result):
        scale = quantity_scale(result, name)
        found.append((scale.label, *(f"{number:.4g}" for number in _spread(result, name) / scale.size)))
    parts = [table(("Varied", "from", "to", "values"), varied), failures_text(result)]
    if found:
        parts.insert(1, table(("Result", "least", "median", "most"), found))
    return "\n\n".join(parts)


def _varied(result: StudyResult, name: str) -> tuple[str, str, str, str]:
    variable = result.coordinates[name]
    if name == SAMPLE:
        return "random sample", "", "", str(variable.values.size)
    scale = axis_scale(result, name)
    if not is_number(variable):
        return scale.label, str(variable.values[0]), str(variable.values[-1]), str(variable.values.size)
    numbers = scale.numbers(variable.values)
    return scale.label, f"{numbers.min():.4g}", f"{numbers.max():.4g}", str(numbers.size)


def _spread(result: StudyResult, name: str) -> Any:
    good = result.quantities[name].values[result.failure == 0]
    return np.percentile(good, [0.0, 50.0, 100.0]) if good.size else np.full(3, np.nan)


def failures_text(result: StudyResult) -> str:
    """How many cases failed, why, and the first of each kind in words."""
    counts = result.failures
    if not counts:
        return f"{counted(result.cases, 'case')}, none failed."
    lines = [f"{counted(result.cases, 'case')}, {sum(counts.values())} failed:"]
    for kind, count in counts.items():
        first = result.reason(*np.argwhere(result.failure == FAILURES.index(kind))[0])
        lines.append(paragraph(f"{count} {_FAILED[kind]}; the first: {first}", "  ", "    "))
    return "\n".join(lines)


def study_json(result: StudyResult) -> dict[str, Any]:
    """One object for ``--json``: the summary; the numbers themselves are in the file."""
    quantities = {}
    for name in scalars(result):
        low, middle, high = (None if np.isnan(number) else float(number) for number in _spread(result, name))
        unit = result.quantities[name].unit
        quantities[name] = {"unit": unit, "least": low, "median": middle, "most": high}
    return {
        "file": str(result.file), "cases": result.cases, "failed": sum(result.failures.values()),
        "failures": result.failures, "axes": list(result.dimensions), "quantities": quantities,
    }  # fmt: skip


def forecast_text(study: Study, expected: Forecast) -> str:
    """What a dry run says."""
    shape = " x ".join(map(str, study.shape))
    runs = f", {expected.runs} runs of the engine, draws included" if expected.runs != expected.cases else ""
    lines = [
        f"Cases          {expected.cases} ({shape}){runs}",
        f"Expected time  {duration(expected.seconds)} with {counted(expected.workers, 'worker')} "
        f"({expected.seconds_per_case * 1e3:.1f} ms per case, {expected.timed} timed)",
        f"File           {size(expected.file_bytes)}, and as much again for temporary parts until it is complete",
    ]
    if expected.failed:
        lines.append(f"{expected.failed} of the {expected.timed} cases tried failed; failed cases count as done.")
    return "\n".join(lines)


def size(count: int) -> str:
    """A file's size as a person would say it."""
    return f"{count / 1e3:.0f} kB" if count < 1_000_000 else f"{count / 1e6:.1f} MB"


def study_figure(result: StudyResult) -> Figure:
    """Plot a study: curves where one axis is a number, heat maps where two are, clouds where it is a sample.

    Raises
    ------
    CouldNotError
        Where every case failed, or nothing that was kept is one number per case.
    """
    names = scalars(result)
    if not names or not np.any(result.failure == 0):
        raise CouldNotError(f"{result.file}: nothing to plot: no case succeeded, or no number was kept")
    numbers = [name for name in result.dimensions if name != SAMPLE and _varies(result, name)]
    with plot_style():
        if SAMPLE in result.dimensions:
            return _clouds(result, names[0])
        if len(numbers) >= 2:
            return _maps(result, names[0], numbers)
        return _curves(result, names[:MOST_ROWS], numbers)


def _varies(result: StudyResult, name: str) -> bool:
    variable = result.coordinates[name]
    return is_number(variable) and variable.values.size > 1


def _settings(result: StudyResult, free: list[str], most: int) -> tuple[list[FixedPlaces], str]:
    """Every combination of the words, and a note: numbers that are not shown are at their middle."""
    others = [name for name in result.dimensions if name not in free]
    words = [name for name in others if not _varies(result, name)]
    middle = {name: result.coordinates[name].values.size // 2 for name in others if name not in words}
    choices = product(*(range(result.coordinates[name].values.size) for name in words))
    fixed = [{**middle, **dict(zip(words, choice, strict=True))} for choice in choices]
    notes = [_value_words(result, name, at) for name, at in middle.items()]
    notes += [f"the first {most} of {len(fixed)}"] if len(fixed) > most else []
    return fixed[:most], "; ".join(notes)


def _value_words(result: StudyResult, name: str, at: int) -> str:
    """A setting's name and its value: ``length 0.25``."""
    scale = axis_scale(result, name)
    return f"{scale.label.partition(' [')[0]} {scale.text(result.coordinates[name].values[at])}"


def _label(result: StudyResult, fixed: FixedPlaces) -> str:
    words = [name for name in fixed if not is_number(result.coordinates[name])]
    parts = []
    for name in words:
        text = str(result.coordinates[name].values[fixed[name]])
        key = result.coordinates[name].text
        parts.append(f"{text} on top" if key.endswith(".on_top") else f"{axis_scale(result, name).label}: {text}")
    return ", ".join(parts)


def _cut(result: StudyResult, values: Any, fixed: FixedPlaces, free: list[str]) -> Any:
    """Values over the free axes, the others fixed, in the order of ``free``."""
    where = tuple(fixed.get(name, slice(None)) for name in result.dimensions)
    left = [name for name in result.dimensions if name not in fixed]
    return np.transpose(values[where], [left.index(name) for name in free])


def _curves(result: StudyResult, names: list[str], numbers: list[str]) -> Figure:
    free = numbers[:1]
    fixed, note = _settings(result, free, MOST_LINES)
    figure = new_figure(8.0, 1.4 + 2.7 * len(names))
    panels = figure.subplots(len(names), 1, sharex=True, squeeze=False)[:, 0]
    for axes, name in zip(panels, names, strict=True):
        for line, at in zip(LINES, fixed, strict=False):
            _curve(axes, result, name, free, at, line)
        _set_title(axes, result, name, len(fixed))
    if free:
        panels[-1].set_xlabel(axis_scale(result, free[0]).label)
    if any(_label(result, at) for at in fixed):
        handles, labels = panels[0].get_legend_handles_labels()
        figure.legend(handles, labels, loc="outside lower center", ncols=min(len(labels), 3))
    if note:
        figure.suptitle(note, fontsize=10)
    return figure


def _curve(axes: Axes, result: StudyResult, name: str, free: list[str], at: FixedPlaces, line: dict[str, Any]) -> None:
    scale, place = quantity_scale(result, name), LINES.index(line)
    y = scale.numbers(_cut(result, result.quantities[name].values, at, free)).reshape(-1)
    x = axis_scale(result, free[0]).numbers(result.coordinates[free[0]].values) if free else np.zeros(1)
    if name in RISKS:
        _risk(axes, result, free, at, line, x, y)
    else:
        axes.plot(x, y, label=_label(result, at) or None, linewidth=1.8, markersize=5, **line)
    bad = _cut(result, result.failure, at, free).reshape(-1) > 0
    _strike_out(axes, x, bad, line["color"], place)


def _strike_out(axes: Axes, x: Any, bad: Any, colour: str, place: int) -> None:
    """Settings that cannot be worked, as hatched strips on top of the panel: no point of the curve looks like that."""
    if not np.any(bad):
        return
    edges = (
        np.concatenate([x[:1], 0.5 * (x[1:] + x[:-1]), x[-1:]]) if x.size > 1 else np.array([x[0] - 0.5, x[0] + 0.5])
    )
    low = 1.0 + STRIP * place  # one above the other where several lines fail
    for left, right in zip(edges[:-1][bad], edges[1:][bad], strict=True):
        axes.axvspan(
            left,
            right,
            low,
            low + 0.8 * STRIP,
            facecolor="none",
            edgecolor=colour,
            hatch="xxxx",
            linewidth=0.0,
            clip_on=False,
        )


def _risk(
    axes: Axes, result: StudyResult, free: list[str], at: FixedPlaces, line: dict[str, Any], x: Any, y: Any
) -> None:
    """Shares as they were counted, as dots, and smoothed, as a line in its standard error."""
    failed = _cut(result, result.quantities["draws_failed"].values, at, free).reshape(-1)
    draws = np.maximum(int(result.attributes["draws"]) - np.nan_to_num(failed), 1.0)
    smooth, error = smoothed_shares(x, y, draws)
    style = {**line, "marker": "none" if x.size > 1 else line["marker"]}
    axes.plot(x, smooth, label=_label(result, at) or None, linewidth=1.8, markersize=5, **style)
    axes.plot(x, y, **{**line, "linestyle": "none"}, markersize=3.5, alpha=0.6)
    low, high = np.clip(smooth - error, 0.0, 1.0), np.clip(smooth + error, 0.0, 1.0)
    axes.fill_between(x, low, high, color=line["color"], alpha=0.15, linewidth=0.0)


def _set_title(axes: Axes, result: StudyResult, name: str, lines: int) -> None:
    scale = quantity_scale(result, name)
    title = scale.label
    if name in RISKS:
        axes.set_ylim(bottom=0.0)
        limit = float(result.attributes["edge_limit_waves"])
        draws = int(result.attributes["draws"])
        title += f" (over {limit:g} wave; {draws} draws, dots: counted; line: smoothed, with its standard error)"
    if name == "edge_roll":
        limit = float(result.attributes["edge_limit_waves"]) * float(result.attributes["wavelength_m"])
        low, high = axes.get_ylim()
        if low < -limit / scale.size < high:
            axes.axhline(-limit / scale.size, color=INK, linewidth=1.0, linestyle=(0, (2, 2)))
        axes.axhline(0.0, color=INK, linewidth=0.8)
    if np.any(result.failure > 0):
        title += "; crossed out above: cannot be done"
    pad = 6.0 + (8.0 * lines if np.any(result.failure > 0) else 0.0)  # room for the strips
    axes.set_title(title[0].upper() + title[1:], fontsize=10, pad=pad)


def _panels(count: int, margin: float, height: float, *, sharex: bool) -> tuple[Figure, Any]:
    """A figure of so many panels, up to three in a row, that share the vertical axis [in]."""
    across = min(count, 3)
    down = -(-count // across)
    figure = new_figure(margin + 3.4 * across, 1.2 + height * down)
    panels = figure.subplots(down, across, sharex=sharex, sharey=True, squeeze=False)
    for axes in list(panels.flat)[count:]:
        axes.set_axis_off()
    return figure, panels


def _maps(result: StudyResult, name: str, numbers: list[str]) -> Figure:
    free = numbers[:2]
    fixed, note = _settings(result, free, MOST_PANELS)
    scale = quantity_scale(result, name)
    figure, panels = _panels(len(fixed), 1.6, 3.3, sharex=True)
    cuts = [scale.numbers(_cut(result, result.quantities[name].values, at, free[::-1])) for at in fixed]
    low, high = (float(bound) for bound in (np.nanmin(cuts), np.nanmax(cuts)))
    shown = None
    for axes, at, values in zip(panels.flat, fixed, cuts, strict=False):
        shown = _map(axes, result, free, values, (low, high))
        _number(axes, shown, values) if name in RISKS else _contour(axes, shown, values)
        axes.set_title(_label(result, at), fontsize=10)
    for axes in panels[-1]:
        axes.set_xlabel(axis_scale(result, free[0]).label)
    for axes in panels[:, 0]:
        axes.set_ylabel(axis_scale(result, free[1]).label)
    if shown is not None:
        hatched = "; hatched: cannot be done" if np.any(result.failure > 0) else ""
        figure.colorbar(shown, ax=panels, label=scale.label + hatched, shrink=0.9)
    if note:
        figure.suptitle(note, fontsize=10)
    return figure


def _map(axes: Axes, result: StudyResult, free: list[str], values: Any, bounds: tuple[float, float]) -> Any:
    """One heat map; failed cases are hatched."""
    from matplotlib.colors import LinearSegmentedColormap

    x, y = (axis_scale(result, name).numbers(result.coordinates[name].values) for name in free)
    ramp = LinearSegmentedColormap.from_list("wearsim", _RAMP)
    axes.grid(False)
    axes.set_facecolor("none")
    masked = np.ma.masked_invalid(values)
    shown = axes.pcolormesh(x, y, masked, cmap=ramp, vmin=bounds[0], vmax=bounds[1], shading="nearest")
    if np.any(masked.mask):
        axes.patch.set(hatch="////", edgecolor=QUIET)
    return shown


def _contour(axes: Axes, shown: Any, values: Any) -> None:
    """Lines of equal value that carry their numbers, over a map of something smooth."""
    from matplotlib.patheffects import withStroke

    masked = np.ma.masked_invalid(values)
    if min(values.shape) < 2 or masked.count() < 4 or masked.max() == masked.min():
        return
    x, y = _middles(shown)
    lines = axes.contour(x, y, masked, levels=5, colors=INK, linewidths=0.9)
    for text in axes.clabel(lines, fontsize=8.5, fmt="%g"):
        cast(Any, text).set_path_effects([withStroke(linewidth=2.5, foreground="white")])


def _number(axes: Axes, shown: Any, values: Any) -> None:
    """The numbers themselves in their cells: shares that were counted are too rough for lines."""
    if values.size > MOST_NUMBERS:
        return
    x, y = _middles(shown)
    for (row, column), value in np.ndenumerate(values):
        if np.isfinite(value):
            ink = "white" if shown.norm(value) > 0.6 else INK
            axes.text(x[column], y[row], f"{value:.2f}", ha="center", va="center", fontsize=8, color=ink)


def _middles(shown: Any) -> tuple[Any, Any]:
    corners = shown.get_coordinates()
    x, y = corners[0, :, 0], corners[:, 0, 1]
    return (x[1:] + x[:-1]) / 2, (y[1:] + y[:-1]) / 2


def _clouds(result: StudyResult, name: str) -> Figure:
    """One cloud for every sampled setting."""
    keys = [key for key, variable in result.coordinates.items() if variable.dimensions == (SAMPLE,) and key != SAMPLE]
    fixed, note = _settings(result, [SAMPLE], MOST_LINES)
    scale = quantity_scale(result, name)
    figure, panels = _panels(len(keys), 1.2, 3.0, sharex=False)
    for axes, key in zip(panels.flat, keys, strict=False):
        reading = axis_scale(result, key)
        x = reading.numbers(result.coordinates[key].values)
        for line, at in zip(LINES, fixed, strict=False):
            y = scale.numbers(_cut(result, result.quantities[name].values, at, [SAMPLE]))
            style = {**line, "linestyle": "none"}
            axes.plot(x, y, label=_label(result, at) or None, markersize=3.5, alpha=0.7, **style)
        axes.set_xlabel(reading.label)
        if x.min() > 0.0 and x.max() / x.min() > 20.0:
            axes.set_xscale("log")
            axes.xaxis.set_major_formatter("{x:g}")
    for axes in panels[:, 0]:
        axes.set_ylabel(scale.label)
    handles, labels = panels[0, 0].get_legend_handles_labels()
    if labels:
        figure.legend(handles, labels, loc="outside lower center", ncols=min(len(labels), 3))
    figure.suptitle(note, fontsize=10)
    return figure
