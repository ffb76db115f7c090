"""The independent glass of the benchmarks: it agrees with the radial engine where it should, and differs where it should."""

from __future__ import annotations

import ast
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from tests.benchmarks import independent_contact, independent_glass
from tests.benchmarks.independent_glass import NONE, PRESETS, REAL, Glass, GlassConstants, GlassOptions, Grid
from tests.helpers.small_bench import figure, small_bench
from wearsim.bench.bench import Bench
from wearsim.bench.programme import Programme
from wearsim.bench.toml_io import programme_from_table
from wearsim.knifeedge.longitudinal import Zones, zone_readings
from wearsim.wear.accuracy import DEFAULT
from wearsim.wear.constants import NAMES, Belief, Constants, vector_of
from wearsim.wear.predict import predict

SPELLS: tuple[dict[str, Any], ...] = (
    {"stroke": "one-third", "on_top": "tool", "minutes": 8},
    {"stroke": "w", "length": 0.6, "side_sweep": 0.2, "on_top": "mirror", "minutes": 8},
    {"stroke": "overhang", "length": 0.4, "side_overhang": 0.2, "on_top": "tool", "minutes": 8},
)
CONSTANTS = GlassConstants(preston=1.5, stiffness=0.8, relaxation_time=1.3, edge_gain=1.4)
RADIUS = np.linspace(0.0, 0.1, 41)
ERROR = 150e-9 * np.exp(-(((RADIUS / 0.1 - 0.7) / 0.15) ** 2))

# Its own code is compiled afresh in every process, which takes most of this module's two minutes.
pytestmark = pytest.mark.slow


def programme(*spells: dict[str, Any]) -> Programme:
    return programme_from_table({"spell": list(spells)})


def removal(glass: Glass, *spells: dict[str, Any], at: np.ndarray = RADIUS) -> np.ndarray:
    before = glass.profile(at)
    glass.work(programme(*spells))
    return before - glass.profile(at)


def without_jitter(**wear: float) -> Bench:
    bench = small_bench()
    hands = bench.hands.model_copy(update={"length_jitter": 0.0, "centre_jitter": 0.0, "friction": 0.0})
    return bench.model_copy(update={"hands": hands, "wear": bench.wear.model_copy(update=wear)})


def test_it_imports_no_engine() -> None:
    for module in (independent_contact, independent_glass):
        tree = ast.parse(Path(module.__file__).read_text())
        froms = {node.module for node in ast.walk(tree) if isinstance(node, ast.ImportFrom)}
        assert not {name for name in froms if name and name.startswith(("wearsim.kernels", "wearsim.wear"))}
        assert not [node for node in ast.walk(tree) if isinstance(node, ast.Import) and "wearsim" in ast.unparse(node)]


@pytest.mark.parametrize("spell", SPELLS, ids=lambda spell: spell["stroke"])
def test_with_no_option_it_agrees_with_the_radial_engine(spell: dict[str, Any]) -> None:
    bench, glass = small_bench(), Glass(small_bench(), RADIUS, ERROR, constants=CONSTANTS)
    own = Constants(CONSTANTS.preston, CONSTANTS.stiffness, CONSTANTS.relaxation_time, CONSTANTS.edge_gain)
    belief, start = Belief(vector_of(own), np.zeros((len(NAMES), len(NAMES)))), figure(bench, ERROR, DEFAULT)
    said = predict(bench, programme(spell), belief=belief, start=start, draws=0)
    found = removal(glass, spell, at=said.radius)
    assert np.ptp(said.removal) > 40e-9
    assert np.abs(found - said.removal).max() < 0.018 * np.ptp(said.removal)


def test_it_agrees_with_itself_on_a_finer_grid() -> None:
    coarse, fine = (
        removal(Glass(small_bench(), RADIUS, ERROR, grid=grid), SPELLS[1]) for grid in (Grid(), Grid().refined(1.5))
    )
    assert np.abs(coarse - fine).max() < 0.005 * np.ptp(fine)


def test_short_strokes_on_a_lap_that_fits_wear_by_preston_law() -> None:
    bench = without_jitter(edge_gain=0.0)
    curve = bench.mirror.geometry.departure(RADIUS)
    spell = {"stroke": "straight", "length": 0.01, "minutes": 5}
    found = removal(Glass(bench, RADIUS, -curve), spell, at=np.linspace(0.0, 0.08, 9))
    path = 2.0 * 0.002 * 50.0 * 5.0
    pressure = bench.load_on("tool", bench.lap()) / (np.pi * 0.1**2)
    assert found == pytest.approx(bench.preston * pressure * path, rel=0.01)


