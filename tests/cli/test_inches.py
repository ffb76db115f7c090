"""A bench that is written in inches is answered in inches: warnings, refusals, spells, masks."""

from __future__ import annotations

import json
import re
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from wearsim.bench.toml_io import load_bench
from wearsim.knifeedge.readings import load_readings

Call = Callable[..., Any]
BENCH = """\
[mirror]
diameter = "10 in"
radius_of_curvature = "120 in"
thickness = "0.4 in"
[lap]
diameter = "10 in"
mass = "6 lb"
[figure]
conic = 0.0
"""
MILLIMETRES = re.compile(r"\d mm\b")


@pytest.fixture(autouse=True)
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    (tmp_path / "bench.toml").write_text(BENCH)
    monkeypatch.chdir(tmp_path)
    return tmp_path


def spell(length: str, file: str = "do.toml") -> str:
    Path(file).write_text(f'[[spell]]\nstroke = "straight"\nlength = "{length}"\nminutes = 1\n')
    return file


def test_warnings_and_spells(call: Call) -> None:
    done = call("predict", "bench.toml", "-p", spell("9.5 in"), "--draws", "0", "-q")
    assert done.code == 0, done.err
    said = " ".join(done.out.split())
    assert "straight, 9.5 in long" in said
    assert "the stroke reaches 4.75 in off centre" in said
    assert "glass: 0.4 in thick at 10 in across is too thin" in said
    assert not MILLIMETRES.search(said)


@pytest.mark.parametrize("engine", ["radial", "planar"])
def test_a_stroke_that_tips(engine: str, call: Call) -> None:
    done = call("predict", "bench.toml", "-p", spell("15 in"), "--engine", engine, "--draws", "0")
    assert done.code == 2 and done.err.count("\n") == 1
    assert re.search(r"do\.toml: spell 1: the top piece tips off at an offset of \d\.\d\d in between", done.err)
    assert not MILLIMETRES.search(done.err) and "was taken as" not in done.err
    bare = Path(spell("15 in"))
    bare.write_text(bare.read_text().replace('"15 in"', "1.5"))
    done = call("predict", "bench.toml", "-p", str(bare), "--engine", engine, "--draws", "0")
    assert "length = 1.5 was taken as 1.5 diameters of the mirror, because it has no unit" in done.err


@pytest.mark.parametrize("command", [("mask", "bench.toml"), ("new", "mine", "--diameter", "10 in")])
def test_a_window_that_would_be_too_narrow(command: tuple[str, ...], call: Call) -> None:
    more = ("--focal-ratio", "6", "--lap-mass", "6 lb") if command[0] == "new" else ()
    done = call(*command, *more, "--zones", "40")
    assert done.code == 2
    assert "--zones: with this many windows, some would be narrower than 0.2 in" in done.err


def test_a_folder_to_fill_in(call: Call) -> None:
    """Its files keep to 80 columns where they are read at a terminal; a mask is drawn before anything is read."""
    made = ("new", "mine", "--diameter", "10 in", "--focal-ratio", "6", "--lap-mass", "6 lb", "--zones", "9")
    done = call(*made, "-o", "made.json", "--json")
    assert done.code == 0, done.err
    assert json.loads(Path("made.json").read_text()) == json.loads(done.out)
    assert max(map(len, Path("mine/readings.toml").read_text().splitlines())) <= 80
    assert call("mask", "mine", "-o", "mask.svg").code == 0
    assert "4 in: print at 100%" in Path("mask.svg").read_text()


def test_an_overhang_beyond_the_rim(call: Call) -> None:
    Path("do.toml").write_text('[[spell]]\nstroke = "overhang"\nlength = "1 in"\nside_overhang = "6 in"\nminutes = 1\n')
    done = call("predict", "bench.toml", "-p", "do.toml")
    assert done.code == 2
    assert 'got "an offset of 6 in or more"; expected an offset of less than 5 in somewhere' in done.err


def test_a_balance_that_is_not_found(call: Call, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("wearsim.wear.radial.engine.kernels.evolve", lambda *_: 3)
    done = call("predict", "bench.toml", "-p", spell("4 in"), "--draws", "0")
    assert done.code == 1
    assert re.search(r"could not be balanced \(spell 1, offset \d\.\d\d in; imbalance", done.err)


def test_a_bench_to_fill_in_and_its_defaults(call: Call) -> None:
    """What is left to wearsim stands there in inches and pounds, and reads back as nearly what it was."""
    made = ("new", "mine", "--diameter", "10 in", "--focal-ratio", "6", "--lap-mass", "6 lb", "-q")
    assert call(*made).code == 0
    text = Path("mine/bench.toml").read_text()
    assert not re.search(r"\d (mm|N)\b", text)
    assert max(map(len, text.splitlines())) <= 80
    assert '# rim_excluded = "0.08 in"' in text and '# push = "6.7 lbf"' in text
    said = re.sub(
        r"^# (\w+ = )", r"\1", text.replace('[figure]\nreadings = "readings.toml"', "[figure]\nconic = 0"), flags=re.M
    )
    Path("said.toml").write_text(said)
    told, left = load_bench("said.toml"), load_bench("bench.toml")
    assert told.mirror.rim_excluded == pytest.approx(left.mirror.rim_excluded, rel=2e-2)
    assert told.hands.push == pytest.approx(left.hands.push, rel=1e-2)
    for flags in ((), ("-v",)):
        done = call("predict", "bench.toml", "-p", spell("4 in"), "--draws", "0", *flags)
        assert "0.08 in" in done.err and "6.7 lbf" in done.err
        assert not re.search(r"\d (mm|N)\b", done.err)


def test_a_practice_mirror_is_read_in_inches(call: Call) -> None:
    assert call("rehearse", "practice", "--diameter", "10 in", "--sessions", "0").code == 0
    sheet = load_readings("practice/readings.toml")
    assert sheet.length_unit == "in"
    assert sheet.zones.outer[-1] == pytest.approx(5 * 0.0254, rel=0.03)
    assert sheet.sigma == pytest.approx(1e-4, rel=1e-5)
    assert sheet.resolution == pytest.approx(1e-4 * 0.0254)


def test_a_plain_number_of_a_mask_is_of_the_unit_of_the_bench(call: Call) -> None:
    one, other = (
        json.loads(call("mask", "bench.toml", "--json", "--bridge", width).out) for width in ("0.1", "0.1 in")
    )
    assert one == other
    done = call("mask", "bench.toml", "--bridge", "40")
    assert done.code == 2 and "expected 0 in to 39.37 in" in done.err


@pytest.mark.parametrize(
    ("key", "value", "example"),
    [('mass = "6 lb"', 'mass = "6 in"', '"4 kg" or "9 lb"'), ('diameter = "10 in"', "diameter = 10", '"12 in"')],
)
def test_a_hint_is_in_both_units(key: str, value: str, example: str, call: Call) -> None:
    Path("bench.toml").write_text(BENCH.replace(key, value))
    done = call("predict", "bench.toml", "-p", spell("4 in"))
    assert done.code == 2 and example in done.err
