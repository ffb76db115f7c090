"""What is printed beside an answer: cautions for work on glass by hand, the defaults used, the wait before a reading."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from wearsim.bench.fields import DefaultUsed
from wearsim.bench.mirror import Mirror
from wearsim.knifeedge.cooling import cooling
from wearsim.show.text import paragraph

HEAVY = 20.0
"""From here on two people lift [kg] (common practice, no source)."""
FIRST_OF_ALL = "Local regulations and the advice of licensed or qualified people come first."
CAUTIONS = (
    "Large glass is heavy, and slippery when wet: above about 20 kg (45 lb) lift it with a second person or a hoist. (One "
    "country's limit: lifting constant 23 kg, NIOSH, United States, from memory.)",
    "Hot pitch burns: wear gloves, long sleeves and eye protection. It must not smoke. Keep it away from flame.",
    "Solvents: take the pot off the heat before you open any solvent, and ventilate the room well.",
    "Grind, polish and clean up wet; wear a respirator for dry powder. Cerium oxide dust irritates eyes, skin and airways. "
    "(One country's limit for respirable crystalline silica: 0.05 mg/m^3, NIOSH, United States.)",
    "Bright light: never let the Sun fall on a polished mirror. Never look at the Sun, or into a laser or a bright "
    "test lamp, directly or reflected in the mirror.",
    FIRST_OF_ALL,
)
ON_THE_CARD = (
    "Wet glass is slippery: above about 20 kg (45 lb) lift it with a second person or a hoist.",
    "Hot pitch burns: wear gloves and eye protection; no flame; it must not smoke. Solvent: heat off first, windows open.",
    "Work and clean up wet; wear a respirator for dry silica or cerium oxide.",
    "Never look at the Sun, a laser or a bright test lamp, directly or in the mirror.",
    FIRST_OF_ALL,
)
"""The same for the bench card, short enough for type that is read at arm's length; sources and limits are above."""
IN_SHORT = f"Caution: heavy wet glass, hot pitch, dust, bright light (-v: more).\n{FIRST_OF_ALL}"
AT_THE_LIGHT = f"Caution: never look at the Sun, or into a laser or bright test lamp (-v: more).\n{FIRST_OF_ALL}"


WHERE_FROM = (
    "Defaults used, and where they come from (judgement: our own estimate; [read]: seen in the source; [memory]: quoted "
    "from memory; [derived]: calculated):"
)


def cautions_text(*, whole: bool = False, at_the_light: bool = False) -> str:
    """Two lines, of the test where it is near the light source; or all of them."""
    if not whole:
        return AT_THE_LIGHT if at_the_light else IN_SHORT
    return "\n".join(["Cautions:", *(paragraph(line, "  ", "    ") for line in CAUTIONS)])


def defaults_text(used: Sequence[DefaultUsed], *, sources: bool = False) -> str:
    """Defaults by table, a line or two each; or one by one with their sources."""
    if sources:
        lines = [paragraph(f"{one.key} = {one.value}: {one.why}", "  ", "      ") for one in used]
        return "\n".join([paragraph(WHERE_FROM), *lines])
    tables: dict[str, list[str]] = {}
    for one in used:
        table, _, name = one.key.rpartition(".")
        tables.setdefault(table, []).append(f"{name.replace('_', ' ')} {one.value}")
    alike: dict[str, list[str]] = {}
    for table, items in tables.items():
        alike.setdefault(", ".join(items), []).append(table)
    lines = [paragraph(items, f"  {_joined(names)}: ", "    ") for items, names in alike.items()]
    lines += [paragraph(f"Note on {one.key} = {one.value}: {one.note}", "  ", "    ") for one in used if one.note]
    return "\n".join(["Defaults used (-v: where they come from):", *lines])


def _joined(names: Sequence[str]) -> str:
    """``lap``; or ``spell 1, 3, 4`` for several of a kind."""
    kinds = {name.partition(" ")[0] for name in names}
    if len(names) == 1 or len(kinds) > 1:
        return ", ".join(names)
    return f"{kinds.pop()} " + ", ".join(name.partition(" ")[2] for name in names)


def is_heavy(mirror: Mirror) -> bool:
    """Whether two people lift it."""
    return mirror.piece_mass > HEAVY


def waiting_text(mirror: Mirror) -> str:
    """One sentence."""
    return f"Let the glass cool for {waiting_time(mirror)} before testing; warm glass gives false readings."


def waiting_time(mirror: Mirror) -> str:
    """How long the glass has to cool after long work: it counts on glass that is warm through."""
    return time_words(cooling(mirror.diameter, mirror.thickness, mirror.material).time)


def time_words(seconds: float) -> str:
    """A time to wait, rounded up: to five minutes, from an hour on to half hours."""
    if seconds <= 3600.0:
        return f"{5.0 * np.ceil(seconds / 300.0):.0f} min"
    return f"about {0.5 * np.ceil(seconds / 1800.0):g} h"
