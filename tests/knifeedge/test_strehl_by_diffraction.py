"""The Strehl ratio against the peak of a diffraction image computed by a general-purpose Fourier library."""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest

from tests.helpers.knife_surfaces import CLEAR, MIRROR, WAVE, A, cosines, ring
from wearsim.figure.metrics import figure_numbers

PIXELS = 512


def image_peak(error: np.ndarray, radius: np.ndarray, hole: float) -> float:
    """Peak of |FFT of the pupil|^2 over that of a perfect pupil, at the focus of the least-squares fit."""
    axis = (np.arange(PIXELS) + 0.5) / PIXELS * 2.2 - 1.1
    x, y = np.meshgrid(axis * CLEAR, axis * CLEAR)
    r = np.hypot(x, y)
    pupil = ((r <= CLEAR) & (r >= hole)).astype(float)
    height = np.interp(r, radius, error)
    inside = pupil > 0
    design = np.stack([np.ones(inside.sum()), r[inside] ** 2], axis=1)
    height[inside] -= design @ np.linalg.lstsq(design, height[inside], rcond=None)[0]
    image = np.abs(np.fft.fft2(pupil * np.exp(4j * np.pi / WAVE * height))) ** 2
    perfect = np.abs(np.fft.fft2(pupil)) ** 2
    return float(image[0, 0] / perfect[0, 0])


@pytest.mark.parametrize("hole", [0.0, 0.04])
@pytest.mark.parametrize("seed", range(4))
def test_strehl_is_the_peak_of_the_image(hole: float, seed: int) -> None:
    surface = (cosines, ring)[seed % 2](np.random.default_rng(seed))
    radius = np.linspace(0.0, A, 801)
    error = surface(radius)
    mirror = dataclasses.replace(MIRROR, hole_radius=hole)
    got = figure_numbers(radius, mirror.height(radius, error), mirror, WAVE)
    assert got.strehl == pytest.approx(image_peak(error, radius, hole), abs=2e-3)
