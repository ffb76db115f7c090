"""The knife-edge room with a bench's mirror, and its profile on the way back into a bench."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from wearsim.bench.mirror import Mirror
from wearsim.bench.profile import read_profile
from wearsim.knifeedge.on_bench import expect_on, mask_for, reduce_on, waiting_for, write_reduction
from wearsim.knifeedge.on_bench import tester_for as stand_for
from wearsim.knifeedge.readings import parse_readings

SHEET = """
source = "fixed"
length_unit = "in"
windows = [[0.7, 1.8], [2.4, 3.1], [3.6, 4.2], [4.6, 5.1], [5.4, 5.8]]
readings = [[0.00, 0.05, 0.11, 0.18, 0.25], [0.01, 0.05, 0.12, 0.18, 0.26]]
"""


def mirror() -> Mirror:
    return Mirror(diameter=0.3, radius_of_curvature=3.0)


def test_profile_goes_back_into_a_bench(tmp_path: Path) -> None:
    got = reduce_on(parse_readings(SHEET), mirror(), 550e-9)
    write_reduction(got, tmp_path / "p.csv", "from readings")
    back = read_profile(tmp_path / "p.csv", mirror())
    assert back.error == pytest.approx(got.figure_error, abs=1e-18)
    assert back.sigma == pytest.approx(got.sigma, abs=1e-18)
    assert got.outer == mirror().clear_radius


def test_expected_readings_come_back_as_the_sheet() -> None:
    readings = parse_readings(SHEET)
    got = reduce_on(readings, mirror(), 550e-9)
    sigma = [zone.sigma for zone in got.zones]
    again = expect_on(mirror(), readings, got.radius, got.figure_error, covariance=got.covariance, setting_sigma=sigma)
    assert np.abs(again.surprise(readings.positions.mean(axis=0))).max() < 3.0


def test_mask_tester_and_waiting_take_the_mirror() -> None:
    made = mirror()
    assert len(mask_for(made, 5, 550e-9).zones) == 5
    radius = np.linspace(0, 0.15, 50)
    assert stand_for(made, radius, 0 * radius, 550e-9).radius_of_glass == 0.15
    assert waiting_for(made).time > 0
