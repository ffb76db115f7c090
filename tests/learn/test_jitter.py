"""The hands' spread from sessions: found where it can be, the prior where not, and remembered."""

from __future__ import annotations

from dataclasses import replace
from datetime import date
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from tests.helpers.simulated import programme_of
from tests.helpers.workbench import work
from wearsim.bench.profile import Profile
from wearsim.errors import InputError
from wearsim.figure.conic import conic_departure
from wearsim.learn.calibrate import Calibration, calibrate, calibrate_with_jitter
from wearsim.learn.chain import LEARNING, Chain, Link
from wearsim.learn.discrepancy import Discrepancy
from wearsim.learn.folder import MirrorFolder, SessionNote, open_folder
from wearsim.learn.jitter import FACTOR, Jitter, grid, jitter_of
from wearsim.learn.jitter_effect import Effect, effect_of, strokes_of
from wearsim.learn.observation import of_profile, of_readings
from wearsim.learn.posterior import PARTLY, TOLD
from wearsim.learn.practice.mirror import Drawn, Reader, draw_mirror
from wearsim.learn.record import record
from wearsim.learn.remember import FILE, Known, keep, known_after, remembered_jitter, standing_of
from wearsim.show.calibration import calibration_text
from wearsim.wear.accuracy import DEFAULT, PlanarAccuracy
from wearsim.wear.constants import AS_STATED, Belief, Constants
from wearsim.wear.initial_figure import StartFigure, on_grid
from wearsim.wear.planar.engine import PlanarEngine
from wearsim.wear.predict import gauge_for
from wearsim.wear.state import State, start_state

SPELLS: tuple[dict[str, Any], ...] = (
    {"stroke": "w", "length": 0.6, "side_sweep": 0.2, "minutes": 8, "on_top": "mirror"},
    {"stroke": "one-third", "minutes": 4, "on_top": "tool"},
)
# Finer in cells and poses than what is inferred with.
TRUTH = PlanarAccuracy(cells=64, poses=10, share_of_rate=0.04, tipping_cells=0.5)
NOTE = SessionNote(date=date(2026, 2, 3))
EXACT = Belief(np.zeros(4), np.zeros((4, 4)))
CALIBRATED: dict[tuple[str, ...], Calibration] = {}


@cache
def begun() -> tuple[Drawn, State]:
    drawn = draw_mirror(4, "raised ring", 0.25, 5.0)
    first = on_grid(drawn.bench, drawn.start, LEARNING)
    return drawn, start_state(drawn.bench, first.radius, first.height, LEARNING)


@cache
def asked(factor: float, sigma: float) -> Jitter:
    """Of one session worked by the planar engine with so many times the bench's spread; constants known."""
    drawn, state = begun()
    bench, programme = drawn.bench, programme_of(SPELLS)

    def removal(times: float) -> np.ndarray:
        hands = bench.model_copy(update={"hands": bench.hands.with_spread(times)})
        engine = PlanarEngine(TRUTH)
        start = engine.begin(hands, StartFigure.exact(state.radius, state.height), state)
        end = engine.run(hands, programme, start, seed=77).end
        return start.profile(state.radius) - end.profile(state.radius)

    # what both engines differ by with the bench's own hands is not the question
    stated = 0.5 * (removal(1.0) + removal(-1.0))
    after = work(bench, programme, state, accuracy=LEARNING).states[-1].height
    height = after + stated - removal(factor)
    mirror = bench.mirror
    error = height - conic_departure(state.radius, mirror.radius_of_curvature, mirror.conic)
    rng = np.random.default_rng(5)
    if sigma < 1e-8:  # a profile, for no sheet of whole hundredths of a millimetre is as good as that
        noisy = error + sigma * rng.standard_normal() * np.cos(np.pi * state.radius / mirror.radius)
        seen = of_profile(bench, Profile(state.radius, noisy, np.full(error.size, sigma)), state.radius)
    else:
        seen = of_readings(bench, Reader(sigma=sigma).read(bench, state.radius, error, rng), state.radius)
    link = Link(1, bench, programme, None, seen)
    first = StartFigure(state.radius, state.height, 1e-11 * np.eye(state.radius.size))
    shape = Discrepancy(shape=0.005) if sigma < 1e-8 else Discrepancy()
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr("wearsim.learn.jitter.effect_of", _same_effect)
        return jitter_of(Chain(first, (link,), LEARNING, shape), EXACT, np.zeros(4))


