"""Malformed programmes: each gives one clear line that names the file, the spell and the key."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest

from wearsim.bench.toml_io import load_bench, load_programme

# what stands in a sound programme, what stands there instead, and what the line must say
MALFORMED = [
    ("minutes = 10", "minutes = 0", ["spell 1.minutes", "too small", "from 1e-05"]),
    ("minutes = 10", "minutes = -3", ["spell 1.minutes", "too small"]),
    ("minutes = 10", "minutes = 10001", ["spell 1.minutes", "too large", "10000"]),
    ("minutes = 10", "minutes = nan", ["spell 1.minutes", "not a finite number"]),
    ("minutes = 10", 'minutes = "10 min"', ["spell 1.minutes", "wrong type", "a plain number"]),
    ("minutes = 10", "", ["spell 1.minutes", "missing"]),
    ("minutes = 5", "", ["spell 2.minutes", "missing"]),
    ("minutes = 10", "minuts = 10", ["spell 1.minuts", "unknown key", '"minutes"']),
    ("side_sweep = 0.2", "side = 0.2", ["spell 1.side", "unknown key", '"side_sweep"']),
    ("side_overhang = 0.0", "off_centre = 0.1", ["spell 1.off_centre", "unknown key", '"side_overhang"']),
    ('stroke = "w"', "", ["spell 1.stroke", "missing", '"one-third"']),
    ('stroke = "w"', 'stroke = "W"', ["spell 1.stroke", "not one of the choices", '"one-third"']),
    ('stroke = "w"', "stroke = 3", ["spell 1.stroke", "not one of the choices"]),
    ('on_top = "tool"', 'on_top = "lap"', ["spell 1.on_top", '"mirror"']),
    ("length = 0.5", "length = 150", ["spell 1.length", "fraction of the mirror's diameter", '"150 mm"']),
    ("length = 0.5", "length = 0", ["spell 1.length", "too small"]),
    ("length = 0.5", 'length = "-1 mm"', ["spell 1.length", "too small"]),
    ("length = 0.5", 'length = "150 N"', ["spell 1.length", "wrong kind of unit"]),
    ("length = 0.5", 'length = "150"', ["spell 1.length", "the unit is missing"]),
    ("length = 0.5", "length = inf", ["spell 1.length", "not a finite number"]),
    ("length = 0.5", "", ["spell 1.length", "missing", '"150 mm"']),
    ("side_sweep = 0.2", "", ["spell 1.side_sweep", "missing"]),
    ("side_sweep = 0.2", "side_sweep = -0.2", ["spell 1.side_sweep", "too small"]),
    ("side_overhang = 0.0", 'side_overhang = "-5 mm"', ["spell 1.side_overhang", "too small"]),
    ("strokes_per_sweep = 8", "strokes_per_sweep = 1.9", ["spell 1.strokes_per_sweep", "from 2"]),
    ("rate = 50", "rate = 0", ["spell 1.rate", "too small"]),
    ("rate = 50", "rate = 5000", ["spell 1.rate", "too large", "600"]),
    ('turn = "0 deg"', "turn = 72", ["spell 1.turn", "the unit is missing", "72 deg"]),
    ('turn = "0 deg"', 'turn = "72 degC"', ["spell 1.turn", "wrong kind of unit"]),
    ('turn = "0 deg"', "push = 30", ["spell 1.push", "the unit is missing"]),
    ('turn = "0 deg"', 'lap = ""', ["spell 1.lap", "no name"]),
    # keys that the stroke has no use for
    ('stroke = "w"', 'stroke = "straight"', ["spell 1.side_sweep", '"straight" does not use']),
    ('stroke = "w"', 'stroke = "one-third"', ["spell 1.length", '"one-third" does not use']),
    ('stroke = "w"', 'stroke = "overhang"', ["spell 1.side_sweep", '"overhang" does not use']),
    ('stroke = "w"', 'stroke = "oval"', ["spell 1.strokes_per_sweep", '"oval" does not use']),
    ("minutes = 5", "minutes = 5\nrate = 50", ["spell 2.rate", '"press" does not use']),
    ("minutes = 5", 'minutes = 5\npush = "3 N"', ["spell 2.push", '"press" does not use']),
    ("minutes = 5", "minutes = 5\nlength = 0.1", ["spell 2.length", '"press" does not use']),
    # no programme
    ("[[spell]]\nstroke", "[[spel]]\nstroke", ["spel", "unknown key", '"spell"']),
    ('[[spell]]\nstroke = "press"', 'spell = 3\nstroke = "press"', ["not TOML", "line 13"]),
    ("minutes = 5", "minutes = 5 min", ["quotation marks are missing on line 14", '"5 min"']),
    # not on this bench
    ('turn = "0 deg"', 'lap = "small"', ["spell 1.lap", "the bench has no lap of this name"]),
    ("side_overhang = 0.0", "side_overhang = 0.7", ["spell 1.side_overhang", "beyond the rim", "150 mm"]),
]


@pytest.mark.parametrize(("sound", "instead", "fragments"), MALFORMED, ids=lambda part: str(part)[:40])
def test_one_clear_line(
    sound: str,
    instead: str,
    fragments: list[str],
    folder: Path,
    spoil: Callable[[str, str, str], Path],
    refused: Callable[..., str],
) -> None:
    bench = load_bench(folder / "bench.toml")
    path = spoil("programme.toml", sound, instead)
    before = sorted(folder.iterdir())
    refused(lambda: load_programme(path, bench), "programme.toml: ", *fragments)
    assert sorted(folder.iterdir()) == before


def test_spell_that_is_no_list_of_tables(tmp_path: Path, refused: Callable[..., str]) -> None:
    path = tmp_path / "programme.toml"
    path.write_text('[spell]\nstroke = "press"\n')
    refused(lambda: load_programme(path), "programme.toml: spell", "[[spell]]")
    path.write_text("spell = [3]\n")
    refused(lambda: load_programme(path), "programme.toml: spell 1", "not a table")
