"""What a bench knows: mass, load, wear of glass and abrasive, pitch in the cold, defaults."""

from __future__ import annotations

import math
from collections.abc import Callable
from pathlib import Path

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st
from pydantic import ValidationError
from scipy import integrate

from tests.helpers.followed import is_followed
from wearsim.bench import materials as catalogue
from wearsim.bench.bench import Bench, Wear
from wearsim.bench.figure_source import FigureSource
from wearsim.bench.lap import Lap
from wearsim.bench.mirror import Mirror
from wearsim.bench.toml_io import load_bench, load_programme


def a_bench(**tables: object) -> Bench:
    sound: dict[str, object] = {
        "mirror": Mirror(diameter=0.3, radius_of_curvature=3.0),
        "laps": (Lap(diameter=0.3, mass=4.0),),
        "figure": FigureSource(conic=0.0),
    }
    return Bench.model_validate({**sound, **tables})


@given(
    diameter=st.floats(0.05, 3.0),
    focal_ratio=st.floats(1.0, 20.0),
    conic=st.just(0.0) | st.floats(-20.0, -1e-6) | st.floats(1e-6, 10.0),
    hole=st.just(0.0) | st.floats(1e-6, 0.7),
    density=st.floats(1000.0, 9000.0),
)
def test_mass_against_quadrature(
    diameter: float, focal_ratio: float, conic: float, hole: float, density: float
) -> None:
    """Glass under the curve, ring by ring (interface page: what is missing above the sagitta taken off)."""
    curve = 2 * focal_ratio * diameter
    assume(is_followed(diameter, curve, conic))
    mirror = Mirror(
        diameter=diameter,
        radius_of_curvature=curve,
        conic=conic,
        hole=hole * diameter,
        density=density,
        thickness=diameter / 4,
        rim_excluded=0.0,
    )

    def height(radius: float) -> float:
        return radius**2 / curve / (1 + math.sqrt(1 - (1 + conic) * (radius / curve) ** 2))

    def ring(radius: float) -> float:
        return 2 * math.pi * radius * (diameter / 4 - height(diameter / 2) + height(radius))

    volume, _ = integrate.quad(ring, hole * diameter / 2, diameter / 2, epsabs=0, epsrel=1e-12)
    assert mirror.piece_mass == pytest.approx(density * volume, rel=1e-10)


def test_mass_stated_wins() -> None:
    assert Mirror(diameter=0.3, radius_of_curvature=3.0, mass=6.0).piece_mass == 6.0


def test_peoples_units(tmp_path: Path) -> None:
    path = tmp_path / "bench.toml"
    path.write_text(
        """
        [mirror]
        diameter = "12 in"
        radius_of_curvature = "10 ft"
        thickness = "1.5 in"
        [lap]
        diameter = "10 in"
        mass = "8 lb"
        relaxation_time = "0.1 h"
        [hands]
        push = "7 lbf"
        push_offset = ["0.5 in", "-2 mm"]
        [wear]
        temperature = "63 degF"
        preston = "1.0e-12 / Pa"
        [figure]
        zernike = [0, 120.0, "0.25 um"]
        """
    )
    bench = load_bench(path)
    assert bench.mirror.diameter == 0.3048
    assert bench.mirror.radius_of_curvature == 3.048
    assert bench.lap().mass == 3.62873896
    assert bench.lap().relaxation_time == 360.0
    assert bench.hands.push == pytest.approx(31.1375513068235)
    assert bench.hands.push_offset == (0.0127, -0.002)
    assert bench.wear.temperature == pytest.approx(155 / 9)
    assert bench.preston == 1e-12
    assert bench.figure.zernike == (0.0, 1.2e-7, 2.5e-7)
    assert bench.text == path.read_text()
    assert bench.file == path


def test_clear_aperture() -> None:
    mirror = Mirror(diameter=0.3, radius_of_curvature=3.0, hole=0.04, rim_excluded=0.003)
    assert (mirror.radius, mirror.hole_radius, mirror.clear_radius) == (0.15, 0.02, 0.147)


@pytest.mark.parametrize(
    ("glass", "abrasive", "preston"),
    [  # defaults page: 8e-13, 1.0e-12, 6e-13; zirconium 0.7, rouge 0.4 of cerium [judgement]
        ("borosilicate", "cerium-oxide", 8e-13),
        ("soda-lime", "cerium-oxide", 1.0e-12),
        ("fused-silica", "cerium-oxide", 6e-13),
        ("borosilicate", "zirconium-oxide", 5.6e-13),
        ("fused-silica", "rouge", 2.4e-13),
    ],
)
def test_glass_and_abrasive_move_the_default_preston_alone(glass: str, abrasive: str, preston: float) -> None:
    mirror = Mirror(diameter=0.3, radius_of_curvature=3.0, glass=glass)
    assert a_bench(mirror=mirror, wear=Wear(abrasive=abrasive)).preston == pytest.approx(preston, rel=1e-12)
    assert a_bench(mirror=mirror, wear=Wear(abrasive=abrasive, preston=3e-13)).preston == 3e-13