def _same_effect(link: Link, state: State, constants: Constants, at: float, seed: int) -> Effect:
    """Of the session that all here have, walked once."""
    drawn, begun_with = begun()
    assert link.bench == drawn.bench and link.programme == programme_of(SPELLS)
    assert (constants, at, seed) == (AS_STATED, 1.0, 0)
    np.testing.assert_array_equal(state.height, begun_with.height)
    for name, lap in state.laps.items():
        np.testing.assert_array_equal(lap.height, begun_with.laps[name].height)
    return effect()


@cache
def effect() -> Effect:
    drawn, state = begun()
    link = Link(1, drawn.bench, programme_of(SPELLS), None, None)  # type: ignore[arg-type]
    found = effect_of(link, state, AS_STATED)
    assert found is not None
    return found


def test_a_wide_spread_is_found() -> None:
    found = asked(4.0, 3e-10)
    low, high = found.interval()
    assert low < 4.0 < high
    assert found.told == "told" and found.share < TOLD
    assert high / low < FACTOR**3.3  # far narrower than the prior's 90 %
    assert found.asked == (1,) and not found.left_out


def test_ordinary_readings_leave_the_prior() -> None:
    found = asked(1.0, 2e-4)
    low, high = found.interval()
    assert low < 1.0 < high
    assert found.told == "prior" and found.share > PARTLY
    assert found.used == 1.0
    assert found.better is None or found.better >= 2.0


def test_both_engines_have_the_same_effect() -> None:
    drawn, state = begun()
    radius, fine = state.radius, on_grid(drawn.bench, drawn.start, DEFAULT)
    start = start_state(drawn.bench, fine.radius, fine.height, DEFAULT)

    def after(factor: float) -> np.ndarray:
        hands = drawn.bench.model_copy(update={"hands": drawn.bench.hands.with_spread(factor)})
        return work(hands, programme_of(SPELLS), start, accuracy=DEFAULT).states[-1].height

    aperture = gauge_for(drawn.bench, radius).aperture
    planar = aperture.level(effect().change(4.0, 1.0))
    radial = aperture.level(np.interp(radius, fine.radius, after(4.0) - after(1.0)))
    spread = np.sqrt(np.diagonal(effect().covariance(4.0, 1.0)))
    apart, size = aperture.rms(planar - radial), aperture.rms(planar)
    assert size > 1e-9  # or there is nothing to compare
    assert apart < 1.5 * aperture.rms(spread)
    assert apart < 0.25 * size


def test_effect_grows_with_the_spread_and_stands_still_at_the_same() -> None:
    found = effect()
    assert not found.change(2.0, 2.0).any()
    assert np.ptp(found.change(4.0, 1.0)) > 2.0 * np.ptp(found.change(2.0, 1.0))
    np.testing.assert_allclose(found.change(4.0, 1.0), found.change(4.0, 2.0) + found.change(2.0, 1.0), atol=1e-18)
    covariance = found.covariance(4.0, 1.0)
    assert np.linalg.eigvalsh(covariance).min() > -1e-12 * np.trace(covariance)
    assert np.trace(covariance) > np.trace(found.covariance(1.0, 1.0))


def test_hands_that_do_not_vary_cannot_be_asked() -> None:
    drawn, state = begun()
    bench = drawn.bench.model_copy(update={"hands": drawn.bench.hands.with_spread(0.0)})
    sheet = Reader().read(bench, state.radius, np.zeros(state.radius.size), np.random.default_rng(1))
    link = Link(1, bench, programme_of(SPELLS), None, of_readings(bench, sheet, state.radius))
    first = StartFigure(state.radius, state.height, 1e-9 * np.eye(state.radius.size))
    found = jitter_of(Chain(first, (link,), LEARNING), EXACT, np.zeros(4))
    assert found.asked == () and "without any spread" in found.left_out[1]
    assert found.told == "prior" and found.factor == 1.0
    low, high = found.interval()
    assert low * high == pytest.approx(1.0)


