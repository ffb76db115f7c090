"""What the page on uncertainty says of the spreads and of a few draws."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.stats import norm

from docs import tables


def test_moments_of_the_factors() -> None:
    z = np.linspace(-12.0, 12.0, 20001)
    weight = norm.pdf(z) * (z[1] - z[0])
    for _, one_sigma, ninety, mean, square, deviation in tables.factors():
        factor = one_sigma**z
        assert weight @ factor == pytest.approx(mean, rel=1e-6)
        assert weight @ factor**2 == pytest.approx(square, rel=1e-6)
        assert deviation**2 == pytest.approx(square - mean**2, rel=1e-9)
        assert weight @ ((factor > 1 / ninety) & (factor < ninety)) == pytest.approx(0.9, abs=2e-3)


def test_what_draws_leave_of_a_percentile() -> None:
    """About 0.3 sigma at 32 draws of four inputs, less than free draws leave; the band is a little wide; 128 halve it."""
    free = np.sqrt(0.05 * 0.95 / 32) / norm.pdf(1.645)
    middle, error, held = tables.scatter(32, 4, bands=400)
    assert free == pytest.approx(0.37, abs=0.005) and 0.2 < error < 0.9 * free
    assert middle > 1.645 and 0.91 < held < 0.93
    middle_128, error_128, held_128 = tables.scatter(128, 4, bands=400)
    assert error_128 < 0.7 * error and middle_128 - 1.645 < 0.5 * (middle - 1.645) and 0.9 < held_128 < held
    _, error_one, held_one = tables.scatter(32, 1, bands=400)
    assert error_one < 0.6 * error and 0.92 < held_one < 0.95
