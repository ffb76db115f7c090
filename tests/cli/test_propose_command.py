"""``wearsim propose``: the table, the object, the files, and what is refused."""

from __future__ import annotations

import json
import re
from collections.abc import Callable
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest

import wearsim as ws
from tests.helpers.small_bench import small_bench
from wearsim.bench.units import counted
from wearsim.cli.options import COMMAND_LINE
from wearsim.cli.propose import _name_next
from wearsim.cli.terminal import Messages
from wearsim.decide.choice import TRIAL
from wearsim.decide.limits import Limits, usual_limits

Call = Callable[..., Any]
QUICK = ("--minutes", "12", "--spells", "1", "--on-top", "tool", "--draws", "4")
READINGS = """
source = "fixed"
length_unit = "in"
windows = [[0.6, 1.8], [2.2, 2.9], [3.2, 3.8], [4.0, 4.4], [4.6, 4.9]]
readings = [[0.000, 0.035, 0.070, 0.180, 0.225], [0.002, 0.034, 0.072, 0.181, 0.223]]
"""
READ_BENCH = """
[mirror]
diameter = "10 in"
radius_of_curvature = "100 in"
thickness = "1.5 in"
[lap]
diameter = "10 in"
mass = "6 lb"
[figure]
readings = "readings.toml"
"""


def test_everything_at_once(call: Call, demo: Path, searched_once: None) -> None:
    """One search: the table, the programme that predict reads, the card and the plot."""
    called = call("propose", "bench.toml", *QUICK, "-o", "next.toml", "--card", "card.pdf", "--plot", "plot.svg")
    assert called.code == 0
    lines = called.out.splitlines()
    assert max(map(len, lines)) <= 80 and called.out.isascii()
    assert lines[0].startswith("Proposed: ") and "of D" in lines[2]
    assert lines[1].split() == ["Length", "Each", "side", "Off", "centre"]
    for words in ("RMS, surface", "Edge roll", "Floor: estimated best", "Gap between", "of the error"):
        assert words in " ".join(called.out.split())
    assert "Knife-edge readings" not in called.out  # the bench names none
    assert called.err.rstrip().endswith("Next: wearsim predict bench.toml --programme next.toml --plot out.png")
    assert Path("card.pdf").read_bytes().startswith(b"%PDF-")
    assert "<svg" in Path("plot.svg").read_text(encoding="utf-8")
    assert sorted(path.name for path in demo.iterdir()) == sorted(
        ["bench.toml", "profile.csv", "programme.toml", "next.toml", "card.pdf", "plot.svg"]
    )

    again = call("predict", "bench.toml", "-p", "next.toml", "--draws", "4", "--json")
    assert again.code == 0
    bench = ws.load_bench("bench.toml")
    programme = ws.load_programme("next.toml", bench)
    assert 1 <= len(programme.spells) <= 1 and sum(s.minutes for s in programme.spells) <= 12.0
    told = f"Proposed: {counted(programme.spells[0].minutes, 'minute')} of work in 1 spell."
    assert lines[0] == told


def test_json_says_what_python_says(call: Call, demo: Path) -> None:
    called = call("propose", "bench.toml", *QUICK, "--json", "--seed", "5")
    assert called.code == 0 and called.out.count("\n") == 1
    answer = json.loads(called.out)
    assert answer.keys() >= {"programme", "outcome", "floor"}
    limits = usual_limits(minutes=12.0, spells=1, on_top=("tool",))
    done = ws.propose(ws.load_bench("bench.toml"), limits=limits, seed=5, draws=4)
    assert answer == json.loads(json.dumps(done.to_json()))
    assert "expected_readings" not in answer


def test_a_folder_and_its_bench_are_answered_alike(call: Call, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)
    folder = tmp_path / "mine"
    folder.mkdir()
    (folder / "bench.toml").write_text(READ_BENCH)
    (folder / "readings.toml").write_text(READINGS)
    answers = [call("propose", name, *QUICK, "--json") for name in ("mine", "mine/bench.toml")]
    assert [one.code for one in answers] == [0, 0]
    assert json.loads(answers[0].out) == json.loads(answers[1].out)


