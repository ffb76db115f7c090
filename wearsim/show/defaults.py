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
    width = max(map(len, tables)) + 4
    lines = [
        paragraph(", ".join(items), f"  {table}".ljust(width), " " * width) for table, items in tables.items()
    ]
    return "\n".join(["Defaults used (-v: where they come from):", *lines])
