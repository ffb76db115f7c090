"""Path and time over centre offset against strokes worked one after the other."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest

from tests.helpers import kernel_twins as twins
from wearsim.bench.programme import Stroke
from wearsim.wear.accuracy import DEFAULT
from wearsim.wear.radial.path_weights import load_cases, offset_weights
from wearsim.wear.strokes import path_of, stroke_reach, sweep_phases

CENTRED = load_cases(0.0, (0.0, 0.0))
F = 50.0 / 60.0
STROKES = {
    "straight": Stroke("straight", 0.12, 0.0, 0.0, 8.0, F),
    "overhang": Stroke("overhang", 0.10, 0.0, 0.05, 8.0, F),
    "w": Stroke("w", 0.15, 0.06, 0.0, 8.0, F),
    "w quick": Stroke("w", 0.12, 0.06, 0.01, 2.0, F),
    "w uneven": Stroke("w", 0.12, 0.05, 0.0, 3.3, F),
    "oval": Stroke("oval", 0.12, 0.04, 0.02, 8.0, F),
}


def worked(stroke: Stroke, jitter: tuple[float, float], limit: float, rng: Any) -> tuple[Any, Any, float]:
    """Offsets, path lengths between poses and share left out, of many strokes as they come."""
    strokes, poses = (13200, 200) if jitter != (0.0, 0.0) else (528, 2000)
    kind = "w" if stroke.kind == "w" else stroke.kind
    places = twins.stroke_places(
        kind, stroke.length, stroke.side_sweep, stroke.side_overhang, stroke.strokes_per_sweep, strokes, poses,
        rng, jitter,
    )  # fmt: skip
    kept = np.hypot(places[..., 0], places[..., 1]).max(axis=1) < limit
    places = places[kept]
    step = np.hypot(*np.moveaxis(np.gradient(places, axis=1), -1, 0))
    return np.hypot(places[..., 0], places[..., 1]), step * poses * stroke.frequency, 1.0 - kept.mean()


@pytest.mark.parametrize("jitter", [(0.0, 0.0), (0.06, 0.002)])
@pytest.mark.parametrize("name", sorted(STROKES))
def test_weights_against_strokes_one_by_one(name: str, jitter: tuple[float, float], rng: Any) -> None:
    stroke = STROKES[name]
    found = offset_weights(stroke, jitter, True, CENTRED, 0.15, 0.149, DEFAULT)
    e, speed, _ = worked(stroke, jitter, 0.15, rng)
    # moments up to the third of what is travelled and of the time spent; with jitter both have their chance
    for power, chance in enumerate((2e-3, 4e-3, 8e-3, 1.2e-2)):
        loose = chance if jitter[0] else 1e-3
        scaled = (found.offset / 0.1) ** power
        assert found.path[:, 0] @ scaled == pytest.approx(np.mean(speed * (e / 0.1) ** power), rel=loose)
        assert found.time[:, 0] @ scaled == pytest.approx(np.mean((e / 0.1) ** power), rel=loose)
    assert found.time.sum() == pytest.approx(1.0, rel=1e-12)
    assert min(found.path.min(), found.time.min()) >= 0.0


def test_strokes_that_would_tip_are_left_out(rng: Any) -> None:
    stroke, jitter, limit = Stroke("w", 0.22, 0.05, 0.0, 8.0, F), (0.10, 0.003), 0.115
    found = offset_weights(stroke, jitter, True, CENTRED, limit, 0.999 * limit, DEFAULT)
    e, speed, left_out = worked(stroke, jitter, limit, rng)
    assert 0.1 < left_out < 0.9
    assert found.left_out == pytest.approx(left_out, abs=0.02)
    assert found.mean_speed == pytest.approx(speed.mean(), rel=0.01)
    assert found.path[:, 0] @ found.offset == pytest.approx(np.mean(speed * e), rel=0.01)
    assert found.offset.max() <= limit


def test_w_keeps_step_with_its_sweep() -> None:
    # at two strokes a sweep the four strokes of a period are the only ones there are
    assert np.allclose(np.sort(sweep_phases(2.0, 1)), [0.0, 0.25, 0.5, 0.75])
    # eight strokes a sweep: the centre stands at its end and at its side never at once
    stroke = Stroke("w", 0.24, 0.09, 0.0, 8.0, F)
    assert stroke_reach(stroke) == pytest.approx(np.hypot(0.12, 0.09 * 0.9375), rel=2e-3)
    assert stroke_reach(stroke) < np.hypot(0.12, 0.09)


def test_cases_share_what_there_is() -> None:
    # headings and azimuths of an off-centre push: their weights add up to those of a centred one
    stroke = STROKES["w"]
    plain = offset_weights(stroke, (0.06, 0.002), False, CENTRED, 0.15, 0.149, DEFAULT)
    for cases in (load_cases(0.005, (0.0, 0.0)), load_cases(0.005, (0.01, 0.02)), load_cases(0.0, (0.01, 0.0))):
        split = offset_weights(stroke, (0.06, 0.002), False, cases, 0.15, 0.149, DEFAULT)
        assert split.path.shape[1] == len(cases.position)
        assert split.path.sum() == pytest.approx(plain.path.sum(), rel=1e-9)
        assert split.time.sum() == pytest.approx(1.0, rel=1e-9)
        assert split.path.min() >= 0.0


def test_a_push_to_either_side_of_a_line_is_the_same() -> None:
    left, right = (load_cases(0.005, (0.01, side)) for side in (0.02, -0.02))
    one, other = (offset_weights(STROKES["straight"], (0.0, 0.0), True, q, 0.15, 0.149, DEFAULT) for q in (left, right))
    assert one.path == pytest.approx(other.path, abs=1e-12 * one.path.max())
    # the load comes as near and as far as lead and push add up to, and to no place twice
    away = np.hypot(*left.position.T)
    assert (away.min(), away.max()) == pytest.approx((np.hypot(0.01, 0.02) - 0.005, np.hypot(0.01, 0.02) + 0.005))
    assert len(np.unique(left.position.round(9), axis=0)) == len(left.position)


@pytest.mark.parametrize("push", [(0.008, 0.0), (0.0, -0.015), (0.01, 0.02), (0.002, 0.001)])
@pytest.mark.parametrize("lead", [0.0, 0.005])
def test_a_push_has_its_mean_place_along_the_line_of_centres(push: tuple[float, float], lead: float) -> None:
    """On a chord the load stands outward all the time, whatever the angles at which it is balanced."""
    stroke, cases = Stroke("overhang", 0.09, 0.0, 0.06, 8.0, 0.8), load_cases(lead, push)
    found = offset_weights(stroke, (0.0, 0.0), True, cases, 0.15, 0.149, DEFAULT)
    x, y, vx, vy = (one.ravel() for one in path_of(stroke, (np.arange(4000.0)[None, :] + 0.5) / 4000))
    along = ((push[0] + lead * np.sign(vx)) * x + push[1] * y) / np.hypot(x, y)
    assert found.time.sum(axis=0) @ cases.position[:, 0] == pytest.approx(along.mean(), abs=1e-5)
    speed = np.hypot(vx, vy)
    path = found.path.sum(axis=0)
    assert path @ cases.position[:, 0] / path.sum() == pytest.approx((speed * along).mean() / speed.mean(), abs=1e-5)


def test_headings_have_the_mean_square_lead() -> None:
    # a straight stroke moves along the line of centres alone; an oval mostly across it
    lead = load_cases(0.005, (0.0, 0.0))
    straight = offset_weights(STROKES["straight"], (0.0, 0.0), True, lead, 0.15, 0.149, DEFAULT)
    assert straight.path[:, 2].sum() == pytest.approx(0.0, abs=1e-12)
    assert straight.path[:, 0].sum() == pytest.approx(straight.path[:, 1].sum(), rel=1e-6)
    ring = Stroke("oval", 0.12, 0.06, 0.0, 8.0, F)  # a circle
    round_ = offset_weights(ring, (0.0, 0.0), True, lead, 0.15, 0.149, DEFAULT)
    assert round_.path[:, 2].sum() == pytest.approx(round_.mean_speed, rel=1e-9)