def test_options_reach_the_limits(call: Call, demo: Path) -> None:
    called = call(
        "propose", "bench.toml", *QUICK, "--shortest", "3", "--on-top", "tool", "--rate", "40", "--json",
        "--edge-limit", "0.2", "--time-limit", "1e-6",
    )  # fmt: skip
    answer = json.loads(called.out)
    assert answer["stopped_by_time_limit"]
    for spell in answer["programme"]:
        assert spell["on_top"] == "tool" and spell["rate"] == 40.0 and spell["minutes"] >= 3.0


def test_nothing_to_do_is_an_answer(call: Call, demo: Path) -> None:
    bench = Path("bench.toml")
    text = bench.read_text(encoding="utf-8").replace('profile = "profile.csv"', "conic = -1.0")
    bench.write_text(text, encoding="utf-8")
    called = call("propose", "bench.toml", "-o", "next.toml", "--card", "card.html", "--plot", "plot.png")
    assert called.code == 0
    assert called.out.startswith("Stop: the target is reached")
    assert "next.toml and card.html are not written: nothing is proposed.\n" in called.err
    assert Path("plot.png").exists() and not Path("next.toml").exists() and not Path("card.html").exists()
    assert called.err.rstrip().endswith("Next: stop here; more work would risk more than it gains.")


def test_existing_files_are_named_all_at_once(call: Call, demo: Path) -> None:
    files = ("-o", "a.toml", "--card", "b.pdf", "--plot", "c.png")
    for name in files[1::2]:
        Path(name).write_text("old", encoding="utf-8")
    called = call("propose", "bench.toml", *files)
    assert called.code == 2
    assert called.err == "wearsim: a.toml, b.pdf, c.png: already exist; expected other names, or --force\n"


def test_astigmatism_is_not_called_done(call: Call, demo: Path) -> None:
    bench = Path("bench.toml")
    terms = "zernike = [0, 0, 0, 0, 0, 40]"
    bench.write_text(bench.read_text(encoding="utf-8").replace('profile = "profile.csv"', terms), encoding="utf-8")
    called = call("propose", "bench.toml")
    flat = " ".join(called.out.split())
    assert flat.startswith(
        "Stop: the target is reached by the rotationally symmetric part of the figure alone: Strehl ratio 1.00"
    )
    assert re.search(
        "; astigmatism [0-9]+ nm RMS, high at 0 deg is left; strokes worked evenly all round cannot remove it", flat
    )
    assert called.err.rstrip().endswith("--programme programme.toml --engine planar")


@pytest.mark.parametrize(
    ("reason", "following"),
    [
        (
            "no stroke helps; any stroke (--repertoire any) would leave 5 nm RMS",
            "propose b --minutes 30 --repertoire any",
        ),
        ("no stroke helps", "Or test the mirror again, with more repeats or more windows, before you decide."),
    ],
)
def test_where_no_stroke_helps_something_sensible_comes_next(
    reason: str, following: str, capsys: pytest.CaptureFixture[str]
) -> None:
    nothing: Any = SimpleNamespace(
        reason=reason, limits=Limits(minutes=30.0), programme=ws.Programme(), outcome=SimpleNamespace(warnings=()),
        choices=(),
    )  # fmt: skip
    COMMAND_LINE.set(("propose", "b", "--minutes", "30"))
    _name_next(Messages(), Path("b"), small_bench(), nothing, None, None)
    said = capsys.readouterr().err
    assert said.rstrip().endswith(following)
    assert "off centre by at most 0.35 D with the tool on top or 0.2 D with the mirror on top" in " ".join(said.split())
    assert "Next: wearsim propose b --minutes 30 --repertoire any\n" in said


def test_a_short_trial_is_named_with_the_command_that_takes_it(capsys: pytest.CaptureFixture[str]) -> None:
    nothing: Any = SimpleNamespace(
        reason="no stroke helps", limits=Limits(minutes=30.0, repertoire="any"), programme=ws.Programme(),
        outcome=SimpleNamespace(warnings=()), choices=(SimpleNamespace(name=TRIAL),),
    )  # fmt: skip
    COMMAND_LINE.set(("propose", "b", "-o", "next.toml", "--on-top", "tool"))
    _name_next(Messages(), Path("b"), small_bench(), nothing, Path("next.toml"), None)
    said = capsys.readouterr().err
    assert said.endswith("Next: wearsim propose b -o next.toml --on-top tool --choose trial\n")
    assert "common" not in said
    _name_next(Messages(), Path("b"), small_bench(), nothing, None, None)
    assert capsys.readouterr().err.endswith("--choose trial -o trial.toml --card card.pdf\n")


