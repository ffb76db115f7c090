"""record, calibrate, history, rehearse, and a mirror's folder where a bench is asked for."""

from __future__ import annotations

import json
import shutil
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
import tomli_w

from tests.helpers.start_figures import PRESTON_ALONE
from wearsim.cli.terminal import LongWork

Call = Callable[..., Any]
SHEET = """\
source = "moving"
length_unit = "mm"
windows = [[18, 40], [42, 62], [64, 84], [86, 104], [106, 122], [124, 136], [138, 147]]
readings = [[0.00, 0.23, 0.64, 1.27, 1.95, 2.62, 3.23], [0.04, 0.21, 0.66, 1.25, 1.96, 2.60, 3.25]]
sigma = 0.05
"""


@pytest.fixture
def mirror(demo: Path) -> Path:
    """The demo as a mirror's folder, a sheet of readings beside it."""
    folder = demo / "mirror"
    folder.mkdir()
    for name in ("bench.toml", "profile.csv"):
        shutil.copy(demo / name, folder / name)
    (demo / "after.toml").write_text(SHEET)
    return folder


@pytest.fixture
def known(mirror: Path) -> Path:
    """The same where all is known but the Preston coefficient, which is found soon."""
    bench = mirror / "bench.toml"
    bench.write_text(bench.read_text() + tomli_w.dumps({"spread": PRESTON_ALONE}))
    return mirror


def recorded(call: Call, *more: str) -> Any:
    return call(
        "record", "mirror", "--programme", "programme.toml", "--readings", "after.toml", "--date", "2025-02-03", *more
    )


def test_record_says_what_it_did_and_what_comes_next(mirror: Path, call: Call) -> None:
    done = recorded(call, "--temperature", "64 degF", "--notes", "wet lap")
    assert done.code == 0
    assert "Session 1 recorded" in done.out
    assert "wearsim calibrate mirror" in done.err
    text = (mirror / "01" / "session.toml").read_text()
    assert "wet lap" in text and "2025-02-03" in text
    assert 'temperature = "64 degF"' in text
    again = json.loads(recorded(call, "--json").out)
    assert again["number"] == 2 and again["date"] == "2025-02-03"


def test_record_warns_where_the_glass_stood_too_short_a_time(mirror: Path, call: Call) -> None:
    done = recorded(call, "--waited", "10 min", "--json")
    assert done.code == 0
    assert "Warning: tested 10 min after" in done.err and "after the work" in done.err
    assert json.loads(done.out)["waited_s"] == 600.0
    assert 'waited = "10 min"' in (mirror / "01" / "session.toml").read_text()
    assert "Warning: read" not in recorded(call, "--waited", "2 days").err
    done = recorded(call)
    assert "Warning: read" not in done.err
    assert "waited" not in (mirror / "03" / "session.toml").read_text()


def test_record_warns_of_readings_that_were_recorded_before(mirror: Path, call: Call) -> None:
    assert "Warning" not in recorded(call).err
    (mirror.parent / "after.toml").write_text(SHEET.replace("3.25", "3.26"))
    assert "Warning" not in recorded(call).err
    # the same numbers in another dress
    (mirror.parent / "after.toml").write_text("# read again\n" + SHEET.replace("0.00", "0.0"))
    done = recorded(call)
    assert done.code == 0 and (mirror / "03").is_dir()
    said = " ".join(done.err.split())
    assert "Warning: the same numbers as measured after session 1" in said and "wearsim record mirror --undo" in said
    assert "mirror --replace 3 --readings FILE" in said
    arguments = ("record", "mirror", "--programme", "programme.toml", "--profile", "mirror/profile.csv")
    assert "measured before the first session" in " ".join(call(*arguments).err.split())


@pytest.mark.parametrize(
    ("arguments", "fragment"),
    [
        (("--date", "monday"), "not a date"),
        (("--temperature", "warm"), "temperature"),
        (("--temperature", "18 N"), "temperature"),
        (("--temperature", "65"), '"18 C" or "65 F"'),
        (("--abrasive", "sand"), "sand"),
        (("--waited", "soon"), "waited"),
        (("--waited", "-2 h"), "waited"),
        (("--profile", "profile.csv"), "both"),
    ],
)
def test_record_refuses_in_one_line(mirror: Path, call: Call, arguments: tuple[str, ...], fragment: str) -> None:
    done = recorded(call, *arguments)
    assert done.code == 2
    assert done.out == ""
    (line,) = done.err.strip().splitlines()
    assert fragment in line
    assert not (mirror / "01").exists()


