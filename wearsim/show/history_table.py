"""A mirror's history as text: one line a session."""

from __future__ import annotations

from wearsim.learn.history import Entry, History
from wearsim.show.calibration_table import fits_not
from wearsim.show.lengths import Unit, height_unit
from wearsim.show.text import columns, paragraph


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
    note = (
        "RMS of the surface. Predicted: with what was known before the session. Apart: RMS of what was read "
    )
    note += "less what was predicted, profile against profile, the errors of reading in it."
    parts = [
        "\n".join([*lines, paragraph(note)]),
        *(_remark(entry, len(told.entries)) for entry in told.entries),
    ]
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
