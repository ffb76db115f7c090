"""A study as text: what was varied, what came out, what failed; and its forecast."""

from __future__ import annotations

from typing import Any

import numpy as np

from wearsim.show.study_words import axis_scale, is_number, quantity_scale, scalars
from wearsim.show.text import columns, paragraph
from wearsim.study.cases import FAILURES
from wearsim.study.forecast import Forecast
from wearsim.study.plan import Study
from wearsim.study.result import StudyResult

_WORDS = {"tips_off": "tipped off", "refused": "refused", "no_balance": "found no balance"}


def study_text(result: StudyResult) -> str:
    """Everything to read about a study.

    Parameters
    ----------
    result : StudyResult
    """
    rows: list[tuple[str, ...]] = [("Varied", "from", "to", "values")]
    sampled = [name for name, variable in result.coordinates.items() if variable.dimensions == ("sample",)]
    for name in dict.fromkeys([*result.dimensions, *sampled]):
        rows.append(_varied(result, name))
    found: list[tuple[str, ...]] = [("Came out", "least", "median", "most")]
    for name in scalars(result):
        scale = quantity_scale(result.quantities[name])
        found.append((scale.label, *(f"{number:.4g}" for number in _spread(result, name) / scale.size)))
    parts = ["\n".join(columns(rows, "<>>>")), "\n".join(columns(found, "<>>>")), failures_text(result)]
    return "\n\n".join(part for part in parts if part)


def _varied(result: StudyResult, name: str) -> tuple[str, str, str, str]:
    variable = result.coordinates[name]
    if name == "sample":
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
        return f"{result.cases} cases, none failed."
    lines = [f"{result.cases} cases, {sum(counts.values())} failed:"]
    for kind, count in counts.items():
        first = result.reason(*np.argwhere(result.failure == FAILURES.index(kind))[0])
        lines.append(paragraph(f"{count} {_WORDS[kind]}; the first: {first}", "  ", "    "))
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


def forecast_text(study: Study, ahead: Forecast) -> str:
    """What a dry run says.

    Parameters
    ----------
    study : Study
    ahead : Forecast
    """
    shape = " x ".join(map(str, study.shape))
    runs = f", {ahead.runs} runs of the engine with the draws" if ahead.runs != ahead.cases else ""
    lines = [
        f"Cases          {ahead.cases} ({shape}){runs}",
        f"Expected time  {duration(ahead.seconds)} with {ahead.workers} workers "
        f"({ahead.seconds_per_case * 1e3:.1f} ms a case, {ahead.timed} timed)",
        f"File           {size(ahead.file_bytes)}, as much again for its parts until it is whole",
    ]
    if ahead.failed:
        lines.append(f"Of {ahead.timed} cases that were tried {ahead.failed} fail; they count as done.")
    return "\n".join(lines)


def duration(seconds: float) -> str:
    """A time as a person would say it."""
    if seconds < 90.0:
        return f"{seconds:.0f} s"
    return f"{seconds / 60.0:.0f} min" if seconds < 5400.0 else f"{seconds / 3600.0:.1f} h"


def size(count: int) -> str:
    """A file's size as a person would say it."""
    return f"{count / 1e3:.0f} kB" if count < 1_000_000 else f"{count / 1e6:.1f} MB"
