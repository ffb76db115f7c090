"""TOML files to benches and programmes, and back; which defaults a file left to wearsim, and their sources."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import Any

from wearsim.bench import materials as catalogue
from wearsim.bench.bench import EDGE_LENGTH_SOURCE, PRESTON_SOURCE, Bench, Spread, Wear, lap_key
from wearsim.bench.fields import DefaultUsed, defaults_of, rule_of, table_of
from wearsim.bench.figure_source import IN_FIGURE, FigureSource, Light
from wearsim.bench.hands import Hands
from wearsim.bench.input_errors import check_keys, in_written_unit, located, parse_toml, read_table, read_text
from wearsim.bench.lap import FROM_PITCH, Lap
from wearsim.bench.mirror import Mirror
from wearsim.bench.personal_units import value_in_units_of
from wearsim.bench.programme import Programme, Spell
from wearsim.bench.units import in_units_of
from wearsim.errors import InputError

_KEYS = ("mirror", "lap", "hands", "wear", "spread", "figure", "light")
_NEEDED = ("mirror", "lap", "figure")
MOST_SPELLS = 1000
MOST_LAPS = 16
"""A judgement: nobody has more for one mirror, and the planar engine keeps a map of each."""


def load_bench(path: str | Path) -> Bench:
    """Read a bench.

    Parameters
    ----------
    path : str or Path
        A ``bench.toml``; or the name of a ready-made bench of ``configs/benches``, where no such file exists.

    Returns
    -------
    Bench
        SI floats, checked; its defaults are in ``defaults_used``.

    Raises
    ------
    InputError
        One line for the first fault: file, key, what came, what is expected.
    """
    file = _bench_file(path)
    text = read_text(file, "a bench in TOML, or one of " + ", ".join(catalogue.names("benches")))
    return bench_from_table(parse_toml(text, file), file=file, text=text)


def _bench_file(path: str | Path) -> Path:
    file = Path(path)
    try:
        there = file.exists()
    except (OSError, ValueError):
        return file
    return file if there else catalogue.ready_bench(str(path)) or file


def bench_from_table(table: dict[str, Any], *, file: Path | None = None, text: str = "") -> Bench:
    """A bench from what its TOML holds.

    Parameters
    ----------
    table : dict
        As ``tomllib`` gives it; quantities are strings with units.
    file : Path, optional
        For error lines; names of files in ``[figure]`` are relative to its folder.
    text : str
        The TOML itself, kept verbatim.

    Raises
    ------
    InputError
        One line for the first fault.
    """
    check_keys(table, _KEYS, file)
    for key in _NEEDED:
        if key not in table:
            hint = f": {IN_FIGURE}" if key == "figure" else ""
            raise InputError("missing", file=file, key=key, expected=f"a table [{key}]{hint}")
    mirror = read_table(Mirror, table["mirror"], "mirror", file)
    laps = _laps(table["lap"], file)
    hands = read_table(Hands, table.get("hands", {}), "hands", file)
    wear = read_table(Wear, table.get("wear", {}), "wear", file)
    spread = read_table(Spread, table.get("spread", {}), "spread", file)
    light = read_table(Light, table.get("light", {}), "light", file)
    figure = _figure(table["figure"], file)
    try:
        bench = Bench(mirror=mirror, laps=laps, hands=hands, wear=wear, spread=spread, figure=figure, light=light)
    except InputError as error:
        raise located(in_written_unit(error, _written(table, error.key)), "", file) from error
    bench = bench.model_copy(update={"file": file, "text": text})
    return bench.model_copy(update={"defaults_used": bench_defaults(bench, table)})


def _laps(table: Any, file: Path | None) -> tuple[Lap, ...]:
    if isinstance(table, list):
        if len(table) > MOST_LAPS:
            expected = f"tables [[lap]], at most {MOST_LAPS}"
            raise InputError("too many laps", file=file, key="lap", value=len(table), expected=expected)
        return tuple(read_table(Lap, lap, lap_key(place, len(table)), file) for place, lap in enumerate(table))
    return (read_table(Lap, table, "lap", file),)


def _written(table: dict[str, Any], key: str | None) -> Any:
    """The value in a bench under a key of an error, such as ``lap.diameter`` or ``lap 2.diameter``."""
    name, _, last = (key or "").rpartition(".")
    laps = table["lap"] if isinstance(table["lap"], list) else [table["lap"]]
    named = {lap_key(place, len(laps)): lap for place, lap in enumerate(laps)}
    piece = (table | named).get(name, {})
    return piece.get(last) if isinstance(piece, dict) else None


def _figure(table: Any, file: Path | None) -> FigureSource:
    return read_table(FigureSource, table, "figure", file, folder=None if file is None else file.parent).loaded(file)


def load_programme(path: str | Path, bench: Bench | None = None) -> Programme:
    """Read a programme.

    Parameters
    ----------
    path : str or Path
        A ``programme.toml``.
    bench : Bench, optional
        Then what this bench cannot do is refused too (:meth:`Programme.check_on`).

    Returns
    -------
    Programme
        SI where it counts, checked; no spells is a valid programme.

    Raises
    ------
    InputError
        One line for the first fault: file, spell and key, what came, what is expected.
    """
    file = Path(path)
    text = read_text(file, "a programme in TOML")
    programme = programme_from_table(parse_toml(text, file), file=file, text=text)
    return programme if bench is None else programme.check_on(bench)


def programme_from_text(text: str, bench: Bench) -> Programme:
    """A programme from its TOML, checked on a bench."""
    return programme_from_table(parse_toml(text, None), text=text).check_on(bench)


def programme_from_table(table: dict[str, Any], *, file: Path | None = None, text: str = "") -> Programme:
    """A programme from what its TOML holds; arguments and errors as for :func:`bench_from_table`."""
    check_keys(table, ("spell",), file)
    spells = table.get("spell", [])
    if not isinstance(spells, list) or len(spells) > MOST_SPELLS:
        expected = f"tables [[spell]], at most {MOST_SPELLS}"
        raise InputError("not a list of spells", file=file, key="spell", value=spells, expected=expected)
    read = tuple(read_table(Spell, spell, f"spell {place}", file) for place, spell in enumerate(spells, start=1))
    return Programme(spells=read, file=file, text=text, defaults_used=programme_defaults(read, spells))


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
        one._replace(
            value=value_in_units_of(bench, one.value),
            source=in_units_of(bench, one.source, loosely=True),
            note=in_units_of(bench, one.note),
        )
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
    return [DefaultUsed("mirror.density", f"{glass.density:g} kg/m^3", f"{mirror.glass}: {glass.density_source}")]


def _of_lap(lap: Lap, given: set[str], key: str) -> list[DefaultUsed]:
    found = []
    for used in defaults_of(lap, given, key):
        name = used.key.rpartition(".")[2]
        if lap.pitch is not None and name in FROM_PITCH:
            used = used._replace(source=f"pitch {lap.pitch}: {catalogue.pitch(lap.pitch).source}")
        found.append(used._replace(note=lap.flow_note) if name == "relaxation_time" else used)
    return found


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
    rule = rule_of(Wear.model_fields["edge_length"])
    lengths = {bench.edge_length_for(lap): None for lap in bench.laps}
    shown = ", ".join(rule.text(length) if rule else repr(length) for length in lengths)
    return [DefaultUsed("wear.edge_length", shown, EDGE_LENGTH_SOURCE)]


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


def spell_shares(spell: Spell, diameter: float) -> dict[str, Any]:
    """The same with its sizes as shares of the mirror's diameter [m]."""
    sizes = {key: getattr(spell, key) for key in ("length", "side_sweep", "side_overhang")}
    shares = {key: round(size.on(diameter) / diameter, 3) for key, size in sizes.items() if size is not None}
    return {**spell_table(spell), **shares}


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
    return spells_text([spell_table(spell) for spell in programme.spells])


def spells_text(tables: Sequence[dict[str, Any]]) -> str:
    """TOML of a programme's spells, each under a head of its own."""
    import tomli_w

    return "\n".join(f"[[spell]]\n{tomli_w.dumps(table)}" for table in tables)
