"""The practice mirror: the same every time, in a folder that says what it is, and the loop on it."""

from __future__ import annotations

import tomllib
from dataclasses import replace
from datetime import date
from pathlib import Path

import numpy as np
import pytest

from tests.benchmarks import closed_loop, learn_coverage
from tests.helpers.simulated import programme_of
from wearsim.bench.units import INCHES
from wearsim.errors import InputError
from wearsim.knifeedge.readings import load_readings, parse_readings
from wearsim.learn.mirror_folder import SessionNote, open_folder
from wearsim.learn.practice.mirror import (
    FAULTS,
    PRACTICE_ACCURACY,
    KnifeEdgeTester,
    TrueValues,
    draw_mirror,
    draw_true_values,
    sheet_text,
)
from wearsim.learn.practice.practice_file import Practice, practice_text, read_practice
from wearsim.learn.practice.rehearse import TARGET, rehearse, replay, start_practice, true_rms, work_and_record
from wearsim.wear.constants import NAMES, Constants, prior, vector_of
from wearsim.wear.discrepancy import Discrepancy

QUICK = replace(PRACTICE_ACCURACY, cells=32)
ONE = programme_of(({"stroke": "one-third", "minutes": 1, "on_top": "tool"},))


def quick(seed: int = 5) -> Practice:
    return Practice(
        seed,
        "raised ring",
        0.25,
        5.0,
        TrueValues(Constants(1.4, 0.8, 1.2, 1.0, 1.05, -0.002), 0.1, seed),
        accuracy=QUICK,
    )


@pytest.mark.parametrize("fault", FAULTS)
def test_mirrors_are_drawn_within_their_limits(fault: str) -> None:
    drawn = [draw_mirror(seed, fault) for seed in range(6)]  # type: ignore[arg-type]
    for one in drawn:
        mirror = one.bench.mirror
        assert 0.2 <= mirror.diameter <= 0.5
        assert 4.5 <= 0.5 * mirror.radius_of_curvature / mirror.diameter <= 7.01
        assert np.all(np.isfinite(one.start.height))
        # about a kilopascal, as people press
        force = one.bench.load_on("tool", one.bench.laps[0])
        assert 500.0 < force / (np.pi * mirror.radius**2) < 3000.0
    assert len({one.bench.mirror.diameter for one in drawn}) == len(drawn)


def test_constants_are_drawn_from_the_prior() -> None:
    bench = draw_mirror(1).bench
    sigma = np.sqrt(np.diagonal(prior(bench).covariance))
    drawn = np.array([vector_of(draw_true_values(bench, seed).constants) for seed in range(400)]) / sigma
    assert drawn.mean(axis=0) == pytest.approx(np.zeros(len(NAMES)), abs=4.0 / 20.0)
    assert np.cov(drawn.T) == pytest.approx(prior(bench).covariance / np.outer(sigma, sigma), abs=0.25)


def test_sessions_of_a_practice_mirror_vary_as_is_said() -> None:
    """Its own spread from session to session, the usual one from spell to spell; the same whenever it is asked."""
    truth = TrueValues(Constants(), 0.3, seed=8)
    sizes = np.log([truth.chance(session, 2).sizes for session in range(400)])
    own = Discrepancy().spell_spread ** 2
    assert np.cov(sizes.T) == pytest.approx(0.3**2 + own * np.eye(2), abs=0.25 * (0.3**2 + own))
    assert np.array_equal(truth.chance(7, 2).shape, truth.chance(7, 2).shape)
    assert not np.array_equal(truth.chance(7, 2).shape, truth.chance(8, 2).shape)


def test_a_sheet_survives_its_text(rng: np.random.Generator) -> None:
    mirror = quick().mirror()
    sheet = mirror.read(KnifeEdgeTester())
    again = parse_readings(sheet_text(sheet))
    assert again.positions == pytest.approx(sheet.positions, abs=1e-9)
    assert again.zones.inner == pytest.approx(sheet.zones.inner, abs=1e-6)
    assert again.sigma == sheet.sigma
    inches = parse_readings(sheet_text(sheet, INCHES))
    assert inches.length_unit == "in"
    assert inches.positions == pytest.approx(sheet.positions, abs=1.3e-6)
    assert inches.zones.inner == pytest.approx(sheet.zones.inner, abs=1.3e-6)
    assert inches.sigma == pytest.approx(sheet.sigma, rel=1e-5)


