"""``wearsim new``: a mirror's folder to fill in."""

from __future__ import annotations

import io
import json
import re
import resource
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from wearsim.bench.materials import names, pitch
from wearsim.bench.toml_io import load_bench
from wearsim.cli import new
from wearsim.errors import InputError
from wearsim.knifeedge.longitudinal import zone_readings
from wearsim.knifeedge.mask import design_mask
from wearsim.knifeedge.readings import load_readings
from wearsim.knifeedge.reduction import reduce_readings
from wearsim.learn.new_folder import radius_of_curvature

Call = Callable[..., Any]
NEEDED = ("--diameter", "200 mm", "--focal-ratio", "6", "--lap-mass", "2 kg")
INCHES = ("--diameter", "8 in", "--focal-ratio", "6", "--lap-mass", "5 lb", "--push", "7 lbf")


@pytest.fixture
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.chdir(tmp_path)
    return tmp_path / "mine"


def fill_in(sheet: Path, rows: str) -> None:
    """Write rows where the sheet has room for them."""
    sheet.write_text(re.sub(r"(?ms)^readings = \[.*?^\]", f"readings = {rows}", sheet.read_text()))


@pytest.mark.parametrize(("flags", "diameter"), [(NEEDED, 0.2), (INCHES, 0.2032)])
def test_the_bench_holds_what_was_given(flags: tuple[str, ...], diameter: float, folder: Path, call: Call) -> None:
    called = call("new", "mine", *flags)
    assert called.code == 0, called.err
    bench = load_bench(folder / "bench.toml")
    assert bench.mirror.diameter == diameter and bench.laps[0].diameter == diameter
    assert bench.mirror.radius_of_curvature == pytest.approx(12 * diameter, rel=1e-12)
    assert bench.figure.readings == folder / "readings.toml"
    assert called.err.splitlines()[-1] == "Next: wearsim reduce mine/readings.toml --bench mine"


def test_units_stay_as_given(folder: Path, call: Call) -> None:
    assert call("new", "mine", *INCHES).code == 0
    text = (folder / "bench.toml").read_text()
    assert 'radius_of_curvature = "96 in"' in text and 'mass = "5 lb"' in text and 'push = "7 lbf"' in text
    assert load_readings_unit(folder / "readings.toml") == "in"


@pytest.mark.parametrize(
    ("flags", "plain", "expected"), [("in", "18", '"18 C" or "64 F"'), ("mm", "65", '"18 C" or "65 F"')]
)
def test_a_temperature_that_is_no_rooms_is_asked_about(
    flags: str, plain: str, expected: str, folder: Path, call: Call
) -> None:
    given = INCHES if flags == "in" else NEEDED
    refused = call("new", "mine", *given, "--temperature", plain)
    assert refused.code == 2 and refused.err.count("\n") == 1 and not folder.exists()
    assert refused.err.startswith("wearsim: --temperature: a plain number") and expected in refused.err
    for right in (*re.findall('"(.+?)"', expected), "40"):
        assert call("new", f"mine{right}", *given, "--temperature", right).code == 0


def load_readings_unit(sheet: Path) -> str:
    fill_in(sheet, "[[0, 0, 0, 0, 0]]")
    return load_readings(sheet).length_unit


@pytest.mark.parametrize("flags", [NEEDED, INCHES])
def test_defaults_in_comments_are_the_defaults(flags: tuple[str, ...], folder: Path, call: Call) -> None:
    call("new", "mine", *flags)
    path = folder / "bench.toml"
    plain = load_bench(path)
    text = path.read_text()
    spoken = re.sub(r"(?m)^# (?=\w+ = )", "", text)
    near = 2e-2 if flags is INCHES else 1e-12  # rounded there
    assert spoken.count("\n") == text.count("\n") and spoken != text
    # a mass stands instead of a density; both may be said, so taking every # away changes nothing but that
    path.write_text(spoken)
    said = load_bench(path)
    assert said.defaults_used == () or {used.key for used in said.defaults_used} <= {"light.wavelength"}
    assert said.preston == pytest.approx(plain.preston, rel=1e-12)
    assert flags is INCHES or (said.laps, said.hands, said.spread) == (plain.laps, plain.hands, plain.spread)
    assert said.mirror.piece_mass == pytest.approx(plain.mirror.piece_mass, rel=near)
    for one, other in ((said.laps[0], plain.laps[0]), (said.hands, plain.hands), (said.spread, plain.spread)):
        for key, value in other.model_dump().items():
            close = value if isinstance(value, str) or value is None else pytest.approx(value, rel=near)
            assert getattr(one, key) == close, key