def test_a_misfit_that_touches_everywhere_fades_with_the_relaxation_time() -> None:
    bench, glass = small_bench(), Glass(small_bench(), RADIUS, ERROR, replace(NONE, start_misfit=1e-9), seed=2)
    (own, _), lap = glass.laps[None], bench.lap()

    def misfit() -> np.ndarray:
        shape = glass.laps[None][1] + np.interp(own.middle, glass.rings.middle, glass.height)
        return shape - shape @ own.area / own.area.sum()

    before = misfit()
    glass.press(4.0)
    kept = np.exp(-240.0 / bench.relaxation_time_at(lap))
    assert misfit() == pytest.approx(kept * before, abs=0.03e-9)


def test_the_abrasive_breaks_down_within_a_wet_and_wears_as_much_on_the_mean() -> None:
    glass = Glass(small_bench(), RADIUS, ERROR, PRESETS["abrasion"])
    rate = glass._abrasive(np.arange(0.5, 600.0))
    assert rate.mean() == pytest.approx(1.0, rel=1e-3)
    assert rate[0] > 1.4 > 0.8 > rate[299] and rate[300] == pytest.approx(rate[0])


def every_option() -> list[str]:
    return [key for key, value in vars(REAL).items() if value != getattr(NONE, key)]


@pytest.mark.parametrize("key", every_option())
def test_every_option_changes_the_glass(key: str) -> None:
    changed = {key: getattr(REAL, key)}
    if key.startswith("breakdown"):
        changed = {"breakdown_time": 150.0, "breakdown_floor": 0.4} | changed
    options = replace(NONE, **({**changed, "start_misfit": 1e-7} if key == "pressed_minutes" else changed))
    plain = replace(NONE, start_misfit=1e-7) if key == "pressed_minutes" else NONE

    def worked(options: GlassOptions) -> np.ndarray:
        glass = Glass(small_bench(), RADIUS, ERROR, options, seed=5)
        removal(glass, {"stroke": "straight", "length": 0.4, "minutes": 1})
        return removal(glass, {"stroke": "straight", "length": 0.4, "minutes": 1})

    assert np.abs(worked(options) - worked(plain)).max() > 1e-12


def test_the_seed_settles_everything() -> None:
    first, again, other = (removal(Glass(small_bench(), RADIUS, ERROR, REAL, seed=n), SPELLS[0]) for n in (3, 3, 4))
    assert np.array_equal(first, again)
    assert np.abs(first - other).max() > 1e-9


def test_a_person_keeps_his_hands_over_the_sessions() -> None:
    options = replace(NONE, length_factor=1.1)
    bench = without_jitter()
    plain, long = (Glass(bench, RADIUS, ERROR, one) for one in (NONE, options))
    for _ in range(2):
        few, more = (removal(glass, {"stroke": "straight", "length": 0.2, "minutes": 3}) for glass in (plain, long))
        assert more.mean() == pytest.approx(1.1 * few.mean(), rel=0.02)


def test_strokes_that_would_tip_the_top_piece_off_are_drawn_again() -> None:
    bench = small_bench()
    bench = bench.model_copy(update={"hands": bench.hands.model_copy(update={"centre_jitter": 0.02})})
    found = removal(Glass(bench, RADIUS, ERROR), {"stroke": "straight", "length": 0.9, "minutes": 2})
    assert np.isfinite(found).all() and found.max() > 1e-9


def test_what_is_measured_is_the_true_figure_and_its_noise() -> None:
    glass = Glass(small_bench(), RADIUS, ERROR)
    exact, many = glass.measured_profile(0.0), glass.measured_profile(5e-9, points=2000, seed=1, independent=1.0)
    assert exact.radius.size == 22 and exact.error == pytest.approx(glass.profile(exact.radius), abs=1e-15)
    assert glass.profile(RADIUS) == pytest.approx(ERROR, abs=1.5e-9)
    assert np.std(many.error - glass.profile(many.radius)) == pytest.approx(5e-9, rel=0.06)
    zones = Zones.from_windows(np.array([[0.02, 0.04], [0.05, 0.07], [0.08, 0.095]]))
    sheet = glass.readings(zones, 1e-9)
    fine = np.linspace(0.0, 0.1, 101)
    true = zone_readings(zones, fine, glass.profile(fine), glass.bench.mirror.geometry)
    about = sheet.positions - sheet.positions[:, :1]
    assert about == pytest.approx(np.tile(true - true[0], (3, 1)), abs=1.1e-5)
