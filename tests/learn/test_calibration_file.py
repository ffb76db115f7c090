"""calibration.toml edited by hand: one line that says what and how to mend it, or nothing where it is stale."""

from __future__ import annotations

import re
from datetime import date
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import tomli_w

from wearsim.bench.input_errors import parse_toml
from wearsim.cli.main import run
from wearsim.errors import InputError
from wearsim.learn.calibration_file import FILE
from wearsim.learn.folder import MirrorFolder, SessionNote, open_folder
from wearsim.learn.record import record
from wearsim.learn.remember import Known, fault_in, keep, recalled
from wearsim.wear.constants import Belief

COVARIANCE = np.diag([0.04, 0.09, 0.25, 0.16]) + 0.01
MEAN = np.array([0.3, -0.2, 0.1, 0.0])


@pytest.fixture
def folder(mirror_folder: Path, done: Path, after: Path) -> MirrorFolder:
    """One session, and what it might have told."""
    exact = "".join(f"{name} = 1.0\n" for name in ("preston", "stiffness", "relaxation_time", "edge_gain"))
    with (mirror_folder / "bench.toml").open("a") as stream:
        stream.write(f"[spread]\n{exact}")  # so that it is calibrated in no time
    record(mirror_folder, done, note=SessionNote(date=date(2025, 3, 1)), readings=after)
    there = open_folder(mirror_folder)
    points = np.random.default_rng(2).multivariate_normal(MEAN, COVARIANCE, 4000)[::40]
    about = points - points.mean(axis=0)
    root = np.linalg.cholesky(COVARIANCE) @ np.linalg.inv(np.linalg.cholesky(np.cov(about.T, bias=True)))
    keep(there, 1, Known(Belief(MEAN, COVARIANCE, MEAN + about @ root.T), 0.08, ()), 0, 128)
    return there


def changed(folder: MirrorFolder, **values: Any) -> None:
    """The file with other values in its one table; None takes a key away."""
    tables = parse_toml((folder.path / FILE).read_text(), None)
    tables["1"] = {key: value for key, value in {**tables["1"], **values}.items() if value is not None}
    (folder.path / FILE).write_text(tomli_w.dumps(tables))


def test_what_was_kept_is_read_back(folder: MirrorFolder) -> None:
    known = recalled(folder)
    assert known is not None and known.spread == 0.08
    assert np.array_equal(known.belief.covariance, COVARIANCE)
    assert fault_in(folder) is None


SHEARED = COVARIANCE + 0.5 * (np.eye(4, k=1) + np.eye(4, k=-1))
CASES: dict[str, tuple[dict[str, Any], tuple[str, ...]]] = {
    "mean a text": ({"mean": "0.3"}, ("1.mean", "4 numbers")),
    "mean too short": ({"mean": [0.3, 0.1]}, ("1.mean", "4 numbers")),
    "mean not finite": ({"mean": [0.3, float("nan"), 0.1, 0.0]}, ("1.mean", "nan is not a finite number")),
    "mean far away": ({"mean": [0.3, 1e3, 0.1, 0.0]}, ("1.mean", "1000 is no logarithm")),
    "mean moved": ({"mean": [3.0, -0.2, 0.1, 0.0]}, ("1.mean", "not that of its points (preston)", "got 3.0")),
    "no mean": ({"mean": None}, ("1.mean", "missing", "4 numbers")),
    "variance below nought": ({"covariance": (-COVARIANCE).tolist()}, ("1.covariance", "variances that cannot be")),
    "one side changed": (
        {"covariance": (COVARIANCE + 0.01 * np.eye(4, k=1)).tolist()}, ("1.covariance", "both sides of the diagonal"),
    ),
    "more together than apart": ({"covariance": SHEARED.tolist()}, ("1.covariance", "more than they vary")),
    "all too sure": ({"covariance": (1e-4 * COVARIANCE).tolist()}, ("1.covariance", "not that of its points")),
    "points of three": ({"points": [[0.1, 0.2, 0.3]]}, ("1.points", "rows of 4 numbers")),
    "spread below nought": ({"session_spread": -0.1}, ("1.session_spread",)),
    "spread a text": ({"session_spread": "8 %"}, ("1.session_spread", "8 %")),
    "misfits a number": ({"misfits": 1}, ("1.misfits",)),
    "misfit to come": ({"misfits": [3]}, ("1.misfits", "no such session", "1 to 1")),
    "unknown key": ({"mode": 1}, ("1.mode", "unknown key", "mean")),
    "digest gone": ({"made_from": None}, ("1.made_from",)),
}  # fmt: skip


@pytest.mark.parametrize("case", CASES)
def test_damage_is_named_and_how_to_mend_it(case: str, folder: MirrorFolder) -> None:
    values, fragments = CASES[case]
    changed(folder, **values)
    with pytest.raises(InputError) as caught:
        recalled(folder)
    line = str(caught.value)
    assert "\n" not in line and line.startswith(str(folder.path / FILE))
    for fragment in (*fragments, "expected", "delete the file", f"wearsim calibrate {folder.path}"):
        assert fragment in line, line
    assert str(fault_in(folder)) == line


def test_what_is_stale_counts_for_nothing_whatever_stands_in_it(folder: MirrorFolder) -> None:
    changed(folder, made_from="of something else", mean="nonsense")
    assert recalled(folder) is None and fault_in(folder) is None


@pytest.mark.parametrize(
    "arguments", [("predict", "{}", "-p", "{}/01/programme.toml"), ("propose", "{}"), ("history", "{}")]
)
def test_commands_refuse_damage_in_one_line(
    arguments: tuple[str, ...], folder: MirrorFolder, capsys: pytest.CaptureFixture[str]
) -> None:  # fmt: skip
    changed(folder, session_spread=-0.1)
    assert run([one.format(folder.path) for one in arguments]) == 2
    said = capsys.readouterr()
    line = said.err.strip().splitlines()[-1]  # it may say first that kernels are compiled
    assert said.out == "" and "1.session_spread" in line and "Traceback" not in said.err


@pytest.mark.parametrize("text", [None, "not = = TOML"])
def test_calibrate_makes_it_anew(
    text: str | None, folder: MirrorFolder, capsys: pytest.CaptureFixture[str]
) -> None:  # fmt: skip
    file = folder.path / FILE
    if text is None:
        changed(folder, session_spread=-0.1)
    else:
        file.write_text(text)
    assert run(["calibrate", str(folder.path)]) == 0
    assert re.search(r"Warning: .*calibration.toml.*made\s+anew", capsys.readouterr().err, re.DOTALL)
    assert fault_in(folder) is None and recalled(folder) is not None
