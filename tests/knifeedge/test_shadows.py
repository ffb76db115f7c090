"""Shadow pictures: what geometry demands of them, and geometry against diffraction."""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest

import wearsim as ws
from tests.helpers.knife_surfaces import FINE, MIRROR, WAVE, A
from tests.helpers.small_bench import ring_figure, small_bench
from wearsim.decide.stroke_library import StrokeSpec
from wearsim.figure.spline import ProfileSpline
from wearsim.knifeedge.longitudinal import target_aberration
from wearsim.knifeedge.shadows import KnifeTester, diffraction_shadow, geometric_shadow, knife_curve
from wearsim.wear.accuracy import DEFAULT, SMOOTH
from wearsim.wear.predict import predict


def stand(error=lambda r: 0 * r, conic: float = -1.0, hole_radius: float = 0.0, **more: object) -> KnifeTester:
    mirror = dataclasses.replace(MIRROR, conic=conic, hole_radius=hole_radius)
    return KnifeTester(FINE, error(FINE), mirror, WAVE, **more)


def test_a_sphere_at_its_centre_darkens_all_at_once() -> None:
    shadow = geometric_shadow(stand(conic=0.0), 0.0)
    assert shadow.brightness[shadow.on_glass] == pytest.approx(0.5, abs=1e-6)
    assert np.all(shadow.brightness[~shadow.on_glass] == 0.0)


@pytest.mark.parametrize("source", ["moving", "fixed"])
def test_knife_inside_and_outside_the_centre_darkens_opposite_sides(source: str) -> None:
    near = geometric_shadow(stand(conic=0.0, source=source), -1e-3)
    far = geometric_shadow(stand(conic=0.0, source=source), 1e-3)
    half = near.axis.size // 2
    assert near.brightness[half, half // 2] < 0.1 < 0.9 < near.brightness[half, -half // 2]
    assert near.brightness == pytest.approx(far.brightness[:, ::-1], abs=1e-6)


def test_the_zone_that_the_knife_matches_is_grey() -> None:
    shadow = geometric_shadow(stand(), float(target_aberration(0.1, MIRROR)))
    half = shadow.axis.size // 2
    column = int(np.argmin(np.abs(shadow.axis - 0.1)))
    assert shadow.brightness[half, column] == pytest.approx(0.5, abs=0.2)
    assert knife_curve(stand(), [0.05, 0.1]) == pytest.approx(np.array([0.05, 0.1]) ** 2 / 6)


def test_diffraction_of_large_errors_agrees_with_geometry_away_from_edges() -> None:
    shape = stand(lambda r: 4e-7 * np.cos(2 * np.pi * (r / A) ** 2), slit=60e-6)
    knife = 0.0018
    ray, wave = geometric_shadow(shape, knife, pixels=512), diffraction_shadow(shape, knife)
    on = ray.on_glass & (np.hypot(*np.meshgrid(ray.axis, ray.axis)) < 0.93 * A)
    bright, dark = on & (ray.brightness > 0.999), on & (ray.brightness < 0.001)
    assert wave.brightness[bright].mean() == pytest.approx(1.0, abs=0.08)
    assert wave.brightness[dark].mean() < 0.08


def test_half_the_light_of_a_point_passes_a_knife_on_the_axis() -> None:
    wave = diffraction_shadow(stand(conic=0.0, slit=0.0), 0.0, pixels=256)
    inner = wave.on_glass & (np.hypot(*np.meshgrid(wave.axis, wave.axis)) < 0.5 * A)
    assert wave.brightness[inner].mean() == pytest.approx(0.25, abs=0.03)  # half the amplitude


def test_knife_drawn_back_shows_the_whole_glass() -> None:
    wave = diffraction_shadow(stand(conic=0.0), 0.0, pixels=256, cut=-3e-3)
    assert wave.brightness[wave.on_glass].mean() == pytest.approx(1.0, abs=0.02)


def test_hole_is_dark_and_no_number_is_bad() -> None:
    wave = diffraction_shadow(stand(hole_radius=0.03), 1e-3, pixels=256)
    half = wave.axis.size // 2
    assert wave.brightness[half, half] == 0.0
    assert np.all(np.isfinite(wave.brightness))


def test_fringes_that_the_pixels_cannot_carry_are_refused() -> None:
    with pytest.raises(ValueError, match="pixels"):
        diffraction_shadow(stand(), 0.05, pixels=64)


def test_a_prediction_for_shadows_has_no_rings_of_the_engines_offsets() -> None:
    bench = small_bench()
    hung = StrokeSpec("mirror", None, "w", 0.45, 0.15).spell(20.0, 50.0)
    glass = ring_figure(bench, DEFAULT)
    roughness = []
    for accuracy in (DEFAULT, SMOOTH):
        outcome = predict(bench, ws.Programme(spells=(hung,)), draws=0, accuracy=accuracy, start=glass)
        at = np.linspace(0.5, 0.95, 300) * bench.mirror.radius
        slopes = ProfileSpline(outcome.radius, outcome.removal).slope(at)
        roughness.append(float(np.abs(np.diff(slopes, 2)).sum()))
    assert roughness[1] < 0.5 * roughness[0]


def test_same_surface_same_picture() -> None:
    one = diffraction_shadow(stand(), 1e-3, pixels=128)
    two = diffraction_shadow(dataclasses.replace(stand()), 1e-3, pixels=128)
    assert np.array_equal(one.brightness, two.brightness)
