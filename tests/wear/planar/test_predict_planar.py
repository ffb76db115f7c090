"""``predict(..., engine="planar")``: the outcome that people read."""

from dataclasses import replace

import h5py
import numpy as np
import pytest

from wearsim.bench.figure_source import FigureSource
from wearsim.bench.personal_units import NANOMETRES
from wearsim.bench.toml_io import load_bench, load_programme
from wearsim.bench.units import MILLIMETRES
from wearsim.errors import InputError
from wearsim.show.maps import maps_text
from wearsim.wear.accuracy import Accuracy, PlanarAccuracy
from wearsim.wear.initial_figure import start_figure
from wearsim.wear.outcome_file import read_outcome, write_outcome
from wearsim.wear.planar.engine import PlanarEngine
from wearsim.wear.predict import predict
from wearsim.wear.state import start_state

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
name = "f/5 star"
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
lap = "f/5 star"
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
    outcome = predict(*session, "planar", planar=ACCURACY, seed=1, progress=told.append)
    assert outcome.engine == "planar"
    assert outcome.removal.min() >= 0.0 and outcome.removal.max() > 1e-9
    assert len(outcome.spells) == 3 and outcome.stages.shape == (4, outcome.radius.size)
    assert outcome.stages[1] == pytest.approx(outcome.stages[0], abs=1e-15)  # pressing wears nothing
    assert set(outcome.pitch_height) == {"full", "f/5 star"}
    assert outcome.details["astigmatism_before_m"] == pytest.approx(50e-9, rel=0.02)
    assert outcome.details["astigmatism_axis_before_rad"] == pytest.approx(0.5 * np.arctan2(30, -40) % np.pi, abs=0.01)
    assert 0.0 < outcome.details["astigmatism_after_m"] < outcome.details["astigmatism_before_m"]
    assert outcome.peak_pressure > 500.0
    assert all(np.isfinite(values).all() for values in outcome.maps.values())
    assert outcome.maps["removal"].shape == (outcome.maps["y"].size, outcome.maps["x"].size)
    assert told[-1] == pytest.approx(1.0) and told == sorted(told) and len(told) > 10
    assert outcome.maps["zernike"].shape == (4, 28)
    facets = outcome.maps["f/5 star: facets"]
    size = outcome.maps["x"][1] - outcome.maps["x"][0]
    # the star's own area: the rim runs evenly in azimuth from 60 to 40 mm and back
    assert facets.sum() * size**2 == pytest.approx(np.pi * (0.06**3 - 0.04**3) / (3 * 0.02), rel=2e-3)


def test_both_grids_come_back_from_the_file_with_their_coordinates(session, tmp_path):
    outcome = predict(*session, "planar", planar=ACCURACY, seed=1)
    write_outcome(outcome, tmp_path / "out.h5", seed=1)
    assert read_outcome(tmp_path / "out.h5") == outcome
    with h5py.File(tmp_path / "out.h5") as file:
        maps = file["maps"]
        for name in ("before", "after", "removal", "glass"):
            assert [dimension[0].name for dimension in maps[name].dims] == ["/maps/y", "/maps/x"]
        star = [dimension[0].name for dimension in maps["f%2F5 star: pitch"].dims]
        assert star == ["/maps/f%2F5 star: pitch_y", "/maps/f%2F5 star: pitch_x"]
        assert maps["zernike"].dims[0][0] == file["stage"]
        assert all({"units", "long_name"} <= set(values.attrs) for values in maps.values())


def test_xarray_finds_the_coordinates(session, tmp_path):
    xarray = pytest.importorskip("xarray")
    pytest.importorskip("h5netcdf")
    outcome = predict(*session, "planar", planar=PlanarAccuracy(cells=32))
    write_outcome(outcome, tmp_path / "out.h5")
    with xarray.open_dataset(tmp_path / "out.h5", group="maps", engine="h5netcdf") as maps:
        assert maps["after"].dims == ("y", "x") and maps["after"].attrs["units"] == "m"
        assert np.array_equal(maps["pitch"].coords["pitch_x"], outcome.maps["pitch_x"])
        assert maps["zernike"].dims == ("stage", "zernike_index")


