"""``predict(..., engine="planar")``: the outcome that people read."""

import numpy as np
import pytest

from wearsim.bench.files import load_bench, load_programme
from wearsim.wear.planar import PlanarAccuracy
from wearsim.wear.predict_planar import predict_planar

BENCH = """
[mirror]
diameter = "200 mm"
radius_of_curvature = "2.4 m"
thickness = "30 mm"
[[lap]]
name = "full"
diameter = "200 mm"
mass = "2 kg"
[[lap]]
name = "star"
diameter = "120 mm"
mass = "1 kg"
star_points = 5
star_depth = "20 mm"
facet_shape = "none"
[hands]
push = "10 N"
[figure]
zernike = [0, 0, 0, 30, 0, -40]
"""
PROGRAMME = """
[[spell]]
stroke = "press"
minutes = 2
lap = "full"
[[spell]]
stroke = "w"
length = 0.4
side_sweep = 0.15
minutes = 2
lap = "full"
[[spell]]
stroke = "straight"
length = 0.3
minutes = 1
turn = "72 deg"
lap = "star"
"""
ACCURACY = PlanarAccuracy(cells=64)


@pytest.fixture(scope="module")
def session(tmp_path_factory):
    folder = tmp_path_factory.mktemp("planar")
    (folder / "bench.toml").write_text(BENCH)
    (folder / "programme.toml").write_text(PROGRAMME)
    return load_bench(folder / "bench.toml"), load_programme(folder / "programme.toml")


def test_outcome(session):
    told = []
    outcome = predict_planar(
        *session, planar=ACCURACY, seed=1, progress=lambda spell, share: told.append((spell, share))
    )
    assert outcome.engine == "planar"
    assert outcome.removal.min() >= 0.0 and outcome.removal.max() > 1e-9
    assert len(outcome.spells) == 3 and outcome.stages.shape == (4, outcome.radius.size)
    assert outcome.stages[1] == pytest.approx(outcome.stages[0], abs=1e-15)  # pressing wears nothing
    assert set(outcome.pitch_height) == {"full", "star"}
    assert outcome.details["astigmatism_before_m"] == pytest.approx(50e-9, rel=0.02)
    assert outcome.details["astigmatism_axis_before_rad"] == pytest.approx(
        0.5 * np.arctan2(30, -40) % np.pi, abs=0.01
    )
    assert 0.0 < outcome.details["astigmatism_after_m"] < outcome.details["astigmatism_before_m"]
    assert outcome.peak_pressure > 500.0
    assert all(np.isfinite(values).all() for values in outcome.maps.values())
    assert outcome.maps["removal"].shape == (outcome.maps["y"].size, outcome.maps["x"].size)
    assert told[-1] == (2, pytest.approx(1.0)) and {spell for spell, _ in told} == {0, 1, 2}


def test_one_seed_one_outcome(session):
    one, two, other = (
        predict_planar(*session, planar=PlanarAccuracy(cells=32), seed=seed) for seed in (4, 4, 5)
    )
    assert np.array_equal(one.maps["after"], two.maps["after"])
    assert not np.array_equal(one.maps["after"], other.maps["after"])
