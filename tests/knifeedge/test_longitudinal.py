"""The knife's position against closed forms, ray tracing and the published worked examples."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.integrate import quad

from wearsim.figure.conic import Conic, MirrorGeometry
from wearsim.knifeedge.longitudinal import (
    Zones,
    airy_radius,
    knife_aberration,
    normal_aberration,
    slope_response,
    target_aberration,
    tolerable_aberration,
    zone_readings,
)

INCH = 0.0254


@pytest.mark.parametrize(("diameter", "big"), [(0.3, 3.0), (0.2, 2.4), (0.5, 4.0), (1.0, 3.0)])
def test_paraboloid_closed_forms(diameter: float, big: float) -> None:
    # [derived]: fixed r^2/R + r^4/(2R^3), moving r^2/(2R)
    r = np.linspace(0.01, 1.0, 40) * diameter / 2
    assert target_aberration(r, Conic(big)) == pytest.approx(r**2 / (2 * big), rel=1e-12)
    fixed = r**2 / big + r**4 / (2 * big**3)
    assert target_aberration(r, Conic(big), "fixed") == pytest.approx(fixed, rel=1e-12)
    assert knife_aberration(r, 0.0, 0.0, Conic(big), "fixed") == pytest.approx(fixed, rel=1e-12)


def traced(r: float, big: float, conic: float, slope: float) -> float:
    """Where the ray from a point source at R, reflected by Snell's law at radius r, meets the axis again."""
    z = float(Conic(big, conic).sagitta(r))
    rate = r / np.sqrt(big**2 - (1 + conic) * r**2) + slope
    normal = np.array([-rate, 1.0]) / np.hypot(rate, 1.0)
    ray = np.array([r, z]) - np.array([0.0, big])
    ray /= np.hypot(*ray)
    out = ray - 2 * (ray @ normal) * normal
    return z - r * out[1] / out[0] - big


@pytest.mark.parametrize("conic", [-2.0, -1.0, 0.0, 5.0])
@pytest.mark.parametrize("slope", [0.0, 3e-6, -2e-5])
def test_fixed_source_against_a_traced_ray(conic: float, slope: float) -> None:
    r = np.array([0.03, 0.1, 0.15])
    rays = [traced(one, 3.0, conic, slope) for one in r]
    assert knife_aberration(r, 0.0, slope, Conic(3.0, conic), "fixed") == pytest.approx(rays, abs=1e-11)


def test_moving_source_against_the_normal() -> None:
    r, error, slope = np.array([0.05, 0.15]), np.array([2e-7, -3e-7]), np.array([4e-6, -1e-5])
    z = Conic(3.0).sagitta(r) + error
    crossing = z + r / (r / 3.0 + slope) - 3.0
    assert normal_aberration(r, error, slope, Conic(3.0)) == pytest.approx(crossing, abs=2e-14)


@pytest.mark.parametrize("source", ["moving", "fixed"])
def test_slope_response_is_the_derivative(source: str) -> None:
    r, step = np.array([0.02, 0.09, 0.15]), 1e-8
    for conic in (-1.0, 0.0, 3.0):
        more = knife_aberration(r, 0.0, step, Conic(3.0, conic), source)
        less = knife_aberration(r, 0.0, -step, Conic(3.0, conic), source)
        assert slope_response(r, Conic(3.0, conic), source) == pytest.approx((more - less) / (2 * step), rel=1e-5)


def test_worked_example_in_inches() -> None:
    # r = 6.25 in, R = 165 in: 0.118371 in with a moving source
    assert target_aberration(6.25 * INCH, Conic(165 * INCH)) / INCH == pytest.approx(0.118371, abs=5e-7)


def test_draper_1864() -> None:
    # H. Draper, "On the construction of a silvered glass telescope", Smithsonian Contributions to Knowledge
    # XIV (1864) [read]: 15.5 in mirror of 150 in focus. The sphere in parallel light 5/100 in (exact 0.0501);
    # the paraboloid 10/100 in, which is the moving source's r^2/(2R).
    r, big = 7.75, 300.0
    angle = np.arcsin(r / big)
    focus = big - big / (2 * np.cos(angle))  # the marginal ray of a sphere, from the vertex
    assert big / 2 - focus == pytest.approx(0.0501, abs=5e-5)
    assert target_aberration(r * INCH, Conic(big * INCH)) / INCH == pytest.approx(0.10, abs=5e-4)