def test_the_sheet_waits_to_be_filled_in_and_then_reduces(folder: Path, call: Call) -> None:
    call("new", "mine", *NEEDED, "--zones", "6")
    refused = call("reduce", "mine/readings.toml", "--bench", "mine/bench.toml")
    assert refused.code == 2 and "no readable rows" in refused.err and refused.err.count("\n") == 1
    bench = load_bench(folder / "bench.toml")
    mask = design_mask(6, bench.mirror.geometry, bench.light.wavelength)
    radius = np.linspace(0.0, bench.mirror.radius, 60)
    perfect = zone_readings(mask.zones, radius, np.zeros(60), bench.mirror.geometry)
    fill_in(folder / "readings.toml", str([[round(1e3 * float(s), 4) for s in perfect]] * 3))
    sheet = load_readings(folder / "readings.toml")
    np.testing.assert_allclose(sheet.zones.outer, mask.zones.outer, atol=0.051e-3)
    reduced = reduce_readings(sheet, bench.mirror.geometry, bench.light.wavelength)
    assert reduced.surface_rms < 20e-9  # windows are written to a tenth of a millimetre


@pytest.mark.parametrize("flags", [NEEDED, INCHES])
def test_windows_that_mask_prints_go_into_the_sheet_that_new_wrote(
    flags: tuple[str, ...], folder: Path, call: Call
) -> None:
    call("new", "mine", *flags)
    called = call("mask", "mine/bench.toml", "--zones", "6")
    assert max(map(len, called.out.splitlines())) <= 80
    assert "Next: wearsim reduce mine/readings.toml --bench mine/bench.toml" in called.err
    head, pasted = re.split(r"Put these lines in the readings sheet[^\n]*\n", called.out)
    sheet = folder / "readings.toml"
    fill_in(sheet, "[[0, 0, 0, 0, 0, 0]]")
    kept = re.sub(r"(?m)^(length_unit = .*|windows = \[\n(.*\n)*?\])\n", "", sheet.read_text())
    sheet.write_text(pasted + kept)
    read, bench = load_readings(sheet), load_bench(folder / "bench.toml")
    design = design_mask(6, bench.mirror.geometry, bench.light.wavelength)
    assert read.zones.outer == pytest.approx(design.zones.outer, abs=1.3e-5)
    assert f" {read.length_unit} " in head
    assert call("reduce", "mine/readings.toml", "--bench", "mine/bench.toml").code == 0


def test_it_never_overwrites(folder: Path, call: Call) -> None:
    call("new", "mine", *NEEDED)
    before = (folder / "bench.toml").read_bytes()
    for more in ((), ("--force",)):
        called = call("new", "mine", *INCHES, *more)
        assert called.code == 2 and "already exists" in called.err and "--force" in called.err
    assert (folder / "bench.toml").read_bytes() == before


@pytest.mark.parametrize("missing", ["--diameter", "--focal-ratio", "--lap-mass"])
def test_away_from_a_terminal_nothing_is_asked(missing: str, folder: Path, call: Call) -> None:
    at = NEEDED.index(missing)
    called = call("new", "mine", *NEEDED[:at], *NEEDED[at + 2 :])
    assert (called.code, called.out, called.err.count("\n")) == (2, "", 1)
    assert missing in called.err and not folder.exists()


@pytest.mark.parametrize(
    "flags",
    [
        ("--diameter", "200", *NEEDED[2:]),
        ("--diameter", "-3 in", *NEEDED[2:]),
        (*NEEDED[:2], "--focal-ratio", "0.1", *NEEDED[4:]),
        (*NEEDED, "--glass", "borosilikate"),
        (*NEEDED, "--pitch", "tar"),
        (*NEEDED, "--lap-diameter", "400 mm"),
        (*NEEDED, "--thickness", '30 mm" # x'),
        (*NEEDED, "--zones", "30"),
    ],
)
def test_bad_answers_are_one_line_and_leave_nothing(flags: tuple[str, ...], folder: Path, call: Call) -> None:
    called = call("new", "mine", *flags)
    assert (called.code, called.out, called.err.count("\n")) == (2, "", 1)
    assert not folder.exists()