def test_another_row_of_the_table_is_taken_with_choose(call: Call, demo: Path, searched_once: None) -> None:
    search = ("propose", "bench.toml", *QUICK, "--trade-off")
    called = call(*search, "--choose", "textbook", "-o", "taken.toml")
    assert called.code == 0, called.err
    (words,) = re.findall(r"Textbook stroke +\d+ +\d+ +(\d+ min tool on top)", called.out)
    (spell,) = ws.load_programme("taken.toml").spells
    assert words == f"{spell.minutes:g} min {spell.on_top} on top"
    text = Path("taken.toml").read_text(encoding="utf-8")
    assert re.match('# Sizes without a unit are fractions of the mirror\'s diameter; .* "75 mm" instead.\n', text)
    refused = call(*search, "--choose", "trial")
    assert refused.code == 2
    assert 'not in the table of choices this time, got "trial"; expected one of' in refused.err


def test_readings_to_expect_where_the_bench_names_readings(call: Call, demo: Path) -> None:
    Path("read.toml").write_text(READ_BENCH, encoding="utf-8")
    Path("readings.toml").write_text(READINGS, encoding="utf-8")
    called = call("propose", "read.toml", *QUICK, "--json")
    answer = json.loads(called.out)
    expected = answer["expected_readings"]
    assert expected["source"] == "fixed"
    assert np.allclose(np.array(expected["zones_m"])[0], [0.6 * 0.0254, 1.8 * 0.0254])
    sizes = {len(expected[key]) for key in ("zones_m", "now_m", "after_m", "target_m", "sigma_m")}
    assert sizes == {5}
    now, after, target = (np.array(expected[key]) for key in ("now_m", "after_m", "target_m"))
    assert now[0] == after[0] == 0.0
    # what is read now lies within the noise of the sheet, and the work leads towards the target
    assert np.allclose(now[1:] / 0.0254, [0.0345, 0.071, 0.1805, 0.224], atol=0.01)
    assert np.linalg.norm(after - target) < np.linalg.norm(now - target)


@pytest.mark.parametrize(
    ("arguments", "word"),
    [
        (("--minutes", "0"), "minutes"), (("--minutes", "nan"), "minutes"), (("--minutes", "soon"), "--minutes"),
        (("--spells", "0"), "spells"), (("--spells", "9"), "spells"), (("--shortest", "-1"), "shortest"),
        (("--minutes", "1"), "shortest"), (("--edge-limit", "0"), "edge-limit"), (("--rate", "0"), "rate"),
        (("--on-top", "glass"), "on-top"), (("--sessions", "0"), "sessions"),
        (("--time-limit", "0"), "time-limit"), (("--time-limit", "nan"), "time-limit"),
        (("-o", "next.txt"), "next.txt"), (("--card", "card.png"), "card.png"),
        (("-o", "bench.toml", "--force"), "bench.toml"), (("-o", "programme.toml"), "already exists"),
        (("--card", "no/card.pdf"), "folder"),
    ],
)  # fmt: skip
def test_bad_input_is_one_line_and_two(arguments: tuple[str, ...], word: str, call: Call, demo: Path) -> None:
    before = {path.name: path.read_bytes() for path in demo.iterdir()}
    called = call("propose", "bench.toml", *arguments)
    assert called.code == 2 and called.out == ""
    assert called.err.count("\n") == 1 and word in called.err
    assert {path.name: path.read_bytes() for path in demo.iterdir()} == before


def test_force_replaces(call: Call, demo: Path, searched_once: None) -> None:
    Path("next.toml").write_text("old", encoding="utf-8")
    assert call("propose", "bench.toml", *QUICK, "-o", "next.toml", "--force", "-q").code == 0
    assert len(ws.load_programme("next.toml").spells) == 1


def test_help_begins_with_an_example(call: Call) -> None:
    called = call("propose", "--help")
    assert called.code == 0 and called.out.startswith("Example:\n  wearsim propose bench.toml")
