"""Memory of every command, on the largest files and numbers that are accepted, and on those just beyond that are refused.

Each command is a process of its own, and its peak counts, with that of the processes it waits for. What grows with time but
not with memory is short here: the search of ``propose``, minutes of work, draws and spells (what a draw of a spell keeps is
small, and their product is bounded at the door), cases of a study (docs/performance-studies.md).
"""

from __future__ import annotations

import subprocess
import sys
from itertools import pairwise
from pathlib import Path

import h5py
import numpy as np
import pytest
import tomli_w

from tests.cli.conftest import DEMO
from tests.helpers.start_figures import KNOWN, PRESTON_ALONE

BOUND = 1000
"""Largest peak of a command [MB]: a quarter of what a small computer has. Loaded libraries and kernels alone are 200."""
LARGEST = 32 * 1024 * 1024
# between the test and the command, for a process begins with the peak of the one that starts it
LAUNCH = """
import os, sys
child = os.posix_spawn(sys.executable, [sys.executable, "-m", "wearsim", *sys.argv[1:]], os.environ)
_, status, used = os.wait4(child, 0)
print(os.waitstatus_to_exitcode(status), used.ru_maxrss // 1024)
"""
SPELL = '[[spell]]\nstroke = "w"\nlength = 0.3\nside_sweep = 0.1\nminutes = 0.00001\n'
SAMPLED = {
    "hands.push": ("10 N", "50 N"), "lap 1.relaxation_time": ("2 min", "9 min"), "lap 1.stiffness": ("4e9 Pa/m", "6e9 Pa/m"),
    "wear.edge_gain": (0.1, 0.5), "spell 1.minutes": (1, 2), "spell 1.length": (0.2, 0.3), "spell 1.rate": (30, 50),
    "lap 1.mass": ("3 kg", "6 kg"), "hands.length_jitter": (0.01, 0.05), "wear.preston": ("7e-13 / Pa", "9e-13 / Pa"),
    "wear.temperature": ("17 degC", "23 degC"), "spell 1.side_sweep": (0.05, 0.1),
}  # fmt: skip


def measured(*arguments: str, cwd: Path) -> tuple[int, int, str]:
    """Exit code, peak [MB] and stderr of a command."""
    command = [sys.executable, "-S", "-c", LAUNCH, *arguments, "-q"]
    done = subprocess.run(command, cwd=cwd, capture_output=True, text=True, check=True)
    code, peak = done.stdout.splitlines()[-1].split()
    return int(code), int(peak), done.stderr


def bench(place: Path, name: str, figure: str, **more: object) -> Path:
    """The demo's bench in a folder of its own, with another figure."""
    folder = place / name
    folder.mkdir()
    text = (DEMO / "bench.toml").read_text().replace('profile = "profile.csv"', figure)
    (folder / "bench.toml").write_text(text + tomli_w.dumps(more))
    return folder


def profile(rows: int) -> str:
    """A profile of so many rows."""
    radius = np.linspace(0.0, 150.0, rows)
    error = 40.0 * np.cos(radius / 15.0)
    pairs = zip(radius.tolist(), error.tolist(), strict=True)
    return "radius_mm,error_nm,sigma_nm,smooth_nm\n" + "".join(f"{r!r},{e!r},3.0,2.0\n" for r, e in pairs)


def height_map(path: Path, shape: tuple[int, ...]) -> None:
    """A map of zeros of this shape, none of which is written."""
    with h5py.File(path, "w") as file:
        file.create_dataset("error", shape=shape, dtype=float, chunks=True).attrs["units"] = "nm"


def study(count: int) -> str:
    """A study that samples as many settings as it may."""
    axes = [
        {"key": key, "sample": {"spread": "uniform", "least": least, "most": most}}
        for key, (least, most) in SAMPLED.items()
    ]
    about = {"bench": "raised-zone-300", "keep": ["strehl"]}
    return tomli_w.dumps({"study": about, "axis": axes, "sample": {"count": count}}) + SPELL