@pytest.mark.parametrize("is_there", [False, True])
def test_a_full_disk_leaves_no_half_folder(is_there: bool, folder: Path, call: Call) -> None:
    """Room for a part of one of the two files; then for both."""
    if is_there:
        folder.mkdir()
    before = resource.getrlimit(resource.RLIMIT_FSIZE)
    resource.setrlimit(resource.RLIMIT_FSIZE, (1_000, before[1]))
    try:
        called = call("new", "mine", *NEEDED)
    finally:
        resource.setrlimit(resource.RLIMIT_FSIZE, before)
    failed = [line for line in called.err.splitlines() if line.startswith("wearsim: ")]
    assert called.code == 1 and len(failed) == 1 and "cannot be written" in failed[0], called
    assert folder.exists() is is_there and not list(folder.parent.rglob(".*"))
    assert not is_there or list(folder.iterdir()) == []
    assert call("new", "mine", *NEEDED).code == 0
    assert sorted(path.name for path in folder.iterdir()) == ["bench.toml", "readings.toml"]


def asked(monkeypatch: pytest.MonkeyPatch, *answers: str) -> None:
    """A person at a terminal who answers this."""
    monkeypatch.setattr(new, "at_terminal", lambda: True)
    monkeypatch.setattr("sys.stdin", io.StringIO("\n".join(answers) + "\n"))


def test_at_a_terminal_it_asks_and_asks_again(folder: Path, call: Call, monkeypatch: pytest.MonkeyPatch) -> None:
    first = ("200", "200 mm", "six", "6", "sphere", "30", "3 mm", "plate glass", "160 mm", "1.5 kg", "none", "hard")
    asked(monkeypatch, *first, "rouge", "64F")
    called = call("new", "mine", "--push", "20 N")
    assert called.code == 0, called.err
    assert "the unit is missing" in called.err
    assert '"six"; expected a plain number such as 6, or f/6' in called.err
    bench = load_bench(folder / "bench.toml")
    assert (bench.laps[0].diameter, bench.laps[0].pitch, bench.hands.push) == (0.16, "hard", 20.0)
    assert (bench.mirror.thickness, bench.mirror.glass, bench.mirror.rim_excluded) == (0.03, "plate glass", 0.003)
    assert bench.mirror.conic == 0.0 and bench.laps[0].facet_shape == "none"
    assert bench.wear.abrasive == "rouge" and bench.wear.temperature == pytest.approx(32 / 1.8)


def test_who_works_in_inches_is_offered_inches(folder: Path, call: Call, monkeypatch: pytest.MonkeyPatch) -> None:
    asked(monkeypatch, '8"', "f/6", "", "1.3", "1/16", "", "7 3/4 in", "5", "7/8", "", "", "66", "9 lb")
    called = call("new", "mine")
    assert called.code == 0, called.err
    assert (
        "[1 1/2 in]" in called.err and "[8 in]" in called.err and "[7 lbf]" in called.err and "[68 degF]" in called.err
    )
    assert " mm]" not in called.err and " N]" not in called.err and "degC]" not in called.err
    bench = load_bench(folder / "bench.toml")
    assert bench.mirror.thickness == pytest.approx(1.3 * 0.0254, rel=1e-12)
    assert bench.mirror.rim_excluded == pytest.approx(0.0254 / 16, rel=1e-12)
    assert bench.mirror.radius_of_curvature == pytest.approx(96 * 0.0254, rel=1e-12)
    assert bench.laps[0].mass == pytest.approx(5 * 0.45359237) and bench.laps[0].facet == pytest.approx(0.875 * 0.0254)
    assert bench.hands.push == pytest.approx(9 * 0.45359237 * 9.80665)
    assert bench.wear.temperature == pytest.approx(34 / 1.8)
    said = " ".join(called.err.split())
    for grade in names("pitches"):
        warmth = pitch(grade).pitch_temperature
        assert f"{grade} {warmth:.0f} C ({32 + 1.8 * warmth:.0f} F)" in said
    prompts = re.split(r"[\])]:", called.err.partition("Written:")[0])
    assert [line for prompt in prompts for line in prompt.splitlines() if len(line) > 79] == []
    assert "the mirror weighs about" in said and "the tool is taken as 5 lb. Weigh both." in said


