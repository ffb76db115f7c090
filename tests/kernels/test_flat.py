"""The flat lap: statics, cover and lift-off, against scipy and the published tables."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.integrate import trapezoid

from tests.helpers import kernel_twins as twins
from tests.helpers.flat_lap import flat_contact, lift_off_offset
from wearsim.kernels.quadrature import half_arc

A = 0.15


def some(low: int, high: int) -> st.SearchStrategy[float]:
    """Hundredths between two of them: nothing that underflows."""
    return st.integers(low, high).map(lambda n: n / 100)


@settings(max_examples=25)
@given(some(40, 120), some(2, 90), st.booleans())
def test_statics_against_strips(ratio: float, shift: float, tool: bool) -> None:
    b = ratio * A
    e = shift * (A if tool else b)
    load = e if tool else 0.0
    found = flat_contact(A, b, e, 1.0, (load, 0.0), fineness=60)  # lifted, its pressure has a kink
    level, slope = twins.flat_statics(A, b, e, load)
    scale = abs(level) + abs(slope) * A
    assert found.level == pytest.approx(level, abs=2e-3 * scale)
    assert found.along == pytest.approx(slope, abs=2e-3 * scale / A)


@pytest.mark.parametrize(
    ("d", "lower", "trailing"), [(0.05, 1.294, 0.842), (0.10, 1.661, 0.630), (1 / 6, 2.302, 0.234)]
)
def test_pressure_table(d: float, lower: float, trailing: float) -> None:
    # [derived]: equal discs, load at the upper centre, in p0 = W / (pi a^2)
    c = flat_contact(A, A, d * 2 * A, 1.0, (d * 2 * A, 0.0))
    p0 = 1.0 / (np.pi * A**2)
    assert c.pressure(A) / p0 == pytest.approx(lower, abs=6e-4)
    assert c.pressure(d * 2 * A - A) / p0 == pytest.approx(trailing, abs=6e-4)


def test_lift_off_of_equal_discs() -> None:
    # [derived]: d = 0.19645 D, largest pressure then 2.661 p0
    for top_is_tool in (True, False):
        assert lift_off_offset(A, A, top_is_tool=top_is_tool) / (2 * A) == pytest.approx(0.19645, abs=1e-5)
    e = lift_off_offset(A, A)
    peak = flat_contact(A, A, e, 1.0, (e, 0.0)).pressure(A) * np.pi * A**2
    assert peak == pytest.approx(2.661, abs=6e-4)


@pytest.mark.parametrize(("q", "share"), [(0.5, 0.2312), (0.6, 0.2242), (0.7, 0.2171), (0.8, 0.2098), (0.9, 0.2027)])
def test_lift_off_of_small_laps(q: float, share: float) -> None:
    # [derived]: overhang of the lap's edge, as a fraction of the lap's diameter q D
    e = lift_off_offset(A, q * A)
    assert (e + q * A - A) / (2 * q * A) == pytest.approx(share, abs=6e-5)


def test_orbiting_lap() -> None:
    # [derived]: coverage arccos((r^2 + e^2 - a^2) / (2 r e)) / pi;
    # a = 1, e = 0.6: c(0.6) = 0.627141
    assert half_arc(0.6, 0.6, 1.0) / np.pi == pytest.approx(0.627141, abs=1e-6)
    assert half_arc(0.39, 0.6, 1.0) / np.pi == pytest.approx(1.0)
    # volume rate pi a^2 per unit of pressure and speed, wherever the orbit lies over a larger glass
    r = np.linspace(1e-6, 1.6, 8001)
    c = np.array([half_arc(s, 0.6, 1.0) for s in r]) / np.pi
    assert trapezoid(2.0 * np.pi * r * c, r) == pytest.approx(np.pi, rel=1e-4)
