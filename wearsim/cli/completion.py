"""What a shell completes names to: ready-made benches, glasses, pitches, abrasives and studies, beside files and folders.

A shell waits for the answer, so nothing is imported but the standard library.
"""

from __future__ import annotations

import tomllib
from pathlib import Path

_INSIDE = Path(__file__).parents[1] / "configs"
CONFIGS = _INSIDE if _INSIDE.is_dir() else _INSIDE.parents[1] / "configs"
"""Where the ready-made files are: inside the installed package, or beside it in a checkout."""


def benches(incomplete: str) -> list[str]:
    """Ready-made benches, folders and files that a bench may be in."""
    return [*_stems("benches", incomplete), *_files(incomplete, ".toml")]


def studies(incomplete: str) -> list[str]:
    """Ready-made studies, folders and files that a study may be in."""
    return [*_stems("studies", incomplete), *_files(incomplete, ".toml")]


def glasses(incomplete: str) -> list[str]:
    """Glasses that a bench may name."""
    return _tables("glasses", incomplete)


def pitches(incomplete: str) -> list[str]:
    """Pitches that a bench may name."""
    return _tables("pitches", incomplete)


def abrasives(incomplete: str) -> list[str]:
    """Abrasives that a bench may name."""
    return _tables("abrasives", incomplete)


def repertoires(incomplete: str) -> list[str]:
    """Sets of strokes that a proposal may use."""
    return [name for name in ("common", "any") if name.startswith(incomplete)]


def _stems(room: str, incomplete: str) -> list[str]:
    return sorted(path.stem for path in (CONFIGS / room).glob("*.toml") if path.stem.startswith(incomplete))


def _tables(name: str, incomplete: str) -> list[str]:
    with (CONFIGS / f"{name}.toml").open("rb") as file:
        return sorted(table for table in tomllib.load(file) if table.startswith(incomplete))


def _files(incomplete: str, ending: str) -> list[str]:
    """What lies where the name points: folders with a slash behind them, files of this ending."""
    before, slash, begun = incomplete.rpartition("/")
    folder = Path(before + slash or ".")
    if not folder.is_dir():
        return []
    there = (path for path in folder.iterdir() if path.name.startswith(begun) and path.name[0] != ".")
    return sorted(
        before + slash + path.name + "/" * path.is_dir() for path in there if path.is_dir() or path.suffix == ending
    )
