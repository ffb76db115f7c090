"""A folder with one sound bench, programme and profile; tests spoil them line by line."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest

BENCH = """\
[mirror]
diameter = "300 mm"
radius_of_curvature = "3.0 m"
conic = -1.0
glass = "borosilicate"
thickness = "38 mm"
hole = "40 mm"

[lap]
diameter = "300 mm"
mass = "4 kg"
start = "pressed"
channel_offset = ["0 mm", "0 mm"]

[hands]
push = "30 N"

[wear]
temperature = "20 degC"

[figure]
profile = "profile.csv"
"""

PROGRAMME = """\
[[spell]]
on_top = "tool"
stroke = "w"
length = 0.5
side_sweep = 0.2
side_overhang = 0.0
strokes_per_sweep = 8
rate = 50
minutes = 10
turn = "0 deg"

[[spell]]
stroke = "press"
minutes = 5
"""

PROFILE = """\
radius_mm,error_nm,sigma_nm
0,0,5
50,12.5,4
100,-30,3
140,80,3
148,-5,4
"""


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """Holds ``bench.toml``, ``programme.toml`` and ``profile.csv``, all sound."""
    (tmp_path / "bench.toml").write_text(BENCH)
    (tmp_path / "programme.toml").write_text(PROGRAMME)
    (tmp_path / "profile.csv").write_text(PROFILE)
    return tmp_path


@pytest.fixture
def spoil(folder: Path) -> Callable[[str, str, str], Path]:
    """Replace one piece of a file's text, which must be there, by another."""

    def replace(name: str, old: str, new: str) -> Path:
        path = folder / name
        text = path.read_text()
        assert text.count(old) >= 1, f"{old!r} is not in {name}"
        path.write_text(text.replace(old, new, 1) if old else new)
        return path

    return replace


@pytest.fixture
def refused() -> Callable[..., str]:
    """Check that a call is refused in one clear line that holds all fragments, and give the line."""
    from wearsim.errors import InputError

    def check(call: Callable[[], object], *fragments: str) -> str:
        with pytest.raises(InputError) as caught:
            call()
        line = str(caught.value)
        assert caught.value.exit_code == 2
        assert "\n" not in line and "\r" not in line
        for fragment in fragments:
            assert fragment in line, f"{fragment!r} is not in {line!r}"
        return line

    return check
