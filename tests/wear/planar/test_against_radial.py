"""The two engines against each other: the removal within 1% of its range (RMS over rings), with enough turns."""

import numpy as np
import pytest

from wearsim.bench.bench import Bench
from wearsim.bench.programme import Programme
from wearsim.bench.toml_io import load_bench, load_programme
from wearsim.figure.zernike import zernike_sum
from wearsim.wear.accuracy import Accuracy, PlanarAccuracy
from wearsim.wear.constants import AS_STATED, NAMES, Belief, Constants, vector_of
from wearsim.wear.initial_figure import StartFigure, start_figure
from wearsim.wear.planar.engine import PlanarEngine, pieces_for
from wearsim.wear.planar.figure import MapGauge
from wearsim.wear.planar.grid import ring_mean
from wearsim.wear.predict import predict

BENCH = """
[mirror]
diameter = "300 mm"
radius_of_curvature = "3.0 m"
glass = "borosilicate"
thickness = "38 mm"
hole = "{hole} mm"
[lap]
diameter = "{lap} mm"
mass = "4 kg"
facet_shape = "{facets}"
stiffness_exponent = {stiffening}
start = "{start}"
[hands]
friction = {friction}
length_jitter = {jitter}
centre_jitter = "{centre} mm"
push_offset = ["{push} mm", "{aside} mm"]
walk = "{walk} s"
hand_turn = "110 s"
top_turns = {top}
stand_turns = {stand}
[wear]
edge_gain = {gain}
pressure_exponent = {m}
speed_exponent = {n}
[figure]
conic = {conic}
"""
SPELL = """
[[spell]]
on_top = "{on_top}"
stroke = "{stroke}"
{keys}
minutes = {minutes}
"""
USUAL = {
    "hole": 0,
    "lap": 300,
    "start": "pressed",
    "friction": 0.0,
    "jitter": 0.0,
    "centre": 0.0,
    "push": 0,
    "aside": 0,
    "walk": 80,
    "gain": 0.0,
    "conic": 0.0,
    "facets": "none",
    "stiffening": 0.0,
    "top": 0.0,
    "stand": 0.0,
    "m": 1.0,
    "n": 1.0,
}
# Whole circuits round the barrel, four of the usual ones: then the mean over rings has seen every heading alike.
CIRCUITS = 4
CELLS = PlanarAccuracy().cells  # fmt: skip
W = "length = {}\nside_sweep = {}"

CASES = {
    "w, tool on top, lead, edge": ({"friction": 0.15, "gain": 0.3}, "tool", "w", W.format(0.5, 0.2)),
    "w, mirror on top, lead, edge": ({"friction": 0.15, "gain": 0.3}, "mirror", "w", W.format(0.6, 0.2)),
    "straight, tool on top": ({}, "tool", "straight", "length = 0.4"),
    "overhang, small lap, edge": ({"lap": 200, "gain": 0.3}, "tool", "overhang", "length = 0.3\nside_overhang = 0.25"),
    "w, small lap below": ({"lap": 200, "friction": 0.15}, "mirror", "w", W.format(0.3, 0.15)),
    # a worker who walks fast adds to an oval's speed; the radial engine leaves walking out
    "oval, large lap, edge": ({"lap": 340, "gain": 0.3, "walk": 320}, "tool", "oval", W.format(0.4, 0.2)),
    "one-third, large lap, spherical": ({"lap": 340, "start": "spherical", "conic": 0.5}, "mirror", "one-third", ""),
    "w, hole, lead, edge": ({"hole": 60, "friction": 0.15, "gain": 0.3}, "tool", "w", W.format(0.35, 0.1)),
    "w, jitter": ({"friction": 0.15, "gain": 0.3, "jitter": 0.06, "centre": 2.0}, "tool", "w", W.format(0.5, 0.2)),
    # turns a minute at which circuits and strokes do not keep step
    "straight, stand turns, mirror held": ({"stand": 16.2, "gain": 0.3}, "mirror", "straight", "length = 0.52"),
    "straight, both turn alike": ({"stand": 16.2, "top": 16.2}, "mirror", "straight", "length = 0.52"),
    "w, spindle on top, lead": ({"top": 23.4, "friction": 0.15, "walk": 320}, "tool", "w", W.format(0.4, 0.15)),
    "w, against each other, small lap": ({"top": 9.3, "stand": -7.1, "lap": 200}, "tool", "w", W.format(0.3, 0.2)),
    "w, stiffness with pressure": ({"stiffening": 0.5, "conic": 0.5}, "tool", "w", W.format(0.4, 0.15)),
    "overhang, power of pressure": ({"m": 1.25}, "tool", "overhang", "length = 0.3\nside_overhang = 0.15"),
    "straight, power of speed": ({"n": 0.75}, "tool", "straight", "length = 0.4"),
    "w, powers of pressure and speed": ({"m": 1.25, "n": 0.75, "gain": 0.3}, "mirror", "w", W.format(0.5, 0.2)),
    "straight, everything": (
        {"m": 1.25, "n": 0.75, "stiffening": 0.5, "stand": 16.2, "lap": 291, "friction": 0.15},
        "mirror",
        "straight",
        "length = 0.52",
    ),
    "w, push off centre": ({"push": 8}, "tool", "w", W.format(0.4, 0.15)),
    "overhang, push off centre, lead": (
        {"push": 5, "aside": 15, "friction": 0.15},
        "tool",
        "overhang",
        "length = 0.3\nside_overhang = 0.2",
    ),
    "overhang, mirror on top, push off centre": (
        {"push": 0, "aside": -10},
        "mirror",
        "overhang",
        "length = 0.4\nside_overhang = 0.15",
    ),
    "overhang, small lap, push off centre, lead": (
        {"lap": 200, "push": 5, "aside": 10, "friction": 0.15},
        "tool",
        "overhang",
        "length = 0.3\nside_overhang = 0.25",
    ),
    "w, hands that go too far and to one side": ({"friction": 0.15, "gain": 0.3}, "tool", "w", W.format(0.45, 0.15)),
}
HANDS = {"w, hands that go too far and to one side": Constants(stroke_length=1.12, overhang_bias=0.008)}