def test_six_inch_f8_as_practised() -> None:
    # [second-hand]: zone of mean radius 2.8 in to the extreme edge "about 0.01 in"; exact, fixed, 0.0121
    edge, zone = target_aberration(np.array([3.0, 2.8]) * INCH, Conic(96 * INCH), "fixed") / INCH
    assert edge - zone == pytest.approx(0.0121, abs=5e-5)


def test_tolerance_by_transverse_aberration() -> None:
    # A. Millies-Lacroix, "A graphical approach to the Foucault test", Sky & Telescope, 1976
    # [second-hand; derived]: D 200, R 2400 mm, 548.64 nm, fixed
    r = np.array([25.0, 50.0, 75.0, 100.0]) * 1e-3
    mirror = MirrorGeometry(2.4, radius=0.1, clear_radius=0.1)
    ideal = target_aberration(r, mirror, "fixed") * 1e3
    tolerance = tolerable_aberration(r, mirror, 548.64e-9, "fixed") * 1e3
    assert np.round(r**2 / 2.4 * 1e3, 3).tolist() == [0.260, 1.042, 2.344, 4.167]
    # printed without the r^4 / (2 R^3) that the exact position has
    assert ideal - r**2 / 2.4 * 1e3 == pytest.approx(r**4 / (2 * 2.4**3) * 1e3, rel=1e-6)
    assert np.round(tolerance, 3).tolist() == [0.771, 0.386, 0.257, 0.193]
    assert tolerable_aberration(r, mirror, 548.64e-9) * 2e3 == pytest.approx(tolerance)
    assert airy_radius(mirror, 548.64e-9) == pytest.approx(1.22 * 548.64e-9 * 6.0)


def test_the_same_reading_in_every_zone_is_a_sphere() -> None:
    # its PV and RMS are asserted in tests/figure/test_metrics.py [derived]
    r = np.linspace(0.01, 0.1, 20)
    for source in ("moving", "fixed"):
        assert target_aberration(r, Conic(2.4, 0.0), source) == pytest.approx(0.0, abs=1e-18)


@pytest.mark.parametrize("source", ["moving", "fixed"])
def test_window_reads_the_area_mean(source: str) -> None:
    zones = Zones.from_windows([[0.0, 0.045], [0.06, 0.08], [0.138, 0.147]])
    radius = np.linspace(0.0, 0.15, 301)
    error = 5e-8 * np.cos(3 * np.pi * (radius / 0.15) ** 2)
    got = zone_readings(zones, radius, error, Conic(3.0), source)

    def knife(r: float) -> float:
        slope = -5e-8 * np.sin(3 * np.pi * (r / 0.15) ** 2) * 6 * np.pi * r / 0.15**2
        height = 5e-8 * np.cos(3 * np.pi * (r / 0.15) ** 2)
        return float(knife_aberration(r, height, slope, Conic(3.0), source))

    for value, low, high in zip(got, zones.inner, zones.outer, strict=True):
        integral = quad(lambda r: knife(r) * r, max(low, 1e-12), high, epsabs=1e-14)[0]
        assert value == pytest.approx(2 * integral / (high**2 - low**2), abs=2e-9)


def test_window_of_a_paraboloid_exact() -> None:
    zones = Zones.from_windows([[0.0, 0.05], [0.1, 0.14]])
    radius = np.linspace(0.0, 0.15, 11)
    got = zone_readings(zones, radius, 0 * radius, Conic(3.0))
    assert got == pytest.approx((zones.inner**2 + zones.outer**2) / 12.0, rel=1e-13)
    got = zone_readings(zones, radius, 0 * radius, Conic(3.0), "fixed")
    low, high = zones.inner**2, zones.outer**2
    fourth = (high**2 + high * low + low**2) / 3.0
    assert got == pytest.approx((low + high) / 6.0 + fourth / 54.0, rel=1e-13)


def test_a_single_radius_for_a_window_errs_as_much_as_the_docs_say() -> None:
    # mean, RMS, or the average of the two as the zone's radius "differ by 10-15% in the result" [read]
    low, high, big = 0.018, 0.045, 3.0
    mean, rms = (low + high) / 2, np.sqrt((low**2 + high**2) / 2)
    window = (low**2 + high**2) / (4 * big)
    assert rms**2 / (2 * big) == pytest.approx(window)
    assert 1 - mean**2 / (2 * big) / window == pytest.approx(0.155, abs=0.001)
