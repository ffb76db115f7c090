"""What a bench risks, as it is read: each effect that a prediction leaves out, its size, and what to do about it."""

from __future__ import annotations

from collections.abc import Sequence

from wearsim.bench.personal_units import height_unit
from wearsim.show.text import paragraph, table
from wearsim.wear.bench_risks import LARGE, Risk

NOTE = (
    "Surface, RMS, piston and focus taken out; an estimate for 20 minutes of work, good to a factor of two. Pads: the "
    "full sag, as if the mirror had lain on the same pads for hours without being turned."
)
LARGE_NOTE = f" * more than {LARGE:g} wave of the wavefront."
_WHEN = {"tool": "tool on top", "mirror": "mirror on top", "either": "whichever piece is on top"}


def risks_text(risks: Sequence[Risk], wavelength: float) -> str:
    """A table of risks, and what its numbers are; ``wavelength`` [m]."""
    rows = [
        (f"{'*' if risk.is_large(wavelength) else ''}{risk.words}, {_WHEN[risk.on_top]}", *_sizes(risk), risk.advice)
        for risk in risks
    ]
    high = height_unit(0.0).name
    lines = table(("Effect not modelled", high, f"never\nturned\n{high}", "What to do"), rows, words=(0, 3))
    starred = LARGE_NOTE if any(risk.is_large(wavelength) for risk in risks) else ""
    return f"{lines}\n{paragraph(NOTE + starred)}"


def _sizes(risk: Risk) -> tuple[str, str]:
    """The RMS as it is worked, and if the mirror is never turned in the hands, where that differs."""
    return _size(risk.rms), _size(risk.careless) if risk.careless > risk.rms else ""


def _size(height: float) -> str:
    """A height that is there, but rounds to nothing, as less than the last digit."""
    unit = height_unit(0.0)
    least = 10.0**-unit.decimals
    return unit.number(height) if height == 0.0 or height >= 0.5 * least * unit.size else f"<{least:g}"
