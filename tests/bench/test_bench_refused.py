"""Malformed benches: each gives one clear line that names the file and the key."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest

from wearsim.bench.toml_io import load_bench

# what stands in a sound bench, what stands there instead, and what the line must say
MALFORMED = [
    # wrong or missing units
    ('diameter = "300 mm"', "diameter = 300", ["mirror.diameter", "the unit is missing", "got 300", '"300 mm"']),
    ('diameter = "300 mm"', 'diameter = "300"', ["mirror.diameter", "the unit is missing"]),
    ('diameter = "300 mm"', 'diameter = "300 kg"', ["mirror.diameter", "wrong kind of unit", "a diameter"]),
    ('diameter = "300 mm"', 'diameter = "300 mmm"', ["mirror.diameter", 'unknown unit "mmm"']),
    ('diameter = "300 mm"', 'diameter = "about 300 mm"', ["mirror.diameter", "not a number with a unit"]),
    ('diameter = "300 mm"', 'diameter = "9**9**9 mm"', ["mirror.diameter", "cannot read the unit"]),
    ('diameter = "300 mm"', f'diameter = "3{"0" * 90} mm"', ["mirror.diameter", "too long"]),
    ('diameter = "300 mm"', 'diameter = "1e999 mm"', ["mirror.diameter", "too large a number"]),
    ('diameter = "300 mm"', 'diameter = ""', ["mirror.diameter", "not a number with a unit"]),
    ('mass = "4 kg"', 'mass = "4 kgf"', ["lap.mass", "wrong kind of unit", "a mass"]),
    ('push = "30 N"', 'push = "8 min"', ["hands.push", "wrong kind of unit", "a force"]),
    ('temperature = "20 degC"', "temperature = 20", ["wear.temperature", "the unit is missing", "20 degC"]),
    ('temperature = "20 degC"', 'temperature = "20 degC/m"', ["wear.temperature", "wrong kind of unit"]),
    ('temperature = "20 degC"', 'preston = "1e-12 Pa"', ["wear.preston", "wrong kind of unit", "8e-13 / Pa"]),
    ('temperature = "20 degC"', "preston = 1e-12", ["wear.preston", "the unit is missing"]),
    # impossible values
    ('diameter = "300 mm"', 'diameter = "-300 mm"', ["mirror.diameter", "too small", "from 5 mm"]),
    ('diameter = "300 mm"', 'diameter = "1e300 mm"', ["mirror.diameter", "too large", '"1e300 mm"', "to 10000 mm"]),
    ('diameter = "300 mm"', 'diameter = "1e9999 mm"', ["mirror.diameter", "too large", "to 10000 mm"]),
    ('diameter = "300 mm"', 'diameter = "1e-320 mm"', ["mirror.diameter", "too small", "from 5 mm"]),
    ('diameter = "300 mm"', 'diameter = "0 mm"', ["mirror.diameter", "too small", "from 5 mm"]),
    ('diameter = "300 mm"', 'diameter = "nan mm"', ["mirror.diameter", "not a number with a unit"]),
    ('diameter = "300 mm"', "diameter = nan", ["mirror.diameter", "the unit is missing"]),
    ("conic = -1.0", "conic = nan", ["mirror.conic", "not a finite number"]),
    ("conic = -1.0", "conic = -inf", ["mirror.conic", "not a finite number"]),
    ("conic = -1.0", "conic = 400", ["mirror.conic", "too large", "to 50"]),
    ('push = "30 N"', 'push = "-3 N"', ["hands.push", "too small", "from 0"]),
    ('push = "30 N"', "length_jitter = -0.1", ["hands.length_jitter", "too small"]),
    ('temperature = "20 degC"', 'temperature = "300 degC"', ["wear.temperature", "too large", "80 degC"]),
    ("[figure]", "[spread]\npreston = 0.5\n[figure]", ["spread.preston", "too small", "from 1 to"]),
    ("[figure]", '[light]\nwavelength = "550 mm"\n[figure]', ["light.wavelength", "too large", "nm"]),
    # wrong types
    ('diameter = "300 mm"', "diameter = true", ["mirror.diameter", "wrong type"]),
    ('diameter = "300 mm"', 'diameter = ["300 mm"]', ["mirror.diameter", "wrong type"]),
    ('diameter = "300 mm"', "diameter = 2026-01-01", ["mirror.diameter", "wrong type"]),
    ("conic = -1.0", 'conic = "-1"', ["mirror.conic", "wrong type", "a plain number"]),
    ("conic = -1.0", f"conic = 1{'0' * 400}", ["mirror.conic", "too large a number"]),
    ('glass = "borosilicate"', "glass = 3", ["mirror.glass", "no name"]),
    ('channel_offset = ["0 mm", "0 mm"]', 'channel_offset = "0 mm"', ["lap.channel_offset", "two lengths"]),
    ('channel_offset = ["0 mm", "0 mm"]', "channel_offset = [0, 0]", ["lap.channel_offset", "the unit is missing"]),
    ("[hands]", "[wear]\n[hands]", ["not TOML", "wear"]),
    ("[hands]", "[[hands]]", ["hands", "not a table"]),
    # unknown words
    ("radius_of_curvature", "radius_of_curvatur", ["mirror.radius_of_curvatur", "unknown key", "did you mean"]),
    ("[hands]", "[hand]", ["hand", "unknown key", '"hands"']),
    ('glass = "borosilicate"', 'glass = "crown"', ['unknown glass "crown"', "borosilicate (boro,"]),
    ('glass = "borosilicate"', 'glass = "borosilikat"', ["mirror.glass", "unknown glass", '"borosilicate"']),
    ('glass = "borosilicate"', 'glass = "cheese"', ["mirror.glass", "soda-lime"]),
    ('mass = "4 kg"', 'mass = "4 kg"\npitch = "mediun"', ["lap.pitch", "unknown pitch", '"medium"']),
    ('temperature = "20 degC"', 'abrasive = "sand"', ["wear.abrasive", "unknown abrasive", "rouge"]),
    ('start = "pressed"', 'start = "warm"', ["lap.start", '"pressed"', '"spherical"']),
    ('start = "pressed"', 'facet_shape = "round"', ["lap.facet_shape", '"hexagonal"']),
    # missing
    ('diameter = "300 mm"', "", ["mirror.diameter", "missing", '"300 mm"']),
    ('mass = "4 kg"', "", ["lap.mass", "missing", '"4 kg"']),
    ('[figure]\nprofile = "profile.csv"', "", ["figure", "missing", "conic = -1", "conic = 0"]),
    ('profile = "profile.csv"', "", ["figure", "exactly one", "zernike"]),
    ("[mirror]", "[mirror_]", ["mirror_", "unknown key", '"mirror"']),
    # pieces that do not go together
    ('radius_of_curvature = "3.0 m"', 'radius_of_curvature = "150 mm"', ["mirror.radius_of_curvature", "150 mm"]),
    (
        'radius_of_curvature = "3.0 m"\nconic = -1.0',
        'radius_of_curvature = "200 mm"\nconic = 2.0',
        ["mirror.conic", "the conic ends before it reaches the rim", "less than 0.7778"],
    ),
    (
        'radius_of_curvature = "3.0 m"\nconic = -1.0',
        'radius_of_curvature = "1.0 m"\nconic = -50.0',
        ["mirror.conic", "too far from a sphere", "at most 30 um per mm"],
    ),
    ('hole = "40 mm"', 'hole = "300 mm"', ["mirror.hole", "as wide as the mirror"]),
    ('hole = "40 mm"', 'rim_excluded = "80 mm"', ["mirror.rim_excluded", "less than half"]),
    ('thickness = "38 mm"', 'thickness = "3 mm"', ["mirror.thickness", "sagitta"]),
    ('hole = "40 mm"', 'mass = "6 kg"\ndensity = "2 g/cm^3"', ["mirror.mass", "one of the two"]),
    ('[lap]\ndiameter = "300 mm"', '[lap]\ndiameter = "361 mm"', ["lap.diameter", "1.2 x", "360 mm"]),
    ('[lap]\ndiameter = "300 mm"', '[[lap]]\ndiameter = "361 mm"', ["lap.diameter", "1.2 x", "360 mm"]),
    (
        '[lap]\ndiameter = "300 mm"',
        '[lap]\ndiameter = "35 mm"',
        ["lap.diameter", "fall into the mirror's hole", "40 mm"],
    ),
    ('start = "pressed"', 'ring_inner = "299 mm"', ["lap.ring_inner", "0.95"]),
    ('start = "pressed"', "star_points = 5", ["lap.star_depth", "both or neither"]),
    ('start = "pressed"', 'star_points = 2\nstar_depth = "9 mm"', ["lap.star_points", "3 to 60"]),
    ('start = "pressed"', 'star_points = 5.5\nstar_depth = "9 mm"', ["lap.star_points", "whole number"]),
    ('start = "pressed"', 'star_points = 5\nstar_depth = "15 cm"', ["lap.star_depth", "the notches meet"]),
    # several laps
    ("[lap]", "[[lap]]\n[[lap]]", ["lap 1.diameter", "missing"]),
    ("[lap]", '[[lap]]\ndiameter = "2 in"\nmass = "1 kg"\n[[lap]]', ["lap 1.name", "missing", "a name for each lap"]),
    (
        "[lap]",
        '[[lap]]\nname = "a"\ndiameter = "2 in"\nmass = "1 kg"\n[[lap]]\nname = "a"',
        ["lap 2.name", "two laps have this name", '"a"'],
    ),
    ("[lap]", '[[lap]]\nname = "a\\nb"', ["lap.name", "no name"]),
    # the figure
    ('profile = "profile.csv"', 'profile = "profile.csv"\nconic = 0.0', ["figure", "exactly one", "profile and conic"]),
    ('profile = "profile.csv"', 'profile = "nowhere.csv"', ["figure.profile", "no such file", "nowhere.csv"]),
    ('profile = "profile.csv"', 'readings = "."', ["figure.readings", "a folder"]),
    ('profile = "profile.csv"', "profile = 3", ["figure.profile", "not a file name"]),
    ('profile = "profile.csv"', 'map = "a\\u0000b"', ["figure.map", "not a file name"]),
    ('profile = "profile.csv"', "zernike = []", ["figure.zernike", "not a list of terms"]),
    ('profile = "profile.csv"', 'zernike = [1.0, "a"]', ["figure.zernike", "not a number with a unit"]),
    ('profile = "profile.csv"', "zernike = [1e9]", ["figure.zernike", "too large"]),
]


@pytest.mark.parametrize(("sound", "instead", "fragments"), MALFORMED, ids=lambda part: str(part)[:40])
def test_one_clear_line(
    sound: str, instead: str, fragments: list[str], spoil: Callable[[str, str, str], Path], refused: Callable[..., str]
) -> None:
    path = spoil("bench.toml", sound, instead)
    before = sorted(path.parent.iterdir())
    refused(lambda: load_bench(path), "bench.toml: ", *fragments)
    assert sorted(path.parent.iterdir()) == before


def test_the_sound_bench_is_sound(folder: Path) -> None:
    assert load_bench(folder / "bench.toml").mirror.hole == 0.04


@pytest.mark.parametrize(
    ("text", "fragment"),
    [
        ("", "missing"),
        ("mirror = 3\nlap = 4\nfigure = 5\n", "mirror: not a table"),
        ("lap = []\n[mirror]\ndiameter='1 m'\nradius_of_curvature='9 m'\n[figure]\nconic=0\n", "lap: missing"),
        ("diameter = ", "not TOML"),
        ("a = " + "[" * 5000, "not readable TOML"),
        ("a = " + "9" * 5000, "not readable TOML"),
        ("\x01\x02", "not TOML"),
    ],
    ids=["empty", "no tables", "no laps", "cut short", "nested", "long number", "control characters"],
)
def test_no_bench_at_all(text: str, fragment: str, tmp_path: Path, refused: Callable[..., str]) -> None:
    path = tmp_path / "bench.toml"
    path.write_text(text)
    refused(lambda: load_bench(path), "bench.toml: ", fragment)


def test_a_lap_that_is_not_there(folder: Path, refused: Callable[..., str]) -> None:
    bench = load_bench(folder / "bench.toml")
    refused(lambda: bench.lap("small"), "lap", "the bench has no lap of this name", '"small"')


@pytest.mark.parametrize(
    ("there", "instead", "says"),
    [
        ('[lap]\ndiameter = "300 mm"', '[lap]\ndiameter = "20 in"', ['got "20 in"', "14.1732 in"]),
        ('hole = "40 mm"', 'hole = "1.5 ft"', ['got "1.5 ft"', "0.984252 ft"]),
        ('hole = "40 mm"', 'hole = "40 cm"', ['got "40 cm"', "30 cm"]),
    ],
)
def test_lengths_are_told_in_the_unit_that_was_written(
    there: str, instead: str, says: list[str], folder: Path, refused: Callable[..., str]
) -> None:
    path = folder / "bench.toml"
    text = path.read_text()
    assert there in text
    path.write_text(text.replace(there, instead, 1))
    assert " mm" not in refused(lambda: load_bench(path), *says)
