"""What a reduction reports: numbers, bands, zones, astigmatism, what lies between the windows."""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest

from tests.helpers.knife_surfaces import CLEAR, MIRROR, PROFILE, WAVE, A, R, cosines, eight_windows, exact, model, sheet
from wearsim.errors import InputError
from wearsim.figure.aperture import ClearAperture
from wearsim.figure.metrics import figure_numbers
from wearsim.knifeedge.longitudinal import Zones, airy_radius
from wearsim.knifeedge.readings import parse_readings
from wearsim.knifeedge.reduction import reduce_readings


def noisy(rng: np.random.Generator, zones: Zones, rows: int, sigma: float = 5e-5) -> np.ndarray:
    return sigma * 0.35 * A / zones.middle * rng.normal(size=(rows, len(zones)))


def a_reduction(seed: int = 3, rows: int = 4):
    zones, rng = eight_windows(), np.random.default_rng(seed)
    surface = cosines(rng)
    return reduce_readings(sheet(zones, exact(zones, surface) + noisy(rng, zones, rows)), MIRROR), surface


def test_numbers_are_those_of_the_profile() -> None:
    got, _ = a_reduction()
    height = MIRROR.height(got.radius, got.figure_error)
    same = figure_numbers(got.radius, height, MIRROR, WAVE)
    assert (got.surface_rms, got.surface_pv) == (same.surface_rms, same.surface_pv)
    assert got.strehl == same.strehl
    assert got.conic_fit == pytest.approx(same.conic_fit, abs=1e-9)
    assert got.wavefront_pv_waves == pytest.approx(2 * got.surface_pv / WAVE)
    assert got.wavefront_pv_waves_sigma == pytest.approx(2 * got.surface_pv_sigma / WAVE)
    assert got.setting_origin == "repeats"
    assert got.setting_sigma == pytest.approx(5e-5, rel=0.5)


def test_bands_hold_the_truth_of_the_numbers_most_of_the_time() -> None:
    inside, conic = [], []
    for seed in range(25):
        got, surface = a_reduction(seed, rows=3)
        frame = model(eight_windows()).aperture
        rms = frame.rms(frame.level(surface(PROFILE)))
        inside.append(got.surface_rms_band[0] <= rms <= got.surface_rms_band[1])
        fine = np.linspace(0, A, 401)
        height = MIRROR.height(fine, surface(fine))
        true = figure_numbers(fine, height, MIRROR, WAVE)
        conic.append((got.conic_fit - true.conic_fit) / got.conic_sigma)
    assert 0.7 <= np.mean(inside) <= 1.0
    assert 0.5 <= np.std(conic) <= 1.4


def test_reduction_is_reproducible_and_its_covariance_sound() -> None:
    one, _ = a_reduction()
    two, _ = a_reduction()
    assert np.array_equal(one.covariance, two.covariance)
    assert one.strehl_band == two.strehl_band
    eigen = np.linalg.eigvalsh(one.covariance)
    assert eigen.min() > -1e-10 * eigen.max()
    # less piston and r^2, so the band has none of them either
    clear = ClearAperture(one.radius, 0.0, CLEAR)
    assert clear.levelling_matrix() @ one.covariance == pytest.approx(one.covariance, abs=1e-24)
    assert one.band[0] == pytest.approx(one.figure_error - 1.6448536 * one.sigma)


def test_zero_of_each_row_is_arbitrary() -> None:
    zones, rng = eight_windows(), np.random.default_rng(8)
    rows = exact(zones, cosines(rng)) + noisy(rng, zones, 3)
    plain = reduce_readings(sheet(zones, rows), MIRROR)
    moved = reduce_readings(sheet(zones, rows + np.array([[0.5], [-0.02], [2.0]])), MIRROR)
    assert moved.figure_error == pytest.approx(plain.figure_error, abs=1e-12)
    assert moved.zero - plain.zero == pytest.approx((0.5 - 0.02 + 2.0) / 3)


