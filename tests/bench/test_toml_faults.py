"""Slips of the pen in sheets: the line, and what is missing on it."""

import tracemalloc
from pathlib import Path

import pytest

from wearsim.bench.input_errors import parse_toml
from wearsim.errors import InputError

SHEET = """\
# invented for the tests of wearsim
source = "moving"
length_unit = "mm"
windows = [
    [14, 30], [32, 48],
    [50, 64]
]
readings = [
    [0.00, 0.11, 0.40],
    [0.02, 0.13, 0.38],
]
sigma = 0.05   # [mm] of one setting
"""


def fault(text: str) -> str:
    with pytest.raises(InputError) as caught:
        parse_toml(text, Path("sheet.toml"))
    return str(caught.value)


def test_the_sheet_itself_is_sound() -> None:
    assert parse_toml(SHEET, None)["sigma"] == 0.05


@pytest.mark.parametrize(
    ("right", "wrong", "says"),
    [
        ("0.40],", "0.40]", "a comma is missing at the end of line 9"),
        ("[32, 48],", "[32, 48]", "a comma is missing at the end of line 5"),
        ("0.11, 0.40", "0.11 0.40", "a comma is missing between two numbers on line 9"),
        ("[14, 30], [32", "[14, 30] [32", "a comma is missing between two rows on line 5"),
        ('"mm"', '"mm', "a closing quotation mark is missing on line 3"),
        ('"mm"', "mm", 'quotation marks are missing on line 3: write length_unit = "mm"'),
        ("= 0.05", "= 0.05 mm", 'quotation marks are missing on line 12: write "0.05 mm", or a plain number'),
        ("= 0.05", "= 5 1/2", 'quotation marks and a unit are missing on line 12: write "5 1/2 in"'),
        ("0.11, 0.40", ".11, .40", "a 0 is missing beside the point on line 9: write 0.11"),
        ("0.02, 0.13", "-.02, 0.13", "a 0 is missing beside the point on line 10: write -0.02"),
        ("= 0.05", "= 5.", "a 0 is missing beside the point on line 12: write 5.0"),
        ("sigma =", "sigma", "an = is missing on line 12"),
        ("0.38],\n]", "0.38],\n", "a ] is missing: the list that begins on line 8 is not closed"),
    ],
)
def test_what_is_missing_is_said_with_its_line(right: str, wrong: str, says: str) -> None:
    assert SHEET.count(right) == 1
    said = fault(SHEET.replace(right, wrong))
    assert says in said and said.startswith("sheet.toml: ") and "\n" not in said


def test_a_table_without_its_bracket() -> None:
    assert "a ] is missing at the end of line 2" in fault('\n[mirror\ndiameter = "8 in"\n')


def test_a_unit_without_quotes_keeps_its_fraction() -> None:
    assert 'write "9 1/2 in"' in fault("[mirror]\ndiameter = 9 1/2 in\n")


def test_what_is_no_slip_is_left_to_the_parser() -> None:
    assert "not TOML" in fault("a = 1\na = 2\n")


@pytest.mark.parametrize(
    "text",
    [
        "a" + ".a" * 20_000 + " = 1\n", "\n".join(f"{'a.' * 30}b{n} = 1" for n in range(2_000)),
        '"a" . ' * 10_000 + "b = 1\n", "[" + ".".join("abcdefghij" * 500) + "]\n", "a = " + "[" * 5_000,
        "a = " + "9" * 5_000, "x = {a=" * 3_000,
    ],
    ids=["one key", "many keys", "quoted", "a table", "brackets", "digits", "braces"],
)  # fmt: skip
def test_a_text_that_is_built_to_be_slow_is_refused_at_once(text: str) -> None:
    """40 kB of dotted keys took 14 s and 1.6 GB: no more is allocated than some of the text's own size."""
    tracemalloc.start()
    try:
        line = fault(text)
        peak = tracemalloc.get_traced_memory()[1]
    finally:
        tracemalloc.stop()
    assert line.startswith("sheet.toml: ") and "\n" not in line
    assert peak < 20e6
