"""Benches and programmes to TOML text that reads back as the very same."""

from __future__ import annotations

from typing import Any

from wearsim.bench.bench import Bench
from wearsim.bench.piece import table_of
from wearsim.bench.programme import Programme, Spell


def bench_table(bench: Bench) -> dict[str, Any]:
    """What a bench's TOML holds, every key written out, quantities in people's units."""
    laps = [table_of(lap) for lap in bench.laps]
    tables: dict[str, Any] = {"mirror": table_of(bench.mirror), "lap": laps[0] if len(laps) == 1 else laps}
    for key in ("hands", "wear", "spread", "figure", "light"):
        tables[key] = table_of(getattr(bench, key))
    return tables


def spell_table(spell: Spell) -> dict[str, Any]:
    """What a spell's TOML holds, every key that its stroke has a use for written out."""
    return table_of(spell)


def dump_bench(bench: Bench) -> str:
    """TOML of a bench, every key written out; reading it gives an equal bench.

    Files named in ``[figure]`` stand with their full path where the bench was read from a file.

    Parameters
    ----------
    bench : Bench

    Returns
    -------
    str
        For a file ``bench.toml``.
    """
    import tomli_w

    text: str = tomli_w.dumps(bench_table(bench))
    return text


def dump_programme(programme: Programme) -> str:
    """TOML of a programme; reading it gives an equal programme.

    Parameters
    ----------
    programme : Programme

    Returns
    -------
    str
        For a file ``programme.toml``.
    """
    import tomli_w

    text: str = tomli_w.dumps({"spell": [spell_table(spell) for spell in programme.spells]})
    return text