def test_record_finds_files_here_or_in_the_folder(mirror: Path, call: Call) -> None:
    shutil.copy("after.toml", mirror / "readings.toml")
    inside = Path("after.toml").rename(mirror / "inside.toml")
    arguments = ("record", "mirror", "--programme", "programme.toml", "--date", "2025-02-03")
    how = "copy mirror/readings.toml to after.toml and fill in the new readings"
    none, missing = call(*arguments), call(*arguments, "-r", "after.toml")
    assert none.code == missing.code == 2 and how in none.err and how in missing.err
    assert "after.toml: no such file" in missing.err
    assert "from the current directory or in mirror (mirror/after.toml)" in missing.err
    assert "readings" not in call("record", "mirror", "--programme", "lost.toml", "-r", "inside.toml").err
    Path("programme.toml").write_text('[[spell]]\nstroke = "one-third"\nminutes = 4\n')
    said = call(*arguments, "-r", "inside.toml")
    assert said.code == 0 and "No --pressed given: the lap is assumed to have been pressed for 7 min" in said.err
    Path("inside.toml").write_text(SHEET.replace("3.25", "3.27"))  # the one in the current directory comes first
    said = call(*arguments, "-r", "inside.toml", "--pressed", "1 min", "--lap", "pressed")
    assert said.code == 0 and "The lap was pressed for 60 s; about 17 min would have made it fit." in said.err
    assert "3.27" in (mirror / "02" / "readings.toml").read_text() and "3.27" not in inside.read_text()


def test_a_card_of_ones_own_programme_leads_to_record(mirror: Path, call: Call) -> None:
    shutil.copy("after.toml", mirror / "readings.toml")
    Path("programme.toml").write_text('[[spell]]\nstroke = "one-third"\nminutes = 4\n')
    arguments = ("predict", "mirror", "-p", "programme.toml", "--draws", "0")
    said = " ".join(call(*arguments, "--card", "card.pdf").err.split())
    assert "Press the lap first for about 18 min: at this temperature the pitch takes 5 min" in said
    assert "After the session copy mirror/readings.toml to after.toml and fill in the new readings." in said
    assert said.endswith("Next: wearsim record mirror --programme programme.toml --readings after.toml")
    assert call(*arguments).err.endswith("Next: wearsim compare mirror --programme programme.toml\n")


@pytest.mark.parametrize("name", ["x" * 300, "gone.toml", "no/gone.toml"])
def test_record_refuses_files_that_are_nowhere(name: str, mirror: Path, call: Call) -> None:
    for flag in ("-r", "-p", "--profile"):
        done = call("record", "mirror", flag, name)
        assert done.code == 2 and done.err.count("\n") == 1 and "no such file" in done.err


def test_calibrate_without_sessions_could_not(mirror: Path, call: Call) -> None:
    done = call("calibrate", "mirror")
    assert done.code == 1
    assert "no session yet" in done.err


