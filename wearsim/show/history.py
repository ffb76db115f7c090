"""The plot of a mirror's history: the figure against hours of work, and each session's surface read and predicted.

A mirror's history as text: one line a session.

Rounds of a rehearsal as text.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

import numpy as np

from wearsim.bench.mirror import Mirror
from wearsim.kernels.arrays import Floats
from wearsim.learn.history import Entry, History
from wearsim.learn.practice.rehearse import Round
from wearsim.show.calibration import fits_not
from wearsim.show.profiles import draw_left_out
from wearsim.show.strokes import spell_title
from wearsim.show.style import AFTER, BAND, BAND_BEFORE, BEFORE, BLUE, INK, RED, house, sheet
from wearsim.show.text import columns, paragraph
from wearsim.show.units import Unit, height_unit

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure, SubFigure


def history_text(told: History) -> str:
    """Everything to read about a mirror's sessions.

    Parameters
    ----------
    told : History
    """
    high = height_unit(max([told.first_rms, *(entry.measured_rms for entry in told.entries)]))
    rows = [
        ("Session", "Day", "Hours", "RMS read", "90 %", "Predicted", "90 %", "Apart"),
        ("", "", "in all", high.name, high.name, high.name, high.name, high.name),
        ("before", "", "0.0", high.number(told.first_rms), _band(told.first_band, high), "", "", ""),
    ]
    minutes = 0.0
    for entry in told.entries:
        minutes += entry.minutes
        rows.append((
            f"{entry.number}{'' if entry.fits else ' !'}", entry.date.isoformat(), f"{minutes / 60.0:.1f}",
            high.number(entry.measured_rms), _band(entry.measured_band, high), high.number(entry.predicted_rms),
            _band(entry.predicted_band, high), high.number(entry.miss),
        ))  # fmt: skip
    lines = columns(rows, "<<>>>>>>", gap=2)
    note = "RMS of the surface. Predicted: with what was known before the session. Apart: RMS of what was read "
    note += "less what was predicted, profile against profile, the errors of reading in it."
    parts = ["\n".join([*lines, paragraph(note)]), *(_remark(entry, len(told.entries)) for entry in told.entries)]
    if told.is_practice:
        parts.insert(0, "A practice mirror: simulated.")
    return "\n".join(part for part in parts if part)


def _band(band: object, high: Unit) -> str:
    low, top = (float(value) for value in band)  # type: ignore[attr-defined]
    return f"{high.number(low)}-{high.number(top)}"


def _remark(entry: Entry, sessions: int) -> str:
    """A session's notes, and whether its record fits."""
    said = [] if entry.fits else [f"its record does not fit {fits_not(sessions)} and does not count."]
    said += [" ".join(entry.notes.split())] if entry.notes.strip() else []
    return paragraph(" ".join(said), f"{entry.number}: ", "   ") if said else ""


MOST_PANELS = 8
A_ROW = 4
IN_MINUTES = 1.5
"""Below so many hours of work in all, the axis is in minutes [h]."""


