"""Which defaults were used, as text."""

from __future__ import annotations

from collections.abc import Sequence

from wearsim.bench.piece import DefaultUsed
from wearsim.show.text import paragraph


def defaults_text(used: Sequence[DefaultUsed], *, sources: bool = False) -> str:
    """Defaults by table, a line or two each; or one by one with their sources.

    Parameters
    ----------
    used : sequence of DefaultUsed
    sources : bool
    """
    if sources:
        lines = [paragraph(f"{key} = {value}: {source}", "  ", "      ") for key, value, source in used]
        return "\n".join(["Defaults used, and where they come from:", *lines])
    tables: dict[str, list[str]] = {}
    for key, value, _ in used:
        table, _, name = key.rpartition(".")
        tables.setdefault(table, []).append(f"{name.replace('_', ' ')} {value}")
    alike: dict[str, list[str]] = {}
    for table, items in tables.items():
        alike.setdefault(", ".join(items), []).append(table)
    lines = [paragraph(items, f"  {_joined(names)}: ", "    ") for items, names in alike.items()]
    return "\n".join(["Defaults used (-v: where they come from):", *lines])


def _joined(names: Sequence[str]) -> str:
    """``lap``; or ``spell 1, 3, 4`` for several of a kind."""
    kinds = {name.partition(" ")[0] for name in names}
    if len(names) == 1 or len(kinds) > 1:
        return ", ".join(names)
    return f"{kinds.pop()} " + ", ".join(name.partition(" ")[2] for name in names)
