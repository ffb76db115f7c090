"""Height maps from files."""

import h5py
import numpy as np
import pytest
import tomli_w

from tests.helpers.start_figures import KNOWN
from wearsim.bench.figure_source import height_map
from wearsim.bench.programme import Programme
from wearsim.bench.toml_io import load_bench
from wearsim.errors import InputError
from wearsim.figure.conic import MirrorGeometry
from wearsim.figure.zernike import zernike_sum
from wearsim.wear.accuracy import PlanarAccuracy
from wearsim.wear.planar.figure import MapGauge
from wearsim.wear.predict import predict


def test_csv_has_its_top_first_and_gaps_off_the_glass(tmp_path):
    path = tmp_path / "map.csv"
    path.write_text("error_nm\n,1,2\n3,4,5\n6,7,\n")
    seen = height_map(path.read_bytes(), path)
    assert seen[0, :2] == pytest.approx([6e-9, 7e-9])
    assert np.isnan(seen[0, 2]) and np.isnan(seen[2, 0])


def test_hdf5(tmp_path):
    path = tmp_path / "map.h5"
    with h5py.File(path, "w") as file:
        file["error"] = np.arange(16.0).reshape(4, 4)
        file["error"].attrs["units"] = "um"
    assert height_map(path.read_bytes(), path)[1, 2] == pytest.approx(6e-6)


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("height\n1,2\n3,4\n", "unknown first line"),
        ("error_nm\n1,2\n3\n", "unequal length"),
        ("error_nm\n1,2\n", "square"),
        ("error_nm\n1,x\n3,4\n", "not a number"),
        ("error_m\n1,2\n3,4\n", "impossible height"),
        ("", "cannot be read"),
    ],
)
def test_what_cannot_be_used_is_said_in_one_line(tmp_path, text, says):
    path = tmp_path / "map.csv"
    path.write_text(text)
    with pytest.raises(InputError, match=says) as caught:
        height_map(path.read_bytes(), path)
    assert "map.csv" in str(caught.value) and "\n" not in str(caught.value)


def test_a_table_is_no_hdf5(tmp_path):
    with pytest.raises(InputError, match="cannot be read"):
        height_map(b"error_nm\n1,2\n", tmp_path / "map.h5")


def test_gap_on_the_glass_is_refused(rig):
    error = np.zeros((32, 32))
    error[10, 12] = np.nan
    with pytest.raises(InputError, match="gaps on the glass"):
        MapGauge(MirrorGeometry(3.0, -1.0, radius=0.15, clear_radius=0.148), rig(32).glass).height_of_map(error)


BENCH = """
[mirror]
diameter = "200 mm"
radius_of_curvature = "2.4 m"
thickness = "30 mm"
rim_excluded = "0 mm"
[lap]
diameter = "200 mm"
mass = "2 kg"
[figure]
{figure}
"""
NO_SPREAD = tomli_w.dumps({"spread": KNOWN})
TERMS = "zernike = [0, 5, 0, 30, 0, -40, 0, 0, 0, 0, 0, 0, 35]"


@pytest.fixture
def bench_with(tmp_path):
    def write(figure):
        path = tmp_path / "bench.toml"
        path.write_text(BENCH.format(figure=figure) + NO_SPREAD)
        return load_bench(path)

    return write


def test_averages_take_the_round_terms_and_say_what_they_leave_out(bench_with):
    """Only spherical aberration is round here: sqrt(5) (6 rho^4 - 6 rho^2 + 1), of 35 nm RMS over the whole disc."""
    outcome = predict(bench_with(TERMS), Programme())
    rho = outcome.radius / 0.1
    wanted = 35e-9 * np.sqrt(5.0) * (6 * rho**4 - 6 * rho**2 + 1)
    assert outcome.before == pytest.approx(wanted, abs=0.3e-9)
    assert len(outcome.warnings) == 2 and outcome.warnings[1].startswith("astigmatism: 50 nm")
    assert "figure.zernike: its mean over rings is used; 50 nm RMS" in outcome.warnings[0]


def test_averages_take_a_measured_maps_mean(bench_with, tmp_path):
    across = (np.arange(60) - 29.5) / 30.0
    radius, azimuth = np.hypot(across[None, :], across[:, None]), np.arctan2(across[:, None], across[None, :])
    error = zernike_sum([0, 0, 0, 30, 0, -40, 0, 0, 0, 0, 0, 0, 35], np.minimum(radius, 1.05), azimuth)
    rows = [",".join(f"{value:.4f}" for value in row) for row in error[::-1]]
    (tmp_path / "map.csv").write_text("error_nm\n" + "\n".join(rows))
    outcome, terms = (predict(bench_with('map = "map.csv"'), Programme()), predict(bench_with(TERMS), Programme()))
    # reading between cells rounds the surface off a little; in the two cells at the rim, which the rim cuts, the
    # map is carried on straight
    inside = outcome.radius < 0.1 - 2 * 0.2 / 60
    assert outcome.before[inside] == pytest.approx(terms.before[inside], abs=1.5e-9)
    assert outcome.before == pytest.approx(terms.before, abs=1e-8)
    assert outcome.warnings[0].startswith("figure.map: its mean over rings is used; 50 nm RMS")


def test_the_planar_engine_leaves_nothing_out(bench_with):
    outcome = predict(bench_with(TERMS), Programme(), "planar", planar=PlanarAccuracy(cells=64))
    assert [line.split(":")[0] for line in outcome.warnings] == ["astigmatism"]
    assert outcome.details["astigmatism_before_m"] == pytest.approx(50e-9, rel=0.01)


def test_a_round_figure_is_said_nothing_of(bench_with):
    assert predict(bench_with("conic = 0.0"), Programme()).warnings == ()


def test_a_map_of_a_mirror_nearly_as_deep_as_a_half_sphere(rig):
    """Cells a little beyond the rim lie where the sphere has ended."""
    gauge = MapGauge(MirrorGeometry(0.1501, 0.0, radius=0.15, clear_radius=0.148), rig(32).glass)
    assert gauge.departure() == pytest.approx(0.0, abs=1e-18)
