"""RMS, PV, Strehl, best-fit conic and edge roll against published and derived values."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.integrate import quad
from scipy.optimize import brentq

from wearsim.figure.aperture import ClearAperture
from wearsim.figure.conic import Conic, MirrorGeometry
from wearsim.figure.metrics import FigureGauge, figure_numbers
from wearsim.knifeedge.stopping import MaskSeries

INCH = 0.0254
WAVE = 550e-9


def grid(a: float, points: int = 61) -> np.ndarray:
    return a * np.linspace(0.0, 1.0, points) ** 0.8


def mirror(big: float, clear: float, hole: float = 0.0, conic: float = -1.0) -> MirrorGeometry:
    return MirrorGeometry(big, conic, radius=clear, clear_radius=clear, hole_radius=hole)


def sphere_numbers(diameter: float, big: float, wavelength: float = WAVE):
    radius = grid(diameter / 2)
    return figure_numbers(radius, np.zeros_like(radius), mirror(big, diameter / 2), wavelength)


def test_sphere_read_as_paraboloid() -> None:
    # [derived]: 200 mm, R 2400 mm, reads the same in every zone: PV 452.1, RMS 134.8 nm
    radius = grid(0.1)
    glass = mirror(2.4, 0.1)
    leading = figure_numbers(radius, glass.height(radius, radius**4 / (8 * 2.4**3)), glass, WAVE)
    assert 2e9 * leading.surface_pv == pytest.approx(452.1, abs=0.05)
    assert 2e9 * leading.surface_rms == pytest.approx(134.8, abs=0.05)
    # the printed values are the r^4 term; the exact sphere has 0.15% more
    got = sphere_numbers(0.2, 2.4)
    assert 2e9 * got.surface_pv == pytest.approx(452.1, rel=2e-3)
    assert 2e9 * got.surface_rms == pytest.approx(134.8, rel=2e-3)
    assert got.surface_pv / got.surface_rms == pytest.approx(3.354, abs=0.002)
    assert got.conic_fit == pytest.approx(0.0, abs=1e-7)


@pytest.mark.parametrize(
    ("inches", "ratio", "equal_vertex", "best_focus"),
    [(6, 8, 290.7, 145.3), (8, 8, 387.6, 193.8), (10, 6, 1148, 574), (12.5, 5, 2480, 1240)],
)
def test_sphere_of_common_sizes(inches: float, ratio: float, equal_vertex: float, best_focus: float) -> None:
    # [derived]: r^4/8R^3 and the best-focus wavefront PV a^4/(16 R^3), nm
    a, big = inches * INCH / 2, 2 * ratio * inches * INCH
    assert 1e9 * a**4 / (8 * big**3) == pytest.approx(equal_vertex, rel=4e-4)
    # the figure is of the exact sphere: to r^6 it is larger by about (a/R)^2
    slack = 4e-4 + 1.5 * (a / big) ** 2
    assert 2e9 * sphere_numbers(2 * a, big).surface_pv == pytest.approx(best_focus, rel=slack)


@pytest.mark.parametrize(("inches", "ratio"), [(3, 6.43), (6, 8.10), (8, 8.92), (10, 9.60), (12, 10.21)])
def test_quarter_wave_sphere(inches: float, ratio: float) -> None:
    # [second-hand]: f^3 = 88.6 D^4 (inches) is the quarter-wave rule for 559.9 nm,
    # f/ = (1/8)(D/lambda)^(1/3)
    diameter = inches * INCH
    limit = brentq(lambda f: sphere_numbers(diameter, 2 * f * diameter, 559.9e-9).wavefront_pv_waves - 0.25, 4, 20)
    assert limit == pytest.approx(ratio, rel=2e-3)
    assert (diameter / 559.9e-9) ** (1 / 3) / 8 == pytest.approx(ratio, abs=0.006)


def spherical_aberration(radius: np.ndarray, a: float) -> np.ndarray:
    x = (radius / a) ** 2
    return 4 * (x**2 - x)  # balanced, PV 1


def numbers_of(error_waves, conic: float = -1.0, a: float = 0.1, points: int = 81):
    radius = grid(a, points)
    error = error_waves(radius, a) * WAVE / 2
    glass = mirror(2.4, a, conic=conic)
    return figure_numbers(radius, glass.height(radius, error), glass, WAVE)


def test_strehl_of_quarter_wave_of_spherical_aberration() -> None:
    # (Mahajan, JOSA 72, 1258 (1982) [read, abstract]; value derived)
    got = numbers_of(lambda r, a: 0.25 * spherical_aberration(r, a))
    assert got.strehl == pytest.approx(0.800305, abs=1e-5)
    assert got.wavefront_rms_waves == pytest.approx(0.074536, abs=1e-5)


def test_strehl_of_quarter_wave_of_defocus() -> None:
    # [derived]: 0.810569 as it stands; the levelled error has none of it left
    radius = grid(0.1)
    gauge = FigureGauge(radius, mirror(2.4, 0.1), WAVE)
    defocus = 0.25 * (radius / 0.1) ** 2 * WAVE / 2
    assert gauge.strehl(defocus) == pytest.approx(0.810569, abs=1e-6)
    assert numbers_of(lambda r, a: 0.25 * (r / a) ** 2).strehl == pytest.approx(1.0, abs=1e-9)


@pytest.mark.parametrize("waves", [0.1, 0.2, 0.3, 0.37])
def test_marechal_is_good_to_ten_percent(waves: float) -> None:
    # Marechal's forms within 10% above 0.6 (Mahajan 1982 [read, abstract])
    got = numbers_of(lambda r, a: waves * spherical_aberration(r, a))
    phase = (2 * np.pi * got.wavefront_rms_waves) ** 2
    assert got.strehl > 0.6
    for form in ((1 - phase / 2) ** 2, np.exp(-phase)):
        assert form == pytest.approx(got.strehl, rel=0.1)


@settings(max_examples=30, deadline=None)
@given(st.floats(-3e-6, 3e-6), st.floats(-3e-5, 3e-5), st.integers(0, 10_000))
def test_piston_and_bowl_change_nothing(piston: float, bowl: float, seed: int) -> None:
    radius = grid(0.15)
    shape = np.random.default_rng(seed).normal(size=5)
    error = 1e-8 * sum(c * np.cos((k + 1) * np.pi * (radius / 0.15) ** 2) for k, c in enumerate(shape))
    gauge = FigureGauge(radius, mirror(3.0, 0.148, 0.02), WAVE)
    height = gauge.geometry.height(radius, error)
    plain, moved = gauge.numbers(height), gauge.numbers(height + piston + bowl * radius**2)
    for name in ("surface_rms", "surface_pv", "edge_roll"):
        assert getattr(moved, name) == pytest.approx(getattr(plain, name), abs=1e-13)
    assert moved.strehl == pytest.approx(plain.strehl, abs=1e-6)


def test_levelled_error_has_no_piston_and_no_bowl_left() -> None:
    radius = grid(0.15)
    clear = ClearAperture(radius, 0.03, 0.148)
    error = 1e-7 * np.exp(-(((radius / 0.15 - 0.8) / 0.1) ** 2))
    level = clear.level(error)
    assert clear.mean(level) == pytest.approx(0.0, abs=1e-20)
    assert clear.piston_and_bowl(level) == pytest.approx((0.0, 0.0), abs=1e-18)
    assert clear.levelling_matrix() @ error == pytest.approx(level, abs=1e-20)
    assert level @ clear.rms_matrix() @ level == pytest.approx(clear.rms(level) ** 2, rel=1e-12)


def test_average_and_rms_against_quadrature() -> None:
    a, hole, outer = 0.15, 0.03, 0.148
    radius = grid(a, 121)

    def shape(r: float) -> float:
        return np.exp(-(((r / a - 0.7) / 0.12) ** 2))

    clear = ClearAperture(radius, hole, outer)
    area = (outer**2 - hole**2) / 2
    mean = quad(lambda r: r * shape(r), hole, outer, epsabs=1e-14)[0] / area
    square = quad(lambda r: r * shape(r) ** 2, hole, outer, epsabs=1e-14)[0] / area
    assert clear.mean(shape(radius)) == pytest.approx(mean, rel=2e-7)
    assert clear.rms(shape(radius)) == pytest.approx(np.sqrt(square), rel=2e-7)


def test_average_gains_four_orders_a_halving() -> None:
    def gap(points: int) -> float:
        radius = np.linspace(0.0, 1.0, points)
        return abs(ClearAperture(radius, 0.0, 1.0).mean(np.cos(2 * np.pi * radius**2)))

    assert np.log2(gap(21) / gap(41)) > 3.7


@pytest.mark.parametrize("conic", [-3.0, -1.0, 0.0, 4.0])
@pytest.mark.parametrize("hole", [0.0, 0.04])
def test_conic_fit_gives_back_the_conic(conic: float, hole: float) -> None:
    radius = grid(0.15)
    height = Conic(2.4, conic).departure(radius, 1e-5) + 3e-7  # another radius of curvature and a piston
    got = figure_numbers(radius, height, mirror(2.4, 0.148, hole), WAVE)
    assert got.conic_fit == pytest.approx(conic, abs=2e-5)


def test_edge_roll_of_a_turned_edge() -> None:
    # the outermost 3% of the radius falls as a parabola: closed form of physics section 7
    a, start, depth = 0.15, 0.97, 100e-9
    radius = np.concatenate([np.linspace(0, 0.96 * a, 50), np.linspace(0.96 * a, a, 60)[1:]])
    error = -depth * (np.maximum(radius / a - start, 0) / (1 - start)) ** 2
    rim = quad(lambda x: -depth * 2 * x * ((x - start) / (1 - start)) ** 2, 0.98, 1)[0] / (1 - 0.98**2)
    gauge = FigureGauge(radius, mirror(3.0, a), WAVE)
    assert gauge.edge_roll(error) == pytest.approx(rim, rel=1e-3)
    assert gauge.edge_roll(error) < 0.0
    assert gauge.edge_roll(radius**2) == pytest.approx(0.0, abs=1e-12)


def test_edge_roll_follows_a_straight_run_that_bends() -> None:
    # error = r^4: line in s = r^2 over the run [0.64, 0.9216] against the mean over [0.9604, 1], closed form
    radius = np.linspace(0.0, 1.0, 81)
    gauge = FigureGauge(radius, mirror(30.0, 1.0), WAVE)
    low, high = 0.8**2, 0.96**2
    mid, half = (low + high) / 2, (high - low) / 2
    rim_low = 0.98**2
    line_at = mid**2 + half**2 / 3 + 2 * mid * ((rim_low + 1) / 2 - mid)
    rim = (1 - rim_low**3) / 3 / (1 - rim_low)
    assert gauge.edge_roll(radius**4) == pytest.approx(rim - line_at, rel=1e-5)


def test_before_less_after_is_the_removal_up_to_piston_and_bowl() -> None:
    radius = grid(0.15)
    glass = mirror(3.0, 0.148)
    height = glass.departure(radius) + 1e-7 * np.cos(4 * radius / 0.15)
    removal = 2e-7 * (1 - (radius / 0.15) ** 4)
    change = glass.figure_error(radius, height) - glass.figure_error(radius, height - removal)
    rest = change - removal
    design = np.stack([np.ones_like(radius), radius**2], axis=1)
    assert rest == pytest.approx(design @ np.linalg.lstsq(design, rest, rcond=None)[0], abs=1e-18)


def test_masking_a_turned_edge_pays_and_masking_a_good_mirror_does_not() -> None:
    radius = np.concatenate([np.linspace(0, 0.85, 40), np.linspace(0.85, 1, 40)[1:]]) * 0.15
    turned = -400e-9 * (np.maximum(radius / 0.15 - 0.94, 0) / 0.06) ** 2
    buys = MaskSeries(radius, mirror(3.0, 0.15), WAVE).masking(turned)
    assert buys.gain > 1.02
    assert 0.13 < buys.best_radius < 0.149
    assert buys.strehl[0] == pytest.approx(1.0, abs=1e-6)
    good = MaskSeries(radius, mirror(3.0, 0.15, 0.02), WAVE).masking(1e-9 * np.cos(5 * radius / 0.15))
    assert good.gain == 1.0
    assert good.best_radius == pytest.approx(0.15)
    assert good.area[0] == pytest.approx((0.105**2 - 0.02**2) / (0.15**2 - 0.02**2))


def test_three_rows_and_levels_beyond_the_last() -> None:
    clear = ClearAperture([0.0, 0.05, 0.14], 0.0, 0.15)
    assert clear.mean([2.0, 2.0, 2.0]) == pytest.approx(2.0)
    assert clear.peak_to_valley([0.0, 0.05**2, 0.14**2]) == pytest.approx(0.14**2)


@pytest.mark.parametrize(
    ("radius", "inner", "outer"),
    [([0.0, 0.1], 0, 0.1), ([0.0, 0.1, 0.1], 0, 0.1), ([0.0, 0.05, 0.1], 0.1, 0.1), ([0, np.nan, 1], 0, 1)],
)
def test_bad_apertures_are_refused(radius: list[float], inner: float, outer: float) -> None:
    with pytest.raises(ValueError, match=r"radii|empty"):
        ClearAperture(radius, inner, outer)


def test_bad_wavelength_and_huge_hole_are_refused() -> None:
    radius = grid(0.1)
    with pytest.raises(ValueError, match="wavelength"):
        FigureGauge(radius, mirror(2.0, 0.1), 0.0)
    with pytest.raises(ValueError, match="hole"):
        FigureGauge(radius, mirror(2.0, 0.1, 0.097), WAVE)


def test_rim_height_of_a_bending_surface() -> None:
    # error = r^4 = s^2: the line that fits it over s in [0, h] is h s - h^2/6; the rim is the mean over [0.9604, 1]
    radius = np.linspace(0.0, 1.0, 81)
    gauge = FigureGauge(radius, mirror(30.0, 1.0), WAVE)
    low, h = 0.98**2, 0.8**2
    rim = (1 - low**3) / 3 / (1 - low)
    assert gauge.rim_height(radius**4) == pytest.approx(rim - (h * (low + 1) / 2 - h**2 / 6), rel=1e-5)
    assert gauge.rim_height(3.0 + 2.0 * radius**2) == pytest.approx(0.0, abs=1e-12)


@pytest.mark.parametrize(("start", "seen_by_roll"), [(0.8, 0.15), (0.96, 0.6)])
def test_a_broad_turned_edge_hides_from_the_edge_roll_and_not_from_the_rim(start: float, seen_by_roll: float) -> None:
    """Falls in a straight line from ``start`` outwards: half of the rim's mean fall is reached where the line says."""
    a, depth = 0.15, 100e-9
    radius = np.linspace(0.0, a, 301)
    error = -depth * np.clip((radius / a - start) / (1 - start), 0.0, None)
    gauge = FigureGauge(radius, mirror(3.0, a), WAVE)
    rim = -depth * ((0.99 - start) / (1 - start))  # the ring's mean, but for its curvature
    assert gauge.rim_height(error) == pytest.approx(rim, rel=0.01)
    assert (abs(gauge.edge_roll(error)) < seen_by_roll * depth) is (start == 0.8)
    assert gauge.rim_width(error) == pytest.approx(a * (1 - start) * (1 + rim / depth / 2), rel=0.02)


