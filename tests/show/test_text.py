"""What tables are made of."""

from __future__ import annotations

import re

import numpy as np
import pytest

from wearsim.bench.fields import DefaultUsed
from wearsim.bench.personal_units import height_unit
from wearsim.bench.toml_io import bench_from_table, programme_from_table
from wearsim.bench.units import INCHES, MILLIMETRES, length_unit
from wearsim.show.notices import CAUTIONS, cautions_text, defaults_text
from wearsim.show.profiles import ring_means
from wearsim.show.strokes import spell_words
from wearsim.show.text import in_diameters, in_short, is_outside, low_high_bar, paragraph, table, text_width
from wearsim.wear.accuracy import DEFAULT
from wearsim.wear.state import glass_grid


def bench_of(mirror: str, diameter: str = "300 mm"):  # type: ignore[no-untyped-def]
    table = {
        "mirror": {"diameter": diameter, "radius_of_curvature": "3 m"}
        | dict(pair.split("=") for pair in mirror.split(";") if pair),
        "lap": {"diameter": "200 mm", "mass": "4 kg"},
        "figure": {"conic": 0.0},
    }
    return bench_from_table(table, text=f"[mirror]\ndiameter = '{diameter}'\n")


@pytest.mark.parametrize(
    ("diameter", "unit"),
    [
        ("300 mm", MILLIMETRES),
        ("0.3 m", MILLIMETRES),
        ("30 cm", MILLIMETRES),
        ("12 in", INCHES),
        ("12in", INCHES),
        ("12.5 inch", INCHES),
        ("1 ft", INCHES),
    ],
)
def test_lengths_in_the_unit_of_the_file(diameter: str, unit: object) -> None:
    assert length_unit(bench_of("", diameter)) is unit


def test_a_bench_without_a_text_is_shown_in_millimetres() -> None:
    assert length_unit(bench_of("").model_copy(update={"text": ""})) is MILLIMETRES


def test_lengths_as_numbers_and_as_one_says_them() -> None:
    assert MILLIMETRES.number(0.0296) == "29.6"
    assert MILLIMETRES.short(0.09) == "90 mm"
    assert MILLIMETRES.short(0.0905) == "90.5 mm"
    assert INCHES.short(0.0254) == "1 in"
    assert INCHES.text(0.0127) == "0.50 in"


def test_heights_in_micrometres_where_there_are_many() -> None:
    assert height_unit(9.9e-6).name == "nm"
    assert height_unit(1.1e-5).name == "um"


@pytest.mark.parametrize("mirror", ["", "hole=50 mm", "hole=70 mm;rim_excluded=0 mm"])
def test_zones_share_the_glass_and_take_area_means(mirror: str) -> None:
    glass = bench_of(mirror).mirror
    radius = glass_grid(glass, DEFAULT)
    zones = ring_means(glass, radius)
    assert zones.edges[0] == glass.hole_radius
    assert zones.edges[zones.clear] == pytest.approx(glass.clear_radius, rel=1e-15)
    assert zones.edges[-1] == pytest.approx(glass.radius, rel=1e-15)
    inner, outer = zones.edges[:-1], zones.edges[1:]
    assert np.all(outer > inner)
    # the area mean of r^2 over a ring is the mean of its limits' squares
    assert zones.matrix @ radius**2 == pytest.approx((inner**2 + outer**2) / 2, rel=1e-6)
    assert zones.matrix @ np.ones_like(radius) == pytest.approx(np.ones(inner.size), rel=1e-12)


def test_zones_are_narrow_at_the_rim() -> None:
    glass = bench_of("").mirror
    width = np.diff(ring_means(glass, glass_grid(glass, DEFAULT)).edges)
    assert np.all(np.diff(width[:-1]) < 1e-12)


def cells_of(text: str) -> list[list[str]]:
    """Cells of a printed table, line by line: what stands two blanks or more apart."""
    return [re.split(r"\s{2,}", line.strip()) for line in text.splitlines()]


