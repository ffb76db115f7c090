"""What a session does of its own accord: its draws have the stated covariance, and a lap fades as a pressed one does."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from tests.helpers.small_bench import ring_figure, small_bench
from tests.helpers.workbench import pitch_of
from wearsim.bench.lap import Lap
from wearsim.kernels.arrays import Floats
from wearsim.wear.accuracy import DEFAULT
from wearsim.wear.constants import Constants
from wearsim.wear.discrepancy import LAP_MODES, LEAST_PRESSING, MOST_PRESSING, Discrepancy, lap_shapes
from wearsim.wear.radial.engine import RadialEngine
from wearsim.wear.state import State

OWN = Discrepancy(
    spread=0.1, spell_spread=0.2, shape=0.2, even=0.05, rim=0.1, rim_length=0.1, length=0.3, fine=0.0, local=0.0,
    floor=2e-9, fresh_misfit=200e-9, sag=50e-9, pressed_to=5e-9,
)  # fmt: skip
RADIUS = np.linspace(0.0, 0.1, 41)
REMOVAL = 100e-9 * (1.0 + 0.5 * np.cos(30.0 * RADIUS))


def test_spells_vary_together_and_each_for_itself() -> None:
    sizes = np.log([chance.sizes for chance in OWN.chances(4000, 3, seed=1)])
    assert sizes.mean(axis=0) == pytest.approx(np.zeros(3), abs=0.01)
    assert np.cov(sizes.T) == pytest.approx(0.1**2 + 0.2**2 * np.eye(3), abs=0.004)


def test_the_covariance_of_the_shape_is_the_stated_one() -> None:
    """Its sizes by a sum over rings of equal width, its lengths by where it falls to exp(-1/2)."""
    covariance = OWN.covariance(REMOVAL, RADIUS)
    area = RADIUS / RADIUS.sum()
    mean = area @ REMOVAL
    about = np.sqrt(area @ (REMOVAL - mean) ** 2)
    assert covariance[0, 0] == pytest.approx((0.2 * about + 0.05 * mean) ** 2 + 2e-9**2, rel=1e-6)
    assert covariance[-1, -1] - covariance[0, 0] == pytest.approx((0.1 * mean) ** 2, rel=1e-3)
    apart = int(np.argmin(np.abs(RADIUS - 0.3 * 0.1)))
    assert covariance[0, apart] / covariance[0, 0] == pytest.approx(np.exp(-0.5), rel=1e-6)
    assert np.linalg.eigvalsh(covariance).min() > -1e-12 * covariance.max()
    ripple = replace(OWN, fine=0.04, fine_length=0.05).covariance(REMOVAL, RADIUS) - covariance
    sharp = replace(OWN, local=0.3, fine_length=0.05).covariance(REMOVAL, RADIUS) - covariance
    assert ripple[0, :3] == pytest.approx((0.04 * about) ** 2 * np.exp(-0.5 * np.array([0.0, 0.5, 1.0]) ** 2), rel=1e-6)
    # a wave loses exp(-(k s)^2 / 2) of its height by the mean over a Gaussian of width s: here s is 0.01 m, inside the rim
    wave = 50e-9 * (1.0 - np.exp(-0.5 * (30.0 * 0.01) ** 2)) * np.cos(30.0 * RADIUS[:29])
    assert np.sqrt(np.diagonal(sharp)[:29]) == pytest.approx(0.3 * np.abs(wave), abs=0.02 * 0.3 * np.abs(wave).max())


def test_draws_of_the_shape_have_that_covariance() -> None:
    chances = OWN.chances(4000, 1, seed=2)
    errors = np.array([chance.shape_error(REMOVAL, RADIUS) for chance in chances])
    covariance = OWN.covariance(REMOVAL, RADIUS)
    scale = np.sqrt(np.diagonal(covariance))
    assert errors.mean(axis=0) == pytest.approx(np.zeros(41), abs=0.05 * scale.max())
    assert np.cov(errors.T) / np.outer(scale, scale) == pytest.approx(covariance / np.outer(scale, scale), abs=0.06)
    # where nothing is worked nothing but the floor is left
    idle = Discrepancy(floor=1e-12).chances(1, 1, seed=2)[0].shape_error(np.zeros(41), RADIUS)
    assert np.abs(idle).max() < 1e-11


def test_a_misfit_is_of_the_stated_size_by_area() -> None:
    edges = np.linspace(0.0, 1.0, 2001)
    share, area = 0.5 * (edges[1:] + edges[:-1]), np.diff(edges**2)
    assert area @ lap_shapes(share) == pytest.approx(np.zeros(LAP_MODES), abs=1e-6)
    assert area @ np.sum(lap_shapes(share) ** 2, axis=1) == pytest.approx(1.0, rel=1e-6)
    squares = [area @ chance.misfit(share, 7e-9) ** 2 for chance in OWN.chances(2000, 1, seed=3)]
    assert np.sqrt(np.mean(squares)) == pytest.approx(7e-9, rel=0.03)


@pytest.mark.parametrize("minutes", [2.0, 6.0])
def test_a_misfit_fades_with_the_relaxation_time_while_the_engine_presses(minutes: float) -> None:
    """A few nanometres, so that the lap touches everywhere: pitch at rest then creeps towards the glass exponentially."""
    bench, constants = small_bench(), Constants(relaxation_time=1.3)
    engine, lap = RadialEngine(DEFAULT), bench.lap()
    fitting = engine.begin(bench, ring_figure(bench, DEFAULT))
    chance = OWN.chances(1, 1, seed=4)[0]

    def misfit(lap: Lap, share: Floats) -> Floats:
        return chance.misfit(share, 2e-9)

    def about(state: State) -> Floats:
        pitch = pitch_of(bench, state)
        shape = np.interp(pitch.radius, state.radius, state.height) + pitch.height
        weight = pitch.radius / pitch.radius.sum()
        return np.asarray(shape - weight @ shape)

    begun = engine.with_misfit(bench, fitting, misfit)
    pressed, kept = (engine.pressed(bench, state, [None], 60.0 * minutes, constants) for state in (begun, fitting))
    before, after = about(begun) - about(fitting), about(pressed) - about(kept)
    left = np.exp(-60.0 * minutes / (1.3 * bench.relaxation_time_at(lap)))
    assert np.array_equal(pressed.height, begun.height)
    assert engine.pressed(bench, begun, [None], 0.0, constants) is begun
    assert np.ptp(before) > 4e-9
    assert after == pytest.approx(left * before, abs=0.02 * left * np.ptp(before))


def test_how_long_to_press() -> None:
    bench = small_bench()
    lap = bench.lap()
    for fresh, begins in ((True, 200e-9), (False, 50e-9)):
        seconds = OWN.pressing(bench, lap, is_fresh=fresh)
        assert begins * np.exp(-seconds / bench.relaxation_time_at(lap)) == pytest.approx(5e-9)
    harder = OWN.pressing(bench, lap, Constants(relaxation_time=2.0))
    assert harder == pytest.approx(2.0 * OWN.pressing(bench, lap))
    assert replace(OWN, fresh_misfit=1e-9).pressing(bench, lap) == LEAST_PRESSING
    assert OWN.pressing(bench, lap, Constants(relaxation_time=100.0)) == MOST_PRESSING
