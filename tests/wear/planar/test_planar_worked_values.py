"""The planar engine against the worked spells of tests/worked-values.toml, written only as a check."""

import tomllib
from pathlib import Path

import numpy as np
import pytest

from wearsim.figure.conic import Conic
from wearsim.wear.planar.grid import pressed_lap, ring_mean, round_map

WORKED = tomllib.loads((Path(__file__).parents[2] / "worked-values.toml").read_text())


@pytest.mark.parametrize("case", WORKED["flat"], ids=lambda case: f"{case['stroke']}-{case['on_top']}")
def test_flat_lap(rig, motion, case):
    """Ring-averaged pressure over the path; 0.4% of the largest (0.30% is met at 16 poses a stroke, 0.09% at 32)."""
    made = rig(
        128, lap_radius=case["lap_diameter"] / 2, mirror_radius=case["mirror_diameter"] / 2, relaxation=1e30,
        preston=1e-30,
    )  # fmt: skip
    frequency, strokes = case["rate"] / 60.0, 64
    path = motion(
        case["stroke"], case["length"], case["side_sweep"], case["side_overhang"], case["on_top"], frequency,
        walk=0.0, hand_turn=0.0,
    )  # fmt: skip
    made.work(path, strokes / frequency, load=case["load"])
    wanted = np.array(case["wear_per_path"])
    worn = made.rings(-made.w, np.array(case["radius"]))
    found = worn / (made.pieces.preston * strokes / frequency * case["mean_speed"])
    assert np.abs(found - wanted).max() < 0.004 * wanted.max()


@pytest.mark.parametrize("case", WORKED["coupled"], ids=lambda case: f"{case['start']}-{case['on_top']}")
def test_wear_and_creep_together(rig, motion, case):
    """Removal to 0.3% of the largest; the lap's change to 0.6% of its range (RMS; 2% at worst), against r = 30 mm.

    The lap's height at its very centre is left out: the worked values put it 20 to 290 nm off the smooth run of
    their own neighbours, which the planar engine and the radial one both follow.
    """
    made = rig(
        128, stiffness=case["stiffness"], relaxation=case["relaxation_time"], preston=case["preston"],
        edge_gain=case["edge_gain"], edge_length=case["edge_length"],
    )  # fmt: skip
    fine = np.linspace(0.0, 0.16, 400)
    ring = 250e-9 * np.exp(-(((fine / 0.15 - 0.82) / 0.10) ** 2))
    start = ring + Conic(case["radius_of_curvature"], case["conic"]).departure(fine)
    made.w[:] = before = round_map(fine, start, made.glass)
    if case["start"] == "pressed":
        made.u[:] = pressed_lap(made.w, made.glass, made.pitch)
    lap_before = made.u.copy()
    path = motion(
        case["stroke"], case["length"], case["side_sweep"], 0.0, case["on_top"], case["rate"] / 60.0,
        lead=case["lead"],
    )  # fmt: skip
    made.work(path, case["minutes"] * 60.0, load=case["load"])
    radius, wanted = np.array(case["radius"]), np.array(case["removal"])
    assert np.abs(made.rings(before - made.w, radius) - wanted).max() < 0.003 * wanted.max()
    change = ring_mean(made.u - lap_before, made.pitch.across, radius)
    lap = np.array(case["lap_height_change"])
    off = (change - change[1]) - (lap - lap[1])
    assert np.abs(off[1:]).max() < 0.02 * np.ptp(lap)
    assert np.sqrt(np.mean(off[1:] ** 2)) < 0.006 * np.ptp(lap)