def test_the_width_of_a_perfect_rim_is_none_and_of_a_bare_ring_its_own() -> None:
    radius = np.linspace(0.0, 0.15, 301)
    gauge = FigureGauge(radius, mirror(3.0, 0.15), WAVE)
    assert gauge.rim_width(np.zeros_like(radius)) == 0.0
    assert 0.0 <= gauge.rim_width(np.where(radius > 0.149, 1e-8, 0.0)) < 0.003


def test_a_rim_that_stands_out_less_than_what_is_inside_it_has_no_width() -> None:
    """From up to down: a zone of 100 nm at 0.9 of the radius, and a rim that goes on from there."""
    radius = np.linspace(0.0, 0.15, 301)
    gauge = FigureGauge(radius, mirror(3.0, 0.15), WAVE)
    zone = 100e-9 * np.exp(-0.5 * ((radius / 0.15 - 0.9) / 0.03) ** 2)
    fall = np.clip(radius / 0.15 - 0.9, 0.0, None) / 0.1
    for rim, has_width in ((150e-9, True), (50e-9, False), (1e-9, False), (-50e-9, False), (-150e-9, True)):
        error = zone + rim * fall
        assert gauge.rim_height(error) == pytest.approx(0.9 * rim, abs=5e-9)
        assert bool(gauge.rim_width(error)) is has_width
        if has_width:
            assert 0.004 < gauge.rim_width(error) < 0.02


def test_rim_of_a_mirror_with_a_large_hole() -> None:
    radius = np.linspace(0.0, 0.15, 301)
    gauge = FigureGauge(radius, mirror(3.0, 0.15, hole=0.09), WAVE)
    assert gauge.rim_height(1.0 - radius**2) == pytest.approx(0.0, abs=1e-12)
