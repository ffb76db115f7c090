"""Every command's answer keeps to the columns that there are."""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest

from wearsim.cli.main import run

SHEET = """\
source = "moving"
length_unit = "mm"
windows = [[18, 45], [60, 80], [92, 108], [118, 130], [138, 147]]
readings = [[0.00, 0.55, 1.27, 2.00, 2.95], [0.04, 0.56, 1.25, 2.02, 2.90]]
sigma = 0.05
"""
COMMANDS = (
    "mask bench.toml --zones 5",
    "mask bench.toml --zones 9",
    "reduce after.toml --bench bench.toml",
    "record mirror --programme programme.toml --readings after.toml --date 2025-02-03",
    "predict bench.toml --programme programme.toml --draws 0",
    "predict mirror --programme programme.toml --draws 0 --dry-run",
    "compare bench.toml --programme programme.toml --draws 0",
)


@pytest.mark.parametrize("width", [80, 60, 40])
def test_no_line_is_wider_than_there_is_room(
    width: int, demo: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("COLUMNS", str(width))
    (demo / "after.toml").write_text(SHEET)
    (demo / "mirror").mkdir()
    for name in ("bench.toml", "profile.csv"):
        shutil.copy(demo / name, demo / "mirror" / name)
    for command in COMMANDS:
        capsys.readouterr()
        assert run(command.split()) == 0, command
        lines = capsys.readouterr().out.splitlines()
        assert lines and max(map(len, lines)) <= width, command
