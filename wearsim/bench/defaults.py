"""Which defaults a file left to wearsim, and where they come from."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from wearsim.bench import catalogue
from wearsim.bench.bench import Bench, lap_key
from wearsim.bench.lap import FROM_PITCH, Lap
from wearsim.bench.lengths import in_units_of
from wearsim.bench.piece import DefaultUsed, defaults_of, kind_of
from wearsim.bench.programme import Spell
from wearsim.bench.wear import EDGE_LENGTH_SOURCE, PRESTON_SOURCE, Wear


def bench_defaults(bench: Bench, table: dict[str, Any]) -> tuple[DefaultUsed, ...]:
    """Every default that a bench took because its file did not give the key, in the units of that file."""
    laps = table["lap"] if isinstance(table["lap"], list) else [table["lap"]]
    used = defaults_of(bench.mirror, set(table["mirror"]), "mirror") + _density(bench)
    for place, (lap, given) in enumerate(zip(bench.laps, laps, strict=True)):
        used += _of_lap(lap, set(given), lap_key(place, len(laps)))
    used += defaults_of(bench.hands, set(table.get("hands", {})), "hands")
    used += _preston(bench) + defaults_of(bench.wear, set(table.get("wear", {})), "wear") + _edge(bench)
    for key in ("spread", "light"):
        used += defaults_of(getattr(bench, key), set(table.get(key, {})), key)
    return tuple(
        one._replace(value=in_units_of(bench, one.value), source=in_units_of(bench, one.source))
        for one in used
    )


def programme_defaults(spells: Sequence[Spell], tables: Sequence[dict[str, Any]]) -> tuple[DefaultUsed, ...]:
    """Every default that a programme took because its file did not give the key."""
    return tuple(
        default
        for place, (spell, table) in enumerate(zip(spells, tables, strict=True), start=1)
        for default in defaults_of(spell, set(table), f"spell {place}")
    )


def _density(bench: Bench) -> list[DefaultUsed]:
    mirror = bench.mirror
    if mirror.mass is not None or mirror.density is not None:
        return []
    glass = catalogue.glass(mirror.glass)
    return [
        DefaultUsed("mirror.density", f"{glass.density:g} kg/m^3", f"{mirror.glass}: {glass.density_source}")
    ]


def _of_lap(lap: Lap, given: set[str], key: str) -> list[DefaultUsed]:
    if lap.pitch is None:
        return defaults_of(lap, given, key)
    source = f"pitch {lap.pitch}: {catalogue.pitch(lap.pitch).source}"
    return [
        used._replace(source=source) if used.key.rpartition(".")[2] in FROM_PITCH else used
        for used in defaults_of(lap, given, key)
    ]


def _preston(bench: Bench) -> list[DefaultUsed]:
    if bench.wear.preston is not None:
        return []
    glass, abrasive = catalogue.glass(bench.mirror.glass), catalogue.abrasive(bench.wear.abrasive)
    source = PRESTON_SOURCE
    if glass.wear != 1:
        source += f"; x {glass.wear:g} for {bench.mirror.glass} ({glass.wear_source})"
    if abrasive.wear != 1:
        source += f"; x {abrasive.wear:g} for {bench.wear.abrasive} ({abrasive.wear_source})"
    return [DefaultUsed("wear.preston", f"{bench.preston:.4g} / Pa", source)]


def _edge(bench: Bench) -> list[DefaultUsed]:
    if bench.wear.edge_length is not None:
        return []
    kind = kind_of(Wear.model_fields["edge_length"])
    lengths = {bench.edge_length_for(lap): None for lap in bench.laps}
    shown = ", ".join(kind.say(length) if kind else repr(length) for length in lengths)
    return [DefaultUsed("wear.edge_length", shown, EDGE_LENGTH_SOURCE)]
