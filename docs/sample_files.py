"""The TOML that pages show, read as a person's file would be.

A part of a file is put into a complete one: a bench of a 300 mm mirror that lacks nothing, the worked sheet of
readings in inches, or a study on that bench. What a part says stands; what it leaves out comes from there.
"""

from __future__ import annotations

import tomllib
from pathlib import Path
from typing import Any

import tomli_w
from run_blocks import ROOT

from wearsim.bench.bench import Bench
from wearsim.bench.input_errors import read_piece
from wearsim.bench.materials import Glass
from wearsim.bench.toml_io import load_bench, load_programme
from wearsim.knifeedge.readings import load_readings
from wearsim.study.plan import load_study

BENCH: dict[str, Any] = {
    "mirror": {"diameter": "300 mm", "radius_of_curvature": "3 m"},
    "lap": {"diameter": "300 mm", "mass": "4 kg"},
    "figure": {"conic": -1.0},
}
STUDY: dict[str, Any] = {"study": {"bench": "bench.toml", "keep": ["surface_rms"]}}
SPELL: dict[str, Any] = {"stroke": "one-third", "minutes": 5}
PROFILE = "radius_mm,error_nm\n0,20\n50,0\n101,-20\n"
READINGS = ROOT / "examples" / "inches" / "readings.toml"


def read(text: str, folder: Path, bench: dict[str, Any] | None = None) -> dict[str, Any]:
    """Read one fence; what a bench says is handed back, for the programme that comes after it.

    Parameters
    ----------
    text : str
    folder : Path
        To write the whole file into.
    bench : dict, optional
        What the page's bench said, so far.

    Raises
    ------
    InputError
        Where the file would be refused.
    ValueError
        Where nothing tells what kind of file it is.
    """
    said, bench = tomllib.loads(text), bench or {}
    (folder / "profile.csv").write_text(PROFILE, encoding="utf-8")
    if not said.keys() - {"mirror", "lap", "hands", "wear", "spread", "figure", "light"}:
        _written(folder / "bench.toml", BENCH | said, load_bench)
        return bench | said
    pieces = _written(folder / "bench.toml", BENCH | bench, load_bench)
    if said.keys() & {"study", "axis", "sample"}:
        spells = {} if said.keys() & {"spell", "pressing"} else {"spell": [SPELL]}
        _written(folder / "study.toml", STUDY | spells | said, load_study)
    elif said.keys() & {"spell", "pressing"}:
        _written(folder / "programme.toml", said, lambda path: load_programme(path, pieces))
    elif said.keys() & {"length_unit", "windows", "readings", "source"}:
        whole = tomllib.loads(READINGS.read_text(encoding="utf-8"))
        _written(folder / "readings.toml", whole | said, load_readings)
    elif all(isinstance(table, dict) and "density" in table for table in said.values()):
        for name, table in said.items():
            read_piece(Glass, table, name, None)
    else:
        raise ValueError(f"what kind of file is this? {', '.join(said)}")
    return bench


def _written(path: Path, whole: dict[str, Any], load: Any) -> Bench:
    path.write_text(tomli_w.dumps(whole), encoding="utf-8")
    return load(path)  # type: ignore[no-any-return]
