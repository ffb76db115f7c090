"""A mirror's history as it is read and plotted, a line and a panel per session; the rounds of a rehearsal."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

import numpy as np

from wearsim.bench.mirror import Mirror
from wearsim.bench.personal_units import height_unit
from wearsim.bench.units import LengthUnit, counted
from wearsim.kernels.arrays import Floats
from wearsim.learn.history import Entry, History
from wearsim.learn.mirror_folder import KeptRecord
from wearsim.learn.practice.rehearse import Round
from wearsim.show.calibration import fits_not
from wearsim.show.profiles import draw_left_out
from wearsim.show.strokes import rows_for, spell_title
from wearsim.show.style import AFTER, BAND, BAND_BEFORE, BEFORE, BLUE, INK, RED, new_figure, plot_style
from wearsim.show.text import band_words, banded, paragraph, table

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure, SubFigure


BROUGHT_BACK = "To restore a kept record: wearsim record FOLDER --restore NAME."
MOST_PANELS = 8
IN_MINUTES = 1.5
"""Below so many hours of work in all, the axis is in minutes [h]."""


def history_text(history: History) -> str:
    """Everything to read about a mirror's sessions."""
    high, entries = _heights(history), history.entries
    hours = np.cumsum([0.0, *(entry.minutes for entry in entries)]) / 60.0
    bands = [history.first_band, *(entry.measured_band for entry in entries)]
    read = banded([history.first_rms, *(entry.measured_rms for entry in entries)], bands, high.number)
    predicted = banded(
        [entry.predicted_rms for entry in entries], [entry.predicted_band for entry in entries], high.number
    )
    known = banded([entry.known.rms for entry in entries], [entry.known.band for entry in entries], high.number)
    rows = zip(
        ["before", *(f"{entry.number}{'' if entry.fits else ' !'}" for entry in entries)],
        ["", *(entry.date.isoformat() for entry in entries)],
        [f"{hour:.1f}" for hour in hours],
        read,
        [("", ""), *known],
        [("", ""), *predicted],
        ["", *(high.number(entry.prediction_error) for entry in entries)],
        strict=True,
    )
    heads = [
        "Session",
        "Date",
        "Total\nhours",
        *(f"{name}\n{high.name}" for name in ("Measured RMS", "Best estimate", "Predicted", "Error")),
    ]
    note = "RMS of the surface. Measured: from this test alone. Best estimate: from all predictions and tests so far. "
    note += (
        "Predicted: from what was known before the session. Error: RMS of measured minus predicted profile, reading "
    )
    note += "errors included; two profiles of the same RMS can differ, so it is not the difference of the two columns."
    if not entries:
        note = "RMS of the surface before the first session; none is recorded yet."
    parts = [
        "A practice mirror: simulated." if history.is_practice else "",
        table(heads, rows, words=(0, 1), band="90%"),
        paragraph(note),
        *(_remark(entry, len(history.entries)) for entry in history.entries),
        *map(_set_aside, history.set_aside),
        paragraph(BROUGHT_BACK) if history.set_aside or any(entry.earlier for entry in history.entries) else "",
    ]
    return "\n".join(part for part in parts if part)


def _heights(history: History) -> LengthUnit:
    """The unit in which the RMS figure errors are read."""
    return height_unit(max([history.first_rms, *(entry.measured_rms for entry in history.entries)]))


def _remark(entry: Entry, sessions: int) -> str:
    """Whether a session's record fits, what became of that record, what was edited in it, and its notes."""
    said = [] if entry.fits else [f"its record does not agree with {fits_not(sessions)} and is given little weight"]
    said += [f"corrected; the earlier record is in {', '.join(entry.earlier)}"] if entry.earlier else []
    said += ["confirmed as recorded"] if entry.confirmed else []
    said += [f"{one.what} (last written {one.modified.astimezone():%Y-%m-%d %H:%M})" for one in entry.changes]
    parts = ["; ".join(said) + "."] if said else []
    parts += [" ".join(entry.notes.split())] if entry.notes.strip() else []
    return paragraph(" ".join(parts), f"{entry.number}: ", "   ") if parts else ""


def _set_aside(record: KeptRecord) -> str:
    """A session that is set aside, and where it is kept."""
    what = (
        "its files cannot be read"
        if record.minutes is None
        else f"{record.date}, {counted(record.minutes, 'minute')} of work"
    )
    return paragraph(f"set aside ({what}); kept in {record.path.name}.", f"{record.number}: ", "   ")


def history_figure(history: History, mirror: Mirror, radial: LengthUnit) -> Figure:
    """Plot a history."""
    shown = history.entries[-MOST_PANELS:]
    rows = rows_for(len(shown))
    heights = [4.0] + [2.5 * rows] * bool(rows)
    with plot_style():
        figure = new_figure(8.5, sum(heights))
        upper, *lower = figure.subfigures(len(heights), 1, squeeze=False, height_ratios=heights).ravel()
        _draw_course(upper.subplots(), history)
        if rows:
            _draw_surfaces(lower[0], history, shown, mirror, radial)
    return figure


