"""Everything that has a number has a physical range: what no bench has is refused with it, wherever it stands."""

from __future__ import annotations

from typing import Any

import pytest
from pydantic_core import PydanticCustomError

from wearsim.bench import units
from wearsim.bench.fields import InputTable, NumberRule, as_float, rule_of
from wearsim.bench.toml_io import bench_from_table, programme_from_table
from wearsim.errors import InputError
from wearsim.learn.mirror_folder import SessionNote
from wearsim.study.settings import MODELS

TABLES: dict[str, type[InputTable]] = {**MODELS, "session": SessionNote}
RULES = [
    pytest.param(rule, id=f"{table}.{key}")
    for table, model in TABLES.items()
    for key, field in model.model_fields.items()
    if (rule := rule_of(field)) is not None
]
IMPOSSIBLE = (5e-324, 1e-320, -1e-320, 1e-200, 1e300, -1e300, 1.7e308, float("inf"), float("nan"), 10**400, -(10**400))


@pytest.mark.parametrize("rule", RULES)
def test_what_no_bench_has_is_refused(rule: NumberRule) -> None:
    for value in IMPOSSIBLE:
        with pytest.raises(PydanticCustomError):
            as_float(value, rule, from_file=False)
        if rule.base and isinstance(value, float):
            with pytest.raises(PydanticCustomError):
                as_float(f"{value!r} {rule.base}", rule)


def bench_with(table: str, key: str, value: Any) -> None:
    sound: dict[str, dict[str, Any]] = {
        "mirror": {"diameter": "300 mm", "radius_of_curvature": "3 m"},
        "lap": {"diameter": "300 mm", "mass": "4 kg"}, "figure": {"conic": -1.0},
    }  # fmt: skip
    bench_from_table({**sound, table: {**sound.get(table, {}), key: value}})


@pytest.mark.parametrize(
    ("table", "key", "value", "says"),
    [
        ("mirror", "diameter", "1e-300 mm", "from 5 mm to 10000 mm"),
        ("mirror", "radius_of_curvature", "5 parsec", "to 1000000 mm"),
        ("mirror", "radius_of_curvature", "100 km", "to 1000000 mm"),
        ("mirror", "thickness", "10 km", "to 2000 mm"),
        ("hands", "centre_jitter", "5 furlong", "to 200 mm"),
        ("hands", "push", "1e300 N", "to 10000 N"),
        ("wear", "preston", "1 / Pa", "to 1e-9 / Pa"),
        ("lap", "stiffness", 10**400, "such as"),
    ],
)
def test_one_line_with_the_range(table: str, key: str, value: Any, says: str) -> None:
    with pytest.raises(InputError) as error:
        bench_with(table, key, value)
    assert f"{table}.{key}: " in str(error.value) and says in str(error.value)


@pytest.mark.parametrize("text", ["5 dB", "5 percent", "5 ppm", "5 bit", "5 mm", "1e300 turn", "5"])
def test_what_is_no_angle(text: str) -> None:
    with pytest.raises(InputError, match=r"spell 1\.turn: "):
        programme_from_table({"spell": [{"stroke": "one-third", "minutes": 5, "turn": text}]})


@pytest.mark.parametrize("text", ["1e300 mm", "1E+300mm", "1e-300 m"])
def test_an_exponent_is_no_unit(text: str) -> None:
    assert 0.0 < units.read(text, "m") < 1e300


def test_an_error_in_the_second_lap_names_it() -> None:
    lap = {"diameter": "300 mm", "mass": "4 kg"}
    large = {**lap, "diameter": "3 m"}
    sound: dict[str, Any] = {"mirror": {"diameter": "300 mm", "radius_of_curvature": "3 m"}, "figure": {"conic": -1.0}}
    for laps, key in (
        ([large], "lap.diameter"), ([{**lap, "name": "a"}, {**large, "name": "b"}], "lap 2.diameter"),
        ([lap, lap], "lap 1.name"), ([lap, 5], "lap 2"), ([lap, {**lap, "mass": "x"}], "lap 2.mass"), ([], "lap"),
        (5, "lap"),
    ):  # fmt: skip
        with pytest.raises(InputError) as error:
            bench_from_table({**sound, "lap": laps})
        assert error.value.key == key
