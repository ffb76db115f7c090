"""``--dry-run``: all input is checked, the files are listed, and nothing is computed or written."""

from __future__ import annotations

import json
import shlex
import shutil
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from wearsim.learn.cache import KeptCalibration, keep
from wearsim.learn.calibrate import DRAWS
from wearsim.learn.mirror_folder import open_folder
from wearsim.wear.constants import prior

Call = Callable[..., Any]
TUTORIAL = Path(__file__).parents[2] / "examples" / "tutorial"
WORK = ("bench.toml", "--programme", "programme.toml")
STUDY = """
[study]
bench = "bench.toml"
programme = "programme.toml"
[[axis]]
key = "spell 1.minutes"
list = [2, 4]
"""


@pytest.fixture
def desk(demo: Path, call: Call) -> Path:
    """The demo, beside it a mirror's folder with one session, nothing calibrated yet, and a study."""
    shutil.copytree(TUTORIAL, demo / "own")
    done, after = TUTORIAL / "done.toml", TUTORIAL / "after.toml"
    assert call("record", "own", "-p", str(done), "-r", str(after), "--date", "2025-01-01").code == 0
    (demo / "minutes.toml").write_text(STUDY)
    return demo


@pytest.fixture
def idle(monkeypatch: pytest.MonkeyPatch) -> None:
    """Neither engine may run."""

    def run(*_: Any, **__: Any) -> None:
        raise AssertionError("an engine ran in a dry run")

    monkeypatch.setattr("wearsim.kernels.radial_wear.evolve", run)
    monkeypatch.setattr("wearsim.wear.radial.engine.RadialEngine.work_spell", run)
    monkeypatch.setattr("wearsim.wear.planar.engine.PlanarEngine.work_spell", run)


def contents(folder: Path) -> dict[Path, bytes | None]:
    return {path: path.read_bytes() if path.is_file() else None for path in folder.rglob("*")}


COMMANDS = {
    "predict": (("predict", *WORK, "-o", "out.h5", "--shadows", "out.svg"), ["out.h5", "out.svg"]),
    "predict planar": (("predict", *WORK, "--engine", "planar", "--cells", "32", "--plot", "p.png"), ["p.png"]),
    "predict folder": (("predict", "own", "-p", "own/done.toml"), ["own/calibration.toml"]),
    "compare": (("compare", *WORK, "-o", "out.json"), ["out.json"]),
    "propose": (("propose", "bench.toml", "-o", "new.toml", "--card", "c.pdf"), ["new.toml", "c.pdf"]),
    "propose folder": (("propose", "own", "--plot", "p.pdf"), ["own/calibration.toml", "own/proposal-for-02.toml", "p.pdf"]),
    "calibrate": (("calibrate", "own", "-o", "c.json"), ["own/calibration.toml", "c.json"]),
    "history": (("history", "own", "--plot", "h.svg"), ["own/calibration.toml", "h.svg"]),
    "rehearse": (("rehearse", "practice", "-o", "r.json"), ["practice", "r.json"]),
}  # fmt: skip


@pytest.mark.parametrize(("arguments", "files"), COMMANDS.values(), ids=COMMANDS)
def test_it_lists_the_files_and_does_nothing(
    arguments: tuple[str, ...], files: list[str], call: Call, desk: Path, idle: None
) -> None:
    before = contents(desk)
    said = call(*arguments, "--dry-run", "--json", "-q")
    assert (said.code, said.err) == (0, "")
    assert json.loads(said.out) == {"dry_run": True, "would_write": files}
    said = call(*arguments, "--dry-run")
    assert said.code == 0 and all(name in said.out for name in files)
    assert said.err.splitlines()[-1] == f"Next: wearsim {shlex.join(arguments)}"
    assert contents(desk) == before


def test_a_study_is_forecast_and_its_file_listed(call: Call, desk: Path) -> None:
    before = contents(desk)
    said = call("study", "minutes.toml", "--dry-run", "--json", "-q")
    answer = json.loads(said.out)
    assert (said.code, answer["dry_run"], answer["would_write"]) == (0, True, ["minutes.h5"])
    assert answer["cases"] == 2 and answer["file_bytes"] > 0
    assert contents(desk) == before
    assert call("study", "minutes.toml", "-o", "minutes.toml", "--dry-run").code == 2