@pytest.mark.parametrize("width", [40, 60, 72])
def test_columns_without_room_stand_below_the_others(width: int, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("COLUMNS", str(width))
    rows = [(f"zone {row}", *((f"{row}{column}", f"{column} to 9{row}") for column in range(6))) for row in range(3)]
    text = table(["Zone", *(f"{column}. time\nnm" for column in range(6))], rows)
    assert max(map(len, text.splitlines())) <= width
    blocks = text.split("\n\n")
    assert len(blocks) > 1
    for block in blocks:
        assert [line[:6] for line in block.splitlines()[-3:]] == ["zone 0", "zone 1", "zone 2"]
    for number, row in enumerate(rows):
        beside = [cell for block in blocks for cell in cells_of(block)[2 + number][1:]]
        assert beside == [
            part for pair in row[1:] for part in pair
        ]  # a number and its band beside each other, none lost


def test_long_words_beside_a_number_are_broken(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("COLUMNS", "40")
    words = "no mix of the allowed strokes does better, wear frozen"
    lines = table(["", "RMS"], [(words, "12 nm"), ("gap", "3 nm")]).splitlines()
    assert max(map(len, lines)) <= 40
    assert " ".join(line[:33].strip() for line in lines[1:-1]) == words
    assert [line[33:].strip() for line in lines] == ["RMS", "12 nm", "", "3 nm"]


def test_a_column_without_anything_is_left_out() -> None:
    text = table(["", "Before", "After"], [("RMS", "", ("3", "")), ("peak", "", ("40", ""))])
    assert cells_of(text) == [["After"], ["RMS", "3"], ["peak", "40"]]
    assert cells_of(table(["Session", "Chance"], [])) == [["Session", "Chance"]]


def test_numbers_stand_to_the_right_beneath_their_heads() -> None:
    lines = table(["Zone\nmm", "After\nnm"], [("0-5", ("7", "1 to 12")), ("5-10", ("-12", "-20 to 3"))]).splitlines()
    assert cells_of("\n".join(lines)) == [
        ["Zone", "After"], ["mm", "nm", "band"], ["0-5", "7", "1 to 12"], ["5-10", "-12", "-20 to 3"],
    ]  # fmt: skip
    assert len({len(line) for line in lines}) == 1


def test_text_is_as_wide_as_the_terminal_within_bounds(monkeypatch: pytest.MonkeyPatch) -> None:
    for given, width in (("200", 80), ("60", 60), ("5", 40), ("", 80)):
        monkeypatch.setenv("COLUMNS", given)
        assert text_width() == width
        assert max(map(len, paragraph("word " * 100).splitlines())) <= width


@pytest.mark.parametrize(
    ("value", "before", "bar"),
    [
        (0.0, 0.0, "   o   "),
        (1.0, 0.0, "   o###"),
        (-1.0, 0.0, "###o   "),
        (1.0 / 3.0, -2.0 / 3.0, " o |#  "),
        (9.0, 1.0, "   |##o"),
    ],
)
def test_bars_point_low_or_high(value: float, before: float, bar: str) -> None:
    assert low_high_bar(value, before, 1.0, half=3) == bar


def test_bars_of_a_perfect_mirror() -> None:
    assert low_high_bar(0.0, 0.0, 0.0, half=2) == "  |  "


def test_paragraphs_fit_and_leave_words_whole() -> None:
    text = paragraph("a-long-word and another " * 20, "Warning: ", "         ")
    assert max(map(len, text.splitlines())) <= 80
    assert text.split()[1:] == ("a-long-word and another " * 20).split()


def test_defaults_said_once_for_what_is_alike() -> None:
    used = [DefaultUsed(f"spell {n}.rate", "50", "by hand") for n in (1, 2, 4)]
    used += [DefaultUsed("spell 3.turn", "0 deg", "as it lies"), DefaultUsed("hands.push", "30 N", "judgement")]
    lines = defaults_text(used).splitlines()
    assert lines[1:] == ["  spell 1, 2, 4: rate 50", "  spell 3: turn 0 deg", "  hands: push 30 N"]
    assert "  spell 2.rate = 50: by hand" in defaults_text(used, sources=True).splitlines()


def test_a_note_on_a_default_is_said_short_and_whole() -> None:
    used = [
        DefaultUsed("lap.relaxation_time", "5 min", "by hand", "yours is longer"),
        DefaultUsed("lap.facet", "1 in", "x"),
    ]
    short, whole = defaults_text(used), defaults_text(used, sources=True)
    assert short.count("yours is longer") == whole.count("yours is longer") == 1
    assert "  Note on lap.relaxation_time = 5 min: yours is longer" in short.splitlines()
    assert "  lap.relaxation_time = 5 min: by hand; yours is longer" in whole.splitlines()


def test_cautions_short_and_whole() -> None:
    for short in (cautions_text(), cautions_text(at_the_light=True)):
        assert max(map(len, short.splitlines())) <= 80 and short.count("\n") == 1
        assert "Local regulations and the advice of licensed or qualified people come first" in short
    whole = " ".join(cautions_text(whole=True).split())
    assert all(line in whole for line in CAUTIONS)
    for named in ("gloves", "eye protection", "ventilate", "the Sun", "laser", "test lamp", "One country's limit"):
        assert named in whole


@pytest.mark.parametrize(
    ("spell", "words"),
    [
        ({"stroke": "one-third"}, "tool on top, one-third, 100 mm long"),
        ({"stroke": "press", "on_top": "mirror"}, "mirror on top, cold pressing"),
        (
            {"stroke": "w", "length": 0.5, "side_sweep": "75 mm", "side_overhang": 0.1, "on_top": "mirror"},
            "mirror on top, W, 150 mm long, 75 mm to each side, 30 mm off centre",
        ),
        ({"stroke": "straight", "length": "100 mm", "lap": "small"}, "tool on top (small), straight, 100 mm long"),
    ],
)
def test_spells_in_words(spell: dict[str, object], words: str) -> None:
    programme = programme_from_table({"spell": [spell | {"minutes": 5}]})
    assert spell_words(programme.spells[0], 0.3, MILLIMETRES) == words


def test_sizes_in_diameters_have_a_third_decimal_where_it_says_something() -> None:
    assert [in_diameters(x) for x in (0.25, 0.3, 0.255, 0.28 * (1.0 - 1e-9))] == ["0.25", "0.30", "0.255", "0.28"]


def test_a_number_is_outside_its_band_on_either_side_of_it() -> None:
    assert [is_outside(value, (3.0, 9.0)) for value in (2.9, 3.0, 9.0, 9.1)] == [True, False, False, True]


def test_a_long_warning_is_said_in_short_and_nothing_of_it_is_lost() -> None:
    short = "edge roll: in the worst 5% of cases it is turned. Look at it"
    assert in_short(short) == (f"Edge{short[4:]}.", "")
    first, helps, more = "the mirror sags: 70 nm", "support it on six pads", "or move them in; turn it. " + 180 * "X"
    assert in_short(f"{first}; {helps}; {more}") == (f"The{first[3:]}; {helps}.", f"Or{more[2:]}.")
    thin = "glass: too thin; 32 mm would be enough. " + 200 * "y"
    assert in_short(thin) == ("Glass: too thin; 32 mm would be enough.", f"Y{199 * 'y'}.")