def test_prior_is_a_factor_of_two() -> None:
    factors, weights = grid()
    logs = np.log(factors)
    assert weights.sum() == pytest.approx(1.0)
    assert np.sqrt(weights @ (logs - weights @ logs) ** 2) == pytest.approx(np.log(FACTOR), rel=0.06)
    assert grid(largest=2.0)[0].max() == pytest.approx(2.0)


def test_strokes_are_counted_without_pressing() -> None:
    programme = programme_of(({"stroke": "press", "minutes": 5}, {"stroke": "one-third", "minutes": 10, "rate": 40}))
    assert strokes_of(programme) == pytest.approx(400.0)


@pytest.fixture
def folder(mirror_folder: Path, done: Path, after: Path) -> MirrorFolder:
    """With one session, read so roughly that it fits what is recorded."""
    after.write_text(after.read_text().replace("sigma = 0.05", "sigma = 0.2"))
    record(mirror_folder, done, note=NOTE, readings=after)
    return open_folder(mirror_folder)


def test_asking_moves_no_constant_where_it_does_not_tell(folder: MirrorFolder, monkeypatch: pytest.MonkeyPatch) -> None:
    plain, hands = _calibrated(folder), folder.bench.hands

    def again(other: MirrorFolder, **_: object) -> Calibration:
        assert other.bench.hands == hands  # or constants would be found anew
        return replace(plain)

    monkeypatch.setattr("wearsim.learn.calibrate.calibrate", again)
    found = calibrate_with_jitter(folder, draws=16)
    assert found.jitter is not None and found.jitter.told != "told" and found.jitter.used == 1.0
    assert np.array_equal(found.belief.mean, plain.belief.mean)
    assert np.array_equal(found.belief.covariance, plain.belief.covariance)
    assert plain.jitter is None
    assert plain.to_json(folder.bench)["jitter"] == {"used": 1.0, "asked": False}
    told = found.to_json(folder.bench)["jitter"]
    assert told["asked"] and told["told"] == found.jitter.told and told["sessions"] == [1]
    words = " ".join(calibration_text(folder.bench, found).split())
    assert "times what the bench states (90 %)" in words and "It stays as the bench states it." in words
    assert "--jitter asks the sessions" in calibration_text(folder.bench, plain).replace("\n", " ")


@pytest.mark.parametrize(
    ("share", "better", "said"),
    [
        (0.2, None, "told by the sessions. From now on it is taken as length 0.18, centre 6 mm (3 times the bench's)."),
        (0.7, None, "partly told. It stays as the bench states it."),
        (0.9, 10.0, "believed before. It stays as the bench states it. Readings 10 times as good would begin to tell"),
        (0.9, None, "Not even readings a hundred times as good would tell"),
    ],
)
def test_what_is_said_of_it(folder: MirrorFolder, share: float, better: float | None, said: str) -> None:
    factors, weights = np.array([2.0, 3.0, 4.5]), np.array([0.1, 0.8, 0.1])
    jitter = Jitter(factors, weights, share, 3.0, better, (1,), {2: "its record does not fit"})
    found = replace(_calibrated(folder), jitter=jitter)
    words = " ".join(calibration_text(folder.bench, found).split())
    assert said in words and "Not asked: session 2, its record does not fit." in words


def known(folder: MirrorFolder, jitter: float) -> Known:
    mean = np.array([0.1, 0.0, 0.0, 0.0])
    points = mean + 0.1 * np.sqrt(4.0) * np.vstack([np.eye(4), -np.eye(4)])  # of this mean and covariance
    return Known(Belief(mean, 0.01 * np.eye(4), points), 0.1, (), jitter)


