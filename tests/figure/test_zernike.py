"""Zernike terms: order and normalisation of ISO 24157 (from memory)."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from wearsim.figure.zernike import double_index, fit_zernike, zernike_astigmatism, zernike_sum, zernike_term

NODES, WEIGHTS = np.polynomial.legendre.leggauss(40)
SQUARE = 0.5 * (NODES + 1.0)
AZIMUTH = 2.0 * np.pi * np.arange(80) / 80.0


def _disc():
    radius, azimuth = np.meshgrid(np.sqrt(SQUARE), AZIMUTH)
    weight = np.broadcast_to(0.5 * WEIGHTS, radius.shape) / AZIMUTH.size
    return radius, azimuth, weight


def test_order_of_the_first_terms():
    """j = (n (n + 2) + m) / 2 (from memory): piston, tilts, astigmatism 45, defocus, astigmatism 0, ..."""
    wanted = [(0, 0), (1, -1), (1, 1), (2, -2), (2, 0), (2, 2), (3, -3), (3, -1), (3, 1), (3, 3), (4, -4)]
    assert [double_index(j) for j in range(11)] == wanted


@given(st.integers(0, 20000))
def test_double_index_inverts_the_formula_of_the_single_one(j):
    n, m = double_index(j)
    assert abs(m) <= n and (n - m) % 2 == 0 and n * (n + 2) + m == 2 * j


def test_a_negative_index_is_refused():
    with pytest.raises(ValueError, match="at least 0"):
        double_index(-1)


def test_terms_are_orthonormal_over_the_circle():
    radius, azimuth, weight = _disc()
    terms = np.array([zernike_term(j, radius, azimuth) for j in range(45)])
    assert np.einsum("aij,bij,ij->ab", terms, terms, weight) == pytest.approx(np.eye(45), abs=1e-12)


def test_forms_of_some_terms():
    """sqrt(3)(2r^2-1), sqrt(5)(6r^4-6r^2+1), sqrt(6) r^2 sin 2t, sqrt(8)(3r^3-2r) cos t (from memory)."""
    r, t = 0.7, 0.9
    assert zernike_term(4, r, t) == pytest.approx(np.sqrt(3) * (2 * r**2 - 1))
    assert zernike_term(12, r, t) == pytest.approx(np.sqrt(5) * (6 * r**4 - 6 * r**2 + 1))
    assert zernike_term(3, r, t) == pytest.approx(np.sqrt(6) * r**2 * np.sin(2 * t))
    assert zernike_term(8, r, t) == pytest.approx(np.sqrt(8) * (3 * r**3 - 2 * r) * np.cos(t))


@given(st.lists(st.floats(-1e-6, 1e-6), min_size=1, max_size=28))
def test_fit_gives_the_sum_back(coefficients):
    radius, azimuth, weight = _disc()
    fitted = fit_zernike(zernike_sum(coefficients, radius, azimuth), radius, azimuth, weight, 28)
    assert fitted[: len(coefficients)] == pytest.approx(coefficients, abs=1e-17)


@given(amplitude=st.floats(1e-9, 1e-6), axis=st.floats(0.0, 3.14))
def test_astigmatism_has_its_axis_where_the_surface_is_high(amplitude, axis):
    """RMS `amplitude` along `axis`: sqrt(6) r^2 cos 2(t - axis) [derived]."""
    terms = np.zeros(6)
    terms[5], terms[3] = amplitude * np.cos(2 * axis), amplitude * np.sin(2 * axis)
    found = zernike_astigmatism(terms)
    assert found.amplitude == pytest.approx(amplitude)
    assert np.cos(2 * (found.axis - axis)) == pytest.approx(1.0)
    high, low = (zernike_sum(terms, 1.0, found.axis + turn) for turn in (0.0, np.pi / 2))
    assert high - low == pytest.approx(found.peak_to_valley)
