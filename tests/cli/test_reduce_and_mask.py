"""The commands reduce and mask, from the command line's own entrance."""

from __future__ import annotations

import json
import re
from pathlib import Path

import numpy as np
import pytest

from wearsim.cli.main import run

BENCH = """
[mirror]
diameter = "300 mm"
radius_of_curvature = "3.0 m"
[lap]
diameter = "300 mm"
mass = "4 kg"
[figure]
readings = "readings.toml"
"""
SHEET = """
source = "moving"
length_unit = "mm"
windows = [[18, 45], [60, 80], [92, 108], [118, 130], [138, 147]]
readings = [[0.00, 0.61, 1.45, 2.40, 3.20], [0.05, 0.58, 1.50, 2.36, 3.25]]
"""
JSON_OF_REDUCE = {
    "radius_m", "figure_error_m", "sigma_m", "surface_rms_m", "surface_rms_sigma_m", "wavefront_pv_waves",
    "strehl", "conic_fit",
}  # fmt: skip


@pytest.fixture
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    (tmp_path / "bench.toml").write_text(BENCH)
    (tmp_path / "readings.toml").write_text(SHEET)
    monkeypatch.chdir(tmp_path)
    return tmp_path


def test_reduce_answers_as_a_table_and_names_the_next_command(folder: Path, capsys) -> None:
    assert run(["reduce", "readings.toml", "--bench", "bench.toml"]) == 0
    said = capsys.readouterr()
    assert "Strehl ratio" in said.out
    assert "118.0 - 130.0" in said.out
    assert "Next: wearsim " in said.err


def test_heights_are_above_the_target_and_a_sphere_is_none_of_a_paraboloids(folder: Path, capsys) -> None:
    for conic, words in (("-1.0", "above the target paraboloid, not a sphere"), ("0.0", "above the target, a sphere")):
        (folder / "bench.toml").write_text(BENCH.replace("[lap]", f"conic = {conic}\n[lap]"))
        assert run(["reduce", "bench.toml"]) == 0
        assert words in " ".join(capsys.readouterr().out.split())


def test_a_sheet_that_is_not_there_is_refused_with_those_that_are(folder: Path, capsys) -> None:
    assert run(["reduce", "reading.toml"]) == 2
    assert capsys.readouterr().err == (
        "wearsim: reading.toml: no such file; expected a sheet of readings: readings.toml\n"
    )
    assert run(["reduce", "none/reading.toml"]) == 2
    assert "no such file" in capsys.readouterr().err


def test_json_is_one_object_and_the_same_by_both_ways(folder: Path, capsys) -> None:
    assert run(["reduce", "readings.toml", "--bench", "bench.toml", "--json", "-q"]) == 0
    one = json.loads(capsys.readouterr().out)
    assert run(["reduce", "bench.toml", "--json", "-q"]) == 0
    assert json.loads(capsys.readouterr().out) == one
    assert set(one) >= JSON_OF_REDUCE
    assert len(one["radius_m"]) == len(one["figure_error_m"]) == len(one["sigma_m"])


def test_shown_numbers_subtract(folder: Path, capsys) -> None:
    for first in ("0.61", "0.62", "0.63", "0.64"):
        (folder / "readings.toml").write_text(SHEET.replace("0.61", first))
        assert run(["reduce", "bench.toml", "-q"]) == 0
        rows = re.findall(
            r"(?m)^ *\d +[\d.]+ - [\d.]+ +(-?[\d.]+) +(-?[\d.]+) +([+-]?[\d.]+) \+-", capsys.readouterr().out
        )
        assert len(rows) == 5
        assert all(float(knife) - float(target) == pytest.approx(float(apart)) for knife, target, apart in rows)


def test_a_folder_is_reduced_on_the_bench_of_a_folder(folder: Path, capsys) -> None:
    answers = []
    for readings, bench in ((".", "."), (".", "bench.toml"), ("readings.toml", "."), ("readings.toml", "bench.toml")):
        assert run(["reduce", readings, "--bench", bench, "--json", "-q"]) == 0
        answers.append(capsys.readouterr().out)
    assert len(set(answers)) == 1


def test_a_bridge_that_is_too_wide_is_named(folder: Path, capsys) -> None:
    assert run(["mask", "bench.toml", "--bridge", "80 mm", "-q"]) == 2
    said = capsys.readouterr().err
    most = re.fullmatch(
        r"wearsim: --bridge: too wide: bridges of 80 mm leave too little room for 5 windows; expected at most (.+ mm)\n",
        said,
    )
    assert most is not None, said
    assert run(["mask", "bench.toml", "--bridge", most[1], "-q"]) == 0
    assert run(["mask", "bench.toml", "--zones", "40", "--bridge", "3 mm", "-q"]) == 2  # too many by any bridge
    assert "--zones: with this many windows" in capsys.readouterr().err


