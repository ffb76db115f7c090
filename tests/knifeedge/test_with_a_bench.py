"""A bench's own mirror before the knife, and its profile on the way back into a bench."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from wearsim.bench.mirror import Mirror
from wearsim.bench.profile import read_profile
from wearsim.bench.toml_io import load_bench
from wearsim.errors import InputError
from wearsim.knifeedge.forward_model import expected_readings
from wearsim.knifeedge.readings import parse_readings
from wearsim.knifeedge.reduction import reduce_readings
from wearsim.learn.new_folder import Answers, fresh_folder
from wearsim.wear.initial_figure import start_figure

SHEET = """
source = "fixed"
length_unit = "in"
windows = [[0.7, 1.8], [2.4, 3.1], [3.6, 4.2], [4.6, 5.1], [5.4, 5.8]]
readings = [[0.00, 0.05, 0.11, 0.18, 0.25], [0.01, 0.05, 0.12, 0.18, 0.26]]
"""


MIRROR = Mirror(diameter=0.3, radius_of_curvature=3.0)


def test_profile_goes_back_into_a_bench(tmp_path: Path) -> None:
    got = reduce_readings(parse_readings(SHEET), MIRROR.geometry)
    got.write_profile(tmp_path / "p.csv", "from readings")
    back = read_profile(tmp_path / "p.csv", MIRROR)
    assert back.error == pytest.approx(got.figure_error, abs=1e-18)
    assert back.sigma == pytest.approx(got.sigma, abs=1e-18)
    assert got.geometry.clear_radius == MIRROR.clear_radius


def test_expected_readings_come_back_as_the_sheet() -> None:
    readings = parse_readings(SHEET)
    got = reduce_readings(readings, MIRROR.geometry)
    again = expected_readings(
        readings.zones,
        got.radius,
        got.figure_error,
        MIRROR.geometry,
        source=readings.source,
        covariance=got.covariance,
        setting_sigma=[zone.sigma for zone in got.zones],
    )
    row = readings.positions.mean(axis=0)
    assert np.all(np.abs(row - row[0] - again.positions) <= 3.0 * again.spread)


def test_an_empty_sheet_of_a_bench_is_told_how_to_ask_without_one(tmp_path: Path) -> None:
    for file, text in fresh_folder(Answers("200 mm", 6.0, "2 kg")).files(tmp_path).items():
        file.write_text(text)
    with pytest.raises(InputError, match=r"or conic = -1 \(a perfect paraboloid\) or conic = 0"):
        start_figure(load_bench(tmp_path / "bench.toml"))
