"""Invented surfaces and sheets for the knife-edge tests: a 0.3 m f/5 paraboloid unless said otherwise."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from wearsim.figure.conic import MirrorGeometry
from wearsim.knifeedge.longitudinal import Source, Zones, zone_readings
from wearsim.knifeedge.mask import design_mask
from wearsim.knifeedge.readings import Readings
from wearsim.knifeedge.surface_posterior import ReadingModel

A, R, CLEAR, WAVE = 0.15, 3.0, 0.148, 550e-9
MIRROR = MirrorGeometry(R, radius=A, clear_radius=CLEAR)
PROFILE = np.linspace(0.0, A, 101)
FINE = np.linspace(0.0, A, 801)
Surface = Callable[[np.ndarray], np.ndarray]


def eight_windows() -> Zones:
    return design_mask(8, MIRROR).zones


def model(zones: Zones, source: Source = "moving") -> ReadingModel:
    return ReadingModel(zones, MIRROR, WAVE, source, PROFILE)


def cosines(rng: np.random.Generator, terms: int = 5) -> Surface:
    """Cosines of k pi (r/a)^2, normal amplitudes, their sigmas falling from 60 to 5 nm over k = 1..5."""
    amplitude = np.linspace(60e-9, 5e-9, 5)[:terms] * rng.normal(size=terms)
    order = np.arange(1, terms + 1)[:, None] * np.pi
    return lambda r: amplitude @ np.cos(order * (r / A) ** 2)


def ring(rng: np.random.Generator) -> Surface:
    """A Gaussian ring, 0.09 to 0.15 of the radius to its 1/e points, anywhere from centre to rim."""
    height = rng.choice([-1.0, 1.0]) * rng.uniform(5e-9, 60e-9)
    place, width = rng.uniform(0.1, 0.95), rng.uniform(0.09, 0.15)
    return lambda r: height * np.exp(-(((r / A - place) / width) ** 2))


def exact(zones: Zones, surface: Surface, source: Source = "moving") -> np.ndarray:
    return zone_readings(zones, FINE, surface(FINE), MIRROR, source)


def sheet(zones: Zones, rows: np.ndarray, **more: object) -> Readings:
    return Readings(zones=zones, positions=np.atleast_2d(rows), **more)
