"""Spells and their strokes."""

from __future__ import annotations

import math
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from wearsim.bench.fields import Extent
from wearsim.bench.programme import Spell, Stroke
from wearsim.bench.toml_io import load_programme


def test_as_in_the_interface(folder: Path) -> None:
    programme = load_programme(folder / "programme.toml")
    first, press = programme.spells
    assert first.stroke_on(0.3) == Stroke("w", 0.15, 0.06, 0.0, 8.0, 50 / 60)
    assert (first.duration, first.is_press) == (600.0, False)
    assert (press.on_top, press.is_press, press.duration, press.rate) == ("tool", True, 300.0, None)
    assert programme.file == folder / "programme.toml"


def test_no_spells_is_a_programme(tmp_path: Path) -> None:
    path = tmp_path / "programme.toml"
    path.write_text("# nothing to do\n")
    assert load_programme(path).spells == ()


def test_a_fraction_of_the_diameter_or_a_length() -> None:
    assert Spell(stroke="straight", length="150 mm", minutes=1).stroke_on(0.2).length == 0.15
    assert Spell(stroke="straight", length=0.5, minutes=1).stroke_on(0.2).length == 0.1
    assert Spell(stroke="straight", length=Extent(0.5), minutes=1).stroke_on(0.2).length == 0.1


def test_one_third_is_the_straight_stroke_of_a_third() -> None:
    """Physics section 5."""
    straight = Spell(stroke="straight", length=1 / 3, minutes=1).stroke_on(0.3)
    assert Spell(stroke="one-third", minutes=1).stroke_on(0.3) == straight


def test_a_pressing_has_no_stroke() -> None:
    with pytest.raises(ValueError, match="no stroke"):
        Spell(stroke="press", minutes=5).stroke_on(0.3)


def test_turn_in_radians() -> None:
    assert Spell(stroke="press", minutes=5, turn="72 deg").turn == pytest.approx(0.4 * math.pi)


@given(
    st.sampled_from(["straight", "overhang", "w", "oval"]),
    st.floats(0.01, 0.6),
    st.floats(0.0, 0.3),
    st.floats(0.0, 0.3),
)
def test_smallest_offset_against_the_path(kind: str, length: float, sweep: float, overhang: float) -> None:
    """Against the path of physics section 5, walked in small steps."""
    sweep = 0.0 if kind in ("straight", "overhang") else sweep
    overhang = 0.0 if kind == "straight" else overhang
    stroke = Stroke(kind, length, sweep, overhang, 8.0, 1.0)
    angle = np.linspace(0, 2 * np.pi, 20_001)
    x = length / 2 * np.sin(angle)
    if kind == "oval":
        offset = np.hypot(x, overhang + sweep * np.cos(angle))
    else:  # the sweep drifts past every x: any of its places can meet x = 0
        offset = np.abs(overhang + np.linspace(-sweep, sweep, 20_001))
    assert stroke.smallest_offset == pytest.approx(offset.min(), abs=1e-4)
