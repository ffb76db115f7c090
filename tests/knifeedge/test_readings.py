"""readings.toml: what is accepted, and one clear line for everything that is not."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from wearsim.errors import InputError
from wearsim.figure.conic import MirrorGeometry
from wearsim.knifeedge.readings import check_against_mirror, load_readings, parse_readings

GOOD = """
source = "moving"
length_unit = "mm"
windows = [[18, 45], [60, 80], [92, 108], [118, 130], [138, 147]]
readings = [[0.00, 0.21, 0.55, 0.97, 1.30],
            [0.05, 0.18, 0.60, 0.93, 1.35]]
"""
MIRROR = MirrorGeometry(3.0, radius=0.15, clear_radius=0.148)


def test_the_sheet_of_the_handbook_page(tmp_path: Path) -> None:
    file = tmp_path / "readings.toml"
    file.write_text(GOOD)
    got = load_readings(file)
    assert got.file == file
    assert got.text == GOOD
    assert (got.repeats, len(got.zones), got.source) == (2, 5, "moving")
    assert got.zones.outer == pytest.approx([0.045, 0.08, 0.108, 0.13, 0.147])
    assert got.positions[1] == pytest.approx(np.array([0.05, 0.18, 0.60, 0.93, 1.35]) * 1e-3)
    assert got.resolution == pytest.approx(1e-5)
    check_against_mirror(got, MIRROR)


def test_inches_fixed_source_radii_orientation_and_sigmas() -> None:
    got = parse_readings(
        'source = "fixed"\nlength_unit = "in"\nradius = [1.3, 2.8, 4.0]\nreadings = [[0, 0.05, 0.1]]\n'
        'orientation = ["90 deg"]\nsigma = [0.004, 0.002, 0.001]'
    )
    assert got.zones.middle == pytest.approx(np.array([1.3, 2.8, 4.0]) * 0.0254)
    assert not got.zones.are_windows
    assert got.positions[0, 2] == pytest.approx(0.00254)
    assert got.orientation == pytest.approx([np.pi / 2])
    assert got.sigma == pytest.approx(np.array([0.004, 0.002, 0.001]) * 0.0254)


BAD = {
    "two zones": ("[[18, 45], [60, 80]]", "[[0, 1]]", "3 to 60 zones"),
    "overlap": ("[[18, 45], [40, 80], [92, 108]]", "[[0, 1, 2]]", "overlaps"),
    "unsorted": ("[[60, 80], [18, 45], [92, 108]]", "[[0, 1, 2]]", "out of order"),
    "closed": ("[[18, 45], [60, 60], [92, 108]]", "[[0, 1, 2]]", "must have a width"),
    "triple": ("[[18, 45], [60, 61, 62], [92, 108]]", "[[0, 1, 2]]", "wrong count"),
    "short": ("[[18, 45], [60, 80], [92, 108]]", "[[0, 1, 2], [0, 1]]", "too short"),
    "long": ("[[18, 45], [60, 80], [92, 108]]", "[[0, 1, 2, 3]]", "too long"),
    "none": ("[[18, 45], [60, 80], [92, 108]]", "[]", "take away the #"),
    "flat": ("[[18, 45], [60, 80], [92, 108]]", "[0, 1, 2]", "not a row"),
    "words": ("[[18, 45], [60, 80], [92, 108]]", '[[0, "1 mm", 2]]', "not a number"),
    "nan": ("[[18, 45], [60, 80], [92, 108]]", "[[0, nan, 2]]", "not a number"),
}


@pytest.mark.parametrize("case", BAD)
def test_bad_windows_and_rows(case: str) -> None:
    windows, rows, says = BAD[case]
    text = f'source = "moving"\nlength_unit = "mm"\nwindows = {windows}\nreadings = {rows}'
    with pytest.raises(InputError, match=says) as caught:
        parse_readings(text, Path("r.toml"))
    assert "\n" not in str(caught.value)
    assert str(caught.value).startswith("r.toml: ")


@pytest.mark.parametrize(
    ("old", "new", "says"),
    [
        ('"moving"', '"still"', "unknown source"),
        ('source = "moving"', "", "source: missing"),
        ('"mm"', '"kg"', "not a unit of length"),
        ('"mm"', '""', "not a unit of length"),
        ('"mm"', '"furlong"', "not a unit for knife readings"),
        ('length_unit = "mm"', "", "length_unit: missing"),
        ("readings =", "reading =", "unknown key"),
        ("windows = [[18, 45], [60, 80], [92, 108], [118, 130], [138, 147]]", "", "no zones"),
        ("windows =", "radius = [1, 2, 3]\nwindows =", "both windows and radius"),
        (
            "windows = [[18, 45], [60, 80], [92, 108], [118, 130], [138, 147]]",
            "radius = [20, 70, 70, 90, 100]",
            "twice",
        ),
        (
            "windows = [[18, 45], [60, 80], [92, 108], [118, 130], [138, 147]]",
            "radius = [0, 70, 80, 90, 100]",
            "above 0",
        ),
        ("source =", 'orientation = ["0 deg"]\nsource =', "wrong count"),
        ("source =", 'orientation = ["0 deg", "9 mm"]\nsource =', "not an angle"),
        ("source =", "orientation = [0, 90]\nsource =", "not an angle"),
        ("source =", "sigma = 0\nsource =", "above 0"),
        ("source =", "sigma = [0.1, 0.1]\nsource =", "wrong count"),
        ("source =", "sigma = true\nsource =", "not a number"),
        ("source =", "= 3\nsource =", "not TOML"),
        *(
            ("source =", f"sigma = {sigma}\nsource =", "not plausible.*1e-06 to 100, in the sheet's unit|far too large")
            for sigma in (
                "1e300",
                "1e22",
                "10000000000000000000000",
                "1e-12",
                "1e-320",
                "5e-324",
                "[1, 1, 1e300, 1, 1]",
            )
        ),
        *(
            ("[18, 45]", f"[0, {outer}]", "windows, zone 1: too narrow for a window.*at least 0.01 wide")
            for outer in ("1e-300", "5e-324", "1e-9", "0.009")
        ),
        (
            "windows = [[18, 45], [60, 80], [92, 108], [118, 130], [138, 147]]",
            "radius = [1e-300, 70, 80, 90, 100]",
            "radius, zone 1: too close to the zone before",
        ),
        (
            "windows = [[18, 45], [60, 80], [92, 108], [118, 130], [138, 147]]",
            "radius = [20, 70, 70.0000001, 90, 100]",
            "radius, zone 3: too close to the zone before",
        ),
        ("0.21", "1" + 400 * "0", "row 1, number 2: far too large"),
        ("0.21", "1e300", "row 1, number 2: far too large"),
        ("source =", 'orientation = ["0 deg", "1e300 turn"]\nsource =', "orientation, row 2: not an angle"),
    ],
)
def test_bad_keys(old: str, new: str, says: str) -> None:
    assert old in GOOD
    with pytest.raises(InputError, match=says) as caught:
        parse_readings(GOOD.replace(old, new), Path("r.toml"))
    assert "\n" not in str(caught.value)


@pytest.mark.parametrize(
    ("old", "new", "says"),
    [
        ("[138, 147]", "[138, 153]", "beyond the mirror's rim"),
        ("1.30]", "1001.30]", "wrong order of magnitude"),
        ('"mm"', '"in"', "rim"),
        ("[[0.00, 0.21, 0.55, 0.97, 1.30]", "[[0, 210, 550, 970, 1300]", "wrong order of magnitude"),
    ],
)
def test_readings_that_this_mirror_cannot_give(old: str, new: str, says: str) -> None:
    with pytest.raises(InputError, match=says) as caught:
        check_against_mirror(parse_readings(GOOD.replace(old, new)), MIRROR)
    assert "\n" not in str(caught.value)


def test_five_times_the_correction_the_wrong_way_is_still_believed() -> None:
    # common practice, no source: oblate figures of about five times the paraboloid's correction are met with
    r = np.array([0.03, 0.07, 0.1, 0.125, 0.143])
    rows = [[round(float(x), 3) for x in -5.0 * r**2 / 6.0 * 1e3]]
    text = f'source = "moving"\nlength_unit = "mm"\nradius = {(r * 1e3).tolist()}\nreadings = {rows}'
    check_against_mirror(parse_readings(text), MIRROR)


def test_missing_file_folder_and_garbage(tmp_path: Path) -> None:
    garbage = tmp_path / "g.toml"
    garbage.write_bytes(b"\x00\xff\x00")
    for path in (tmp_path / "none.toml", tmp_path, garbage):
        with pytest.raises(InputError):
            load_readings(path)
