"""Every example runs, answers its question, and its answer says what the physics says."""

from __future__ import annotations

import importlib.util
import io
import re
from collections.abc import Callable
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from matplotlib.colors import TABLEAU_COLORS, to_hex
from matplotlib.figure import Figure

EXAMPLES = Path(__file__).parents[2] / "examples"
SCRIPTS = sorted(path.stem for path in EXAMPLES.glob("*.py"))
LONG = {"how_many_sessions", "when_a_smaller_lap_is_chosen"}  # search three times


def load(name: str) -> Any:
    spec = importlib.util.spec_from_file_location(f"example_{name}", EXAMPLES / f"{name}.py")
    assert spec is not None and spec.loader is not None
    module: Any = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


@cache
def answered(name: str) -> tuple[str, Figure]:
    return load(name).answer()  # type: ignore[no-any-return]


def numbers(text: str) -> list[float]:
    return [float(found) for found in re.findall(r"(?<![\w.])[+-]?\d+(?:\.\d+)?", text)]


def lines(name: str) -> list[str]:
    return answered(name)[0].splitlines()


def test_there_are_enough() -> None:
    assert len(SCRIPTS) >= 8


@pytest.mark.parametrize(
    "name", [pytest.param(name, marks=[pytest.mark.slow] if name in LONG else []) for name in SCRIPTS]
)
def test_it_asks_answers_and_draws(name: str) -> None:
    text = (EXAMPLES / f"{name}.py").read_text(encoding="utf-8")
    assert text.split('"""')[1].split("\n")[1].endswith("?"), "the docstring begins with the question"
    words, figure = answered(name)
    assert numbers(words) and max(map(len, words.splitlines())) <= 100
    drawn = io.BytesIO()
    figure.savefig(drawn, format="png")
    assert drawn.tell() > 10_000
    # matplotlib's own colours are many, and alike in grey
    lines = [line for axes in figure.axes for line in axes.lines]
    assert not {str(line.get_color()) for line in lines} & {f"C{n}" for n in range(10)}
    assert not {to_hex(line.get_color()) for line in lines} & set(TABLEAU_COLORS.values())


def top_piece_turns_concave() -> bool:
    """What is on top is worn in the middle, what lies beneath at its rim (common practice, no source)."""
    _, mirror_third, tool_half, mirror_half = (numbers(line)[1:] for line in lines("tool_or_mirror_on_top"))
    return (
        mirror_third[0] > 1.5 * mirror_third[1] and mirror_half[0] > 2 * mirror_half[1] and tool_half[0] < tool_half[1]
    )


def colder_pitch_holds_on() -> bool:
    """By the bench's law pitch relaxes ten times as slowly 6 degrees colder."""
    rows = [numbers(line) for line in lines("colder_pitch")]
    conics, by_law = [row[-1] for row in rows], [10 ** ((row[0] - rows[0][0]) / 6.0) for row in rows]
    holds = np.allclose([rows[0][1] / row[1] for row in rows], by_law, rtol=0.02)
    return bool(holds) and conics == sorted(conics, reverse=True) and conics[0] - conics[-1] > 0.3


def smaller_laps_dig() -> bool:
    """The smaller the lap, the less it takes where it takes least."""
    least = [numbers(line)[-1] for line in lines("what_a_smaller_lap_does")]
    return least == sorted(least, reverse=True) and least[0] > 70.0 and least[-1] < 5.0


def a_small_lap_is_chosen_once_the_wear_is_known() -> bool:
    """It follows the full lap then, and halves what is left; before, it is left alone."""
    unknown, full, both = lines("when_a_smaller_lap_is_chosen")
    return "small lap" not in unknown + full and "small lap" in both and numbers(both)[-1] < 0.6 * numbers(full)[-1]


def a_mask_helps_a_turned_edge() -> bool:
    """A perfect mirror 5% smaller beats a poor one (common practice, no source)."""
    unmasked, best = (numbers(line) for line in lines("what_masking_buys"))
    return best[1] > unmasked[-1] + 0.1 and best[-1] > 1.1