def test_the_files_listed_are_those_that_are_written(call: Call, desk: Path) -> None:
    arguments = ("predict", *WORK, "--draws", "0", "-o", "out.h5", "--plot", "out.png")
    listed = json.loads(call(*arguments, "--dry-run", "--json").out)["would_write"]
    before = set(contents(desk))
    assert call(*arguments).code == 0
    assert {str(path.relative_to(desk)) for path in set(contents(desk)) - before} == set(listed)


def test_a_folder_that_remembers_is_not_written(call: Call, desk: Path, idle: None) -> None:
    folder = open_folder("own")
    keep(folder, 1, KeptCalibration(prior(folder.bench), 0.08), 0, DRAWS)
    for arguments in (("predict", "own", "-p", "own/done.toml"), ("history", "own")):
        said = call(*arguments, "--dry-run", "--json")
        assert json.loads(said.out)["would_write"] == []
        assert "nothing" in call(*arguments, "--dry-run").out


@pytest.mark.parametrize(
    ("arguments", "says"),
    [
        (("predict", "bench.toml", "-p", "none.toml"), "none.toml: no such file"),
        (("predict", *WORK, "-o", "programme.toml"), "ending in .h5"),
        (("predict", *WORK, "--cells", "64"), "only the planar engine uses this"),
        (("predict", "gone.toml", "-p", "programme.toml"), "profile"),
        (("predict", "star.toml", "-p", "programme.toml"), "star_points"),
        (("predict", *WORK[:2], "far.toml"), "side_overhang"),
        (("compare", *WORK[:2], "far.toml"), "side_overhang"),
        (("compare", "star.toml", "-p", "programme.toml"), "star_points"),
        (("propose", "bench.toml", "-o", "programme.toml"), "already exists"),
        (("propose", "bench.toml", "--minutes", "-1"), "minutes"),
        (("propose", "star.toml"), "star_points"),
        (("propose", "bad.toml"), "bad.csv"),
        (("calibrate", "nowhere"), "nowhere"),
        (("history", "own", "-o", "history.csv"), ".json"),
        (("rehearse", "own"), "not a practice mirror"),
        (("rehearse", "no/such"), "the folder does not exist"),
        (("rehearse", "new", "--diameter", "9 m"), "out of range"),
        (("rehearse", "new", "-p", "none.toml"), "none.toml: no such file"),
        (("study", "none.toml"), "none.toml: no such file"),
    ],
    ids=lambda given: " ".join(given[:2]) if isinstance(given, tuple) else "",
)
def test_what_the_run_would_refuse_it_refuses(
    arguments: tuple[str, ...], says: str, call: Call, desk: Path, idle: None
) -> None:
    bench = Path("bench.toml").read_text()
    Path("gone.toml").write_text(bench.replace("profile.csv", "gone.csv"))
    Path("star.toml").write_text(bench.replace("[lap]", '[lap]\nstar_points = 6\nstar_depth = "20 mm"'))
    Path("bad.toml").write_text(bench.replace("profile.csv", "bad.csv"))
    Path("bad.csv").write_text("no profile\n")
    Path("far.toml").write_text(
        '[[spell]]\nstroke = "w"\nlength = 0.3\nside_sweep = 0.1\nside_overhang = 0.9\nminutes = 3\n'
    )
    before = contents(desk)
    said = call(*arguments, "--dry-run")
    assert said.code == 2 and says in said.err and len(said.err.splitlines()) == 1
    assert contents(desk) == before


@pytest.mark.parametrize("command", [("calibrate", "own"), ("predict", "own", "-p", "own/done.toml")])
@pytest.mark.parametrize(
    ("name", "text"), [("readings.toml", "readings = 1\n"), ("session.toml", 'date = 2025-01-01\nabrasive = "sand"\n')]
)
def test_a_damaged_session_is_found(command: tuple[str, ...], name: str, text: str, call: Call, desk: Path) -> None:
    (desk / "own" / "01" / name).write_text(text)
    assert call(*command, "--dry-run").code == 2


def test_a_folder_without_sessions_cannot_be_calibrated(call: Call, desk: Path) -> None:
    shutil.rmtree(desk / "own" / "01")
    assert call("calibrate", "own", "--dry-run").code == 1
    said = call("propose", "own", "--dry-run", "--json")
    assert json.loads(said.out)["would_write"] == ["own/proposal-for-01.toml"]
