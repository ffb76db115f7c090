"""``--dry-run``: all input is checked, what would be run is told, and nothing is written."""

from __future__ import annotations

import json
import shlex
import shutil
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

import wearsim as ws
from wearsim.decide.ahead import looks_of
from wearsim.decide.response_search import Search
from wearsim.learn.ahead import runs_of
from wearsim.show.ahead_table import ahead_text
from wearsim.wear import ahead
from wearsim.wear.ahead import Ahead, shortened, strokes_of

Call = Callable[..., Any]
TUTORIAL = Path(__file__).parents[2] / "examples" / "tutorial"
WORK = ("bench.toml", "--programme", "programme.toml")


@pytest.fixture
def desk(demo: Path, call: Call) -> Path:
    """The demo, and beside it a mirror's folder with one session, nothing calibrated yet."""
    shutil.copytree(TUTORIAL, demo / "own")
    done, after = TUTORIAL / "done.toml", TUTORIAL / "after.toml"
    assert call("record", "own", "-p", str(done), "-r", str(after), "--date", "2025-01-01").code == 0
    return demo


def contents(folder: Path) -> dict[Path, bytes | None]:
    return {path: path.read_bytes() if path.is_file() else None for path in folder.rglob("*")}


@pytest.mark.parametrize(
    "arguments",
    [
        ("predict", *WORK, "-o", "out.h5"),
        ("predict", "own", "-p", "own/done.toml", "--plot", "out.png"),
        ("predict", *WORK, "--engine", "planar", "--cells", "32", "--draws", "8"),
        ("compare", *WORK, "-o", "out.json"),
        ("propose", "bench.toml", "--spells", "1", "-o", "new.toml", "--card", "card.pdf"),
        ("calibrate", "own"),
        ("history", "own", "--plot", "history.svg"),
        ("rehearse", "practice", "--sessions", "2", "--minutes", "20"),
    ],
    ids=lambda arguments: " ".join(arguments[:3]),
)
def test_it_says_what_it_would_do_and_does_nothing(arguments: tuple[str, ...], call: Call, desk: Path) -> None:
    before = contents(desk)
    said = call(*arguments, "--dry-run", "--json", "-q")
    assert (said.code, said.err) == (0, "")
    answer = json.loads(said.out)
    assert answer["dry_run"] is True and answer["predictions"] > 0
    assert 0.0 <= answer["time_least_s"] <= answer["time_s"] and answer["timed_s"] > 0.0
    asked = [text for text in arguments if text.startswith(("out.", "new.", "card.", "history."))]
    assert set(asked) <= set(answer["would_write"])
    assert contents(desk) == before


def test_at_a_terminal_it_keeps_to_80_columns_and_names_what_comes_next(call: Call, desk: Path) -> None:
    said = call("predict", *WORK, "--dry-run", "-o", "out.h5")
    assert said.out.startswith("Would be run") and "out.h5" in said.out
    assert max(map(len, said.out.splitlines())) <= 80
    assert said.err.splitlines()[-1] == f"Next: wearsim predict {shlex.join(WORK)} -o out.h5"  # as it was asked


@pytest.mark.parametrize(
    ("arguments", "says"),
    [
        (("predict", "bench.toml", "-p", "none.toml"), "none.toml: no such file"),
        (("predict", *WORK, "-o", "programme.toml"), "ending in .h5"),
        (("predict", *WORK, "--cells", "64"), "planar engine only"),
        (("propose", "bench.toml", "-o", "programme.toml"), "exists already"),
        (("propose", "bench.toml", "--minutes", "-1"), "minutes"),
        (("calibrate", "nowhere"), "nowhere"),
        (("rehearse", "own"), "not a practice mirror"),
        (("rehearse", "no/such"), "its folder is missing"),
        (("rehearse", "new", "--diameter", "9 m"), "out of range"),
    ],
    ids=lambda given: " ".join(given[:2]) if isinstance(given, tuple) else "",
)
def test_what_the_run_would_refuse_it_refuses(arguments: tuple[str, ...], says: str, call: Call, desk: Path) -> None:
    before = contents(desk)
    said = call(*arguments, "--dry-run")
    assert said.code == 2 and says in said.err and len(said.err.splitlines()) == 1
    assert contents(desk) == before