def test_a_question_can_be_gone_back_to(folder: Path, call: Call, monkeypatch: pytest.MonkeyPatch) -> None:
    asked(monkeypatch, "back", "8 in", "6", "", "back", "back", "5", *[""] * 6)
    called = call(
        "new", "mine", "--facet", "1 in", "--pitch", "soft", "--glass", "plate", "--push", "8 lb", "--rim", "1/16"
    )
    assert called.code == 0, called.err
    assert "[6.0]" in called.err and '"back" returns' in called.err
    assert load_bench(folder / "bench.toml").mirror.radius_of_curvature == pytest.approx(80 * 0.0254, rel=1e-12)


def test_a_tool_that_is_not_weighed_is_a_disc_of_the_mirrors_glass(folder: Path, call: Call, monkeypatch: Any) -> None:
    asked(monkeypatch, "200 mm", "6", *[""] * 11)
    assert call("new", "mine").code == 0
    bench = load_bench(folder / "bench.toml")
    assert bench.laps[0].mass == pytest.approx(bench.mirror.piece_mass, rel=5e-3)


@pytest.mark.parametrize(
    ("flags", "says"),
    [
        ((*INCHES, "--lap-diameter", "20 in"), '--lap-diameter: the lap is too large for this mirror, got "20 in"'),
        ((*INCHES, "--lap-diameter", "20 in"), "expected at most 1.2 x the mirror's diameter, 9.6 in"),
        ((*INCHES, "--thickness", "0.01 in"), 'got "0.01 in"; expected more than the sagitta, 0.08'),
        ((*NEEDED, "--lap-diameter", "400 mm"), 'got "400 mm"; expected at most'),
        (("--diameter", "3 kg", *NEEDED[2:]), "--diameter: "),
        ((*NEEDED[:2], "--focal-ratio", "0.1", *NEEDED[4:]), "--focal-ratio: "),
        ((*NEEDED, "--focal-ratio", "six"), '"six"; expected a plain number such as 6, or f/6'),
        ((*NEEDED, "--glass", "jade"), "--glass: "),
        ((*NEEDED, "--zones", "30"), "--zones: "),
        ((*NEEDED, "--target", "round"), "--target: not a target"),
        ((*NEEDED, "--temperature", "20 mm"), "--temperature: "),
        ((*NEEDED, "--abrasive", "sand"), "--abrasive: "),
        ((*NEEDED, "--rim", "1 m"), "--rim: "),
    ],
)  # fmt: skip
def test_bad_answers_are_told_by_flag_in_the_unit_they_were_given_in(
    flags: tuple[str, ...], says: str, folder: Path, call: Call
) -> None:
    assert says in call("new", "mine", *flags).err


@pytest.mark.parametrize("ratio", ["f/6", "F/6", "6", "f6", " 6.0 "])
def test_a_focal_ratio_is_a_number_or_written_as_the_trade_does(ratio: str, folder: Path, call: Call) -> None:
    assert call("new", "mine", *NEEDED, "--focal-ratio", ratio).code == 0
    assert load_bench(folder / "bench.toml").mirror.radius_of_curvature == pytest.approx(2.4)


def test_json_names_the_files(folder: Path, call: Call) -> None:
    called = call("new", "mine", *NEEDED, "--json", "-q", "--plot", "mask.svg")
    said = json.loads(called.out)
    assert said["bench"] == "mine/bench.toml" and len(said["mask"]["inner_m"]) == 5
    assert (folder.parent / "mask.svg").stat().st_size > 1000


@pytest.mark.parametrize("ratio", [0.5, -1.0, 1e6, float("nan")])
def test_no_focal_ratio(ratio: float) -> None:
    with pytest.raises(InputError, match="focal ratio"):
        radius_of_curvature("200 mm", ratio)


def test_small_mirrors_get_fewer_windows(folder: Path, call: Call) -> None:
    called = call("new", "mine", "--diameter", "80 mm", "--focal-ratio", "6", "--lap-mass", "100 g", "--json", "-q")
    assert called.code == 0, called.err
    assert len(json.loads(called.out)["mask"]["inner_m"]) < 5


def test_the_unit_of_heights_is_remembered_by_the_bench(folder: Path, call: Call) -> None:
    assert call("new", "mine", *NEEDED, "--surface-unit", "waves").code == 0
    assert load_bench(folder / "bench.toml").light.surface_unit == "waves"
    assert call("new", "yours", *NEEDED).code == 0
    assert load_bench(folder.parent / "yours" / "bench.toml").light.surface_unit is None
