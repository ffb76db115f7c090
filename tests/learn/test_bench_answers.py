"""The answers that a bench was made of are read from it again, and others put into it; nothing else is touched."""

from __future__ import annotations

import difflib
from pathlib import Path
from typing import Any

import pytest

from wearsim.bench.toml_io import load_bench
from wearsim.errors import InputError
from wearsim.learn.bench_answers import OTHERWISE, change_answers, given_in
from wearsim.learn.cache import KeptCalibration, keep, recalled
from wearsim.learn.mirror_folder import open_folder
from wearsim.learn.new_folder import QUESTIONS, answers_from, fresh_folder, given_answers, with_weight
from wearsim.learn.typed_readings import CHANGED, newest_sheet, write_rows
from wearsim.learn.typed_records import keep_session
from wearsim.wear.constants import prior

FEW = {"unit": "in", "diameter": "10", "focal_ratio": "f/5", "thickness": "1 3/8"}
ALL = {
    "unit": "mm", "diameter": "200", "focal_ratio": "6", "target": "-0.8", "thickness": "30", "rim_excluded": "3",
    "glass": "soda-lime", "lap_diameter": "150", "lap_mass": "2.5", "facet": "20", "pitch": "soft", "abrasive": "rouge",
    "temperature": "18", "push": "25 N",
}  # fmt: skip
READ = (["0", "0.55", "1.05", "1.42", "1.78"], ["0.01", "0.56", "1.06", "1.43", "1.79"])
WORKED = '[[spell]]\nstroke = "w"\nlength = 0.3\nside_sweep = 0.1\nminutes = 4\n'


def _made(place: Path, texts: dict[str, str]) -> Path:
    """A folder as the page makes it of such answers."""
    place.mkdir()
    made = fresh_folder(with_weight(answers_from({**given_answers(texts), "surface_unit": texts.get("surface_unit")})))
    for file, text in made.files(place).items():
        file.write_text(text, encoding="utf-8")
    return place


def _read(place: Path) -> Path:
    folder = open_folder(place)
    sheet = newest_sheet(folder)
    assert sheet is not None
    write_rows(folder, READ, "moving", sheet.digest)
    return place


def _change(place: Path, **answers: str | None) -> tuple[list[str], list[str]]:
    """Other answers, None for one that is left open; which lines of the bench are gone, and which are new."""
    given, made_from = given_in(open_folder(place))
    before = (place / "bench.toml").read_text(encoding="utf-8")
    changed: dict[str, Any] = {key: text for key, text in {**given, **answers}.items() if text is not None}
    change_answers(place, changed, made_from)
    lines = list(difflib.ndiff(before.splitlines(), (place / "bench.toml").read_text(encoding="utf-8").splitlines()))
    return [line[2:] for line in lines if line[0] == "-"], [line[2:] for line in lines if line[0] == "+"]


@pytest.mark.parametrize("texts", [FEW, ALL, {**FEW, "surface_unit": "waves", "facet": "none", "target": "sphere"}])
def test_answers_are_read_as_they_were_given(tmp_path: Path, texts: dict[str, str]) -> None:
    given, _ = given_in(open_folder(_made(tmp_path / "mine", texts)))
    said = {**given_answers(texts), "focal_ratio": texts["focal_ratio"].removeprefix("f/"), "target": "paraboloid"}
    said |= {key: texts[key] for key in ("target", "surface_unit") if key in texts}
    assert given == said


def test_the_same_answers_change_nothing(tmp_path: Path) -> None:
    assert _change(_made(tmp_path / "mine", ALL)) == ([], [])


def test_a_wrong_thickness_is_put_right_and_the_weight_of_the_tool_follows(tmp_path: Path) -> None:
    place = _made(tmp_path / "mine", FEW)
    gone, new = _change(place, thickness="1 5/8 in")
    assert [line.split()[0] for line in gone] == [line.split()[0] for line in new] == ["thickness", "mass"]
    other = _made(tmp_path / "other", {**FEW, "thickness": "1 5/8"})
    assert (place / "bench.toml").read_text() == (other / "bench.toml").read_text()


def test_what_no_question_asks_stays_and_so_does_a_persons_own_comment(tmp_path: Path) -> None:
    place = _made(tmp_path / "mine", ALL)
    file = place / "bench.toml"
    text = file.read_text(encoding="utf-8").replace('# preston = "8e-13 / Pa"', 'preston = "9e-13 / Pa"')
    text = text.replace('thickness = "30 mm"', "thickness='30 mm'").replace("# at the edge", "# by my own calipers")
    file.write_text(text, encoding="utf-8")
    gone, new = _change(place, thickness="31 mm", push="40 N")
    assert gone[0].startswith("thickness='30 mm'") and new[0].startswith('thickness="31 mm"')
    assert (
        new[0].endswith("# by my own calipers") and len(gone) == len(new) == 2 and new[1].startswith('push = "40 N" ')
    )
    assert load_bench(file).preston == pytest.approx(9e-13)