def test_calibrate_says_once_how_long_it_takes(known: Path, call: Call, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(LongWork, "AFTER", 0.0)
    monkeypatch.setattr(LongWork, "LONG", 0.0)
    recorded(call)
    said = call("calibrate", "mirror", "--draws", "16")
    assert said.err.count("Ctrl-C stops it without keeping anything.") == 1
    assert "Ctrl-C" not in call("calibrate", "mirror", "--draws", "16", "-q").err


def test_history_without_sessions_shows_the_figure_before(mirror: Path, call: Call) -> None:
    done = call("history", "mirror", "--plot", "history.png")
    assert done.code == 0 and Path("history.png").exists()
    rows = [line.split() for line in done.out.splitlines()]
    assert [row[0] for row in rows if row[:1] and row[0] in ("before", "1")] == ["before"]
    assert "none is recorded yet" in done.out and "Error: " not in done.out
    assert json.loads(call("history", "mirror", "--json").out)["sessions"] == []


def test_calibrate_history_predict_on_a_folder(known: Path, call: Call) -> None:
    assert recorded(call).code == 0
    found = call("calibrate", "mirror", "--json", "--plot", "constants.png", "-o", "constants.json")
    assert found.code == 0, found.err
    assert "Calibrating from 1 session.\n" in found.err
    told = json.loads(found.out)
    assert json.loads(Path("constants.json").read_text()) == told
    # the sheet is invented, and fits no session: the figures say so as well as the verdict
    (session,) = told["sessions"]
    assert set(session) == {
        "number",
        "chi_square",
        "compared",
        "chance",
        "fits",
        "weight",
        "chance_of_another_record",
        "confirmed",
        "removal_shape_rms_m",
        "best_factor_on_removal",
        "share_explained_by_factor",
    }
    assert not session["fits"] and session["chance"] < 0.01
    assert session["chi_square"] > 3.0 * session["compared"]
    assert set(told["constants"]) == {
        "preston_per_pa", "stiffness_pa_per_m", "relaxation_time_s", "edge_gain", "stroke_length", "overhang_bias_m",
    }  # fmt: skip
    for name, one in told["constants"].items():
        low, high = one["interval_90"]
        if name == "preston_per_pa":
            assert 0.0 < low < one["now"] < high
        else:
            assert low == pytest.approx(one["now"]) == pytest.approx(high) == pytest.approx(one["stated"])
            assert one["told"] == "known"
    low, now, high = told["products"]["smoothing"]
    assert 0.0 < low < now < high
    assert Path("constants.png").stat().st_size > 10_000

    history = call("history", "mirror", "--plot", "history.png", "-o", "history.json")
    assert history.code == 0, history.err
    assert "Predicted" in history.out and "2025-02-03" in history.out
    assert "does not agree with the assumed pitch and abrasive and is given little weight" in " ".join(
        history.out.split()
    )
    (entry,) = json.loads(Path("history.json").read_text())["sessions"]
    assert not entry["fits"]
    for key in ("figure_error_band_m", "figure_error_predicted_band_m"):
        low, high = entry[key]
        assert len(low) == len(entry["figure_error_m"]) and all(map(float.__le__, low, high))
    assert entry["edge_roll_band_m"][0] < entry["edge_roll_m"] < entry["edge_roll_band_m"][1]

    predicted = call("predict", "mirror", "--programme", "programme.toml", "--json")
    assert "Calibrating" not in predicted.err  # it is kept
    on_folder = json.loads(predicted.out)
    # what all sessions together give is what counts, not the profile that the bench names
    together = json.loads(call("reduce", "mirror", "--json").out)["all"]["known"]
    assert on_folder["surface_rms_before_m"] == pytest.approx(together["surface_rms_m"], rel=0.02)
    assert call("compare", "mirror", "--programme", "programme.toml", "--draws", "0").code == 0


def test_what_calibrate_kept_is_recalled(known: Path, call: Call) -> None:
    assert recorded(call).code == 0 and call("calibrate", "mirror").code == 0
    kept = Path("mirror/calibration.toml").read_text()
    for command in (("history", "mirror"), ("reduce", "mirror"), ("calibrate", "mirror")):
        said = call(*command)
        assert said.code == 0 and "calibrating again" not in said.err
    assert Path("mirror/calibration.toml").read_text() == kept


def test_compare_starts_from_what_the_sessions_show(known: Path, call: Call) -> None:
    """The way that the programme is written is what ``predict`` says of it, band and all."""
    assert recorded(call).code == 0
    Path("one.toml").write_text('[[spell]]\non_top = "tool"\nstroke = "straight"\nlength = "60 mm"\nminutes = 6\n')
    alone = json.loads(call("predict", str(known), "-p", "one.toml", "--draws", "4", "--json").out)
    side = json.loads(call("compare", str(known), "-p", "one.toml", "--draws", "4", "--json").out)["tool"]
    assert "surface_rms_band_m" in side and side == {key: alone[key] for key in side}


def test_calibrate_says_what_does_not_fit_and_what_can_be_done(known: Path, call: Call) -> None:
    assert recorded(call).code == 0
    plain = call("calibrate", "mirror", "--draws", "16")
    # the sheet is invented, and fits no session
    text = " ".join(plain.out.split())
    assert "known: stated as exact" in text
    assert "Session 1 does not agree with the assumed pitch and abrasive, so it is given little weight." in text
    assert call("record", "mirror", "--confirm", "1").code == 0
    text = " ".join(call("calibrate", "mirror", "--draws", "16").out.split())
    assert "confirmed" in text and "does not fit" not in text


@pytest.mark.parametrize("command", ["calibrate", "history"])
def test_output_is_refused_before_anything_is_worked_out(mirror: Path, call: Call, command: str) -> None:
    there = mirror.parent / "there.json"
    there.write_text("kept")
    for name, fragment in (("there.json", "already exists"), ("told.csv", ".json"), ("no/told.json", "folder")):
        done = call(command, "mirror", "-o", name)
        assert done.code == 2 and done.out == ""
        (line,) = done.err.strip().splitlines()
        assert fragment in line
    assert there.read_text() == "kept"
    assert recorded(call).code == 0
    listed = call(command, "mirror", "-o", "told.json", "--dry-run", "--json")
    assert "told.json" in json.loads(listed.out)["would_write"]
    assert not Path("told.json").exists()


def test_a_folder_is_calibrated_where_it_has_to_be_and_that_is_said(known: Path, call: Call) -> None:
    assert recorded(call).code == 0
    kept, predict = known / "calibration.toml", ("predict", "mirror", "-p", "programme.toml", "--draws", "0")
    assert "Calibrating" not in call("reduce", "after.toml", "--bench", "mirror").err and not kept.exists()
    assert call(*predict, "-q").err == "" and kept.exists()
    assert "Calibrating" not in call(*predict).err
    kept.unlink()
    assert "Calibrating from 1 session.\n" in call(*predict).err and kept.exists()


def test_rehearse_makes_a_folder_that_says_what_it_is(demo: Path, call: Call) -> None:
    made = call("rehearse", "toy", "--fault", "raised ring", "--diameter", "200 mm", "--sessions", "0")
    assert made.code == 0, made.err
    assert "simulated" in Path("toy/practice.toml").read_text()
    again = call("rehearse", "toy", "--fault", "sphere")
    assert again.code == 2 and "already exists" in again.err


def test_rehearse_leaves_real_mirrors_alone(mirror: Path, call: Call) -> None:
    done = call("rehearse", "mirror")
    assert done.code == 2
    assert "not a practice mirror" in done.err


def test_a_rehearsal_without_a_session_names_ways_on(mirror: Path, call: Call, monkeypatch: pytest.MonkeyPatch) -> None:
    assert call("rehearse", "toy", "--diameter", "200 mm", "--sessions", "0").code == 0
    monkeypatch.setattr("wearsim.learn.practice.rehearse.rehearse", lambda *_, **__: iter(()))
    ended = call("rehearse", "toy")
    assert ended.code == 0 and "No session was carried out." in ended.out
    for way in (
        "wearsim reduce toy",
        "wearsim rehearse toy --programme",
        "wearsim rehearse toy-2 --fault 'turned edge'",
    ):
        assert f"Next: {way}" in ended.err


def test_record_takes_the_answers_that_people_give(mirror: Path, call: Call) -> None:
    done = recorded(call, "--temperature", "18", "--pressed", "12", "--waited", "overnight", "--abrasive", "Cerium")
    assert done.code == 0, done.err
    text = (mirror / "01" / "session.toml").read_text()
    assert 'temperature = "18 degC"' in text and 'pressed = "12 min"' in text and 'waited = "600 min"' in text
    bench = mirror / "bench.toml"
    bench.write_text(bench.read_text() + '\n[wear]\ntemperature = "65F"\n')
    assert recorded(call, "--temperature", "64").code == 0
    assert float((mirror / "02" / "session.toml").read_text().split('temperature = "')[1].split()[0]) > 17.0
