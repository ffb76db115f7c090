"""Files to benches and programmes, and back."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from wearsim.bench import catalogue
from wearsim.bench.bench import Bench, lap_key
from wearsim.bench.defaults import bench_defaults, programme_defaults
from wearsim.bench.dump import dump_bench, dump_programme
from wearsim.bench.faults import as_written, check_keys, placed, read_piece
from wearsim.bench.figure import FigureSource, Light
from wearsim.bench.hands import Hands
from wearsim.bench.lap import Lap
from wearsim.bench.mirror import Mirror
from wearsim.bench.programme import Programme, Spell
from wearsim.bench.reading import check_readable, parse_toml, read_text
from wearsim.bench.wear import Spread, Wear
from wearsim.errors import InputError

__all__ = [
    "bench_from_table",
    "dump_bench",
    "dump_programme",
    "load_bench",
    "load_programme",
    "programme_from_table",
]

_KEYS = ("mirror", "lap", "hands", "wear", "spread", "figure", "light")
_NEEDED = ("mirror", "lap", "figure")
MOST_SPELLS = 1000


def load_bench(path: str | Path) -> Bench:
    """Read a bench.

    Parameters
    ----------
    path : str or Path
        A ``bench.toml``; or the name of a ready bench of ``configs/benches``, where no such file exists.

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
            raise InputError("missing", file=file, key=key, expected=f"a table [{key}]")
    mirror = read_piece(Mirror, table["mirror"], "mirror", file)
    laps = _laps(table["lap"], file)
    hands = read_piece(Hands, table.get("hands", {}), "hands", file)
    wear = read_piece(Wear, table.get("wear", {}), "wear", file)
    spread = read_piece(Spread, table.get("spread", {}), "spread", file)
    light = read_piece(Light, table.get("light", {}), "light", file)
    figure = _figure(table["figure"], file)
    try:
        bench = Bench(
            mirror=mirror, laps=laps, hands=hands, wear=wear, spread=spread, figure=figure, light=light
        )
    except InputError as error:
        raise placed(as_written(error, _written(table, error.key)), "", file) from error
    bench = bench.model_copy(update={"file": file, "text": text})
    return bench.model_copy(update={"defaults_used": bench_defaults(bench, table)})


def _laps(table: Any, file: Path | None) -> tuple[Lap, ...]:
    if isinstance(table, list):
        return tuple(
            read_piece(Lap, lap, lap_key(place, len(table)), file) for place, lap in enumerate(table)
        )
    return (read_piece(Lap, table, "lap", file),)


def _written(table: dict[str, Any], key: str | None) -> Any:
    """What stands in a bench under a key of an error, such as ``lap.diameter`` or ``lap 2.diameter``."""
    name, _, last = (key or "").rpartition(".")
    laps = table["lap"] if isinstance(table["lap"], list) else [table["lap"]]
    named = {lap_key(place, len(laps)): lap for place, lap in enumerate(laps)}
    return (named | table).get(name, {}).get(last)


def _figure(table: Any, file: Path | None) -> FigureSource:
    figure = read_piece(FigureSource, table, "figure", file, folder=None if file is None else file.parent)
    if figure.path is not None:
        check_readable(figure.path, f"a {figure.kind} file", f"figure.{figure.kind}", file)
    return figure


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


def programme_from_table(table: dict[str, Any], *, file: Path | None = None, text: str = "") -> Programme:
    """A programme from what its TOML holds; arguments and errors as for :func:`bench_from_table`."""
    check_keys(table, ("spell",), file)
    spells = table.get("spell", [])
    if not isinstance(spells, list) or len(spells) > MOST_SPELLS:
        expected = f"tables [[spell]], at most {MOST_SPELLS}"
        raise InputError("not a list of spells", file=file, key="spell", value=spells, expected=expected)
    read = tuple(
        read_piece(Spell, spell, f"spell {place}", file) for place, spell in enumerate(spells, start=1)
    )
    return Programme(spells=read, file=file, text=text, defaults_used=programme_defaults(read, spells))