def _draw_course(axes: Axes, history: History) -> None:
    """RMS against hours, as measured and as predicted, each with its band."""
    high = _heights(history)
    worked = np.cumsum([0.0, *(entry.minutes for entry in history.entries)])
    size, name = (1.0, "minutes") if worked[-1] < 60.0 * IN_MINUTES else (60.0, "hours")
    at = worked / size
    read = np.array([history.first_rms, *(entry.measured_rms for entry in history.entries)])
    bands = np.array([history.first_band, *(entry.measured_band for entry in history.entries)])
    _draw_bands(axes, at, read / high.size, bands / high.size, BLUE, "o", "measured after, 90%")
    axes.plot(at, read / high.size, color=BLUE, linewidth=1.0, alpha=0.5)
    if history.entries:
        beside = 0.012 * (at[-1] or 1.0)
        predicted = np.array([entry.predicted_rms for entry in history.entries])
        bands = np.array([entry.predicted_band for entry in history.entries])
        label = "predicted before, 90%"
        _draw_bands(axes, at[1:] + beside, predicted / high.size, bands / high.size, RED, "D", label)
        known = np.array([entry.known.rms for entry in history.entries])
        bands = np.array([entry.known.band for entry in history.entries])
        _draw_bands(axes, at[1:] - beside, known / high.size, bands / high.size, INK, "s", "best estimate after, 90%")
    axes.set_ylim(0.0, 1.12 * axes.get_ylim()[1])
    for entry, place in zip(history.entries, at[1:], strict=True):  # at the top: nothing else is drawn there
        axes.annotate(_name(entry), (place, 0.985), xycoords=axes.get_xaxis_transform(), ha="center", va="top")
    axes.set_xlabel(f"{name} of work")
    axes.set_ylabel(f"RMS of the surface [{high.name}]")
    axes.legend(loc="lower right", bbox_to_anchor=(1.0, 1.0), ncols=2, borderpad=0.2)
    axes.set_title(_title(history))


def _title(history: History) -> str:
    count = len(history.entries)
    text = counted(count, "session")
    text += ", simulated" if history.is_practice else ""
    return text if all(entry.fits for entry in history.entries) else f"{text}; (!) does not fit"


def _name(entry: Entry) -> str:
    return f"{entry.number}" + ("" if entry.fits else " (!)")


def _draw_bands(axes: Axes, x: Floats, y: Floats, band: Floats, colour: str, marker: str, label: str) -> None:
    axes.vlines(x, band[:, 0], band[:, 1], color=colour, linewidth=1.4)
    face = colour if marker == "o" else "white"
    axes.plot(x, y, marker, color=colour, markerfacecolor=face, markersize=6, label=label)


def _draw_surfaces(
    figure: SubFigure, history: History, shown: tuple[Entry, ...], mirror: Mirror, radial: LengthUnit
) -> None:
    """A panel per session: the surface as measured, and as it was predicted."""
    rows = rows_for(len(shown))
    panels = figure.subplots(rows, -(-len(shown) // rows), squeeze=False, sharex=True, sharey=True)
    high = height_unit(max(float(np.abs(entry.measured).max()) for entry in shown))
    radius = history.radius / radial.size
    for axes, entry in zip(panels.flat, shown, strict=False):
        axes.axhline(0.0, color=INK, linewidth=0.6)
        if entry.measured_profile_band is not None:
            axes.fill_between(radius, *entry.measured_profile_band / high.size, label="measured, 90%", **BAND)
        if entry.predicted_profile_band is not None:
            ends = entry.predicted_profile_band / high.size
            axes.fill_between(radius, *ends, label="predicted, 90%", **BAND_BEFORE)
        axes.plot(radius, entry.predicted / high.size, label="predicted", **BEFORE)
        axes.plot(radius, entry.measured / high.size, label="measured", **AFTER)
        draw_left_out(axes, mirror, radial)
        axes.set_title(f"session {_name(entry)}{', corrected' if entry.earlier else ''}", fontsize=10)
        axes.set_xlim(0.0, mirror.radius / radial.size)
    for axes in list(panels.flat)[len(shown) :]:
        axes.set_axis_off()
    figure.legend(*panels[0, 0].get_legend_handles_labels(), loc="outside upper right", ncols=4, fontsize=8)
    figure.supxlabel(f"radius on the mirror [{radial.name}]", fontsize=9)
    figure.supylabel(f"surface [{high.name}]", fontsize=9)


def round_text(one: Round) -> str:
    """What was done in a round, what was predicted, and what was measured."""
    high = height_unit(max(one.before, one.measured))
    spells = "; ".join(f"{spell_title(spell)} {spell.minutes:g} min" for spell in one.programme.spells)
    text = (
        f"{spells}. RMS of the surface {high.number(one.before)} {high.name} measured before, "
        f"{high.number(one.predicted)} predicted ({band_words(one.predicted_band, high.number)}), "
        f"{high.text(one.measured)} measured after."
    )
    return paragraph(text, f"Session {one.number}: ", "    ")


def ending_text(rounds: Sequence[Round]) -> str:
    """The true figure reached, which is known for a practice mirror."""
    if not rounds:
        return "No session was carried out."
    first, last = rounds[0], rounds[-1]
    high = height_unit(max(first.true_before, last.true))
    minutes = sum(spell.minutes for one in rounds for spell in one.programme.spells)
    return paragraph(
        f"After {counted(len(rounds), 'session')} and {counted(minutes, 'minute')} of work the true RMS of "
        f"the surface is {high.text(last.true)} ({high.text(first.true_before)} at the start); the test gives "
        f"{high.text(last.measured)}."
    )
