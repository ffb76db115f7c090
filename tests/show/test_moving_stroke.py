"""Strokes that move: to scale, at the true rate."""

from __future__ import annotations

import re
import xml.etree.ElementTree as ElementTree

import numpy as np
import pytest

from tests.helpers.small_bench import small_bench
from tests.helpers.workbench import make_spell
from wearsim.bench.hands import Hands
from wearsim.bench.programme import Programme
from wearsim.show.moving_stroke import barrel_spells, before, moving_stroke, reminders
from wearsim.show.strokes import stroke_path

SIZES = {
    "straight": {"length": 0.4},
    "w": {"length": 0.3, "side_sweep": 0.1},
    "oval": {"length": 0.3, "side_sweep": 0.1},
}


def _travel(drawn: str) -> tuple[float, np.ndarray]:
    """Time of one round of the stroke [s], and the centre's places [mm]."""
    found = re.search(r'type="translate" values="([^"]*)" dur="([0-9.]+)s"', drawn)
    assert found
    return float(found[2]), np.array([list(map(float, pair.split())) for pair in found[1].split(";")])


@pytest.mark.parametrize("kind", SIZES)
def test_it_goes_the_way_of_the_stroke_in_its_time(kind: str) -> None:
    bench, spell = small_bench(), make_spell(kind, minutes=5.0, rate=40.0, **SIZES[kind])
    period, places = _travel(moving_stroke(bench, spell))
    stroke = spell.stroke_on(bench.mirror.diameter)
    rounds = 2.0 * stroke.strokes_per_sweep if stroke.is_swept else 1.0
    assert period == pytest.approx(60.0 * rounds / 40.0, abs=0.01)
    x, y = stroke_path(stroke)
    assert np.abs(places).max(axis=0) == pytest.approx(
        1e3 * np.array([np.abs(x).max(), np.abs(y).max()]), rel=0.02, abs=0.1
    )
    assert places[0] == pytest.approx(places[-1], abs=0.2)


def test_both_pieces_turn_against_each_other() -> None:
    bench = small_bench()
    drawn = moving_stroke(bench, make_spell("straight", minutes=5.0, length=0.4))
    turns = re.findall(r'type="rotate" from="0" to="(-?\d+)" dur="([0-9.]+)s"', drawn)
    assert turns == [("360", f"{bench.hands.walk:g}"), ("-360", f"{bench.hands.hand_turn:g}")]


@pytest.mark.parametrize("kind", SIZES)
def test_the_top_piece_is_never_cut_off(kind: str) -> None:
    bench, spell = small_bench(), make_spell(kind, minutes=5.0, rate=40.0, **SIZES[kind])
    drawn = moving_stroke(bench, spell)
    box = re.search(r'viewBox="([^"]*)"', drawn)
    radius = re.search(r'class="top" r="([0-9.]+)"', drawn)
    assert box and radius
    left, upper, width, height = map(float, box[1].split())
    _, places = _travel(drawn)  # along the stroke, which goes up the screen, and across it, to the right
    assert places[:, 1].min() - float(radius[1]) > left and places[:, 1].max() + float(radius[1]) < left + width
    assert -places[:, 0].max() - float(radius[1]) > upper and -places[:, 0].min() + float(radius[1]) < upper + height


def test_what_is_drawn_is_said() -> None:
    spell = make_spell("overhang", minutes=5.0, length=0.4, side_overhang=0.1, on_top="mirror")
    (plain,) = barrel_spells(small_bench(), Programme(spells=(spell,)))
    assert "You stand here" in plain["moving"] and "Off centre: to your right." in plain["moving"]
    assert "Filled: tool. Dashed: mirror, on top." in plain["moving"]


def test_a_pressing_stands_still_and_all_of_it_is_sound_svg() -> None:
    drawn = moving_stroke(small_bench(), make_spell("press", minutes=5.0))
    assert "animate" not in drawn and ElementTree.fromstring(drawn).get("aria-label", "").startswith("From above")


def test_the_barrel_is_reminded_of_turning_charge_water_and_pressing() -> None:
    spells = (make_spell("press", minutes=5.0), make_spell("straight", minutes=5.0, length=0.4, turn=np.radians(72.0)))
    press, work = barrel_spells(small_bench(), Programme(spells=spells))
    assert before(press, "Press until it fits.") == ["Press until it fits.", "Cold-press the lap."]
    assert before(work, "") == ["First turn the mirror by 72\u00b0.", "Wet the lap; put on a fresh charge."]
    assert reminders(press) == ["Hands off: its own weight presses it."]
    assert reminders(work)[0] == "Keep it wet." and any(words.startswith("Press with ") for words in reminders(work))
    assert (
        reminders(work)[1] == "Walk round the barrel: \u00bd turn per minute, always the same way."
    )  # twice in five minutes
    turned = small_bench().model_copy(update={"hands": Hands(top_turns=3.0)})
    (alone,) = barrel_spells(turned, Programme(spells=spells[1:]))
    assert not any("Walk" in words or "you walk" in words for words in reminders(alone))