@pytest.fixture(scope="module")
def place(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder with files as large as they may be, and some a little larger."""
    place = tmp_path_factory.mktemp("large")
    (place / "thousand.toml").write_text(SPELL * 1000)
    (place / "one.toml").write_text(SPELL)
    for rows in (100_000, 100_001):
        (bench(place, f"rows-{rows}", 'profile = "profile.csv"') / "profile.csv").write_text(profile(rows))
    known = bench(place, "mirror", 'profile = "profile.csv"', spread=PRESTON_ALONE)
    (known / "profile.csv").write_text(profile(100_000))
    for name, line in (("comments", "##\n"), ("short-rows", "0,0\n")):
        text = profile(3)
        folder = bench(place, name, 'profile = "profile.csv"')
        (folder / "profile.csv").write_text(text + line * ((LARGEST - len(text)) // len(line)))
    # a whole lap of known pitch: what channels and pressing take is time
    plain = bench(place, "plain-map", 'map = "map.h5"', spread=KNOWN)
    (plain / "bench.toml").write_text(
        (plain / "bench.toml").read_text().replace("[lap]", '[lap]\nfacet_shape = "none"')
    )
    height_map(plain / "map.h5", (2048, 2048))
    for name, shape in (("map", (2048, 2048)), ("wide-map", (2049, 2049)), ("deep-map", (2048, 2048, 60))):
        height_map(bench(place, name, 'map = "map.h5"') / "map.h5", shape)
    for name, width, cell in (("csv-map", 2048, "0.00"), ("empty-map", 5700, "")):
        folder = bench(place, name, 'map = "map.csv"')
        (folder / "map.csv").write_text("error_nm\n" + (cell + f",{cell}" * (width - 1) + "\n") * width)
    edges = np.linspace(5.0, 147.0, 61)
    windows = [[float(inner), float(outer - 0.5)] for inner, outer in pairwise(edges)]
    row = [float(round(1e-4 * outer**2, 2)) for _, outer in windows]
    sheet = {"source": "moving", "length_unit": "mm", "windows": windows, "readings": [row] * 200, "sigma": 0.05}
    (place / "sheet.toml").write_text(tomli_w.dumps(sheet))
    (place / "sheet-201.toml").write_text(tomli_w.dumps(sheet | {"readings": [row] * 201}))
    for count in (833_333, 833_334):
        (place / f"study-{count}.toml").write_text(study(count))
    laps = "".join(f'[[lap]]\nname = "{n}"\ndiameter = "300 mm"\nmass = "6 kg"\n' for n in range(17))
    (place / "laps.toml").write_text((DEMO / "bench.toml").read_text().replace("[lap]", f"{laps}[[lap]]"))
    return place


ACCEPTED = [
    "predict rows-100000/bench.toml -p one.toml --draws 8 -o o.h5 --plot o.png --card o.pdf --shadows s.png",
    "predict comments/bench.toml -p one.toml --dry-run",
    "predict rows-100000/bench.toml -p thousand.toml --draws 0",
    "predict rows-100000/bench.toml -p thousand.toml --draws 500 --dry-run",
    "predict map/bench.toml -p one.toml --draws 0",
    "predict csv-map/bench.toml -p one.toml --dry-run",
    "predict plain-map/bench.toml -p one.toml --engine planar --cells 1024 --draws 0 -o p.h5",
    "compare rows-100000/bench.toml -p one.toml --draws 2 --plot c.png",
    "propose mirror/bench.toml --minutes 6 --spells 1 --draws 2 --time-limit 0.1 -o proposed.toml",
    "reduce sheet.toml --bench mirror/bench.toml -o r.csv --plot r.png --shadows rs.png --masking m.png",
    "mask mirror/bench.toml --zones 40 --least-width 0.5mm --bridge 0.5mm -o mask.pdf",
    "new fresh --diameter 200mm --focal-ratio 6 --lap-mass 2kg --zones 7",
    "record mirror -p one.toml --profile rows-100000/profile.csv --date 2026-01-31",
    "record mirror -p one.toml --readings sheet.toml --date 2026-02-01",
    "history mirror --plot h.png",
    "calibrate mirror --draws 16",
    "rehearse practice --sessions 0",
    "study study-833333.toml --dry-run",
]
REFUSED = {
    "predict rows-100001/bench.toml -p one.toml": "too few or too many rows",
    "predict short-rows/bench.toml -p one.toml": "too few or too many rows",
    "predict wide-map/bench.toml -p one.toml": "at most 2048 cells across",
    "predict deep-map/bench.toml -p one.toml": "a height map must be square",
    "predict empty-map/bench.toml -p one.toml": "at most 2048 cells across",
    "predict rows-100000/bench.toml -p thousand.toml --draws 501": "at most 500 with 1000 spells",
    "predict laps.toml -p one.toml": "at most 16",
    "reduce sheet-201.toml --bench mirror/bench.toml": "200",
    "study study-833334.toml --dry-run": "at most 833,333 where 12 settings are sampled",
    "calibrate mirror --draws 5001": "5000",
}


@pytest.mark.slow
@pytest.mark.parametrize("line", ACCEPTED)
def test_the_largest_input_that_is_accepted(line: str, place: Path) -> None:
    code, peak, said = measured(*line.split(), cwd=place)
    assert code == 0, said
    assert peak < BOUND


@pytest.mark.slow
@pytest.mark.parametrize("line", REFUSED)
def test_a_larger_one_is_refused(line: str, place: Path) -> None:
    code, peak, said = measured(*line.split(), cwd=place)
    assert code == 2 and REFUSED[line] in said, said
    assert peak < BOUND