def more_windows_tell_more() -> bool:
    rows = [numbers(line) for line in lines("how_many_readings")]
    return all(row[2] <= row[1] for row in rows) and rows[0][1] > rows[1][1] > rows[2][1]


def windows_beat_their_middles() -> bool:
    rows = [numbers(line) for line in lines("does_a_window_have_a_radius")]
    return rows[0][0] < 0.1 and rows[1][0] > 5.0 and rows[3][2] < rows[4][2]


def warm_laps_follow_sooner() -> bool:
    warm, middle, cold = lines("how_long_before_the_lap_follows")
    return numbers(warm)[-1] < numbers(middle)[-1] and "not yet halved" in cold


def long_strokes_parabolize() -> bool:
    """W strokes about 0.8 D long, mirror on top: an 8 in f/6 in tens of minutes ([read])."""
    long, middle, short = lines("how_long_to_parabolize")
    return 10.0 < numbers(long)[-1] < 60.0 and "not reached" in middle and "not reached" in short


def the_zone_comes_nearer_to_the_target() -> bool:
    """At the raised zone's outer flank the programme takes the knife nearer to a perfect mirror's position."""
    _, before, after = numbers(lines("what_the_tester_shows")[1])
    perfect = (0.93 * 148.0) ** 2 / (2 * 3000.0)
    return abs(after - perfect) < abs(before - perfect)


def the_band_tells_them_apart() -> bool:
    """Six minutes of either help in nearly every case; the overhang leaves a higher RMS, and risks more of the edge."""
    (before,), *both = (numbers(line) for line in lines("which_programme_is_safer"))
    (straight, worse, edge, share), (over, over_worse, over_edge, _) = both
    helps = max(worse, over_worse) < 10.0 and straight < over < 0.9 * before
    return helps and share == 5.0 and over_edge < 1.2 * edge < 0.0


def there_is_a_largest_overhang() -> bool:
    """Between staying near the centre and tipping off: the strokes turn a perfect rim, and unlucky ones too far."""
    *shown, _, said = lines("how_far_to_overhang")
    (largest,) = numbers(said)
    change = {row[0]: row[1:] for row in map(numbers, shown) if len(row) == 4}
    kept = [low > -69.0 for at, (low, _, _) in change.items() if at <= largest]
    broken = [low < -69.0 for at, (low, _, _) in change.items() if at > largest]
    return len(change) >= 6 and all(kept) and len(broken) > 0 and all(broken) and change[0.0][2] > -10.0


def test_what_is_said_where_no_overhang_or_every_one_breaks_the_edge() -> None:
    verdict = load("how_far_to_overhang").verdict
    side = np.array([0.0, 0.1, 0.2])
    assert verdict(side, np.zeros(3)).startswith("Every overhang tried stays")
    assert verdict(side, np.array([-1e-6, 0.0, 0.0])).startswith("Every overhang tried goes")
    assert "0.100" in verdict(side, np.array([0.0, -60e-9, -80e-9]))
    assert "0.000" in verdict(side, np.array([0.0, -80e-9, -60e-9]))


def every_session_closes_in() -> bool:
    before, *sessions = (numbers(line) for line in lines("how_many_sessions"))
    left = [before[0], *(session[3] for session in sessions)]
    return len(sessions) == 3 and left == sorted(left, reverse=True) and left[-1] < 0.7 * left[0]


@pytest.mark.parametrize(
    "holds",
    [
        top_piece_turns_concave, colder_pitch_holds_on, smaller_laps_dig, a_mask_helps_a_turned_edge,
        more_windows_tell_more, windows_beat_their_middles, warm_laps_follow_sooner, long_strokes_parabolize,
        the_zone_comes_nearer_to_the_target, the_band_tells_them_apart, there_is_a_largest_overhang,
        pytest.param(every_session_closes_in, marks=pytest.mark.slow),
        pytest.param(a_small_lap_is_chosen_once_the_wear_is_known, marks=pytest.mark.slow),
    ],
    ids=lambda holds: holds.__name__,
)  # fmt: skip
def test_its_answer_makes_sense(holds: Callable[[], bool]) -> None:
    assert holds()