def test_pitch_relaxes_ten_times_as_slowly_6_degrees_colder() -> None:
    """Defaults page: x10 for 6 degC colder [memory: 6 +- 1.5]."""
    lap = Lap(diameter=0.3, mass=4.0, relaxation_time=300.0, pitch_temperature=20.0)
    assert a_bench(wear=Wear(temperature=20.0)).relaxation_time_at(lap) == 300.0
    assert a_bench(wear=Wear(temperature=14.0)).relaxation_time_at(lap) == pytest.approx(3000.0)
    assert a_bench(wear=Wear(temperature=23.0)).relaxation_time_at(lap) == pytest.approx(300 / math.sqrt(10))


def test_named_pitch_gives_its_three_numbers_and_written_ones_win() -> None:
    hard = catalogue.pitch("hard")
    lap = Lap(diameter=0.3, mass=4.0, pitch="hard")
    assert (lap.stiffness, lap.relaxation_time, lap.pitch_temperature) == (
        hard.stiffness,
        hard.relaxation_time,
        hard.pitch_temperature,
    )
    assert Lap(diameter=0.3, mass=4.0, pitch="hard", stiffness=7e9).stiffness == 7e9


def test_pitches_run_from_soft_to_hard() -> None:
    """In one room, each relaxes more slowly than the one before, and gives no more."""
    bench = a_bench()
    laps = [Lap(diameter=0.3, mass=4.0, pitch=name) for name in catalogue.names("pitches")]
    times = [bench.relaxation_time_at(lap) for lap in laps]
    assert len(laps) >= 3
    assert times == sorted(times) and len(set(times)) == len(times)
    assert [lap.stiffness for lap in laps] == sorted(lap.stiffness for lap in laps)


def test_load() -> None:
    """Physics section 2: weight of the top piece, g = 9.80665, and the push; pressing: the weight alone."""
    bench = a_bench()
    lap, glass = bench.lap(), bench.mirror.piece_mass
    assert bench.load_on("tool", lap) == pytest.approx(4 * 9.80665 + 30)
    assert bench.load_on("mirror", lap) == pytest.approx(glass * 9.80665 + 30)
    assert bench.load_on("tool", lap, push=10.0) == pytest.approx(4 * 9.80665 + 10)
    assert bench.load_on("tool", lap, push=0.0) == pytest.approx(4 * 9.80665)
    assert bench.load_on("mirror", lap, push=10.0, pressing=True) == pytest.approx(glass * 9.80665)


def test_edge_length_is_the_pitch_thickness_unless_stated() -> None:
    lap = Lap(diameter=0.3, mass=4.0, pitch_thickness=0.007)
    assert a_bench().edge_length_for(lap) == 0.007
    assert a_bench(wear=Wear(edge_length=0.004)).edge_length_for(lap) == 0.004


def test_friction_lead() -> None:
    """Defaults page: about 5 mm."""
    assert a_bench().hands.friction_lead == pytest.approx(0.15 * 0.035)


def test_contact_fraction() -> None:
    """Defaults page: facets 25 mm, channels 6 mm: 0.65 [read; derived]."""
    lap = Lap(diameter=0.3, mass=4.0)
    assert lap.fraction == pytest.approx(0.65, abs=0.005)
    assert Lap(diameter=0.3, mass=4.0, facet_shape="none").fraction == 1.0
    # one cell of the honeycomb, by the shoelace formula
    areas = [_hexagon(across) for across in (lap.facet, lap.facet + lap.channel)]
    hexagonal = Lap(diameter=0.3, mass=4.0, facet_shape="hexagonal")
    assert hexagonal.fraction == pytest.approx(areas[0] / areas[1])


def _hexagon(across_flats: float) -> float:
    corner = across_flats / math.sqrt(3)
    points = [(corner * math.cos(k * math.pi / 3), corner * math.sin(k * math.pi / 3)) for k in range(6)]
    turned = [*points[1:], points[0]]
    return sum(x * v - u * y for (x, y), (u, v) in zip(points, turned, strict=True)) / 2


