"""Strokes as hands make them: longer and to one side, but not so far that they would feel the top piece tip."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from wearsim.bench.programme import Stroke
from wearsim.wear.constants import AS_STATED, Constants
from wearsim.wear.strokes import FELT, made_by_hands, path_of, stroke_reach

LIMIT = 0.1
STROKES = (
    Stroke("straight", 0.12, 0.0, 0.0, 8.0, 1.0),
    Stroke("overhang", 0.08, 0.0, 0.05, 8.0, 1.0),
    Stroke("w", 0.10, 0.05, 0.0, 8.0, 1.0),
    Stroke("oval", 0.06, 0.04, 0.02, 8.0, 1.0),
)


def hands(length: float, bias: float) -> Constants:
    return Constants(preston=1.3, stroke_length=length, overhang_bias=bias)


@pytest.mark.parametrize("stroke", STROKES, ids=lambda stroke: stroke.kind)
def test_a_stroke_is_made_longer_and_to_one_side(stroke: Stroke) -> None:
    made = made_by_hands(stroke, hands(1.1, 0.004), limit=1.0)
    moments = np.linspace(0.0, 8.0, 65)[None, :]
    along, across, *_ = path_of(stroke, moments)
    along_made, across_made, *_ = path_of(made, moments)
    assert along_made == pytest.approx(1.1 * along, abs=1e-12)
    assert across_made == pytest.approx(1.1 * (across - stroke.side_overhang) + stroke.side_overhang + 0.004, abs=1e-12)
    assert (made.kind, made.strokes_per_sweep, made.frequency) == (stroke.kind, 8.0, 1.0)


@pytest.mark.parametrize("stroke", STROKES, ids=lambda stroke: stroke.kind)
def test_hands_that_do_as_is_written_make_the_stroke_itself(stroke: Stroke) -> None:
    for limit in (LIMIT, 0.5 * stroke_reach(stroke)):
        assert made_by_hands(stroke, AS_STATED, limit) is stroke
        assert made_by_hands(stroke, Constants(0.5, 2.0, 3.0, 0.1), limit) is stroke


@given(
    stroke=st.sampled_from(STROKES), size=st.floats(0.2, 1.5), length=st.floats(0.7, 1.6), bias=st.floats(-0.03, 0.03)
)
def test_hands_never_tip_what_would_not_tip_by_itself(stroke: Stroke, size: float, length: float, bias: float) -> None:
    stroke = replace(
        stroke,
        length=size * stroke.length,
        side_sweep=size * stroke.side_sweep,
        side_overhang=size * stroke.side_overhang,
    )
    meant, made = stroke_reach(stroke), made_by_hands(stroke, hands(length, bias), LIMIT)
    whole = made_by_hands(stroke, hands(length, bias), limit=10.0)
    assert stroke_reach(made) <= max(meant, FELT * LIMIT) + 1e-12
    if stroke_reach(whole) <= max(meant, FELT * LIMIT):
        assert made == whole  # what does not come near is not held back


def test_what_is_held_back_still_goes_as_far_as_it_can() -> None:
    straight = STROKES[0]  # whose reach is half its length
    made = made_by_hands(straight, hands(2.0, 0.0), LIMIT)
    assert stroke_reach(made) == pytest.approx(FELT * LIMIT)
    assert made.length == pytest.approx(2.0 * FELT * LIMIT)
    assert made_by_hands(replace(straight, length=0.198), hands(1.3, 0.0), LIMIT).length == pytest.approx(0.198)