def test_profile_goes_into_a_bench(folder: Path, capsys) -> None:
    arguments = ["reduce", "bench.toml", "-o", "profile.csv", "--plot", "p.svg", "--masking", "m.png", "-q"]
    assert run([*arguments, "--shadows", "s.png", "--json"]) == 0
    answer = json.loads(capsys.readouterr().out)
    rows = np.genfromtxt(folder / "profile.csv", delimiter=",", skip_header=2)
    assert rows[:, 1] * 1e-9 == pytest.approx(answer["figure_error_m"], abs=1e-17)
    assert rows[:, 2] * 1e-9 == pytest.approx(answer["sigma_m"], abs=1e-17)
    assert all((folder / name).stat().st_size > 1000 for name in ("p.svg", "m.png", "s.png"))
    assert run([*arguments]) == 2
    assert "profile.csv, m.png, p.svg: already exist;" in capsys.readouterr().err


def test_told_too_short_a_wait(folder: Path, capsys) -> None:
    assert run(["reduce", "bench.toml", "--waited", "10 min"]) == 0
    assert "Warning: tested 10 min after" in capsys.readouterr().err
    assert run(["reduce", "bench.toml", "--waited", "2 days"]) == 0
    assert "Warning" not in capsys.readouterr().err
    assert run(["reduce", "bench.toml", "--waited", "overnight"]) == 0
    assert "Warning" not in capsys.readouterr().err
    for nonsense in ("20", "soon", "-2 h", "3 mm"):
        assert run(["reduce", "bench.toml", "--waited", nonsense]) == 2
        assert "--waited" in capsys.readouterr().err


@pytest.mark.parametrize(
    ("old", "new", "says"),
    [
        ("[[18, 45], [60, 80], [92, 108], [118, 130], [138, 147]]", "[[18, 45], [60, 80]]", "3 to 60 zones"),
        ("[60, 80]", "[40, 80]", "overlaps"),
        ("3.20]", "1003.20]", "order of magnitude"),
        (", 3.20]", "]", "too short"),
        ("147]", "157]", "rim"),
    ],
)
def test_a_bad_sheet_is_one_line_and_writes_nothing(folder: Path, capsys, old: str, new: str, says: str) -> None:
    (folder / "readings.toml").write_text(SHEET.replace(old, new))
    assert run(["reduce", "bench.toml", "-o", "profile.csv", "--plot", "p.png", "-q"]) == 2
    said = capsys.readouterr()
    assert said.out == ""
    assert says in said.err
    assert said.err.count("\n") == 1
    assert "readings.toml" in said.err
    assert not (folder / "profile.csv").exists()
    assert not (folder / "p.png").exists()


def test_bench_without_readings(folder: Path, capsys) -> None:
    (folder / "bench.toml").write_text(BENCH.replace('readings = "readings.toml"', "conic = 0.0"))
    assert run(["reduce", "bench.toml"]) == 2
    assert "specifies no readings" in capsys.readouterr().err


def test_mask_is_a_table_and_a_drawing(folder: Path, capsys) -> None:
    assert run(["mask", "bench.toml", "--zones", "6", "-o", "mask.pdf", "--json", "-q"]) == 0
    answer = json.loads(capsys.readouterr().out)
    assert len(answer["inner_m"]) == 6
    assert answer["weight"] == pytest.approx([1 / 6] * 6)
    assert (folder / "mask.pdf").read_bytes().startswith(b"%PDF")
    assert run(["mask", "bench.toml"]) == 0
    told = capsys.readouterr().out
    assert "windows = [\n" in told and "Let the glass cool" in told
    assert run(["mask", "bench.toml", "--zones", "30", "-q"]) == 2
    assert "expected at most" in capsys.readouterr().err


@pytest.mark.parametrize(("given", "same"), [("7.62 mm", "0.3 in"), ("7.62", "7.62 mm")])
def test_a_mask_is_cut_to_inches_as_well(given: str, same: str, folder: Path, capsys) -> None:
    found = []
    for width in (given, same):
        assert run(["mask", "bench.toml", "--bridge", width, "--json", "-q"]) == 0
        found.append(json.loads(capsys.readouterr().out))
    assert np.allclose(found[0]["outer_m"], found[1]["outer_m"], rtol=1e-9)
    assert np.isclose(found[0]["inner_m"][1] - found[0]["outer_m"][0], 7.62e-3)


@pytest.mark.parametrize("given", ["-1 mm", "3 kg", "wide", "2 m", "nan mm"])
def test_what_is_no_width_of_a_window_is_refused(given: str, folder: Path, capsys) -> None:
    assert run(["mask", "bench.toml", f"--least-width={given}", "-q"]) == 2
    said = capsys.readouterr()
    assert said.out == "" and "--least-width" in said.err and len(said.err.splitlines()) == 1


