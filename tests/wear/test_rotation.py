"""Turning the mirror between spells."""

import numpy as np
import pytest

from wearsim.bench.programme import Programme, Spell
from wearsim.wear.planar.grid import read_map
from wearsim.wear.rotation import bias_left, is_turned, turns


def harmonic_of(field, across, radius, harmonic=2, azimuths=720):
    """Amplitude ``A exp(i m theta0)`` of one azimuthal harmonic of a map on circles of these radii."""
    angle = 2.0 * np.pi * np.arange(azimuths) / azimuths
    values = read_map(field, across, radius[:, None] * np.cos(angle), radius[:, None] * np.sin(angle))
    return 2.0 * np.mean(values * np.exp(1j * harmonic * angle), axis=1)


def test_five_turns_of_72_degrees_cancel_the_second_harmonic():
    seen = turns(np.radians(72.0), 10, bias=3e-9 * np.exp(0.4j))
    assert abs(seen.worn[4]) < 1e-15 * 3e-9 * 5
    assert abs(seen.worn[9]) < 1e-14 * 3e-9
    assert seen.share[0] == pytest.approx(1.0)


def test_turns_of_180_degrees_do_nothing_for_it():
    seen = turns(np.pi, 8)
    assert seen.share == pytest.approx(np.ones(8))
    assert turns(np.pi, 8, harmonic=1).share[1::2] == pytest.approx(np.zeros(4), abs=1e-15)


def test_sum_has_its_closed_form():
    """|sum exp(-i m k angle)| = |sin(n m angle / 2) / sin(m angle / 2)|, a geometric sum [derived]."""
    angle = np.radians(77.0)
    seen = turns(angle, 9)
    assert seen.share == pytest.approx(np.abs(np.sin(seen.spells * angle) / np.sin(angle)) / seen.spells)


def _programme(*spells):
    return Programme(spells=tuple(
        Spell(stroke=kind, minutes=minutes, turn=np.radians(turn), **({} if kind == "press" else {"length": 0.3}))
        for kind, minutes, turn in spells
    ))  # fmt: skip


def test_a_programme_leaves_what_its_turns_and_minutes_leave():
    even = _programme(*[("straight", 6.0, 0.0 if k == 0 else 72.0) for k in range(5)])
    assert bias_left(even) == pytest.approx(turns(np.radians(72.0), 5).share, abs=1e-12)
    assert bias_left(even)[-1] < 1e-12
    # 90 degrees apart the second harmonic is taken away again, by the minute
    assert bias_left(_programme(("straight", 6.0, 0.0), ("straight", 2.0, 90.0))) == pytest.approx([1.0, 0.5])


def test_pressings_wear_nothing_but_their_turn_stays():
    pressed = _programme(("press", 5.0, 0.0), ("straight", 6.0, 0.0), ("press", 5.0, 90.0), ("straight", 6.0, 0.0))
    assert bias_left(pressed) == pytest.approx([1.0, 1.0, 1.0, 0.0], abs=1e-12)
    assert is_turned(pressed)
    assert not is_turned(_programme(("press", 5.0, 0.0), ("straight", 6.0, 90.0), ("straight", 6.0, 0.0)))
    assert not is_turned(Programme()) and bias_left(Programme()).size == 0


def test_no_spells_is_refused():
    with pytest.raises(ValueError, match="at least one spell"):
        turns(1.0, 0)


@pytest.mark.parametrize(("degrees", "spells", "most"), [(72.0, 5, 0.01), (180.0, 5, None)])
def test_walked_spells_do_as_the_sum_says(rig, motion, degrees, spells, most):
    """A worker who does not walk leaves a steady bias: strokes in one direction."""
    radius = np.array([0.06, 0.1, 0.13])
    made = rig(96, preston=1e-25, relaxation=1e30)
    first = None
    for k in range(spells):
        made.work(motion("straight", 0.15, 0.0, walk=0.0, hand_turn=0.0, mirror_angle=k * np.radians(degrees)), 12.0)
        first = -made.w.copy() if first is None else first
    one = harmonic_of(first, made.glass.across, radius)
    worn = harmonic_of(-made.w, made.glass.across, radius)
    assert np.abs(one).min() > 0.001 * np.abs(first).max()
    if most is None:
        assert worn == pytest.approx(spells * one, rel=0.02)
    else:
        assert np.abs(worn).max() < most * spells * np.abs(one).max()


def test_harmonic_reads_amplitude_and_azimuth():
    across = np.linspace(-0.2, 0.2, 161)
    azimuth = np.arctan2(across[:, None], across[None, :])
    field = 2.0 + 0.7 * np.cos(2.0 * (azimuth - 0.3))
    assert harmonic_of(field, across, np.array([0.1]))[0] == pytest.approx(0.7 * np.exp(0.6j), abs=2e-3)
