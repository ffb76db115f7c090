"""The spectrum of zonal ripple."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from wearsim.figure.metrics import ripple_spectrum

RADIUS = np.linspace(0.0, 0.15, 400)


@given(waves=st.integers(8, 40), amplitude=st.floats(1e-10, 1e-7), phase=st.floats(0.0, 6.0))
def test_a_wave_reads_its_amplitude_and_period(waves, amplitude, phase):
    period = 0.14 / waves
    wave = amplitude * np.cos(2.0 * np.pi * RADIUS / period + phase)
    seen = ripple_spectrum(RADIUS, wave + 1e-6 * (RADIUS / 0.15) ** 4, 0.0, 0.14)
    found, height = seen.strongest
    assert found == pytest.approx(period, rel=1e-6)
    assert height == pytest.approx(amplitude, rel=0.05)
    assert seen.rms == pytest.approx(amplitude / np.sqrt(2.0), rel=0.1)


def test_smooth_figure_is_no_ripple():
    figure = 1e-6 * (3.0 * (RADIUS / 0.15) ** 8 - 2.0 * (RADIUS / 0.15) ** 4 + 0.5)
    assert ripple_spectrum(RADIUS, figure, 0.0, 0.14).rms < 1e-6 * 1e-6


def test_empty_annulus_is_refused():
    with pytest.raises(ValueError, match="empty"):
        ripple_spectrum(RADIUS, RADIUS, 0.1, 0.1)
