"""Cautions to show to whoever works glass by hand.

Sources as labelled: [read] seen in the source, [memory] recalled and not looked up.
"""

from __future__ import annotations

from wearsim.show.text import paragraph

CAUTIONS = (
    "Large glass is heavy, and slippery when wet: a second person or a hoist above about 20 kg "
    "(NIOSH lifting constant 23 kg, from memory).",
    "Hot pitch burns. It must not smoke; keep it away from flame, and take the pot off the heat before any "
    "solvent is opened.",
    "Grind, polish and clean up wet; a respirator for dry powder. Limit for respirable crystalline silica: "
    "0.05 mg/m^3 (NIOSH). Cerium oxide dust irritates eyes, skin and airways.",
    "Do not stare into bright sources.",
    "Local rules and qualified practice come first.",
)
ON_THE_CARD = (
    "Wet glass is slippery: above about 20 kg lift it with a second person or a hoist.",
    "Hot pitch burns: it must not smoke; no flame; off the heat before any solvent is opened.",
    "Work and clean up wet; for dry powder (silica, cerium oxide) a respirator.",
    "Do not stare into bright sources.",
    "Local rules and qualified practice come first.",
)
"""The same for the bench card, short enough for type that is read at arm's length; sources and limits stand above."""
IN_SHORT = "Caution: heavy wet glass, hot pitch, dust. Local rules come first (-v: more)."


def cautions_text(*, whole: bool = False) -> str:
    """One line, or all of them."""
    if not whole:
        return IN_SHORT
    return "\n".join(["Cautions:", *(paragraph(line, "  ", "    ") for line in CAUTIONS)])