def test_a_band_over_the_constants_and_the_same_maps(session):
    bench, programme = session
    plain = predict(bench, programme, "planar", planar=PlanarAccuracy(cells=32), seed=2)
    told = []
    spread = predict(bench, programme, "planar", planar=PlanarAccuracy(cells=32), seed=2, draws=3, progress=told.append)
    assert plain.band is None and spread.band is not None
    assert spread.band.removal is not None and spread.band.stage_rms is not None
    assert np.all(spread.band.removal[0] <= spread.band.removal[1])
    assert np.array_equal(spread.band.stage_rms[-1], spread.band.surface_rms)
    assert spread.band.draws == 3 and spread.band.surface_rms[0] < spread.band.surface_rms[1]
    assert np.array_equal(plain.maps["after"], spread.maps["after"])
    told_of = spread.band.details
    some = {"map_rms_after_m", "astigmatism_after_m", "coma_after_m", "ripple_rms_m"}
    assert some <= told_of.keys() <= plain.details.keys()
    assert all(low <= high for low, high in told_of.values()) and not any("axis" in name for name in told_of)
    low, high = told_of["map_rms_after_m"]
    assert low < high and spread.to_json()["details_band"]["map_rms_after_m"] == [low, high]
    row = next(line for line in maps_text(programme, spread, MILLIMETRES, NANOMETRES).splitlines() if "RMS" in line)
    assert row.split()[-3:] == [f"{1e9 * low:.0f}", "to", f"{1e9 * high:.0f}"]
    assert "band" not in maps_text(programme, plain, MILLIMETRES, NANOMETRES).split("\n\n")[0]
    assert told == sorted(told) and told[-1] == pytest.approx(1.0)


def test_laps_as_a_session_left_them(session):
    """A lap handed over as it would start anyway changes nothing but by reading its round profile."""
    bench, programme = session
    round_bench = bench.model_copy(update={"figure": FigureSource(conic=0.0)})
    start = start_figure(round_bench)
    laps = start_state(round_bench, start.radius, start.height, Accuracy())
    one, other = (
        predict(round_bench, programme, "planar", planar=PlanarAccuracy(cells=48), laps=given) for given in (None, laps)
    )
    assert one.removal == pytest.approx(other.removal, abs=0.01 * np.ptp(one.removal))
    hollow = replace(laps, laps={k: replace(v, height=v.height - 1e-5 * v.radius) for k, v in laps.laps.items()})
    bent = predict(round_bench, programme, "planar", planar=PlanarAccuracy(cells=48), laps=hollow)
    assert np.abs(bent.removal - one.removal).max() > 0.05 * np.ptp(one.removal)


def test_settings_of_the_other_engine_are_refused(session):
    with pytest.raises(ValueError, match="planar engine"):
        predict(*session, planar=PlanarAccuracy())


def test_one_seed_one_outcome(session):
    one, two, other = (predict(*session, "planar", planar=PlanarAccuracy(cells=32), seed=seed) for seed in (4, 4, 5))
    assert np.array_equal(one.maps["after"], two.maps["after"])
    assert not np.array_equal(one.maps["after"], other.maps["after"])


def test_a_programme_of_too_many_poses_is_refused_before_its_first_spell(session):
    bench, programme = session
    told, engine = [], PlanarEngine(PlanarAccuracy(cells=32, most_poses=1000))
    state = engine.begin(bench, None)
    with pytest.raises(
        InputError, match=r"spell 2\.minutes: too long for the planar engine: this spell needs"
    ) as error:
        engine.run(bench, programme, state, progress=told.append)
    assert not told
    assert error.value.value == "2" and error.value.expected.endswith("or the radial engine")
    longest = float(error.value.expected.split()[2].rstrip(","))
    shorter = programme.spells[1].model_copy(update={"minutes": longest})
    run = engine.run(bench, programme.model_copy(update={"spells": (programme.spells[0], shorter)}), state)
    assert 950 < sum(report.steps for report in run.reports) <= 1000 + 16  # a stroke more or less


def test_pitch_that_flows_too_quickly_for_a_pressing_is_refused(session):
    bench, programme = session
    laps = tuple(lap.model_copy(update={"relaxation_time": 0.001}) for lap in bench.laps)
    brief = tuple(spell.model_copy(update={"minutes": 1e-4}) for spell in programme.spells[1:])
    with pytest.raises(InputError, match=r"pressing before the first spell: .*expected a pitch that flows more slowly"):
        predict(
            bench.model_copy(update={"laps": laps}), programme.model_copy(update={"spells": brief}), "planar",
            planar=ACCURACY,
        )  # fmt: skip
