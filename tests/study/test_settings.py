"""Dotted names: a setting changed in its table reads as if the file had said so."""

from __future__ import annotations

import copy
import tomllib
from typing import Any

import pytest

from wearsim.bench.materials import ready_bench
from wearsim.bench.toml_io import bench_from_table, load_bench, programme_from_table
from wearsim.errors import InputError
from wearsim.study.settings import by_table, changed_bench, changed_programme, find_setting

SPELLS = {"spell": [{"stroke": "w", "length": 0.5, "side_sweep": 0.2, "minutes": 5}, {"stroke": "press", "minutes": 5}]}
PROGRAMME = programme_from_table(SPELLS)


@pytest.mark.parametrize(
    ("key", "raw"),
    [
        ("mirror.diameter", "12.5 in"),
        ("mirror.conic", -0.9),
        ("mirror.glass", "soda-lime"),
        ("lap 2.stiffness", "2e9 Pa/m"),
        ("lap 1.pitch", "hard"),
        ("hands.push", "8 lbf"),
        ("hands.push_offset", ["3 mm", "0 mm"]),
        ("wear.preston", "1e-12 / Pa"),
        ("wear.temperature", "63 degF"),
        ("spread.stiffness", 1.5),
        ("light.wavelength", "633 nm"),
    ],
)
def test_a_change_is_what_the_file_would_say(key: str, raw: Any) -> None:
    path = ready_bench("raised-zone-300")
    assert path is not None
    base = load_bench("raised-zone-300")
    table = tomllib.loads(base.text)
    setting = find_setting(key, base, PROGRAMME)
    edited = copy.deepcopy(table)
    owner = edited.setdefault(setting.table, {})
    (owner[setting.place] if isinstance(owner, list) else owner)[setting.field] = raw
    changed = changed_bench(base, table, by_table([(setting, raw)]))
    assert changed == bench_from_table(edited, file=path)
    assert changed != base
    assert tomllib.loads(base.text) == table  # nothing was changed in place


def test_a_figure_takes_the_place_of_the_one_there() -> None:
    base = load_bench("raised-zone-300")
    setting = find_setting("figure.conic", base, PROGRAMME)
    changed = changed_bench(base, tomllib.loads(base.text), by_table([(setting, 0.5)]))
    assert changed.figure.conic == 0.5 and changed.figure.profile is None


def test_spells_are_changed_by_number() -> None:
    base = load_bench("raised-zone-300")
    setting = find_setting("spell 1.length", base, PROGRAMME)
    changed = changed_programme(PROGRAMME, SPELLS, by_table([(setting, "120 mm")]))
    assert changed.spells[0].stroke_on(0.3).length == pytest.approx(0.12, rel=1e-15)
    assert changed.spells[1] == PROGRAMME.spells[1]


@pytest.mark.parametrize(
    ("key", "raw", "number", "unit"),
    [
        ("hands.push", "30 N", 30.0, "N"),
        ("spell 1.length", 0.5, 0.5, "1"),
        ("spell 1.length", "150 mm", 0.15, "m"),
        ("spell 1.minutes", 20, 20.0, "min"),
        ("wear.temperature", "63 degF", 17.0 + 2.0 / 9.0, "degC"),
        ("wear.preston", "8e-13 / Pa", 8e-13, "1/Pa"),
    ],
)
def test_numbers_are_si_and_go_back(key: str, raw: Any, number: float, unit: str) -> None:
    setting = find_setting(key, load_bench("raised-zone-300"), PROGRAMME)
    assert setting.unit_of(raw) == unit
    assert setting.number(raw, None, "x") == pytest.approx(number, rel=1e-14)
    back = setting.written(setting.number(raw, None, "x"), unit)
    assert setting.number(back, None, "x") == setting.number(raw, None, "x")  # to the last bit


@pytest.mark.parametrize(
    ("key", "says"),
    [
        ("hands", "not the dotted name"),
        ("hand.push", "no such table"),
        ("hands.pusch", '"push"'),
        ("lap.stiffness", "which lap"),
        ("lap 3.stiffness", "no lap 3"),
        ("spell.length", "which spell"),
        ("spell 9.length", "no spell 9"),
        ("hands 1.push", "only one hands"),
    ],
)
def test_names_that_mean_nothing(key: str, says: str) -> None:
    with pytest.raises(InputError, match=says):
        find_setting(key, load_bench("raised-zone-300"), PROGRAMME)