def test_an_answer_takes_the_place_of_its_default_and_can_be_left_open_again(tmp_path: Path) -> None:
    place = _made(tmp_path / "mine", FEW)
    gone, new = _change(place, temperature="60 degF", surface_unit="waves", focal_ratio="5.5")
    assert [line.split()[:2] for line in gone if line.startswith("# ")] == [["#", "temperature"]]
    assert 'radius_of_curvature = "110 in"   # twice the focal length, f/5.5' in new and "[light]" in new
    bench = load_bench(place / "bench.toml")
    assert bench.wear.temperature == pytest.approx(15.56, abs=0.01) and bench.light.surface_unit == "waves"
    _change(place, temperature=None, surface_unit=None)
    bench = load_bench(place / "bench.toml")
    assert bench.wear.temperature == 20.0 and bench.light.surface_unit is None


def test_facets_come_and_go(tmp_path: Path) -> None:
    place = _made(tmp_path / "mine", ALL)
    _change(place, facet="none")
    assert given_in(open_folder(place))[0]["facet"] == "none"
    _change(place, facet="18 mm")
    assert load_bench(place / "bench.toml").laps[0].facet == pytest.approx(0.018)


@pytest.mark.parametrize("question", QUESTIONS, ids=lambda question: question.key)
def test_every_answer_is_found_again_after_it_is_changed(tmp_path: Path, question: Any) -> None:
    place = _made(tmp_path / "mine", FEW)
    other = given_answers({**FEW, **ALL, "unit": "mm"})
    _change(place, **{question.key: other[question.key]})
    given, _ = given_in(open_folder(place))
    assert given[question.key] == other[question.key]
    assert {key: text for key, text in given.items() if key != question.key} == {
        key: text
        for key, text in given_in(open_folder(_made(tmp_path / "other", FEW)))[0].items()
        if key != question.key
    }


def test_a_file_that_was_changed_meanwhile_is_left_alone(tmp_path: Path) -> None:
    place = _made(tmp_path / "mine", FEW)
    given, made_from = given_in(open_folder(place))
    file = place / "bench.toml"
    file.write_text(file.read_text() + "\n# mine\n")
    with pytest.raises(InputError, match=CHANGED.partition(";")[0]):
        change_answers(place, {**given, "thickness": "2 in"}, made_from)
    assert file.read_text().endswith("\n# mine\n") and '"2 in"' not in file.read_text()


def test_a_bench_that_is_laid_out_otherwise_is_left_alone(tmp_path: Path) -> None:
    place = _made(tmp_path / "mine", ALL)
    file = place / "bench.toml"
    whole = file.read_text()
    start = whole.index("[hands]")
    inline = f'hands.push = "25 N"\n{whole[:start]}{whole[whole.index("[wear]") :]}'
    file.write_text(inline)
    with pytest.raises(InputError, match=OTHERWISE):
        _change(place, push="40 N")
    assert file.read_text() == inline
    file.write_text(whole.replace("[lap]", "[[lap]]"))
    with pytest.raises(InputError, match="several laps"):
        given_in(open_folder(place))


def test_a_mask_follows_the_mirror_until_something_was_read_through_it(tmp_path: Path) -> None:
    place = _made(tmp_path / "mine", ALL)
    sheet = place / "readings.toml"
    before = sheet.read_text()
    _change(place, diameter="150 mm", lap_diameter=None)
    blank = newest_sheet(open_folder(place))
    assert blank is not None and blank.blank.zones.outer[-1] < 0.075 and sheet.read_text() != before
    given, made_from = given_in(open_folder(place))
    kept = sheet.read_text()
    change_answers(place, {**given, "diameter": "160 mm"}, made_from, is_read=True)
    assert sheet.read_text() == kept


def test_readings_that_another_mirror_cannot_have_given_are_not_left_behind(tmp_path: Path) -> None:
    place = _read(_made(tmp_path / "mine", ALL))
    before = {file.name: file.read_text() for file in place.glob("*.toml")}
    with pytest.raises(InputError, match="beyond the mirror's rim"):
        _change(place, diameter="150 mm", lap_diameter=None)
    assert {file.name: file.read_text() for file in place.glob("*.toml")} == before
    keep_session(place, WORKED, [4.0], list(READ), "moving", {})
    with pytest.raises(InputError, match="beyond the mirror's rim"):
        _change(place, diameter="150 mm", lap_diameter=None)
    assert _change(place, thickness="31 mm")[1]


def test_what_was_learned_with_other_answers_does_not_count(tmp_path: Path) -> None:
    place = _read(_made(tmp_path / "mine", ALL))
    keep_session(place, WORKED, [4.0], list(READ), "moving", {})
    folder = open_folder(place)
    keep(folder, 1, KeptCalibration(prior(folder.bench), 0.1), 0, 256)
    assert recalled(folder, 1, seed=0, draws=256) is not None
    _change(place, temperature="22 degC")
    assert recalled(open_folder(place), 1, seed=0, draws=256) is None
