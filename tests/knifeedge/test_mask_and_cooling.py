"""Mask design, and how long warm glass must stand."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from wearsim.bench.materials import glass
from wearsim.errors import InputError
from wearsim.figure.conic import MirrorGeometry
from wearsim.knifeedge.cooling import cooling
from wearsim.knifeedge.mask import MaskLimits, design_mask, most_zones

SMALL = MirrorGeometry(2.4, radius=0.1, clear_radius=0.1)
PLAIN = glass("borosilicate")


@settings(max_examples=40, deadline=None)
@given(st.integers(3, 8), st.floats(0.15, 0.6), st.floats(3.0, 8.0), st.floats(0.0, 0.3))
def test_windows_of_equal_weight_within_the_limits(zones: int, diameter: float, ratio: float, hole: float) -> None:
    a = diameter / 2
    limits = MaskLimits(least_width=1e-3)
    mirror = MirrorGeometry(2 * ratio * diameter, radius=a, clear_radius=a - 2e-3, hole_radius=hole * a)
    mask = design_mask(zones, mirror, limits=limits)
    assert mask.share == pytest.approx(1 / zones, rel=1e-6)
    assert np.all(mask.width >= 1e-3)
    assert mask.zones.inner[1:] - mask.zones.outer[:-1] == pytest.approx(limits.bridge)
    assert mask.zones.inner[0] >= hole * a
    assert mask.zones.outer[-1] == pytest.approx(a - 3e-3)


def test_too_many_windows_say_how_many_would_do() -> None:
    with pytest.raises(InputError, match=r"expected at most \d+") as caught:
        design_mask(30, SMALL)
    most = int(str(caught.value).rsplit(" ", 1)[-1])
    design_mask(most, SMALL)
    with pytest.raises(InputError):
        design_mask(most + 1, SMALL)
    with pytest.raises(InputError, match="3 to 40"):
        design_mask(2, SMALL)
    with pytest.raises(InputError, match="larger mirror"):
        design_mask(3, MirrorGeometry(0.2, radius=0.012, clear_radius=0.012))
    assert most_zones(0.01, 0.02, MaskLimits()) == 0


def test_aberration_across_a_window() -> None:
    mask = design_mask(5, SMALL, 548.64e-9, "fixed")
    low, high = mask.zones.inner, mask.zones.outer
    travel = (high**2 - low**2) / 2.4 + (high**4 - low**4) / (2 * 2.4**3)
    tolerable = 2 * 2.4 * 1.22 * 548.64e-9 * 6 / mask.zones.middle
    assert mask.across == pytest.approx(travel / (2 * tolerable), rel=1e-6)
    assert mask.aberration == pytest.approx((low**2 + high**2) / 4.8, rel=2e-3)


def test_a_thin_disc_cools_as_one_body() -> None:
    # small Biot numbers: the whole disc's heat capacity over its surface and the heat transfer coefficient
    made = PLAIN.model_copy(update={"conductivity": 200.0})
    got = cooling(0.2, 0.02, made, transfer=5.0)
    lumped = 2230.0 * 830.0 / (5.0 * (2 / 0.02 + 2 / 0.1))
    assert got.time_constant == pytest.approx(lumped, rel=1e-2)


def test_a_thick_disc_in_water_cools_by_conduction_alone() -> None:
    # faces held at the room's temperature: rate = D ((pi/t)^2 + (2.4048/a)^2)
    got = cooling(0.3, 0.05, PLAIN, transfer=1e7)
    rate = PLAIN.diffusivity * ((np.pi / 0.05) ** 2 + (2.404826 / 0.15) ** 2)
    assert got.time_constant == pytest.approx(1 / rate, rel=1e-3)


def test_cooling_against_a_heat_equation_solved_step_by_step() -> None:
    made, a, t, transfer = PLAIN, 0.15, 0.04, 9.0
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
    assert cooling(0.3, 0.04, made, transfer=transfer).time_constant == pytest.approx(-1 / slope, rel=0.01)


def test_larger_thicker_and_more_expanding_glass_waits_longer() -> None:
    plain = cooling(0.3, 0.038, PLAIN)
    assert 1800.0 < plain.time < 6 * 3600.0
    assert cooling(0.5, 0.06, PLAIN).time > plain.time
    assert cooling(0.3, 0.038, glass("soda-lime")).time > plain.time
    assert cooling(0.3, 0.038, PLAIN.model_copy(update={"expansion": 0.05e-6})).time == 0.0
    assert cooling(0.3, 0.038, PLAIN, excess=6.0).time > plain.time


def test_a_shorter_time_is_warned_of() -> None:
    plain = cooling(0.3, 0.038, PLAIN)
    assert plain.warning(plain.time + 1.0) is None
    line = plain.warning(600.0)
    assert line is not None and "10 min" in line and "\n" not in line
    assert plain.error_after(plain.time) == pytest.approx(plain.tolerable)


def test_long_times_are_said_in_hours_and_never_as_if_it_were_enough() -> None:
    thick = replace(cooling(0.3, 0.038, PLAIN), time=115.0 * 60.0)
    line = thick.warning(95.0 * 60.0) or ""
    assert "tested about 1.5 h after" in line and line.endswith("test about 2 h after the work")
    assert "tested 89 min after" in (thick.warning(89.0 * 60.0) or "")