@pytest.fixture
def written(tmp_path):
    def write(changes, on_top, stroke, keys) -> tuple[Bench, Programme]:
        (tmp_path / "bench.toml").write_text(BENCH.format(**{**USUAL, **changes}))
        minutes = CIRCUITS * USUAL["walk"] / 60
        (tmp_path / "programme.toml").write_text(SPELL.format(on_top=on_top, stroke=stroke, keys=keys, minutes=minutes))
        return load_bench(tmp_path / "bench.toml"), load_programme(tmp_path / "programme.toml")

    return write


@pytest.mark.parametrize("case", CASES, ids=str)
def test_removal_and_lap_agree(written, case):
    bench, programme = written(*CASES[case])
    fine = Accuracy().refined(1.5)
    hands = HANDS.get(case, AS_STATED)
    belief = Belief(vector_of(hands), np.zeros((len(NAMES), len(NAMES))))
    radial = predict(bench, programme, draws=0, accuracy=fine, belief=belief)
    engine = PlanarEngine(PlanarAccuracy(cells=CELLS), fine)
    planar = engine.run(bench, programme, engine.begin(bench, start_figure(bench, fine)), hands)
    # rings evenly apart up to the rim itself; the radial engine's own crowd into its last millimetres
    even = np.linspace(radial.radius[0], radial.radius[-1], 50)
    off = np.interp(even, radial.radius, planar.removal - radial.removal)
    assert np.sqrt(np.mean(off**2)) < 0.01 * np.ptp(radial.removal)
    rho, pitch = radial.pitch_radius["lap"], radial.pitch_height["lap"]
    change = ring_mean(planar.maps["pitch"], planar.maps["pitch_x"], rho) - pitch
    assert np.std(change) < 0.02 * np.ptp(pitch)
    assert planar.reports[0].lift_off_share == pytest.approx(radial.lift_off_share, abs=0.03)


def test_no_spells_change_nothing(written):
    bench, _ = written({}, "tool", "straight", "length = 0.3")
    start = StartFigure.exact(np.linspace(0.0, 0.15, 20), np.linspace(0.0, 0.15, 20) ** 4 * 1e-3)
    engine = PlanarEngine(PlanarAccuracy(cells=32))
    seen = engine.run(bench, Programme(), engine.begin(bench, start))
    assert not seen.maps["removal"].any() and not seen.removal.any()
    assert seen.details["map_rms_after_m"] == seen.details["map_rms_before_m"] > 0.0
    assert seen.peak_pressure == 0.0


def test_a_map_and_terms_start_a_session(written):
    """Terms over the clear aperture come back as they went in, and a measured map of them is the same glass."""
    bench, _ = written({}, "tool", "straight", "length = 0.3")
    terms = np.zeros(15)
    terms[5], terms[3], terms[7] = 40e-9, -25e-9, 15e-9

    gauge = MapGauge(bench.mirror.geometry, pieces_for(bench, bench.laps[0], AS_STATED, 64).glass)
    seen = gauge.figure(gauge.height_of_terms(terms))
    found = seen.zernike
    assert found[:15][[3, 5, 7]] == pytest.approx(terms[[3, 5, 7]], abs=2e-10)
    assert seen.astigmatism.amplitude == pytest.approx(np.hypot(40e-9, 25e-9), rel=0.01)
    across = (np.arange(90) - 44.5) / 90 * 0.3
    radius = np.hypot(across[None, :], across[:, None]) / bench.mirror.clear_radius
    error = zernike_sum(terms, np.minimum(radius, 1.05), np.arctan2(across[:, None], across[None, :]))
    again = gauge.height_of_map(np.where(radius < 1.02, error, np.nan))
    # bilinear reading rounds a surface off a little: 1% here
    assert gauge.figure(again).zernike == pytest.approx(found, abs=5e-10)
