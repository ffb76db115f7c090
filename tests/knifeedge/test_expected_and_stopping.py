"""Readings to expect, and when to stop."""

from __future__ import annotations

import numpy as np
import pytest

from tests.helpers.knife_surfaces import FINE, MIRROR, A, cosines, eight_windows, exact, sheet
from wearsim.knifeedge.forward_model import expected_readings, reading_matrix
from wearsim.knifeedge.longitudinal import zone_readings
from wearsim.knifeedge.reduction import Reduction, reduce_readings
from wearsim.knifeedge.stopping import WORTH_A_MASK, when_to_stop


@pytest.mark.parametrize("source", ["moving", "fixed"])
def test_expected_positions_are_the_exact_ones_from_the_first_zone(source: str) -> None:
    zones, surface = eight_windows(), cosines(np.random.default_rng(1))
    got = expected_readings(zones, FINE, surface(FINE), MIRROR, source=source)
    rows = exact(zones, surface, source)
    assert got.positions == pytest.approx(rows - rows[0], abs=1e-12)
    assert np.all(got.sigma == 0.0)


def test_reading_matrix_is_the_linear_part() -> None:
    zones, surface = eight_windows(), cosines(np.random.default_rng(2))
    for source in ("moving", "fixed"):
        matrix = reading_matrix(zones, FINE, MIRROR, source)
        small = 1e-3 * surface(FINE)
        change = zone_readings(zones, FINE, small, MIRROR, source)
        change = change - zone_readings(zones, FINE, 0 * small, MIRROR, source)
        assert matrix @ small == pytest.approx(change, rel=1e-5, abs=2e-10)


def test_spread_from_covariance_and_from_draws_agree() -> None:
    zones, rng = eight_windows(), np.random.default_rng(3)
    rows = exact(zones, cosines(rng)) + 5e-5 * rng.normal(size=(3, 8))
    got = reduce_readings(sheet(zones, rows), MIRROR)
    one = expected_readings(zones, got.radius, got.figure_error, MIRROR, covariance=got.covariance)
    two = expected_readings(zones, got.radius, got.figure_error, MIRROR, draws=got.draw(3000, rng))
    assert one.sigma[0] == 0.0
    assert two.sigma[1:] == pytest.approx(one.sigma[1:], rel=0.08)
    both = expected_readings(
        zones, got.radius, got.figure_error, MIRROR, covariance=got.covariance, setting_sigma=np.full(8, 3e-5)
    )
    assert both.setting[1:] == pytest.approx(3e-5 * np.sqrt(2))
    assert both.spread == pytest.approx(np.hypot(both.sigma, both.setting))
    with pytest.raises(ValueError, match="not both"):
        expected_readings(
            zones, got.radius, got.figure_error, MIRROR, covariance=got.covariance, draws=got.draw(3, rng)
        )


def test_readings_of_the_reduced_surface_are_the_readings() -> None:
    zones, surface = eight_windows(), cosines(np.random.default_rng(6), terms=3)
    rows = exact(zones, surface)
    got = reduce_readings(sheet(zones, rows, sigma=1e-7), MIRROR)
    again = expected_readings(zones, got.radius, got.figure_error, MIRROR)
    assert again.positions == pytest.approx(rows - rows[0], abs=2e-6)


def flat_sheet(error, sigma: float):
    zones = eight_windows()
    return reduce_readings(sheet(zones, exact(zones, error), sigma=sigma), MIRROR)


def test_a_good_mirror_read_well_is_good_enough() -> None:
    advice = when_to_stop(flat_sheet(lambda r: 3e-9 * np.cos(2 * np.pi * (r / A) ** 2), 1e-5))
    assert advice.verdict == "yes"
    assert "stop" in advice.reason
    assert advice.wrong_zones == ()


def test_a_poor_mirror_is_not() -> None:
    advice = when_to_stop(flat_sheet(lambda r: 9e-8 * np.cos(2 * np.pi * (r / A) ** 2), 1e-5))
    assert advice.verdict == "no"
    assert len(advice.wrong_zones) >= 3
    assert set(advice.wrong_zones) <= set(advice.resolved_zones)
    assert "within its tolerance" not in advice.reason


def test_windows_within_tolerance_that_together_are_not_good_enough_are_explained() -> None:
    advice = when_to_stop(flat_sheet(lambda r: 3e-8 * np.cos(1.5 * np.pi * r / A), 1e-6))
    assert advice.verdict == "no" and advice.wrong_zones == ()
    assert "Every window is within its tolerance" in advice.reason


def test_a_reading_that_cannot_tell_says_so() -> None:
    advice = when_to_stop(flat_sheet(lambda r: 2.4e-8 * np.cos(2 * np.pi * (r / A) ** 2), 2.5e-4))
    assert advice.verdict == "open"
    assert "take more readings" in advice.reason
    assert advice.resolved_zones == ()


def _turned_edge(height: float) -> Reduction:
    return flat_sheet(lambda r: -height * np.maximum(r / A - 0.9, 0) ** 2 / 0.01, 1e-6)


def test_masking_a_turned_edge_is_offered() -> None:
    advice = when_to_stop(_turned_edge(8e-7))
    assert advice.verdict == "no"
    assert advice.masking.gain > WORTH_A_MASK
    assert "Masked to" in advice.reason
    assert advice.masking_band.shape == (2, advice.masking.mask_radius.size)
    assert np.all(advice.masking_band[0] <= advice.masking_band[1])


def test_a_mask_that_gains_little_is_not_offered() -> None:
    advice = when_to_stop(_turned_edge(1.5e-7))
    assert advice.verdict == "no"
    assert 1.02 < advice.masking.gain < WORTH_A_MASK
    assert "Masked" not in advice.reason