def test_readings_have_the_noise_they_are_said_to_have() -> None:
    practice = quick()
    drawn = practice.drawn()
    radius, error = np.linspace(0.0, drawn.bench.mirror.radius, 50), np.zeros(50)
    reader = KnifeEdgeTester(windows=8, repeats=2000, sigma=1e-4)
    sheet = reader.read(drawn.bench, radius, error, np.random.default_rng(3))
    spread = 1e-4 * 0.35 * drawn.bench.mirror.radius / sheet.zones.middle  # as 1/r from 0.35 of the radius
    about = sheet.positions - sheet.positions.mean(axis=1, keepdims=True)
    centring = np.eye(8) - 1.0 / 8.0
    expected = np.sqrt(np.diagonal(centring @ np.diag(spread**2) @ centring))
    assert about.std(axis=0) == pytest.approx(expected, rel=0.08)


def test_the_same_seed_and_programmes_the_same_mirror(tmp_path: Path) -> None:
    folders = [start_practice(tmp_path / name, quick()) for name in ("one", "two")]
    sheets = []
    for folder in folders:
        _, mirror = replay(folder)
        for _ in range(2):
            folder = work_and_record(folder, mirror, KnifeEdgeTester(), ONE, SessionNote(date=date(2026, 1, 1)))
        sheets.append([load_readings(session.measured).positions for session in folder.sessions])
        _, again = replay(folder)
        assert again.error == pytest.approx(mirror.error, abs=1e-15)
    assert np.array_equal(sheets[0], sheets[1])
    assert not np.array_equal(sheets[0][0], sheets[0][1])


def test_a_practice_folder_says_so_and_a_real_one_is_refused(tmp_path: Path, mirror_folder: Path) -> None:
    folder = start_practice(tmp_path / "practice", quick())
    assert folder.is_practice
    assert "simulated" in (folder.path / "practice.toml").read_text()
    assert read_practice(folder) == quick()
    assert practice_text(read_practice(folder)) == (folder.path / "practice.toml").read_text()
    with pytest.raises(InputError, match="not a practice mirror"):
        replay(open_folder(mirror_folder))
    (folder.path / "practice.toml").write_text("[mirror]\nseed = 1\n")
    with pytest.raises(InputError, match=r"practice.toml: mirror"):
        read_practice(open_folder(folder.path))


@pytest.mark.slow
def test_constants_of_a_planar_mirror_are_found(tmp_path: Path) -> None:
    """A seeded folder of tests/benchmarks/learn_coverage.py (its table: docs/learning.md), in the cells of rehearse."""
    row = learn_coverage.one_case(4, 4, 64, PRACTICE_ACCURACY)
    away = (np.array(row["truth"]) - row["mean"]) / row["sigma"]
    assert np.abs(away).max() < 3.0
    inside = (np.array(row["truth"]) >= row["low"]) & (np.array(row["truth"]) <= row["high"])
    assert inside.sum() >= 4
    assert row["misfits"] == ()
    first, fourth = row["misses_m"]
    assert fourth < 0.5 * first


# A raised ring and a turned edge; the longer loops are left to the benchmark.
@pytest.mark.slow
@pytest.mark.parametrize(("seed", "least"), [(0, TARGET), (3, TARGET)])
def test_the_loop_closes(seed: int, least: float) -> None:
    """Seeded mirrors of tests/benchmarks/closed_loop.py, whose table is in docs/learning.md."""
    row = closed_loop.one_loop(seed)
    assert 1 <= len(row["true_m"]) <= 6
    assert row["true_m"][-1] <= least and row["first_m"] > TARGET
    assert closed_loop.worsened(row) <= 0.0


def test_nothing_is_worked_where_nothing_is_to_be_gained(tmp_path: Path) -> None:
    folder = start_practice(tmp_path / "practice", quick())
    _, mirror = replay(folder)
    said: list[str] = []
    assert list(rehearse(folder.path, target=1.0, progress=said.append)) == []
    assert "good enough" in said[-1]
    assert open_folder(folder.path).sessions == ()
    assert true_rms(mirror) > TARGET


@pytest.mark.parametrize(
    ("diameter", "written", "rest"),
    [(0.254, "10 in", (" in", " lb", " lbf")), (0.2034, "203.4 mm", (" mm", " kg", " N"))],
)
def test_a_practice_bench_is_in_the_unit_that_its_diameter_is_round_in(
    diameter: float, written: str, rest: tuple[str, ...]
) -> None:
    practice = Practice(3, "sphere", diameter, 5.0)
    table = tomllib.loads(practice.drawn().text)
    assert table["mirror"]["diameter"] == table["lap"][0]["diameter"] == written
    lengths = [table["mirror"][key] for key in ("thickness", "rim_excluded", "radius_of_curvature")]
    told = [*lengths, table["lap"][1]["diameter"], table["lap"][0]["mass"], table["hands"]["push"]]
    assert [text.lstrip(".0123456789") for text in told] == [*4 * rest[:1], *rest[1:]]
    again = draw_mirror(3, "sphere", practice.drawn().bench.mirror.diameter, 5.0)  # as practice.toml keeps it
    assert again.text == practice.drawn().text
