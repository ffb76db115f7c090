"""``wearsim predict``: the table, the object, the files."""

from __future__ import annotations

import json
import re
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import tomli_w

import wearsim as ws
from tests.helpers.start_figures import KNOWN
from tests.helpers.workbench import make_bench, make_programme
from wearsim.show.numbers import pressure_number
from wearsim.wear.bench_risks import risks_json
from wearsim.wear.outcome import EXACT

Call = Callable[..., Any]

# Scripts read these keys.
KEYS = {
    "radius_m", "removal_m", "figure_error_before_m", "figure_error_after_m", "surface_rms_before_m",
    "surface_rms_m", "surface_pv_m", "wavefront_rms_waves", "wavefront_pv_waves", "lift_off_share", "strehl",
    "conic_fit", "edge_roll_m", "peak_pressure_pa",
}  # fmt: skip
BAND_KEYS = {
    "figure_error_band_m",
    "surface_rms_band_m",
    "strehl_band",
    "conic_fit_before_band",
    "removal_band_m",
    "figure_error_change_band_m",
    "peak_pressure_band_pa",
    "lift_off_share_band",
}
PROFILES = ("radius_m", "removal_m", "figure_error_before_m", "figure_error_after_m")


@pytest.fixture
def answer(call: Call, demo: Path) -> dict[str, object]:
    called = call("predict", "bench.toml", "-p", "programme.toml", "--draws", "4", "--json", "--seed", "5")
    assert called.code == 0
    assert called.out.count("\n") == 1
    return dict(json.loads(called.out))


def test_json_has_the_keys_of_the_interface(answer: dict[str, object]) -> None:
    assert answer.keys() >= KEYS | BAND_KEYS
    lengths = {len(answer[key]) for key in PROFILES}  # type: ignore[arg-type]
    band = np.array(answer["figure_error_band_m"])
    assert lengths == {band.shape[1]}
    assert band.shape[0] == 2 and np.all(band[0] <= band[1])
    assert np.shape(answer["surface_rms_band_m"]) == (2,)


def test_json_says_what_python_says(answer: dict[str, object], demo: Path) -> None:
    bench = ws.load_bench("bench.toml")
    outcome = ws.predict(bench, ws.load_programme("programme.toml"), seed=5, draws=4)
    assert answer == json.loads(json.dumps({**outcome.to_json(), **risks_json(bench)}))