def test_a_sheet_alone_takes_the_bench_that_lies_beside_it(folder: Path, capsys) -> None:
    (folder / "mine").mkdir()
    for name in ("bench.toml", "readings.toml"):
        (folder / name).rename(folder / "mine" / name)
    assert run(["reduce", "mine/readings.toml", "--bench", "mine/bench.toml"]) == 0
    named = capsys.readouterr()
    assert run(["reduce", "mine/readings.toml"]) == 0
    said = capsys.readouterr()
    assert said.out == named.out
    assert said.err == "Bench: mine/bench.toml.\n" + named.err
    (folder / "mine" / "bench.toml").unlink()
    assert run(["reduce", "mine/readings.toml"]) == 2
    said = capsys.readouterr()
    assert said.out == "" and said.err.count("\n") == 1
    assert said.err.startswith("wearsim: mine/readings.toml: there is no bench.toml beside this sheet of readings")
    assert "--bench BENCH" in said.err


@pytest.mark.parametrize("command", [["mask"], ["reduce", "readings.toml", "--bench"], ["propose"]])
def test_a_sheet_where_a_bench_is_asked_for_is_called_what_it_is(command: list[str], folder: Path, capsys) -> None:
    assert run([*command, "readings.toml"]) == 2
    said = capsys.readouterr().err
    assert said == "wearsim: readings.toml: this is a sheet of readings; expected a bench, or a mirror's folder\n"


PERFECT = "[0.20, 0.83, 1.68, 2.57, 3.39]"


@pytest.mark.parametrize(
    ("rows", "sigma", "more", "says", "following"),
    [
        ("[0, 0.42, 0.92, 1.38, 1.89]", 0.02, (), "not good enough yet", "wearsim propose bench.toml --minutes 60"),
        (PERFECT, 0.02, (), "; stop", "wearsim reduce bench.toml -o profile.csv"),
        (PERFECT, 0.02, ("-o", "p.csv"), "; stop", "stop here; the readings call for no more polishing."),
        (PERFECT, 1.0, (), "take more readings", "wearsim reduce bench.toml"),
    ],
)  # fmt: skip
def test_the_next_step_follows_from_the_verdict(
    rows: str, sigma: float, more: tuple[str, ...], says: str, following: str, folder: Path, capsys
) -> None:
    sheet = SHEET.partition("readings")[0]
    (folder / "readings.toml").write_text(f"{sheet}readings = [{rows}]\nsigma = {sigma}\n")
    assert run(["reduce", "bench.toml", *more]) == 0
    said = capsys.readouterr()
    assert says in " ".join(said.out.lower().split())
    assert said.err.splitlines()[-1] == f"Next: {following}"


def test_a_mirror_in_inches_is_told_in_inches(folder: Path, capsys) -> None:
    inches = BENCH.replace("300 mm", "11.81 in").replace("3.0 m", "118.1 in")
    (folder / "bench.toml").write_text(inches)
    sheet = SHEET.partition("readings")[0]
    (folder / "readings.toml").write_text(f"{sheet}readings = [[0, 0.42, 0.92, 1.38, 1.89]]\nsigma = 0.02\n")
    assert run(["reduce", "bench.toml"]) == 0
    words = " ".join(capsys.readouterr().out.split())
    assert re.search(r"a radius of curvature of 118\.\d\d in, if", words)
    assert re.search(
        r"Masked to \d+\.\d+ in, the core of a star's image would be \d+\.\d times as bright as now; but work", words
    )


def test_a_session_is_reduced_with_the_bench_of_its_mirrors_folder(folder: Path, capsys, monkeypatch) -> None:
    session = folder / "01"
    session.mkdir()
    (session / "readings.toml").write_text((folder / "readings.toml").read_text())
    assert run(["reduce", "readings.toml"]) == 0
    whole = capsys.readouterr().out
    assert run(["reduce", "01/readings.toml"]) == 0
    assert capsys.readouterr().out == whole
    monkeypatch.chdir(session)
    assert run(["reduce", "readings.toml"]) == 0
    assert capsys.readouterr().out == whole
    other = folder / "notes"
    other.mkdir()
    (other / "readings.toml").write_text((folder / "readings.toml").read_text())
    assert run(["reduce", str(other / "readings.toml")]) == 2
    assert "no bench.toml beside this sheet of readings" in capsys.readouterr().err


@pytest.mark.parametrize(("paper", "pages"), [("a4", 4), ("letter", 4)])
def test_a_large_mask_prints_on_sheets_of_the_paper_that_was_asked_for(paper, pages, folder: Path, capsys) -> None:
    assert run(["mask", "bench.toml", "-o", "mask.pdf", "--paper", paper]) == 0
    said = " ".join(capsys.readouterr().out.split())
    assert f"{pages} sheets of {'A4' if paper == 'a4' else 'Letter'}" in said
    assert len(re.findall(rb"/Type /Page\b", (folder / "mask.pdf").read_bytes())) == pages