def test_what_the_windows_cannot_see_stays_possible() -> None:
    # the same mask with and without a wide gap, settings all but exact: over the gap the band opens
    windows = [[0.015, 0.035], [0.04, 0.06], [0.065, 0.085], [0.09, 0.105], [0.11, 0.125], [0.13, 0.147]]
    whole, gap = Zones.from_windows(windows), Zones.from_windows(windows[:2] + windows[4:])
    sigma = []
    for zones in (whole, gap):
        got = reduce_readings(sheet(zones, exact(zones, lambda r: 0 * r), sigma=1e-6), MIRROR)
        sigma.append(got.sigma)
        assert np.all(got.sigma[1:] > 1e-10)
    between = (got.radius > 0.068) & (got.radius < 0.1)
    assert sigma[1][between].mean() > 2.0 * sigma[0][between].mean()
    # and even between close windows a fine zone of a few nanometres remains possible
    assert 1e-10 < sigma[0][between].max() < 1e-8


def test_more_repeats_settle_more() -> None:
    zones = eight_windows()
    surface = cosines(np.random.default_rng(2))
    poor = reduce_readings(sheet(zones, exact(zones, surface), sigma=5e-4), MIRROR)
    good = reduce_readings(sheet(zones, exact(zones, surface), sigma=1e-6), MIRROR)
    assert poor.supported < good.supported <= len(zones) - 1 + 1e-6
    assert good.supported > 5.0
    assert good.sigma.mean() < poor.sigma.mean()


@pytest.mark.parametrize("source", ["moving", "fixed"])
def test_zones_against_the_airy_disc(source: str) -> None:
    # a pure r^4 error reads linearly in r^2: transverse aberration R e' (levelled) over the Airy radius
    zones = Zones.from_radii(np.linspace(0.02, 0.147, 14))
    bend = 4e-7 / A**4
    rows = exact(zones, lambda r: bend * r**4, source)
    got = reduce_readings(sheet(zones, rows, sigma=1e-7, source=source), MIRROR)
    r = zones.middle
    slope = bend * (4 * r**3 - 2 * CLEAR**2 * r)  # r^4 less r^2 at best focus: r^4 - CLEAR^2 r^2
    rho = airy_radius(MIRROR, WAVE)
    want = -R * slope / rho
    assert [zone.multiple for zone in got.zones] == pytest.approx(want, abs=0.02)
    assert got.zones[-1].transverse == pytest.approx(got.zones[-1].multiple * rho)
    assert got.zones[-1].is_resolved


def test_one_repeat_five_zones_inches_fixed_source_works() -> None:
    text = """
    source = "fixed"
    length_unit = "in"
    windows = [[0.7, 1.8], [2.4, 3.1], [3.6, 4.2], [4.6, 5.1], [5.4, 5.8]]
    readings = [[0.00, 0.05, 0.11, 0.18, 0.25]]
    """
    got = reduce_readings(parse_readings(text), MIRROR)
    assert got.setting_origin == "assumed"
    assert any("neither repeats nor" in line for line in got.warnings)
    assert np.all(np.isfinite(got.figure_error))
    assert 0.0 < got.strehl <= 1.0
    assert len(got.zones) == 5


def test_hole_and_partial_windows_say_what_is_not_read() -> None:
    zones = Zones.from_windows([[0.04, 0.06], [0.07, 0.09], [0.1, 0.12]])
    got = reduce_readings(
        sheet(zones, exact(zones, lambda r: 0 * r), sigma=1e-5), dataclasses.replace(MIRROR, hole_radius=0.03)
    )
    assert got.geometry.hole_radius == 0.03
    assert any("not read" in line for line in got.warnings)
    assert got.sigma[-1] > 3 * got.sigma[60]


