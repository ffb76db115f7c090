"""Astigmatism from what was measured to what is predicted: read, carried on from session to session, warned of."""

from pathlib import Path

import numpy as np
import pytest

from wearsim.bench.bench import Bench
from wearsim.bench.programme import Programme
from wearsim.bench.toml_io import load_bench
from wearsim.figure.conic import MirrorGeometry
from wearsim.figure.zernike import ZernikeAstigmatism
from wearsim.knifeedge.forward_model import reading_matrix
from wearsim.knifeedge.longitudinal import Zones, target_readings
from wearsim.knifeedge.readings import load_readings
from wearsim.knifeedge.reduction import reduce_readings
from wearsim.learn.mirror_folder import open_folder
from wearsim.learn.present_state import last_not_round
from wearsim.show.reduction import astigmatism_text
from wearsim.wear.accuracy import DEFAULT, PlanarAccuracy
from wearsim.wear.initial_figure import start_figure
from wearsim.wear.predict import predict
from wearsim.wear.warnings import astigmatism_warning

COARSE = PlanarAccuracy(cells=48)
WINDOWS = [[14, 30], [32, 48], [50, 64], [66, 78], [80, 90], [91, 98]]
NOTHING = Programme()
HIGH, AXIS = 150e-9, np.radians(25.0)
"""Amplitude at the rim [m], and azimuth of the high diameter on the glass."""


def sheet(angles: list[float], height: float = HIGH) -> str:
    """Readings of a paraboloid with this astigmatism, two rows in each orientation [deg]."""
    geometry = MirrorGeometry(2.4, -1.0, radius=0.1, clear_radius=0.1)
    zones = Zones.from_windows(np.array(WINDOWS) * 1e-3)
    radius = np.linspace(0.0, 0.1, 400)
    rows, turned = [], []
    for angle in angles:
        # turned counterclockwise by an angle, the glass shows the windows its diameter at minus that azimuth
        wave = np.cos(2.0 * (np.radians(-angle) - AXIS))
        exact = target_readings(zones, geometry)
        exact = exact + reading_matrix(zones, radius, geometry) @ (height * (radius / 0.1) ** 2 * wave)
        for shift in (0.002, -0.002):
            rows.append([round(float(one) * 1e3 + shift, 4) for one in exact])
            turned.append(f"{angle:g} deg")
    tables = f"windows = {WINDOWS}\nreadings = {rows}\norientation = {turned}\n"
    return 'source = "moving"\nlength_unit = "mm"\n' + tables.replace("'", '"')


@pytest.fixture
def bench(mirror_folder: Path) -> Bench:
    """A bench whose figure is three orientations of an astigmatic mirror."""
    (mirror_folder / "readings.toml").write_text(sheet([0.0, 60.0, 120.0]))
    text = (mirror_folder / "bench.toml").read_text()
    (mirror_folder / "bench.toml").write_text(text.replace('profile = "before.csv"', 'readings = "readings.toml"'))
    return load_bench(mirror_folder / "bench.toml")


def test_the_planar_engine_starts_from_the_astigmatism_of_readings(bench):
    figure = predict(bench, NOTHING, "planar", draws=0, planar=COARSE)
    clear = bench.mirror.clear_radius / bench.mirror.radius
    assert figure.details["astigmatism_before_m"] == pytest.approx(HIGH * clear**2 / np.sqrt(6.0), rel=0.03)
    assert figure.details["astigmatism_axis_before_rad"] == pytest.approx(AXIS, abs=np.radians(2.0))
    assert not any("mean over rings" in line for line in figure.warnings)


def test_the_radial_engine_says_what_it_leaves_out_and_where_it_is_high(bench):
    said = predict(bench, NOTHING, draws=0).warnings
    assert any("figure.readings: its mean over rings" in line and "high at 25 deg" in line for line in said)
    assert any(line.startswith("astigmatism: ") and "72 to 80 deg" in line for line in said)


def test_a_reduction_says_where_the_high_diameter_lies_or_what_is_missing(bench):
    def text(angles: list[float]) -> str:
        file = Path(bench.file).parent / "readings.toml"
        file.write_text(sheet(angles))
        reduction = reduce_readings(load_readings(file), bench.mirror.geometry)
        return " ".join(astigmatism_text(reduction.astigmatism).split())

    assert "The high diameter is 25 deg counterclockwise from the mark" in text([0.0, 60.0, 120.0])
    assert "Two orientations do not give its axis" in text([0.0, 90.0])


def test_terms_of_a_folder_reach_the_planar_engine_through_the_known_glass(mirror_folder):
    text = (mirror_folder / "bench.toml").read_text()
    (mirror_folder / "bench.toml").write_text(
        text.replace('profile = "before.csv"', "zernike = [0, 0, 0, 0, 0, 40, 10]")
    )
    bench = load_bench(mirror_folder / "bench.toml")
    alone = predict(bench, NOTHING, "planar", draws=0, planar=COARSE)
    known = predict(bench, NOTHING, "planar", draws=0, planar=COARSE, start=start_figure(bench))
    assert known.details["astigmatism_before_m"] == pytest.approx(40e-9, rel=0.02)
    for name in ("astigmatism_before_m", "trefoil_before_m", "map_rms_before_m"):
        assert known.details[name] == pytest.approx(alone.details[name], rel=1e-3)


def test_sessions_carry_the_last_astigmatism_that_was_measured(mirror_folder, done):
    text = (mirror_folder / "bench.toml").read_text()
    (mirror_folder / "bench.toml").write_text(text.replace('profile = "before.csv"', "zernike = [0, 0, 0, 0, 0, 40]"))

    def session(number: int, angles: list[float], height: float) -> None:
        place = mirror_folder / f"{number:02d}"
        place.mkdir()
        (place / "programme.toml").write_text(done.read_text())
        (place / "session.toml").write_text(f"date = 2026-01-{number:02d}\n")
        (place / "readings.toml").write_text(sheet(angles, height))

    session(1, [0.0], HIGH)
    carried = last_not_round(open_folder(mirror_folder), 1)
    assert carried.origin == "figure.zernike before the first session"
    assert carried.astigmatism.amplitude == pytest.approx(40e-9, rel=0.02)
    session(2, [0.0, 60.0, 120.0], HIGH)
    session(3, [0.0, 90.0], HIGH)
    carried = last_not_round(open_folder(mirror_folder), 3)
    assert carried.origin == "figure.readings after session 2"
    assert carried.astigmatism.axis == pytest.approx(AXIS, abs=np.radians(2.0))
    session(4, [0.0, 60.0, 120.0], 0.0)
    assert last_not_round(open_folder(mirror_folder), 4, DEFAULT) is None


def test_glass_that_bends_is_named_as_a_possible_cause(bench):
    thin = bench.model_copy(update={"mirror": bench.mirror.model_copy(update={"thickness": 8e-3})})
    thick = bench.model_copy(update={"mirror": bench.mirror.model_copy(update={"thickness": 60e-3})})
    found = ZernikeAstigmatism(40e-9, 0.3)
    assert "may be the cause" in astigmatism_warning(thin, found)[0]
    assert "may be the cause" not in astigmatism_warning(thick, found)[0]
    assert astigmatism_warning(thin, ZernikeAstigmatism(2e-9, 0.3)) == ()
