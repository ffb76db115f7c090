"""Surface to readings and back: without noise and with."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import numpy as np
import pytest

from tests.helpers.knife_surfaces import (
    CLEAR,
    MIRROR,
    PROFILE,
    WAVE,
    A,
    R,
    cosines,
    eight_windows,
    exact,
    model,
    ring,
    sheet,
)
from wearsim.knifeedge.reduction import reduce_readings
from wearsim.knifeedge.setting_noise import setting_noise
from wearsim.knifeedge.surface_posterior import SlopePrior, reduce_row
from wearsim.wear.initial_figure import covariance_root

TRIALS = 500
NINETY = 1.6448536


def reduced(readings):
    return setting_noise(readings, MIRROR, WAVE)


@pytest.mark.parametrize(("source", "trials"), [("moving", TRIALS), ("fixed", 100)])
def test_without_noise_within_two_nanometres(source: str, trials: int) -> None:
    zones = eight_windows()
    frame = model(zones, source)
    misses = []
    for trial in range(trials):
        surface = cosines(np.random.default_rng([11, trial]), terms=4)
        rows = exact(zones, surface, source) + 0.07  # the zero is arbitrary
        found = reduce_row(frame, reduced(sheet(zones, rows, source=source, sigma=1e-8)))
        misses.append(frame.aperture.rms(found.error - frame.aperture.level(surface(PROFILE))))
    assert max(misses) < 2e-9
    assert np.mean(misses) < 0.4e-9


def narrow_ring(rng: np.random.Generator) -> Callable[[np.ndarray], np.ndarray]:
    """A ring of 0.05 to 0.09 of the radius to its 1/e points: narrower than most of the windows."""
    height = rng.choice([-1.0, 1.0]) * rng.uniform(5e-9, 60e-9)
    place, width = rng.uniform(0.1, 0.95), rng.uniform(0.05, 0.09)
    return lambda r: height * np.exp(-(((r / A - place) / width) ** 2))


def test_zones_narrower_than_the_windows_stay_possible() -> None:
    # readings all but exact of what they cannot resolve: most of it is within the band all the same
    zones = eight_windows()
    frame = model(zones)
    held = []
    for trial in range(100):
        surface = narrow_ring(np.random.default_rng([77, trial]))
        found = reduce_row(frame, reduced(sheet(zones, exact(zones, surface), sigma=1e-8)))
        away = np.abs(found.error - frame.aperture.level(surface(PROFILE)))
        held.append(np.mean(away < NINETY * np.sqrt(np.diagonal(found.covariance))))
    assert np.mean(held) > 0.7


def test_equal_repeats_count_as_exact() -> None:
    zones = eight_windows()
    surface = cosines(np.random.default_rng(5), terms=4)
    rows = np.stack([exact(zones, surface) + zero for zero in (0.0, 1e-3, -2e-3)])
    got = reduce_readings(sheet(zones, rows), MIRROR, profile_radius=PROFILE)
    truth = model(zones).aperture.level(surface(PROFILE))
    assert got.setting_origin == "repeats"
    assert model(zones).aperture.rms(got.figure_error - truth) < 2e-9


def turned_edge(rng: np.random.Generator) -> Callable[[np.ndarray], np.ndarray]:
    """A parabola 200 to 500 nm down at the rim over the outermost 6 to 12% of the radius, on a nearly smooth surface."""
    smooth, depth, width = cosines(rng), rng.uniform(200e-9, 500e-9), rng.uniform(0.06, 0.12)
    return lambda r: 0.2 * smooth(r) - depth * np.clip((r / A - 1.0 + width) / width, 0.0, None) ** 2


@pytest.mark.parametrize(("family", "trials"), [(cosines, TRIALS), (ring, TRIALS), (turned_edge, 150)])
def test_ninety_percent_band_holds_the_truth(family, trials: int) -> None:
    # noise of 0.1 mm at 0.35 of the radius, going as 1/r: at 85-95% of radii
    zones = eight_windows()
    frame = model(zones)
    held = []
    for trial in range(trials):
        rng = np.random.default_rng([2024, trial])
        surface = family(rng)
        noise = 1e-4 * 0.35 * A / zones.middle * rng.normal(size=len(zones))
        row = reduced(sheet(zones, exact(zones, surface) + noise, sigma=1e-4))
        found = reduce_row(frame, row, steps=1)
        away = np.abs(found.error - frame.aperture.level(surface(PROFILE)))
        held.append(np.mean(away < NINETY * np.sqrt(np.diagonal(found.covariance))))
    assert 0.85 <= np.mean(held) <= 0.95


def _miss_over_said(prior: SlopePrior) -> float:
    """RMS by which surfaces with a turned edge are missed, over what the covariance says of it."""
    zones = eight_windows()
    frame = replace(model(zones), prior=prior)
    missed, said = [], []
    for trial in range(60):
        rng = np.random.default_rng([31, trial])
        surface = turned_edge(rng)
        noise = 5e-5 * 0.35 * A / zones.middle * rng.normal(size=len(zones))
        found = reduce_row(frame, reduced(sheet(zones, exact(zones, surface) + noise, sigma=5e-5)))
        missed.append(frame.aperture.rms(found.error - frame.aperture.level(surface(PROFILE))) ** 2)
        said.append(sum(frame.aperture.rms(one) ** 2 for one in covariance_root(found.covariance).T))
    return float(np.sqrt(np.mean(missed) / np.mean(said)))


def test_a_badly_turned_edge_is_missed_by_no_more_than_is_said() -> None:
    assert 0.8 < _miss_over_said(SlopePrior()) < 1.05
    assert _miss_over_said(SlopePrior(rim_amplitudes=(12.0,), rim_shares=(1.0,))) > 1.2  # were it not thought possible


@pytest.mark.parametrize("family", [cosines, ring])
def test_band_is_honest_when_the_accuracy_comes_from_three_repeats(family) -> None:
    zones = eight_windows()
    frame = model(zones)
    held = []
    for trial in range(150):
        rng = np.random.default_rng([31, trial])
        surface = family(rng)
        noise = 1e-4 * 0.35 * A / zones.middle * rng.normal(size=(3, len(zones)))
        rows = exact(zones, surface) + noise + rng.normal(size=(3, 1)) * 1e-3
        found = reduce_row(frame, reduced(sheet(zones, rows)), steps=1)
        away = np.abs(found.error - frame.aperture.level(surface(PROFILE)))
        held.append(np.mean(away < NINETY * np.sqrt(np.diagonal(found.covariance))))
    assert 0.85 <= np.mean(held) <= 0.95


def test_band_is_honest_with_even_noise_given_by_zone() -> None:
    zones = eight_windows()
    frame = model(zones)
    held = []
    for trial in range(200):
        rng = np.random.default_rng([37, trial])
        surface = (cosines, ring)[trial % 2](rng)
        row = exact(zones, surface) + 1e-4 * rng.normal(size=len(zones))
        found = reduce_row(frame, reduced(sheet(zones, row, sigma=np.full(len(zones), 1e-4))), steps=1)
        away = np.abs(found.error - frame.aperture.level(surface(PROFILE)))
        held.append(np.mean(away < NINETY * np.sqrt(np.diagonal(found.covariance))))
    assert 0.85 <= np.mean(held) <= 0.95


def test_a_sphere_read_against_a_paraboloid_comes_out_as_one() -> None:
    # a large figure error: the exact geometry is not linear any more
    zones = eight_windows()
    rows = np.zeros((1, len(zones)))  # the same reading in every zone
    got = reduce_readings(sheet(zones, rows, sigma=1e-7), MIRROR)
    assert got.conic_fit == pytest.approx(0.0, abs=2e-3)
    assert got.surface_pv == pytest.approx(CLEAR**4 / (32 * R**3), rel=6e-3)
    assert got.surface_pv / got.surface_rms == pytest.approx(3.354, rel=5e-3)
