"""Conics against closed forms and against arithmetic with many digits."""

from __future__ import annotations

from decimal import Decimal, getcontext

import numpy as np
import pytest
from scipy.integrate import quad

from wearsim.figure.conic import Conic

INCH = 0.0254


def decimal_sagitta(radius: float, curvature: float, conic: float) -> Decimal:
    getcontext().prec = 50
    r, c, one = Decimal(radius), Decimal(curvature), Decimal(1)
    return c * r * r / (one + (one - (one + Decimal(conic)) * c * c * r * r).sqrt())


@pytest.mark.parametrize("conic", [-2.5, -1.0, -0.3, 0.7, 5.0])
def test_departure_keeps_its_digits(conic: float) -> None:
    radius, curvature = np.array([0.01, 0.05, 0.15]), 1 / 3.0
    exact = [float(decimal_sagitta(r, curvature, conic) - decimal_sagitta(r, curvature, 0.0)) for r in radius]
    assert Conic(3.0, conic).departure(radius) == pytest.approx(exact, rel=1e-13)


def test_difference_with_another_curvature() -> None:
    exact = decimal_sagitta(0.15, 1 / 3.0 + 1e-7, -1.2) - decimal_sagitta(0.15, 1 / 3.0, 0.0)
    assert Conic(3.0, -1.2).departure(0.15, 1e-7) == pytest.approx(float(exact), rel=1e-9)


def test_sagitta_of_sphere_and_paraboloid() -> None:
    assert Conic(3.0, 0.0).sagitta(0.15) == pytest.approx(3.0 - np.sqrt(9.0 - 0.15**2), rel=1e-13)
    assert Conic(3.0).sagitta(0.15) == pytest.approx(0.15**2 / 6.0, rel=1e-15)


@pytest.mark.parametrize("conic", [-1.0, 0.0, 3.0])
def test_slope_and_derivatives_against_differences(conic: float) -> None:
    step, r = 1e-5, np.array([0.04, 0.13])
    curve = Conic(3.0, conic)
    slope = (curve.sagitta(r + step) - curve.sagitta(r - step)) / (2 * step)
    assert curve.slope(r) == pytest.approx(slope, rel=1e-7)
    by_curvature, by_conic = curve.derivatives(r)
    more, less = curve.departure(r, 1e-6), curve.departure(r, -1e-6)
    assert by_curvature == pytest.approx((more - less) / 2e-6, rel=1e-6)
    more, less = Conic(3.0, conic + 1e-4).departure(r), Conic(3.0, conic - 1e-4).departure(r)
    assert by_conic == pytest.approx((more - less) / 2e-4, rel=1e-6)


def test_normals_cross_the_axis_where_geometry_says() -> None:
    r = np.array([0.03, 0.11, 0.15])
    for conic in (-1.0, 0.0, 2.0):
        curve = Conic(3.0, conic)
        crossing = curve.sagitta(r) + r / curve.slope(r) - 3.0
        assert curve.normal_crossing(r) == pytest.approx(crossing, abs=2e-15)


def test_conic_that_does_not_reach_is_refused() -> None:
    with pytest.raises(ValueError, match="does not reach"):
        Conic(1.0, 0.0).sagitta(1.1)


def test_8_inch_f6_sphere_against_paraboloid() -> None:
    # [read; derived]: r^4/(8 R^3) = 3.62e-5 in = 918.7 nm at the edge of an 8 in f/6;
    # referred to the sphere touching centre and edge a quarter of it, 229.7 nm, at the 0.707 zone
    radius = np.linspace(0.0, 4 * INCH, 2001)
    gap = -Conic(96 * INCH).departure(radius)
    assert gap[-1] / INCH == pytest.approx(3.62e-5, abs=0.005e-5)
    assert pytest.approx(918.7, abs=0.1) == (4 * INCH) ** 4 / (8 * (96 * INCH) ** 3) * 1e9
    touching = gap[-1] * (radius / radius[-1]) ** 2 - gap
    assert touching.max() * 1e9 == pytest.approx(229.7, rel=2e-3)  # exact sphere: 0.12% more
    assert radius[touching.argmax()] / radius[-1] == pytest.approx(0.707, abs=0.001)


def test_least_glass_from_sphere_to_paraboloid() -> None:
    # [derived; read qualitatively]: pi a^6/(96 R^3) with the 70% zone kept, which is a
    # quarter of what keeping centre or edge costs
    a, big = 0.1, 12.0

    def volume(kept: float) -> float:
        depth = (1 - kept) * a**2  # curvature moved so that the zone kept = sqrt(depth) is tangent

        def removal(r: float) -> float:
            bowl = depth / (4 * big**3)
            raised = depth**2 / (8 * big**3)
            return float(-Conic(big).departure(r)) - bowl * r**2 + raised

        return quad(lambda r: 2 * np.pi * r * removal(r), 0, a)[0]

    seventy = np.pi * a**6 / (96 * big**3)
    assert volume(0.5) == pytest.approx(seventy, rel=2e-4)
    assert volume(0.0) == pytest.approx(4 * seventy, rel=2e-4)
    assert volume(1.0) == pytest.approx(4 * seventy, rel=2e-4)
