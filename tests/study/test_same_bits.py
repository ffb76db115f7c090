"""The data are the same to the last bit whoever works, in whatever parts and with however many threads."""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

from tests.helpers.studies import COARSE, Inline, content, small_study
from wearsim.study import run as runs
from wearsim.study.run import run_study

pytestmark = pytest.mark.slow
DEMO = Path(__file__).parents[2] / "examples" / "demo"


@pytest.mark.parametrize("cases", [1, 3, 35])
def test_chunks_of_any_size(cases: int, whole_here: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(runs, "chunk_size", lambda *_: cases)
    run_study(small_study(), tmp_path / "o.h5", Inline(), accuracy=COARSE)
    assert content(tmp_path / "o.h5") == content(whole_here)


def test_five_workers(whole: Path, tmp_path: Path) -> None:
    run_study(small_study(), tmp_path / "o.h5", workers=5, accuracy=COARSE)
    assert content(tmp_path / "o.h5") == content(whole)


def test_threads_of_the_planar_engine(tmp_path: Path) -> None:
    """Processes of their own, which may each use four threads."""
    shutil.copytree(DEMO, tmp_path / "demo")
    (tmp_path / "demo/short.toml").write_text(
        '[[spell]]\nstroke = "w"\nlength = 0.3\nside_sweep = 0.2\nminutes = 0.5\n'
    )
    environment = {**os.environ, "NUMBA_NUM_THREADS": "4", "PYTHONPATH": os.pathsep.join(sys.path)}
    command = [sys.executable, "-m", "wearsim", "predict", "bench.toml", "-p", "short.toml", "--engine", "planar"]
    answers = [
        subprocess.run(
            [*command, "--cells", "48", "--json", "-q", "--workers", str(workers)], cwd=tmp_path / "demo",
            env=environment, check=True, capture_output=True,
        ).stdout
        for workers in (1, 2, 4)
    ]  # fmt: skip
    assert len(answers[0]) > 1_000 and answers[1] == answers[0] and answers[2] == answers[0]
