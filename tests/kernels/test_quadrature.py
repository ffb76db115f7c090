"""Quadrature nodes of the overlap against closed forms and adaptive quadrature."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.integrate import quad

from tests.helpers import kernel_twins as twins
from wearsim.kernels.quadrature import area_nodes, glass_nodes, half_arc, pitch_nodes
from wearsim.wear.state import gauss_table

A, DECAY = 0.15, 0.005


def area_of(b: float, e: float, hole: float, gain: float, fineness: int = 24) -> tuple[Any, Any, Any, Any]:
    x, y, area, plain = buffers = [np.empty(64 * 120) for _ in range(4)]
    n = area_nodes(A, hole, b, e, gain, DECAY, fineness, fineness, gauss_table(), *buffers)
    return x[:n], y[:n], area[:n], plain[:n]


@pytest.mark.parametrize(
    ("a", "b", "d", "area", "centroid"),
    [(1.0, 0.5, 0.7, 0.6456402668, 0.6223823638), (100.0, 80.0, 60.0, 14526.04867, 41.52442300)],
)
def test_overlap_of_two_discs(a: float, b: float, d: float, area: float, centroid: float) -> None:
    # circle-circle intersection, any book of geometry [read]
    x, _, upper, _ = area_of(b / a * A, d / a * A, 0.0, 0.0)
    assert 2.0 * upper.sum() / A**2 == pytest.approx(area / a**2, rel=1e-6)
    assert (upper @ x) / upper.sum() / A == pytest.approx(centroid / a, rel=1e-6)


@pytest.mark.parametrize(
    ("d", "area", "moment"),
    [(1 / 3, 2.47802540, 0.42205593), (0.5, 2.15210923, 0.29431310), (1.0, 1.22836970, 0.07291897)],
)
def test_equal_discs(d: float, area: float, moment: float) -> None:
    # [derived]: area, and second moment about the centroid along the line of centres
    x, y, a2, _ = (v.copy() for v in area_of(A, d * A, 0.0, 0.0))
    assert 2.0 * a2.sum() / A**2 == pytest.approx(area, rel=1e-6)
    assert 2.0 * a2 @ (x - d * A / 2) ** 2 / A**4 == pytest.approx(moment, rel=1e-5)
    assert np.all(y >= 0.0)


def radial_twin(power: int, b: float, e: float, hole: float, gain: float) -> float:
    """Integral of x^power E over the overlap by adaptive quadrature over the radius, arcs in closed form."""
    theta_e = half_arc(A + DECAY, e, b) if gain else 0.0

    def arc(r: float, half: float) -> float:
        s, c = np.sin(half), np.cos(half)
        return [2.0 * half, 2.0 * r * s, r * r * (half + s * c)][power]

    def ring(r: float) -> float:
        half = half_arc(r, e, b)
        return r * (arc(r, half) + gain * np.exp((r - A) / DECAY) * arc(r, min(half, theta_e)))

    low, high = max(hole, e - b), min(A, e + b)
    points = sorted(p for p in (abs(b - e), A - 3 * DECAY) if low < p < high)
    return float(quad(ring, low, high, points=points or None, limit=400, epsrel=1e-10)[0])


@settings(max_examples=40)
@given(st.floats(0.3, 1.2), st.floats(0.0, 0.95), st.sampled_from([0.0, 0.1, 0.3]), st.sampled_from([0.0, 0.3, 1.0]))
def test_area_nodes_integrate(ratio: float, shift: float, hole: float, gain: float) -> None:
    b = ratio * A
    e = shift * max(A, b)
    if hole * A >= min(A, e + b) or e - b > 0.9 * A:
        return
    x, y, area, plain = area_of(b, e, hole * A, gain)
    assert np.all(np.hypot(x, y) <= A * (1 + 1e-12))
    assert np.all(np.hypot(x - e, y) <= b * (1 + 1e-9))
    scale = 2.0 * area.sum()
    for power in range(3):
        there = 2.0 * area @ x**power
        assert there == pytest.approx(radial_twin(power, b, e, hole * A, gain), abs=2e-4 * scale * A**power)
    assert 2.0 * plain.sum() == pytest.approx(radial_twin(0, b, e, hole * A, 0.0), rel=1e-4)


@settings(max_examples=100)
@given(st.floats(0.01, 1.3), st.floats(0.0, 1.5), st.floats(0.3, 1.2))
def test_half_arc_counts_covered_points(r: float, e: float, b: float) -> None:
    if min(abs(abs(r - e) - b), abs(r + e - b)) < 1e-6:  # rims that touch: a matter of rounding
        return
    angle = np.pi * (np.arange(20000) + 0.5) / 20000
    assert half_arc(r, e, b) == pytest.approx(np.pi * twins.covered(r, angle, e, b).mean(), abs=1e-3)


@settings(max_examples=30)
@given(
    st.floats(0.4, 1.2), st.floats(0.0, 0.9), st.floats(0.02, 1.0), st.sampled_from([0.0, 0.3]),
    st.sampled_from(["glass", "pitch"]),
)  # fmt: skip
def test_ring_nodes_average(ratio: float, shift: float, at: float, gain: float, which: str) -> None:
    # the mean over a ring of E times a smooth function, zero where not covered
    b, hole = ratio * A, 0.2 * A if which == "pitch" else 0.0
    e, r = shift * A, at * (A if which == "glass" else b)
    if abs(r + e - (b if which == "glass" else A)) < 1e-6 or e < 1e-6:  # rims that touch: a matter of rounding
        return
    buffers = [np.empty(256) for _ in range(4)]
    if which == "glass":
        n = glass_nodes(r, A, b, e, gain, DECAY, 40, gauss_table(), *buffers)
    else:
        n = pitch_nodes(r, A, hole, b, e, gain, DECAY, 40, gauss_table(), *buffers)
    x, y, share, factor = (v[:n] for v in buffers)
    mean = float(share @ np.exp(-x / A) * 1.0)
    angle = np.pi * (np.arange(40000) + 0.5) / 40000
    px, py = r * np.cos(angle) + (e if which == "pitch" else 0.0), r * np.sin(angle)
    radius = np.hypot(px, py)
    on = (radius <= A * (1.0 + 1e-12)) & (radius >= hole) & (np.hypot(px - e, py) <= b)
    twin = np.mean(on * twins.edge_factor(px, py, A, b, e, gain, DECAY) * np.exp(-px / A))
    assert mean == pytest.approx(twin, abs=3e-3 if which == "pitch" and gain else 3e-4)
    assert np.allclose(factor, twins.edge_factor(x, y, A, b, e, gain, DECAY), rtol=1e-9) or gain > 0.0
