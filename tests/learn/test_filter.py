"""Following a mirror: the textbook filter where nothing is worked, and what stays known that no window sees."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from tests.helpers.simulated import ROUGH, pressed_and_worked, programme_of, read, simulated_mirror, simulated_sessions
from wearsim.bench.lap import Lap
from wearsim.bench.programme import Programme
from wearsim.kernels.arrays import Floats
from wearsim.knifeedge.reduction import reduce_readings
from wearsim.learn.observation import of_readings
from wearsim.learn.practice.mirror import KnifeEdgeTester
from wearsim.learn.session_filter import SessionFilter, SessionModel, corrected_state, is_fresh
from wearsim.wear.constants import Constants
from wearsim.wear.discrepancy import Discrepancy, lap_shapes
from wearsim.wear.initial_figure import StartFigure, on_grid
from wearsim.wear.radial.engine import RadialEngine
from wearsim.wear.state import start_state

NOTHING = Discrepancy(shape=0.0, even=0.0, rim=0.0, fine=0.0, local=0.0, floor=1e-15)


def test_without_work_it_is_linear_regression() -> None:
    """Two looks at the same glass: mean and covariance as by weighted least squares in one go."""
    _, sessions = simulated_sessions(3, Constants(), count=2, discrepancy=NOTHING, accuracy=ROUGH)
    idle = tuple(replace(model, programme=Programme()) for model in sessions.models)
    sessions = replace(
        sessions, models=idle, first=replace(sessions.first, root=30e-9 * np.eye(sessions.first.radius.size))
    )
    last = sessions.follow(Constants(), 0.1)[-1]
    information = np.linalg.inv(30e-9**2 * np.eye(sessions.first.radius.size) + 0.3e-9**2 * np.eye(
        sessions.first.radius.size
    ))  # fmt: skip
    pull = np.zeros(sessions.first.radius.size)
    for model in idle:
        seen = model.observation
        weight = np.linalg.inv(seen.covariance)
        information = information + seen.matrix.T @ weight @ seen.matrix
        pull = pull + seen.matrix.T @ weight @ seen.innovation(sessions.first.height)
    covariance = np.linalg.inv(information)
    assert last.covariance == pytest.approx(covariance, abs=2e-4 * 30e-9**2)
    # the readings are almost linear in the glass: 1% of the correction
    correction = covariance @ pull
    assert last.state.height - sessions.first.height == pytest.approx(correction, abs=0.01 * np.abs(correction).max())


def test_the_carrier_is_the_engine_linearised(rng: np.random.Generator) -> None:
    _, sessions = simulated_sessions(4, Constants(), count=1, accuracy=ROUGH)
    first = sessions.first
    smooth = np.cos(np.outer(first.radius / first.radius[-1], np.arange(1, 5)))
    sessions = replace(sessions, first=replace(first, root=5e-9 * smooth))
    steps = sessions.follow(Constants(), 0.1)
    (linear,) = sessions.linearised(Constants(), steps)
    change = 5e-9 * smooth @ np.array([0.5, -0.4, 0.3, 0.6])
    moved = replace(sessions, first=replace(sessions.first, height=sessions.first.height + change))
    difference = moved.follow(Constants(), 0.1)[0].predicted - steps[0].predicted
    assert linear.transition @ change == pytest.approx(difference, abs=0.05 * np.abs(change).max())


def test_a_correction_of_the_glass_leaves_the_fit_of_the_lap(rng: np.random.Generator) -> None:
    drawn, sessions = simulated_sessions(4, Constants(), count=1, accuracy=ROUGH)
    state = sessions.follow(Constants(), 0.1)[0].state
    moved = corrected_state(state, 10e-9 * np.cos(4.0 * state.radius / state.radius[-1]))
    pitch, other = state.laps["full"], moved.laps["full"]
    inside = pitch.radius <= 0.98 * state.radius[-1]

    def fit(height: np.ndarray, lap: np.ndarray) -> np.ndarray:
        return (np.interp(pitch.radius, state.radius, height) + lap)[inside]

    assert fit(moved.height, other.height) == pytest.approx(fit(state.height, pitch.height), abs=0.2e-9)
    assert drawn.bench.laps[0].name == "full"


def test_spells_and_laps_are_linearised_as_the_engine_has_them() -> None:
    """Central differences: all spells a little larger, and a lap that has a misfit before it is pressed."""
    drawn, sessions = simulated_sessions(4, Constants(), count=3, accuracy=ROUGH)
    third = replace(sessions.models[2], pressed=60.0)  # of two spells
    sessions = replace(sessions, models=(third,), discrepancy=Discrepancy(fresh_misfit=4e-9))
    (linear,) = sessions.linearised(Constants(), sessions.follow(Constants(), 0.1))
    engine = RadialEngine(ROUGH)
    state = start_state(drawn.bench, sessions.first.radius, sessions.first.height, ROUGH)

    def after(preston: float = 1.0, misfit: float = 0.0) -> Floats:
        def shape(lap: Lap, share: Floats) -> Floats:
            return np.asarray(misfit * lap_shapes(share)[..., 1])

        constants, shaped = Constants(preston=preston), engine.with_misfit(drawn.bench, state, shape)
        pressed = engine.pressed(drawn.bench, shaped, ["full"], 60.0, constants)
        return engine.run(drawn.bench, third.programme, pressed, constants).end.height

    larger = (after(np.exp(0.05)) - after(np.exp(-0.05))) / 0.1
    assert linear.responses.shape[0] == 2
    assert linear.responses.sum(axis=0) == pytest.approx(larger, abs=0.05 * np.abs(larger).max())
    shaped = 0.5 * (after(misfit=4e-9) - after(misfit=-4e-9))
    assert linear.lap[:, 1] == pytest.approx(shaped, abs=0.1 * np.abs(shaped).max())
    assert np.abs(shaped).max() > 1e-10


def test_what_a_session_leaves_uncertain_is_the_sum_of_its_causes() -> None:
    _, sessions = simulated_sessions(4, Constants(), count=1, accuracy=ROUGH)
    (linear,) = sessions.linearised(Constants(), sessions.follow(Constants(), 0.1))
    radius = sessions.first.radius
    quiet = replace(NOTHING, spell_spread=0.0)

    def size(own: Discrepancy, spread: float) -> Floats:
        without_lap = replace(linear, lap=0.0 * linear.lap)
        return np.sqrt(np.diagonal(without_lap.covariance(radius, own, spread)))

    whole = np.abs(linear.responses.sum(axis=0))
    assert size(quiet, 0.2) == pytest.approx(0.2 * whole, abs=1e-14)
    assert size(replace(quiet, spell_spread=0.3), 0.0) == pytest.approx(0.3 * whole, abs=1e-14)  # of one spell
    both = linear.covariance(radius, Discrepancy(), 0.2)
    parts = linear.covariance(radius, Discrepancy(), 0.0) + linear.covariance(radius, quiet, 0.2)
    assert both == pytest.approx(parts - linear.lap @ linear.lap.T, abs=1e-9 * both.max())


def test_what_windows_cannot_see_stays_known_from_what_was_worked(rng: np.random.Generator) -> None:
    """A hill inside the first zone that strokes hung off the middle have left: a reading alone has nothing of it."""
    drawn, tester, constants = simulated_mirror(4), KnifeEdgeTester(sigma=2e-5), Constants()
    bench = drawn.bench
    glass, unseen = on_grid(bench, drawn.start, ROUGH), float(tester.zones(bench).inner[0])
    hill = 200e-9 * np.exp(-((glass.radius / (0.5 * unseen)) ** 2))
    first = StartFigure(glass.radius, glass.height + hill, 0.5e-9 * np.cos(np.outer(40.0 * glass.radius, np.arange(4))))
    programme = programme_of(({"stroke": "w", "length": 0.4, "side_sweep": 0.2, "minutes": 30, "on_top": "tool"},))
    begun = start_state(bench, first.radius, first.height, ROUGH)
    truth = pressed_and_worked(bench, programme, begun, constants, ROUGH)
    sheet = read(drawn, truth, rng, tester)
    model = SessionModel(1, bench, programme, None, of_readings(bench, sheet, first.radius))
    step = SessionFilter(first, (model,), ROUGH).follow_closely(constants, 0.08)[-1]

    def height_of_hill(radius: Floats, height: Floats) -> float:
        return float(np.interp(0.0, radius, height) - np.interp(1.2 * unseen, radius, height))

    target = bench.mirror.geometry.departure(first.radius)
    before, left = (height_of_hill(first.radius, one.height - target) for one in (begun, truth))
    known = height_of_hill(first.radius, step.state.height - target)
    reduced = reduce_readings(sheet, bench.mirror.geometry, bench.light.wavelength)
    seen = height_of_hill(reduced.radius, reduced.figure_error)
    # strokes have worn it, on a lap that fits it, and so have left most of it
    assert begun.height[0] - truth.height[0] > 10e-9 and 50e-9 < left < before
    assert known == pytest.approx(left, abs=0.15 * left)
    assert abs(seen - left) > 3.0 * abs(known - left)
    at = np.zeros(first.radius.size)
    at[0], at[np.argmin(np.abs(first.radius - 1.2 * unseen))] = 1.0, -1.0
    assert abs(known - left) < 3.0 * np.sqrt(at @ step.covariance @ at) < left


def test_a_session_that_does_not_fit_says_little_of_the_constants() -> None:
    """One that removed five times what its record says pulls the wear up less than one that is vouched for."""
    _, sessions = simulated_sessions(6, Constants(preston=5.0), count=1, accuracy=ROUGH)

    def pull(confirmed: bool) -> float:
        models = (replace(sessions.models[0], confirmed=confirmed),)
        linear = sessions.linearised(Constants(), sessions.follow(Constants(), 0.08))
        told = [
            replace(sessions, models=models).follow(Constants(preston=k), 0.08, linear)[0].log_likelihood
            for k in (1.0, 1.2)
        ]
        return told[1] - told[0]

    assert 0.0 < pull(confirmed=False) < 0.3 * pull(confirmed=True)


def test_which_laps_are_fresh() -> None:
    _, sessions = simulated_sessions(4, Constants(), count=1, accuracy=ROUGH)
    (model,) = sessions.models
    told = {
        (lap, first): is_fresh(replace(model, lap=lap), is_first=first)
        for lap in (None, "as left", "pressed", "spherical") for first in (True, False)
    }  # fmt: skip
    assert [key for key, fresh in told.items() if not fresh] == [(None, False), ("as left", True), ("as left", False)]


def test_laps_begin_as_the_record_says() -> None:
    _, sessions = simulated_sessions(7, Constants(), count=2, accuracy=ROUGH)

    def second(lap: str | None) -> np.ndarray:
        models = (sessions.models[0], replace(sessions.models[1], lap=lap))
        return replace(sessions, models=models).follow(Constants(), 0.1)[1].predicted

    assert np.array_equal(second(None), second("as left"))
    assert not np.allclose(second("pressed"), second("as left"), atol=1e-10)
    assert not np.allclose(second("spherical"), second("pressed"), atol=1e-10)


def test_a_lap_that_began_spherical_was_not_pressed() -> None:
    """However long is assumed of others; of a lap that was pressed the time counts."""
    _, sessions = simulated_sessions(7, Constants(), count=1, accuracy=ROUGH)

    def first(lap: str | None, pressed: float | None) -> Floats:
        model = replace(sessions.models[0], lap=lap, pressed=pressed)
        return replace(sessions, models=(model,)).follow(Constants(), 0.1)[0].predicted

    assert np.array_equal(first("spherical", None), first("spherical", 0.0))
    assert not np.array_equal(first("pressed", 6000.0), first("pressed", 0.0))
