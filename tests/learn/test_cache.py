"""calibration.toml: read back exactly, and of no account where anything that it rests on, or it itself, has changed."""

from __future__ import annotations

from datetime import date
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import tomli_w

from tests.helpers.start_figures import KNOWN
from wearsim.bench.input_errors import parse_toml
from wearsim.cli.main import run
from wearsim.learn.cache import FILE, KeptCalibration, keep, recall_or_calibrate, recalled, stale
from wearsim.learn.calibrate import DRAWS
from wearsim.learn.mirror_folder import MirrorFolder, SessionNote, open_folder
from wearsim.learn.posterior import GlassPosterior
from wearsim.learn.record import record
from wearsim.wear.constants import Belief

COVARIANCE = np.diag([0.04, 0.09, 0.25, 0.16, 0.003, 2e-5]) + 1e-6
MEAN = np.array([0.3, -0.2, 1.0 / 3.0, 0.0, 0.05, 0.001])
POINTS = np.random.default_rng(2).multivariate_normal(MEAN, COVARIANCE, 100)

RADIUS = np.linspace(0.0, 0.1, 4)
GLASS = GlassPosterior(RADIUS, 1e-7 / 3.0 * RADIUS, 1e-18 * (np.eye(4) + 1.0 / 7.0))


@pytest.fixture
def folder(mirror_folder: Path, done: Path, after: Path) -> MirrorFolder:
    """One session, and what it might have told."""
    with (mirror_folder / "bench.toml").open("a") as stream:
        stream.write(tomli_w.dumps({"spread": KNOWN}))  # so that it is calibrated in no time
    record(mirror_folder, done, note=SessionNote(date=date(2025, 3, 1)), readings=after)
    there = open_folder(mirror_folder)
    keep(there, 1, KeptCalibration(Belief(MEAN, COVARIANCE, POINTS), 0.08, GLASS, (1,)), 0, DRAWS)
    return there


def changed(folder: MirrorFolder, **values: Any) -> None:
    """The file with other values in its one table."""
    tables = parse_toml((folder.path / FILE).read_text(), None)
    (folder.path / FILE).write_text(tomli_w.dumps({"1": {**tables["1"], **values}}))


def test_what_was_kept_is_read_back_to_the_last_bit(folder: MirrorFolder) -> None:
    known = recalled(folder)
    assert known is not None and known.spread == 0.08 and known.misfits == (1,)
    assert np.array_equal(known.belief.mean, MEAN)
    assert np.array_equal(known.belief.covariance, COVARIANCE)
    assert known.belief.points is not None and np.array_equal(known.belief.points, POINTS)
    assert known.glass is not None
    for name in ("radius", "height", "covariance"):
        assert np.array_equal(getattr(known.glass, name), getattr(GLASS, name))
    assert stale(folder) is None


def test_it_counts_for_these_files_this_seed_and_these_draws_alone(folder: MirrorFolder) -> None:
    assert recalled(folder, seed=1) is None and recalled(folder, draws=32) is None
    assert recalled(folder) is not None
    programme = folder.sessions[0].path / "programme.toml"
    programme.write_text(programme.read_text().replace("minutes = 12", "minutes = 13"))
    other = open_folder(folder.path)
    assert recalled(other) is None
    line = stale(other)
    assert line is not None and line.startswith(str(folder.path / FILE)) and "\n" not in line


@pytest.mark.parametrize("values", [{"session_spread": 0.081}, {"mean": [0.3, -0.2, 0.1]}, {"made_from": 1}])
def test_an_edited_table_counts_for_nothing(values: dict[str, Any], folder: MirrorFolder) -> None:
    changed(folder, **values)
    assert recalled(folder) is None and stale(folder) is not None


@pytest.mark.parametrize("text", ["not = = TOML", "1 = 5\n", "\0"])
def test_what_cannot_be_read_is_worked_out_again_and_said(
    text: str, folder: MirrorFolder, capsys: pytest.CaptureFixture[str]
) -> None:
    (folder.path / FILE).write_text(text)
    assert recalled(folder) is None
    arguments = ["predict", str(folder.path), "-p", str(folder.path / "01/programme.toml"), "--draws", "0"]
    assert run(arguments) == 0
    (line,) = (line for line in capsys.readouterr().err.splitlines() if FILE in line)
    assert "calibrating again" in line
    assert recalled(folder) is not None and stale(folder) is None
    assert run(arguments) == 0 and FILE not in capsys.readouterr().err


def test_a_new_session_is_not_called_stale(folder: MirrorFolder, done: Path, after: Path) -> None:
    record(folder.path, done, note=SessionNote(date=date(2025, 3, 2)), readings=after)
    more = open_folder(folder.path)
    assert recalled(more) is None and stale(more) is None
    assert recalled(more, 1) is not None
    found = recall_or_calibrate(more)
    again = recalled(more)
    assert again is not None and np.array_equal(again.belief.covariance, found.belief.covariance)
