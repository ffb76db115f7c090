"""Rows typed into the sheet of a mirror's folder."""

from __future__ import annotations

from pathlib import Path

import pytest

from wearsim.errors import InputError
from wearsim.knifeedge.readings import load_readings
from wearsim.learn.mirror_folder import open_folder
from wearsim.learn.new_folder import Answers, fresh_folder
from wearsim.learn.typed_readings import NOT_A_NUMBER, newest_sheet, sheet_text, slips, write_rows, write_windows

ROWS = [["0", "0.55", "1.05", "1.42", "1.78"], ["0,01", ".56", "1.06", "1.43", "1.79"]]


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """A folder as ``wearsim new`` makes it."""
    place = tmp_path / "mirror"
    place.mkdir()
    for path, text in fresh_folder(Answers("200 mm", 6.0, "2 kg")).files(place).items():
        path.write_text(text, encoding="utf-8")
    return place


def _digest(folder: Path) -> str:
    sheet = newest_sheet(open_folder(folder))
    assert sheet is not None
    return sheet.digest


def test_a_blank_sheet_has_windows_and_no_rows(folder: Path) -> None:
    sheet = newest_sheet(open_folder(folder))
    assert sheet is not None
    assert (sheet.windows, sheet.rows, sheet.blank.source) == (5, (), "moving")


def test_rows_are_written_and_all_else_is_kept(folder: Path) -> None:
    before = (folder / "readings.toml").read_text()
    seen = write_rows(open_folder(folder), ROWS, "fixed", _digest(folder))
    after = (folder / "readings.toml").read_text()
    assert [line for line in before.splitlines() if line.startswith("# ") and "[" not in line] == [
        line for line in after.splitlines() if line.startswith("# ")
    ]
    readings = load_readings(folder / "readings.toml")
    assert readings.source == "fixed" and seen == _digest(folder)
    assert readings.positions[1].tolist() == pytest.approx([1e-5, 0.56e-3, 1.06e-3, 1.43e-3, 1.79e-3])
    sheet = newest_sheet(open_folder(folder))
    assert sheet is not None and sheet.rows == (tuple(ROWS[0]), ("0.01", "0.56", "1.06", "1.43", "1.79"))


def test_rows_are_written_over_rows(folder: Path) -> None:
    seen = write_rows(open_folder(folder), ROWS, "", _digest(folder))
    write_rows(open_folder(folder), ROWS[:1], "", seen)
    assert load_readings(folder / "readings.toml").repeats == 1
    write_rows(open_folder(folder), [], "", _digest(folder))
    assert "readings = [\n]" in (folder / "readings.toml").read_text()


def test_a_sheet_changed_meanwhile_is_left_alone(folder: Path) -> None:
    seen, sheet = _digest(folder), folder / "readings.toml"
    sheet.write_text(sheet.read_text() + "# mine\n")
    with pytest.raises(InputError, match="changed by another program"):
        write_rows(open_folder(folder), ROWS, "", seen)
    assert sheet.read_text().endswith("# mine\n")


@pytest.mark.parametrize("cell", ['1"; x = [', "one", "nan", "inf", "\\", "1,2,3", "\u0661\u0301", "9e99"])
def test_what_is_no_reading_is_refused_and_nothing_written(folder: Path, cell: str) -> None:
    before = (folder / "readings.toml").read_text()
    with pytest.raises(InputError):
        write_rows(open_folder(folder), [[cell, *ROWS[0][1:]]], "", _digest(folder))
    assert (folder / "readings.toml").read_text() == before


def test_a_misplaced_point_is_found_in_a_row_that_is_not_whole(folder: Path) -> None:
    file = folder / "readings.toml"
    assert slips(folder, file, [*ROWS, ["0", "0.55", "", "", ""]], "") == {}
    assert list(slips(folder, file, [["0", "0.55", "105", "", ""]], "")) == [(0, 2)]
    assert slips(folder, file, [["0", "x", "", "", ""]], "") == {(0, 1): NOT_A_NUMBER}


def test_a_reading_far_from_the_other_rows_is_found(folder: Path) -> None:
    rows = [[f"{float(cell) + 0.01 * row:.2f}" for cell in ROWS[0]] for row in range(4)]
    rows[2][3] = "2.41"
    assert list(slips(folder, folder / "readings.toml", rows, "")) == [(2, 3)]


def test_windows_of_ones_own(folder: Path) -> None:
    write_windows(open_folder(folder), "10-40, 42.5 to 60; 62,90")
    sheet = newest_sheet(open_folder(folder))
    assert sheet is not None and sheet.windows == 3
    assert sheet.blank.zones.outer.tolist() == pytest.approx([0.04, 0.06, 0.09])
    assert "# Knife-edge readings" in (folder / "readings.toml").read_text()
    with pytest.raises(InputError, match="readings taken with other windows"):
        write_rows(open_folder(folder), [["0", "0.5", "1.0"]], "", sheet.digest)
        write_windows(open_folder(folder), "10-40, 42.5-60, 62-80")


@pytest.mark.parametrize(
    "text", ["", "10-40", "10-40, 42", "40-10, 50-60, 70-80", "10-40, 42-60, 62-500", "1.2.3-4, 5-6, 7-8"]
)
def test_windows_that_cannot_be_are_refused(folder: Path, text: str) -> None:
    before = (folder / "readings.toml").read_text()
    with pytest.raises(InputError):
        write_windows(open_folder(folder), text)
    assert (folder / "readings.toml").read_text() == before


def test_a_source_is_changed_only_for_one_of_the_two(folder: Path) -> None:
    assert 'source = "moving"' in sheet_text(folder / "readings.toml", ROWS, "elsewhere")
