"""``wearsim study`` on the command line, and its plots."""

from __future__ import annotations

import json
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest

from tests.helpers.studies import COARSE, TEXT, Inline, small_study
from wearsim.cli.main import run
from wearsim.show.study import study_figure, study_text
from wearsim.show.study_scales import quantity_scale
from wearsim.study import run as runs
from wearsim.study.executors import Pool
from wearsim.study.run import run_study
from wearsim.study.study_file import StudyResult, read_study

SMALL = """
[study]
bench = "raised-zone-300"
[[spell]]
lap = "full"
stroke = "straight"
length = 0.3
minutes = 1
[[axis]]
key = "spell 1.length"
list = [0.2, 0.4, 1.6]
"""


@pytest.fixture
def command(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Any:
    """The command, in a folder with a small study; the work is done in this process."""
    (tmp_path / "small.toml").write_text(SMALL)
    monkeypatch.chdir(tmp_path)
    monkeypatch.setattr(runs, "pool_for", lambda *_: Pool(Inline(), 1))
    return run


def test_a_study_is_worked_plotted_and_kept(command: Any, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert command(["study", "small.toml", "--plot", "small.png"]) == 0
    said = capsys.readouterr()
    assert "3 cases, 1 failed" in said.out and "tips off" in said.out
    assert "Next: wearsim propose raised-zone-300" in said.err and "\r" not in said.err and "\x1b" not in said.err
    assert read_study("small.h5").failures == {"tips_off": 1}
    assert (tmp_path / "small.png").read_bytes().startswith(b"\x89PNG")
    written = (tmp_path / "small.h5").stat().st_mtime_ns
    assert command(["study", "small.toml", "-o", "small.h5", "--json", "-q"]) == 0  # complete: only read
    said = capsys.readouterr()
    answer = json.loads(said.out)
    assert (answer["cases"], answer["failed"], said.err) == (3, 1, "")
    assert answer["quantities"]["edge_roll"]["unit"] == "m"
    assert (tmp_path / "small.h5").stat().st_mtime_ns == written


def test_a_dry_run_writes_nothing(command: Any, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert command(["study", "small.toml", "--dry-run"]) == 0
    assert "Cases          3 (3)" in capsys.readouterr().out
    assert command(["study", "small.toml", "--dry-run", "--json", "-q"]) == 0
    answer = json.loads(capsys.readouterr().out)
    assert answer["cases"] == 3 and answer["time_s"] > 0.0 and answer["file_bytes"] > 5_000
    assert [path.name for path in tmp_path.iterdir()] == ["small.toml"]


@pytest.mark.parametrize(
    ("arguments", "says"),
    [
        (["study", "none.toml"], "none.toml: no such file"),
        (["study", "small.toml", "-o", "small.toml"], "ending in .h5"),
        (["study", "small.toml", "-o", "bad.h5"], "bad.h5: damaged"),
        (["study", "small.toml", "-o", "bad.h5", "--force"], "bad.h5: damaged"),
        (["study", "small.toml", "-o", "no/such.h5"], "folder does not exist"),
    ],
)
def test_faults_are_one_line(
    command: Any, tmp_path: Path, capsys: pytest.CaptureFixture[str], arguments: list[str], says: str
) -> None:
    (tmp_path / "bad.h5").write_bytes(b"not HDF5")
    assert command(arguments) == 2
    said = capsys.readouterr()
    assert says in said.err and said.err.rstrip().count("\n") == 0 and said.out == ""
    assert (tmp_path / "bad.h5").read_bytes() == b"not HDF5"


def worked(tmp_path: Path, old: str, new: str) -> StudyResult:
    text = TEXT.replace(old, new)
    assert text != TEXT
    return run_study(small_study(text), tmp_path / "o.h5", Inline(), accuracy=COARSE)


def test_plots_of_samples_curves_and_maps(whole: Path, tmp_path: Path) -> None:
    cloud = study_figure(read_study(whole))
    assert [axes.get_xlabel() for axes in cloud.axes[:2]] == ["push of the hands [N]", "relaxation time of lap 1 [min]"]
    tail = TEXT[TEXT.index('[[axis]]\nkey = "hands.push"') :]
    curves = study_figure(worked(tmp_path, tail, ""))
    risk = curves.axes[0]
    assert [line.get_label() for line in risk.lines[:1]] == ["tool on top"]
    assert "Probability of a turned edge" in risk.get_title(loc="left")
    np.testing.assert_allclose(curves.axes[1].lines[0].get_xdata(), [0.0, 0.22, 0.44])
    (tmp_path / "o.h5").unlink()
    grid = '[[axis]]\nkey = "hands.push"\ngrid = { first = "10 N", last = "50 N", count = 3 }\n'
    maps = study_figure(worked(tmp_path, tail, grid))
    assert [axes.get_title(loc="left") or axes.get_title() for axes in maps.axes[:2]] == [
        "tool on top",
        "mirror on top",
    ]
    assert len(maps.axes[0].texts) == 6  # the risk in every cell that could be done


def test_the_table_says_what_was_varied_and_what_failed(whole: Path) -> None:
    text = study_text(read_study(whole))
    assert "side overhang [of the diameter]" in text and "48 cases, 16 failed" in text
    assert max(map(len, text.splitlines())) <= 80


def test_lengths_are_read_in_the_unit_of_the_bench() -> None:
    def shown(bench: str) -> str:
        length: Any = SimpleNamespace(
            unit="m", text="spell 1.length", dimensions=("length",), values=np.array([0.0508, 0.0762])
        )
        about = {"keep": [], "bench_toml": bench}
        return study_text(StudyResult(Path(), about, ("length",), {"length": length}, {}, np.zeros(2, int)))

    inches, millimetres = (shown(f'[mirror]\ndiameter = "{size}"\n').split() for size in ("8 in", "0.2 m"))
    assert "[in]" in inches and inches[inches.index("[in]") + 1 :][:3] == ["2", "3", "2"]
    assert "[mm]" in millimetres and millimetres[millimetres.index("[mm]") + 1 :][:3] == ["50.8", "76.2", "2"]


@pytest.mark.parametrize(("size", "unit", "number"), [("8 in", "psi", "2 psi"), ("0.2 m", "kPa", "13.79 kPa")])
def test_pressures_are_read_in_the_unit_of_the_bench(size: str, unit: str, number: str) -> None:
    peak: Any = SimpleNamespace(unit="Pa", text="largest pressure")
    about = {"bench_toml": f'[mirror]\ndiameter = "{size}"\n'}
    scale = quantity_scale(
        StudyResult(Path(), about, (), {}, {"peak_pressure": peak}, np.zeros(0, int)), "peak_pressure"
    )
    assert scale.label == f"largest pressure [{unit}]" and scale.text(2 * 6894.757) == number


def test_what_cannot_be_done_is_struck_out_above_the_curves(tmp_path: Path) -> None:
    tail = TEXT[TEXT.index('[[axis]]\nkey = "hands.push"') :]
    figure = study_figure(worked(tmp_path, tail, ""))
    for axes in figure.axes[:2]:
        assert "crossed out above: cannot be done" in axes.get_title(loc="left")
        assert not any(line.get_marker() == "x" for line in axes.lines)
        strips = [patch for patch in axes.patches if patch.get_hatch() == "xxxx"]
        assert strips and all(
            patch.get_transform().transform(patch.get_xy())[1] >= axes.bbox.y1 - 1e-6 for patch in strips
        )
