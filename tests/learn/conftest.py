"""A small mirror's folder, made like a person would, and what goes into it."""

from __future__ import annotations

from pathlib import Path

import pytest

BENCH = """\
# invented for the tests of wearsim
[mirror]
diameter = "200 mm"
radius_of_curvature = "2.4 m"
conic = -1.0
glass = "borosilicate"
thickness = "25 mm"

[lap]
diameter = "200 mm"
mass = "1.2 kg"

[wear]
temperature = "20 degC"

[figure]
profile = "before.csv"
"""
BEFORE = "radius_mm,error_nm,sigma_nm\n0,10,3\n30,20,3\n60,60,3\n80,20,3\n95,-20,3\n100,-40,5\n"
DONE = """\
# as it was really done
[[spell]]
stroke = "press"
minutes = 5

[[spell]]
on_top = "tool"
stroke = "w"
length = 0.4
side_sweep = 0.15
minutes = 12
"""
AFTER = """\
source = "moving"
length_unit = "mm"
windows = [[14, 30], [32, 48], [50, 64], [66, 78], [80, 90], [91, 98]]
readings = [[0.00, 0.11, 0.40, 0.81, 1.24, 1.60],
            [0.02, 0.13, 0.38, 0.84, 1.22, 1.57]]
sigma = 0.05
"""


@pytest.fixture
def mirror_folder(tmp_path: Path) -> Path:
    """A mirror's folder before its first session."""
    folder = tmp_path / "mirror"
    folder.mkdir()
    (folder / "bench.toml").write_text(BENCH)
    (folder / "before.csv").write_text(BEFORE)
    return folder


@pytest.fixture
def done(tmp_path: Path) -> Path:
    """The programme that was worked."""
    path = tmp_path / "done.toml"
    path.write_text(DONE)
    return path


@pytest.fixture
def after(tmp_path: Path) -> Path:
    """The readings taken afterwards."""
    path = tmp_path / "after.toml"
    path.write_text(AFTER)
    return path