@pytest.mark.parametrize("engine", ["radial", "planar"])
def test_a_stroke_that_tips_off_is_refused(engine: str, call: Call, tipping: Path) -> None:
    for command in ("predict", "compare"):
        said = call(command, "bench.toml", "-p", str(tipping), "--engine", engine, "--dry-run")
        assert said.code == 2 and "Traceback" not in said.err


def test_a_damaged_session_is_found(call: Call, desk: Path) -> None:
    sheet = next(path for path in (desk / "own").glob("0*/readings.toml"))
    sheet.write_text("readings = 1\n")
    assert call("calibrate", "own", "--dry-run").code == 2


def test_a_long_walk_is_told_from_a_short_one(demo: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """An engine that takes 0.5 s and 2 ms a stroke is forecast as just that, for every draw."""
    bench, programme = ws.load_bench("bench.toml"), ws.load_programme("programme.toml")
    walked: list[float] = []

    def predict(bench: Any, programme: Any, **_: Any) -> None:
        walked.append(strokes_of(programme))

    def seconds_of(work: Callable[[], object]) -> float:
        work()
        return 0.5 + 2e-3 * walked[-1]

    monkeypatch.setattr(ahead, "predict", predict)
    monkeypatch.setattr(ahead, "seconds_of", seconds_of)
    found = ahead.predict_ahead(bench, programme, engine="planar", draws=9)
    assert max(walked) == pytest.approx(ahead.TIMED_STROKES)
    assert found.most == pytest.approx(10 * (0.5 + 2e-3 * strokes_of(programme)))
    assert found.predictions == 10


def test_a_shortened_programme_has_its_share_of_strokes(demo: Path) -> None:
    programme = ws.load_programme("programme.toml")
    assert strokes_of(shortened(programme, 0.25)) == pytest.approx(0.25 * strokes_of(programme))


def test_a_dry_run_searches_nothing(call: Call, desk: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def run(search: Search) -> None:
        raise AssertionError("a search in a dry run")

    monkeypatch.setattr(Search, "run", run)
    for arguments in (("propose", "bench.toml"), ("rehearse", "practice", "--sessions", "1")):
        assert call(*arguments, "--dry-run", "-q").code == 0


def test_a_search_makes_more_trials_for_more_strokes_and_spells() -> None:
    one, more, three = looks_of(200, 1), looks_of(300, 1), looks_of(200, 3)
    assert more.found == one.found + 200 and more.settled == one.settled
    assert all(few < many for few, many in zip(one, three, strict=True) if few != 200)
    assert all(looks.found_new <= looks.found and looks.settled_new <= looks.settled for looks in (one, three))


def test_the_start_counts_but_what_was_timed_does_not(monkeypatch: pytest.MonkeyPatch) -> None:
    """Of 3.5 s so far 1.5 s went into timing: 2 s are the start, or 4 s on a machine with as much else to do.

    A start that compiled is no measure.
    """
    told = Ahead("1 prediction", 1, 100.0, 0.5, 1.0, "one prediction", 0.1)
    monkeypatch.setattr(ahead._Timed, "seconds", 1.5)
    for so_far, waited, start in (
        (3.5, 0.8, 2.0), (3.5, 3.0, 4.0), (90.0, 1.5, ahead.LONGEST_START), (1.0, 1.5, 0.0)
    ):  # fmt: skip
        monkeypatch.setattr(ahead._Timed, "waited", waited)
        monkeypatch.setattr(ahead.time, "process_time", lambda so_far=so_far: so_far)
        found = ahead.started(told)
        assert (found.least, found.most) == (0.5 + start, 1.0 + start)


def test_more_is_run_for_more_constants_and_draws() -> None:
    for size in (0, 1, 4):
        fewest, most = runs_of(size, 64)
        assert fewest < most and runs_of(size, 128) > (fewest, most)
        assert runs_of(size, 64, 3)[0] > fewest and runs_of(size, 64, 3)[1] > most
    assert runs_of(4)[0] > runs_of(1)[0]


def test_a_moment_is_no_nought() -> None:
    told = Ahead("1 prediction", 1, 100.0, 0.01, 0.02, "one prediction", 0.02)
    assert "about 0 s" not in ahead_text(told, []) and "less than a second" in ahead_text(told, [])