def turned(angles: list[float], amount, rows_each: int, rng: np.random.Generator, kept: bool = True):
    """Rows at several orientations of a mirror whose surface is astigmatic: amount(r) cos 2 theta [m]."""
    zones = eight_windows()
    rows, orientation = [], []
    for angle in angles:
        for _ in range(rows_each):
            here = exact(zones, lambda r, t=angle: amount(r) * np.cos(2 * t) + 2e-8 * np.cos(2 * np.pi * (r / A) ** 2))
            zero = 0.0 if kept else rng.normal() * 1e-3
            rows.append(here + zero + noisy(rng, zones, 1, 2e-5)[0])
            orientation.append(angle)
    return sheet(zones, np.array(rows), orientation=np.array(orientation))


def test_astigmatism_is_reported_and_never_blamed_on_zones() -> None:
    rng = np.random.default_rng(21)
    readings = turned([0.0, np.pi / 2], lambda r: 1.5e-7 * (r / A) ** 2, 3, rng)
    got = reduce_readings(readings, MIRROR)
    seen = got.astigmatism
    assert seen is not None and seen.height_sigma is not None
    assert seen.is_seen
    assert seen.height == pytest.approx(1.5e-7, abs=3 * seen.height_sigma)
    assert seen.height_sigma < 2e-8
    clear = ClearAperture(got.radius, 0.0, CLEAR)
    truth = clear.level(2e-8 * np.cos(2 * np.pi * (got.radius / A) ** 2))
    assert clear.rms(got.figure_error - truth) < 4e-9
    assert any("astigmatic" in line for line in got.warnings)


def test_three_orientations_give_the_axis() -> None:
    rng = np.random.default_rng(22)
    axis = np.radians(30)
    zones = eight_windows()
    angles = np.repeat(np.radians([0.0, 60.0, 120.0]), 2)
    rows = [
        exact(zones, lambda r, t=t: 2e-7 * (r / A) ** 2 * np.cos(2 * (t - axis))) + noisy(rng, zones, 1, 1e-5)[0]
        for t in angles
    ]
    seen = reduce_readings(sheet(zones, np.array(rows), orientation=angles), MIRROR).astigmatism
    assert seen is not None and seen.axis is not None
    assert seen.axis == pytest.approx(axis, abs=0.06)
    assert seen.height == pytest.approx(2e-7, rel=0.1)


def test_astigmatism_that_varies_by_zone_is_seen_whatever_the_zeros() -> None:
    rng = np.random.default_rng(23)
    got = reduce_readings(turned([0.0, np.pi / 2], lambda r: 1.5e-7 * (r / A) ** 4, 1, rng, kept=False), MIRROR)
    assert got.astigmatism is not None
    assert got.astigmatism.height_sigma is None
    assert any("shifted scale" in line for line in got.warnings)
    rng = np.random.default_rng(23)
    more = reduce_readings(turned([0.0, np.pi / 2], lambda r: 1.5e-7 * (r / A) ** 4, 3, rng, kept=False), MIRROR)
    assert more.astigmatism is not None
    assert more.astigmatism.varies_by_chance < 1e-3


def test_a_round_mirror_is_not_called_astigmatic() -> None:
    called = []
    for seed in range(30):
        rng = np.random.default_rng([24, seed])
        got = reduce_readings(turned([0.0, np.pi / 2], lambda r: 0 * r, 3, rng), MIRROR)
        assert got.astigmatism is not None
        called.append(got.astigmatism.is_seen)
    assert np.mean(called) < 0.25


def test_one_orientation_says_nothing_of_astigmatism() -> None:
    rng = np.random.default_rng(1)
    assert reduce_readings(turned([0.3], lambda r: 0 * r, 3, rng), MIRROR).astigmatism is None


def test_orientations_that_are_nearly_the_same_are_refused() -> None:
    rng = np.random.default_rng(1)
    with pytest.raises(InputError, match="just two directions"):
        reduce_readings(turned([0.0, 1e-4, 2e-4], lambda r: 0 * r, 1, rng), MIRROR)


def test_beyond_the_rim_is_refused_through_the_front_door() -> None:
    zones = Zones.from_radii([0.05, 0.1, 0.2])
    with pytest.raises(InputError, match="rim"):
        reduce_readings(sheet(zones, np.zeros(3)), MIRROR)
