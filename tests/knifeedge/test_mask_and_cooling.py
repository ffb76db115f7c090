"""Mask design, and how long warm glass must stand."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from wearsim.errors import InputError
from wearsim.knifeedge.cooling import THERMAL, ThermalGlass, thermal_glass, waiting_time
from wearsim.knifeedge.mask import MaskLimits, design_mask, most_zones


@settings(max_examples=40, deadline=None)
@given(st.integers(3, 8), st.floats(0.15, 0.6), st.floats(3.0, 8.0), st.floats(0.0, 0.3))
def test_windows_of_equal_weight_within_the_limits(zones: int, diameter: float, ratio: float, hole: float) -> None:
    a = diameter / 2
    limits = MaskLimits(least_width=1e-3)
    mask = design_mask(
        zones,
        radius=a,
        radius_of_curvature=2 * ratio * diameter,
        hole_radius=hole * a,
        clear_radius=a - 2e-3,
        limits=limits,
    )
    assert mask.share == pytest.approx(1 / zones, rel=1e-6)
    assert np.all(mask.width >= 1e-3)
    assert mask.zones.inner[1:] - mask.zones.outer[:-1] == pytest.approx(limits.bridge)
    assert mask.zones.inner[0] >= hole * a
    assert mask.zones.outer[-1] == pytest.approx(a - 3e-3)


def test_too_many_windows_say_how_many_would_do() -> None:
    with pytest.raises(InputError, match=r"expected at most \d+") as caught:
        design_mask(30, radius=0.1, radius_of_curvature=2.4)
    most = int(str(caught.value).rsplit(" ", 1)[-1])
    design_mask(most, radius=0.1, radius_of_curvature=2.4)
    with pytest.raises(InputError):
        design_mask(most + 1, radius=0.1, radius_of_curvature=2.4)
    with pytest.raises(InputError, match="3 to 40"):
        design_mask(2, radius=0.1, radius_of_curvature=2.4)
    with pytest.raises(InputError, match="larger mirror"):
        design_mask(3, radius=0.012, radius_of_curvature=0.2)
    assert most_zones(0.01, 0.02, MaskLimits()) == 0


def test_aberration_across_a_window() -> None:
    mask = design_mask(5, radius=0.1, radius_of_curvature=2.4, wavelength=548.64e-9, source="fixed")
    low, high = mask.zones.inner, mask.zones.outer
    travel = (high**2 - low**2) / 2.4 + (high**4 - low**4) / (2 * 2.4**3)
    tolerable = 2 * 2.4 * 1.22 * 548.64e-9 * 6 / mask.zones.middle
    assert mask.across == pytest.approx(travel / (2 * tolerable), rel=1e-6)
    assert mask.aberration == pytest.approx((low**2 + high**2) / 4.8, rel=2e-3)


def test_a_thin_disc_cools_as_one_body() -> None:
    # small Biot numbers: the whole disc's heat capacity over its surface and the heat transfer coefficient
    made = ThermalGlass(200.0, 2230.0, 830.0, 3.3e-6)
    got = waiting_time(0.2, 0.02, made, transfer=5.0)
    lumped = 2230.0 * 830.0 / (5.0 * (2 / 0.02 + 2 / 0.1))
    assert got.time_constant == pytest.approx(lumped, rel=1e-2)


def test_a_thick_disc_in_water_cools_by_conduction_alone() -> None:
    # faces held at the room's temperature: rate = D ((pi/t)^2 + (2.4048/a)^2)
    made = THERMAL["borosilicate"]
    got = waiting_time(0.3, 0.05, made, transfer=1e7)
    rate = made.diffusivity * ((np.pi / 0.05) ** 2 + (2.404826 / 0.15) ** 2)
    assert got.time_constant == pytest.approx(1 / rate, rel=1e-3)


def test_cooling_against_a_heat_equation_solved_step_by_step() -> None:
    made, a, t, transfer = THERMAL["borosilicate"], 0.15, 0.04, 9.0
    nr, nz = 40, 16
    dr, dz = a / nr, t / 2 / nz
    r = (np.arange(nr) + 0.5) * dr
    field = np.ones((nr, nz))
    step = 0.2 * min(dr, dz) ** 2 / made.diffusivity
    faces = np.arange(1, nr) * dr

    def rate(f: np.ndarray) -> np.ndarray:
        out = np.zeros_like(f)
        flow = faces[:, None] * np.diff(f, axis=0) / dr
        out[:-1] += flow / (r[:-1, None] * dr)
        out[1:] -= flow / (r[1:, None] * dr)
        out[-1] -= a * transfer / made.conductivity * f[-1] / (1 + transfer * dr / 2 / made.conductivity) / (r[-1] * dr)
        up = np.diff(f, axis=1) / dz
        out[:, :-1] += up / dz
        out[:, 1:] -= up / dz
        out[:, -1] -= transfer / made.conductivity * f[:, -1] / (1 + transfer * dz / 2 / made.conductivity) / dz
        return made.diffusivity * out

    at, values = 0.0, []
    while at < 14400.0:
        field = field + step * rate(field)
        at += step
        values.append((at, field[0, 0]))
    times, gap = np.array(values).T
    late = times > 10800.0
    slope = np.polyfit(times[late], np.log(gap[late]), 1)[0]
    assert waiting_time(0.3, 0.04, made, transfer=transfer).time_constant == pytest.approx(-1 / slope, rel=0.01)


def test_larger_thicker_and_more_expanding_glass_waits_longer() -> None:
    plain = waiting_time(0.3, 0.038)
    assert 1800.0 < plain.time < 6 * 3600.0
    assert waiting_time(0.5, 0.06).time > plain.time
    assert waiting_time(0.3, 0.038, "soda-lime").time > plain.time
    assert waiting_time(0.3, 0.038, "glass ceramic").time == 0.0
    assert waiting_time(0.3, 0.038, excess=6.0).time > plain.time


def test_told_a_shorter_time() -> None:
    plain = waiting_time(0.3, 0.038)
    assert plain.warning(plain.time + 1.0) is None
    said = plain.warning(600.0)
    assert said is not None and "10 min" in said and "\n" not in said
    assert plain.feigned_after(plain.time) == pytest.approx(plain.tolerable)


def test_unknown_glass_is_refused() -> None:
    with pytest.raises(InputError, match="borosilicate"):
        thermal_glass("butter")