@pytest.mark.parametrize(("on_top", "is_said"), [("mirror", True), ("tool", False)])
def test_where_a_long_stroke_does_not_deepen_it_is_said_why(
    on_top: str, is_said: bool, call: Call, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    sizes = '[mirror]\ndiameter = "200 mm"\nradius_of_curvature = "2.4 m"\n[lap]\ndiameter = "200 mm"\nmass = "2 kg"\n'
    Path("bench.toml").write_text(f"{sizes}[figure]\nconic = -0.5\n")
    stroke = 'stroke = "w"\nlength = 0.5\nside_sweep = 0.125\nminutes = 20\n'
    Path("long.toml").write_text(f'[[spell]]\non_top = "{on_top}"\n{stroke}')
    called = call("predict", "bench.toml", "-p", "long.toml", "--draws", "0")
    assert called.code == 0
    assert ("The conic constant moves away from the target" in called.err) == is_said


def test_without_draws_there_is_no_band(call: Call, demo: Path) -> None:
    called = call("predict", "bench.toml", "-p", "programme.toml", "--draws", "0", "--json")
    answer = json.loads(called.out)
    assert answer.keys() >= KEYS
    assert not answer.keys() & BAND_KEYS


def test_another_seed_gives_another_band_and_the_same_line(answer: dict[str, object], call: Call, demo: Path) -> None:
    called = call("predict", "bench.toml", "-p", "programme.toml", "--draws", "4", "--json", "--seed", "6")
    other = json.loads(called.out)
    assert other["removal_m"] == answer["removal_m"]
    assert other["surface_rms_band_m"] != answer["surface_rms_band_m"]


def test_output_loads_back_into_an_equal_outcome(call: Call, demo: Path) -> None:
    assert call("predict", "bench.toml", "-p", "programme.toml", "--draws", "4", "-o", "out.h5").code == 0
    bench = ws.load_bench("bench.toml")
    outcome = ws.predict(bench, ws.load_programme("programme.toml"), draws=4)
    assert ws.read_outcome("out.h5") == outcome


def test_table_shows_zones_numbers_and_spells(call: Call, demo: Path) -> None:
    out = call("predict", "bench.toml", "-p", "programme.toml", "--draws", "4").out
    lines = out.splitlines()
    assert max(map(len, lines)) <= 80 and out.isascii()
    assert lines[0].split()[:4] == ["Zone", "Before", "Removed", "After"]
    assert lines[1].split()[:7] == ["mm", "nm", "band", "nm", "band", "nm", "band"]
    assert all(line.count(" to ") == 3 for line in lines[2:14])  # before, removed, after
    for name in ("RMS, surface", "Strehl ratio", "Conic constant", "Edge roll"):
        assert next(line for line in lines if line.startswith(name)).count(" to ") == 2  # before, after
    assert next(line for line in lines if line.startswith("3    ")).count(" to ") == 3  # RMS, pressure, lift-off
    words = " ".join(out.split())
    assert "Largest pressure" in out and "of the overlap carries no load" in words
    assert re.search(r"Expected RMS over 4 draws, all uncertainties included: \d+ nm; if you stop now: \d+ nm\.", words)
    assert "  2: tool on top, W, 90 mm long, 75 mm to each side" in lines


@pytest.mark.parametrize(("inches", "written"), [(False, ("20.00", ">100")), (True, ("2.90", ">15"))])
def test_more_pressure_than_pitch_bears_is_no_number(inches: bool, written: tuple[str, str]) -> None:
    done = ws.predict(make_bench(), make_programme(), draws=0)
    text = '[mirror]\ndiameter = "8 in"\n' if inches else '[mirror]\ndiameter = "200 mm"\n'
    number = pressure_number(replace(done, bench_text=text))
    assert tuple(map(number.written, (2e4, 2e6))) == written


def test_where_nothing_is_uncertain_a_line_says_why_there_is_no_band(call: Call, demo: Path) -> None:
    exact = tomli_w.dumps({"spread": KNOWN})
    Path("bench.toml").write_text(Path("bench.toml").read_text() + exact)
    Path("profile.csv").write_text("radius_mm,error_nm\n0,0\n80,40\n150,-20\n")
    out = call("predict", "bench.toml", "-p", "programme.toml").out
    assert " ".join(out.split()).count(f"No band: {EXACT}. Two uncertainties are not included") == 1
    assert re.search(r"\(-?\d", out) is None  # nor a band
    answer = json.loads(call("predict", "bench.toml", "-p", "programme.toml", "--json").out)
    assert answer["no_band"] == EXACT and not any(key.endswith("_band_m") for key in answer)


def test_inches_where_the_file_has_inches(call: Call, demo: Path) -> None:
    text = Path("bench.toml").read_text().replace('diameter = "300 mm"', 'diameter = "11.811 in"')
    Path("bench.toml").write_text(text)
    Path("profile.csv").write_text("radius_in,error_nm\n0,0\n3,40\n5.9,-20\n")
    called = call("predict", "bench.toml", "-p", "programme.toml", "--draws", "0")
    assert called.code == 0, called.err
    lines = called.out.splitlines()
    assert lines[1].split()[:2] == ["in", "nm"]
    assert "  2: tool on top, W, 3.54 in long, 2.95 in to each side" in lines
    assert "mm" not in called.out


def test_nothing_done_changes_nothing(call: Call, demo: Path) -> None:
    Path("none.toml").write_text("")
    called = call("predict", "bench.toml", "-p", "none.toml", "--plot", "none.png", "--card", "none.pdf")
    assert called.code == 0
    assert called.out.startswith("The programme has no spells: nothing changes.\n")
    assert "none.pdf is not written: the programme has no spells." in called.err
    assert Path("none.png").exists() and not Path("none.pdf").exists()
    answer = json.loads(call("predict", "bench.toml", "-p", "none.toml", "--json").out)
    assert not any(answer["removal_m"])
    assert answer["figure_error_before_m"] == answer["figure_error_after_m"]


def test_warnings_stand_in_the_answer(call: Call, demo: Path) -> None:
    thin = Path("bench.toml").read_text().replace('thickness = "50 mm"', 'thickness = "20 mm"')
    Path("bench.toml").write_text(thin)
    called = call("predict", "bench.toml", "-p", "programme.toml", "--draws", "0")
    assert "Warning: glass: 20 mm thick at 300 mm across is too thin" in called.out
    inside = call("predict", "bench.toml", "-p", "programme.toml", "--draws", "0", "--json")
    assert any("20 mm thick" in line for line in json.loads(inside.out)["warnings"])
    assert "Warning: glass:" in inside.err


@pytest.mark.parametrize(("ending", "start"), [("png", b"\x89PNG"), ("svg", b"<?xml"), ("pdf", b"%PDF")])
def test_plots_of_every_kind(ending: str, start: bytes, call: Call, demo: Path) -> None:
    name = f"out.{ending}"
    assert call("predict", "bench.toml", "-p", "programme.toml", "--draws", "2", "--plot", name).code == 0
    data = Path(name).read_bytes()
    assert data.startswith(start) and len(data) > 10_000


def test_shadows_before_and_predicted(call: Call, demo: Path) -> None:
    arguments = ["predict", "bench.toml", "-p", "programme.toml", "--draws", "0", "--shadows", "s.svg"]
    assert call(*arguments).code == 0
    drawn = (demo / "s.svg").read_text(encoding="utf-8")
    assert "before" in drawn and "predicted" in drawn
    assert call(*arguments).code == 2