def test_what_was_told_is_remembered_and_used(folder: MirrorFolder) -> None:
    assert remembered_jitter(folder) == 1.0
    keep(folder, 1, known(folder, 3.0), 0, 16, asked=True)
    assert remembered_jitter(folder) == 3.0
    back = known_after(folder, draws=16)
    assert back.jitter == 3.0 and back.belief.mean[0] == 0.1
    hands = standing_of(folder, draws=16).bench.hands
    assert hands.length_jitter == pytest.approx(3.0 * folder.bench.hands.length_jitter)
    assert hands.centre_jitter == pytest.approx(3.0 * folder.bench.hands.centre_jitter)
    (said,) = [d for d in standing_of(folder, draws=16).bench.defaults_used if d.key == "hands.length_jitter"]
    assert "3 times what the bench states" in said.source
    # constants found anew with other draws keep it
    keep(folder, 1, known(folder, 3.0), 5, 32)
    assert remembered_jitter(folder) == 3.0
    # asked again, and not told
    keep(folder, 1, known(folder, 1.0), 0, 16, asked=True)
    assert remembered_jitter(folder) == 1.0


def test_it_goes_on_into_the_next_session_and_ends_with_a_changed_file(
    folder: MirrorFolder, done: Path, after: Path
) -> None:
    keep(folder, 1, known(folder, 3.0), 0, 16, asked=True)
    record(folder.path, done, note=NOTE, readings=after)
    assert remembered_jitter(open_folder(folder.path)) == 3.0
    sheet = folder.sessions[0].measured
    sheet.write_text(sheet.read_text() + "# looked at again\n")
    assert remembered_jitter(open_folder(folder.path)) == 1.0


def test_a_file_of_before_still_counts(folder: MirrorFolder) -> None:
    keep(folder, 1, known(folder, 1.0), 0, 16)
    assert "hands" not in (folder.path / FILE).read_text().split("[1]")[1]
    back = known_after(folder, draws=16)
    assert back.jitter == 1.0 and back.belief.mean[0] == 0.1


@pytest.mark.parametrize("value", ['"much"', "nan", "-3.0", "true", "0.0", "40.0", "[1.0]"])
def test_a_damaged_factor_is_one_line(folder: MirrorFolder, value: str) -> None:
    keep(folder, 1, known(folder, 3.0), 0, 16, asked=True)
    file = folder.path / FILE
    file.write_text(file.read_text().replace("factor = 3.0", f"factor = {value}"))
    with pytest.raises(InputError, match=r"wearsim calibrate .* --jitter") as raised:
        standing_of(folder, draws=16)
    assert "calibration.toml" in str(raised.value) and "1.hands.factor" in str(raised.value)
    assert "\n" not in str(raised.value)


def test_a_told_spread_is_taken_over_and_asked_again(folder: MirrorFolder, monkeypatch: pytest.MonkeyPatch) -> None:
    factors = np.array([2.9, 3.0, 3.1])
    at: list[float] = []

    def told(*_: object, at_now: float) -> Jitter:
        at.append(at_now)
        return Jitter(factors, np.array([0.2, 0.6, 0.2]), 0.1, at_now, None, (1,), {})

    def played(chain: Chain, *rest: object, at: float, **_: object) -> Jitter:
        assert chain.links[0].bench.hands.length_jitter == pytest.approx(at * folder.bench.hands.length_jitter)
        return told(chain, *rest, at_now=at)

    monkeypatch.setattr("wearsim.learn.calibrate.jitter_of", played)
    monkeypatch.setattr("wearsim.learn.calibrate.calibrate", _quick)
    found = calibrate_with_jitter(folder, draws=16)
    assert found.jitter is not None
    assert at == [1.0, pytest.approx(3.0, rel=0.01)]
    assert found.jitter.used == pytest.approx(3.0, rel=0.01)
    assert Known.of(found).jitter == found.jitter.used


def _quick(folder: MirrorFolder, **_: object) -> Calibration:
    return replace(_calibrated(folder))


def _calibrated(folder: MirrorFolder) -> Calibration:
    """Of folders that hold the same, once."""
    held = tuple(file.read_text() for file in sorted(folder.path.rglob("*.*")))
    if held not in CALIBRATED:
        CALIBRATED[held] = calibrate(open_folder(folder.path), draws=16)
    return CALIBRATED[held]