def test_laps_by_name() -> None:
    bench = a_bench(laps=(Lap(name="a", diameter=0.3, mass=4.0), Lap(name="b", diameter=0.2, mass=2.0)))
    assert bench.lap().name == "a"
    assert bench.lap("b").diameter == 0.2


def test_largest_lap_is_allowed() -> None:
    assert a_bench(laps=(Lap(diameter=0.36, mass=4.0),)).lap().radius == 0.18


def test_frozen_and_strict_in_python_too(refused: Callable[..., str]) -> None:
    bench = a_bench()
    with pytest.raises(ValidationError):
        bench.mirror.diameter = 1.0  # type: ignore[misc]
    with pytest.raises(ValidationError):
        Mirror(diameter=float("nan"), radius_of_curvature=3.0)
    refused(lambda: a_bench(laps=(Lap(diameter=0.4, mass=4.0),)), "lap.diameter", "1.2 x")


def test_what_squeeze_flow_makes_of_other_facets_is_noted_and_not_used(folder: Path) -> None:
    """Stefan: tau = 3 eta a^2 / (2 kappa h^3) (theory page on wear and flow)."""

    def note(lap: str) -> str:
        text = f'[mirror]\ndiameter = "12 in"\nradius_of_curvature = "120 in"\n[figure]\nconic = -1.0\n[lap]\n{lap}'
        (folder / "bench.toml").write_text(f'{text}diameter = "12 in"\nmass = "10 lb"\n')
        bench = load_bench(folder / "bench.toml")
        assert bench.lap().relaxation_time in (300.0, 600.0)
        return {one.key: one.note for one in bench.defaults_used}.get("lap.relaxation_time", "")

    wide = 'facet = "2 in"\npitch_thickness = "1/8 in"\n'
    factor = (50.8 / 25.0) ** 2 * (5.0 / 3.175) ** 3
    assert note(wide) == (
        "this value, which wearsim uses, is for 0.98 in facets in 0.2 in of pitch; for 2 in facets in 0.125 in of pitch "
        f"squeeze flow makes it {factor:.0f} times as long. "
        f'To use that, set relaxation_time = "{5 * factor:.0f} min" yourself'
    )
    assert note(wide + 'relaxation_time = "10 min"\n') == ""
    assert note("") == note('facet = "1 in"\n') == note(wide + 'facet_shape = "none"\n') == ""
    assert "times shorter" in note('pitch_thickness = "1/4 in"\n')


def test_every_default_is_told_with_its_source(folder: Path) -> None:
    bench = load_bench(folder / "bench.toml")
    used = {default.key: default for default in bench.defaults_used}
    assert len(used) == len(bench.defaults_used)
    expected = {  # interface page, with what the sound bench of these tests leaves out
        "mirror.density": "2230 kg/m^3",
        "mirror.rim_excluded": "2 mm",
        "lap.pitch_thickness": "5 mm",
        "lap.stiffness": "5e9 Pa/m",
        "lap.relaxation_time": "5 min",
        "lap.pitch_temperature": "20 degC",
        "lap.facet": "25 mm",
        "lap.channel": "6 mm",
        "lap.facet_shape": "square",
        "hands.push_offset": "0 mm, 0 mm",
        "hands.push_height": "35 mm",
        "hands.friction": "0.15",
        "hands.length_jitter": "0.06",
        "hands.centre_jitter": "2 mm",
        "hands.walk": "4 min",
        "hands.hand_turn": "6 min",
        "wear.preston": "8e-13 / Pa",
        "wear.edge_gain": "0.3",
        "wear.edge_length": "5 mm",
        "spread.preston": "2.5",
        "spread.stiffness": "3.0",
        "spread.relaxation_time": "2.5",
        "spread.edge_gain": "2.0",
        "light.wavelength": "550 nm",
    }
    assert {key: used[key].value for key in expected} == expected
    assert all(default.source for default in bench.defaults_used)
    given_keys = {"mirror.conic", "mirror.hole", "lap.start", "hands.push", "wear.temperature"}
    assert not given_keys & set(used)


def test_defaults_name_the_pitch_and_the_glass_they_come_from() -> None:
    bench = load_bench("turned-edge-200")
    used = {default.key: default for default in bench.defaults_used}
    assert used["lap.stiffness"].source.startswith("pitch hard: judgement")
    assert used["wear.preston"].value == "1e-12 / Pa"
    assert "x 1.25 for soda-lime (judgement" in used["wear.preston"].source


def test_defaults_of_a_programme(folder: Path) -> None:
    programme = load_programme(folder / "programme.toml")
    assert {default.key for default in programme.defaults_used} == {"spell 2.on_top", "spell 2.turn"}
