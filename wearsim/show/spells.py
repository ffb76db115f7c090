"""Spells in words, in a person's own unit of length."""

from __future__ import annotations

from wearsim.bench.programme import Spell
from wearsim.show.lengths import Unit

NAMES = {
    "straight": "straight", "one-third": "one-third", "overhang": "overhang", "w": "W", "oval": "oval",
    "press": "cold pressing",
}  # fmt: skip


def spell_sizes(spell: Spell, diameter: float, unit: Unit) -> str:
    """The sizes of a spell's stroke; empty for a pressing.

    Parameters
    ----------
    spell : Spell
    diameter : float
        Of the mirror [m].
    unit : Unit
        Of lengths.
    """
    if spell.is_press:
        return ""
    stroke = spell.stroke_on(diameter)
    parts = [f"{unit.short(stroke.length)} long"]
    if stroke.side_sweep:
        parts.append(f"{unit.short(stroke.side_sweep)} to each side")
    if stroke.side_overhang:
        parts.append(f"{unit.short(stroke.side_overhang)} off centre")
    return ", ".join(parts)


def spell_title(spell: Spell) -> str:
    """Piece on top, lap and stroke in a few words."""
    lap = f" ({spell.lap})" if spell.lap else ""
    return f"{spell.on_top} on top{lap}, {NAMES[spell.stroke]}"


def spell_words(spell: Spell, diameter: float, unit: Unit) -> str:
    """Title and sizes on one line; arguments as for :func:`spell_sizes`."""
    sizes = spell_sizes(spell, diameter, unit)
    return f"{spell_title(spell)}, {sizes}" if sizes else spell_title(spell)
