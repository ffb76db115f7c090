"""Powers of the pressure and the table of speeds against NumPy."""

from __future__ import annotations

import numpy as np
import pytest

from wearsim.bench.programme import Stroke
from wearsim.kernels import wear_law as law
from wearsim.wear.accuracy import DEFAULT
from wearsim.wear.radial.path_weights import SpeedLaw, load_cases, offset_weights
from wearsim.wear.state import power_of
from wearsim.wear.strokes import path_of


@pytest.mark.parametrize(
    ("exponent", "off"), [(0.5, 1e-6), (0.75, 7e-4), (1.0, 1e-6), (1.25, 6e-5), (1.5, 1e-6), (1.8, 2e-5), (2.0, 1e-6)]
)
def test_powers(exponent: float, off: float) -> None:
    most, none, flat = 3e-7, np.zeros(1001), np.linspace(0.0, 3e-7, 1001)
    found, mirrored = np.empty((2, 1001))
    law.node_wear(none, none, flat, 0.0, 0.0, 0.0, most, power_of(exponent), found, mirrored)
    assert found == pytest.approx((flat / most) ** exponent, abs=off)
    assert np.array_equal(found, mirrored)
    assert found[0] == 0.0


def test_a_ring_runs_through_its_azimuths() -> None:
    rings, scale = 4, 0.15
    turn, terms, held = law.azimuth_matrix(), np.empty(law.AZIMUTHS), np.empty((1 + rings, law.AZIMUTHS))
    path = np.cos(np.arange(1.0 + rings * law.AZIMUTHS) ** 2)
    law.ring_coefficients(path, turn, held)
    for ring in range(1, 1 + rings):
        for q in range(law.AZIMUTHS):
            angle = 2.0 * np.pi * q / law.AZIMUTHS
            law.harmonics(np.cos(angle), np.sin(angle), terms)
            assert held[ring] @ terms == pytest.approx(path[1 + (ring - 1) * law.AZIMUTHS + q], abs=1e-12)
    assert law.ring_of(0.3 * scale, 0.4 * scale, scale, rings) == pytest.approx((2, 0.0, 2.0 / scale), abs=1e-9)
    assert law.ring_of(0.0, 0.0, scale, rings) == (0, 0.0, 0.0)
    assert held[0] == pytest.approx([path[0], *[0.0] * (law.AZIMUTHS - 1)], abs=1e-12)


@pytest.mark.parametrize("on_top", ["tool", "mirror"])
@pytest.mark.parametrize("turns", [(0.7, 0.0), (0.0, 0.7), (0.7, 0.7), (1.1, -0.4)])
def test_speed_over_the_glass_against_rotating_frames(on_top: str, turns: tuple[float, float]) -> None:
    """The lap's points over the glass's, from both pieces' own motions in the room, finite differences and no formula."""
    stroke, radius, step = Stroke("oval", 0.12, 0.04, 0.03, 8.0, 0.6), 0.15, 1e-6
    speeds = SpeedLaw(*turns, 1.25, radius)
    tool = on_top == "tool"
    found = offset_weights(stroke, (0.0, 0.0), tool, load_cases(0.0, (0.0, 0.0)), 0.15, 0.149, DEFAULT, speeds)
    moments = (np.arange(400.0)[None, :] + 0.5) / 400
    time, sign = moments[0] / stroke.frequency, 1.0 if tool else -1.0
    lap, glass = turns if tool else turns[::-1]

    def top(at: np.ndarray) -> np.ndarray:
        x, y, _, _ = path_of(stroke, at[None, :] * stroke.frequency)
        return x[0] + 1j * y[0]

    apart = sign * top(time)  # of the lap's centre from the mirror's
    wanted = []
    for r, angle in [(0.0, 0.0), *[(1.0, 2 * np.pi * q / law.AZIMUTHS) for q in range(law.AZIMUTHS)]]:
        place = r * radius * np.exp(1j * angle) * apart / np.abs(apart)  # from the mirror's centre, in the room
        own = (place - apart) * np.exp(1j * lap * step) - place * np.exp(1j * glass * step)
        later = sign * top(time + step)
        moved = later + own - apart + apart  # where the lap's point has gone against where the glass's has
        wanted.append(np.mean(np.abs(moved - 0.0) ** 1.25 / step**1.25))
    places = len(found.path[0])
    taken = found.path.sum(axis=0) / speeds.scale
    if turns[0] == turns[1]:
        assert places == 1
        assert taken[0] == pytest.approx(wanted[0], rel=2e-3)
        assert np.ptp(wanted) < 2e-3 * wanted[0]
    else:
        rim = taken[1 + (DEFAULT.speed_rings - 1) * law.AZIMUTHS :]
        assert [taken[0], *rim] == pytest.approx(wanted, rel=2e-3)
