"""Heights and temperatures in the unit of the person: by the flag, or as the bench remembers it."""

from __future__ import annotations

import re
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from wearsim.bench.personal_units import height_text, read_heights_in, surface_unit, temperature_step, temperature_text
from wearsim.bench.toml_io import load_bench
from wearsim.show.study_scales import BenchOf

Call = Callable[..., Any]
PREDICT = ("predict", "bench.toml", "-p", "programme.toml", "--draws", "0")


def rms(text: str) -> tuple[str, list[float]]:
    """The unit of the row of the surface's RMS, and its numbers."""
    (row,) = re.findall(r"(?m)^RMS, surface, (\w+) +([\d.]+) +([\d.]+)", text)
    return row[0], [float(one) for one in row[1:]]


def test_a_flag_changes_every_height_and_no_number_in_si(demo: Path, call: Call) -> None:
    said = {unit: call(*PREDICT, "--surface-unit", unit) for unit in ("nm", "waves", "millionths")}
    assert all(one.code == 0 for one in said.values())
    heights = {unit: rms(one.out) for unit, one in said.items()}
    assert {unit: name for unit, (name, _) in heights.items()} == {
        "nm": "nm",
        "waves": "waves",
        "millionths": "millionths",
    }
    for unit, size in (("waves", 550.0), ("millionths", 25.4)):
        for other, in_nm in zip(heights[unit][1], heights["nm"][1], strict=True):
            assert other * size == pytest.approx(in_nm, abs=2.0)
        assert not re.search(r"\d nm\b|\bnm$", said[unit].out, re.MULTILINE), said[unit].out
    assert call(*PREDICT, "--json").out == call(*PREDICT, "--json", "--surface-unit", "waves").out


def test_the_bench_remembers_it_and_the_flag_overrides(demo: Path, call: Call) -> None:
    bench = demo / "bench.toml"
    plain = call(*PREDICT).out
    bench.write_text(bench.read_text() + '\n[light]\nsurface_unit = "waves"\n')
    assert rms(call(*PREDICT).out)[0] == "waves"
    assert call(*PREDICT, "--surface-unit", "nm").out == plain
    assert "light.surface_unit" not in {used.key for used in load_bench(bench).defaults_used}
    bench.write_text(bench.read_text().replace('"waves"', '"fringes"'))
    refused = call(*PREDICT)
    assert refused.code == 2 and "light.surface_unit" in refused.err and '"millionths"' in refused.err


def test_what_one_command_was_told_is_forgotten_by_the_next(demo: Path, call: Call) -> None:
    assert rms(call(*PREDICT, "--surface-unit", "waves").out)[0] == "waves"
    assert rms(call(*PREDICT).out)[0] == "nm"


def test_plots_are_drawn_in_it_too(demo: Path, call: Call) -> None:
    assert call(*PREDICT, "--surface-unit", "waves", "--plot", "p.svg", "--shadows", "s.svg").code == 0


def test_heights_in_words() -> None:
    try:
        for name, text in (("waves", "0.100 waves"), ("millionths", "2.2 millionths"), ("nm", "55 nm")):
            read_heights_in(surface_unit(name, 550e-9))
            assert height_text(55e-9) == text
        assert height_text(-1e-12) == "0 nm" and height_text(2e-5) == "20.00 um"
    finally:
        read_heights_in(None)


@pytest.mark.parametrize(
    ("bench", "room", "step"),
    [
        ('[mirror]\ndiameter = "8 in"\n', "68 degF", "7.2 degF"),
        ('[mirror]\ndiameter = "200 mm"\n', "20 degC", "4 degC"),
        ('[mirror]\ndiameter = "8 in"\n[wear]\ntemperature = "17 degC"\n', "20 degC", "4 degC"),
        ('[mirror]\ndiameter = "200 mm"\n[wear]\ntemperature = "66F"\n', "68 degF", "7.2 degF"),
    ],
)
def test_temperatures_are_the_persons(bench: str, room: str, step: str) -> None:
    assert temperature_text(20.0, BenchOf(bench)) == room
    assert temperature_step(4.0, BenchOf(bench)) == step


def test_a_bench_in_inches_shows_no_celsius(demo: Path, call: Call) -> None:
    bench = demo / "bench.toml"
    text = bench.read_text().replace('"300 mm"', '"12 in"').replace('"3.0 m"', '"120 in"')
    bench.write_text(text.replace('profile = "profile.csv"', "conic = 0.0"))
    said = call(*PREDICT)
    assert said.code == 0 and "68 degF" in said.err
    assert "degC" not in said.out + said.err