def history_figure(told: History, mirror: Mirror, radial: Unit) -> Figure:
    """Plot a history.

    Parameters
    ----------
    told : History
    mirror : Mirror
    radial : Unit
        Of radii.
    """
    shown = told.entries[-MOST_PANELS:]
    rows = -(-len(shown) // A_ROW)
    with house():
        figure = sheet(8.5, 4.0 + 2.5 * rows)
        if not rows:
            _course(figure.subplots(), told)
            return figure
        upper, lower = figure.subfigures(2, 1, squeeze=False, height_ratios=[4.0, 2.5 * rows]).ravel()
        _course(upper.subplots(), told)
        _surfaces(lower, told, shown, mirror, radial, (rows, -(-len(shown) // rows)))
    return figure


def _course(axes: Axes, told: History) -> None:
    """RMS against hours, as read and as predicted, each with its band."""
    high = height_unit(max([told.first_rms, *(entry.measured_rms for entry in told.entries)]))
    worked = np.cumsum([0.0, *(entry.minutes for entry in told.entries)])
    size, name = (1.0, "minutes") if worked[-1] < 60.0 * IN_MINUTES else (60.0, "hours")
    at = worked / size
    read = np.array([told.first_rms, *(entry.measured_rms for entry in told.entries)])
    bands = np.array([told.first_band, *(entry.measured_band for entry in told.entries)])
    _bars(axes, at, read / high.size, bands / high.size, BLUE, "o", "read after, 90 %")
    axes.plot(at, read / high.size, color=BLUE, linewidth=1.0, alpha=0.5)
    if told.entries:
        beside = 0.012 * (at[-1] or 1.0)
        predicted = np.array([entry.predicted_rms for entry in told.entries])
        bands = np.array([entry.predicted_band for entry in told.entries])
        label = "predicted before, 90 %"
        _bars(axes, at[1:] + beside, predicted / high.size, bands / high.size, RED, "D", label)
    axes.set_ylim(0.0, 1.12 * axes.get_ylim()[1])
    for entry, place in zip(told.entries, at[1:], strict=True):  # at the top: nothing else is drawn there
        axes.annotate(_name(entry), (place, 0.985), xycoords=axes.get_xaxis_transform(), ha="center", va="top")
    axes.set_xlabel(f"{name} of work")
    axes.set_ylabel(f"RMS of the surface [{high.name}]")
    axes.legend(loc="lower right", bbox_to_anchor=(1.0, 1.0), ncols=2, borderpad=0.2)
    axes.set_title(_title(told))


def _title(told: History) -> str:
    count = len(told.entries)
    text = "1 session" if count == 1 else f"{count} sessions"
    text += ", simulated" if told.is_practice else ""
    return text if all(entry.fits for entry in told.entries) else f"{text}; (!) does not fit"


def _name(entry: Entry) -> str:
    return f"{entry.number}" + ("" if entry.fits else " (!)")


def _bars(axes: Axes, x: Floats, y: Floats, band: Floats, colour: str, marker: str, label: str) -> None:
    axes.vlines(x, band[:, 0], band[:, 1], color=colour, linewidth=1.4)
    face = colour if marker == "o" else "white"
    axes.plot(x, y, marker, color=colour, markerfacecolor=face, markersize=6, label=label)


def _surfaces(
    figure: SubFigure, told: History, shown: tuple[Entry, ...], mirror: Mirror, radial: Unit,
    shape: tuple[int, int],
) -> None:  # fmt: skip
    """A panel a session: the surface as read, and as it was predicted."""
    panels = figure.subplots(*shape, squeeze=False, sharex=True, sharey=True)
    high = height_unit(max(float(np.abs(entry.measured).max()) for entry in shown))
    radius = told.radius / radial.size
    for axes, entry in zip(panels.flat, shown, strict=False):
        axes.axhline(0.0, color=INK, linewidth=0.6)
        if entry.measured_profile_band is not None:
            axes.fill_between(radius, *entry.measured_profile_band / high.size, label="read, 90 %", **BAND)
        if entry.predicted_profile_band is not None:
            ends = entry.predicted_profile_band / high.size
            axes.fill_between(radius, *ends, label="predicted, 90 %", **BAND_BEFORE)
        axes.plot(radius, entry.predicted / high.size, label="predicted", **BEFORE)
        axes.plot(radius, entry.measured / high.size, label="read", **AFTER)
        draw_left_out(axes, mirror, radial)
        axes.set_title(f"session {_name(entry)}", fontsize=10)
        axes.set_xlim(0.0, mirror.radius / radial.size)
    for axes in list(panels.flat)[len(shown) :]:
        axes.set_axis_off()
    figure.legend(*panels[0, 0].get_legend_handles_labels(), loc="outside upper right", ncols=4, fontsize=8)
    figure.supxlabel(f"radius on the mirror [{radial.name}]", fontsize=9)
    figure.supylabel(f"surface [{high.name}]", fontsize=9)


def round_text(one: Round) -> str:
    """What was worked in a round, what was predicted, and what came of it.

    Parameters
    ----------
    one : Round
    """
    high = height_unit(max(one.before, one.measured))
    low, top = one.predicted_band
    spells = "; ".join(f"{spell_title(spell)} {spell.minutes:g} min" for spell in one.programme.spells)
    text = (
        f"{spells}. RMS of the surface {high.number(one.before)} {high.name} read before, "
        f"{high.number(one.predicted)} predicted ({high.number(low)} to {high.number(top)}), "
        f"{high.text(one.measured)} read after."
    )
    return paragraph(text, f"Session {one.number}: ", "    ")


def ending_text(rounds: Sequence[Round]) -> str:
    """The figure reached, as it really is: a practice mirror can tell.

    Parameters
    ----------
    rounds : sequence of Round
    """
    if not rounds:
        return "No session was worked."
    first, last = rounds[0], rounds[-1]
    high = height_unit(max(first.true_before, last.true))
    minutes = sum(spell.minutes for one in rounds for spell in one.programme.spells)
    return paragraph(
        f"After {len(rounds)} session{'s' if len(rounds) > 1 else ''} and {minutes:g} minutes the surface really is "
        f"{high.text(last.true)} RMS (it was {high.text(first.true_before)}); read it is {high.text(last.measured)}."
    )
