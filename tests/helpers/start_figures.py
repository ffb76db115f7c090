"""Start figures that the search is measured on: invented mirrors, each with a complaint of its own."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from wearsim.bench.bench import Bench
from wearsim.bench.profile import Profile
from wearsim.bench.toml_io import bench_from_table
from wearsim.wear.accuracy import DEFAULT, Accuracy
from wearsim.wear.initial_figure import StartFigure, from_conic, from_profile

KNOWN = {
    "preston": 1.0, "stiffness": 1.0, "relaxation_time": 1.0, "edge_gain": 1.0,
    "stroke_length": 1.0, "overhang_bias": "0 mm",
}  # fmt: skip
PRESTON_ALONE = {name: known for name, known in KNOWN.items() if name != "preston"}


@dataclass(frozen=True)
class StartCase:
    """A bench with a figure: ``shape`` of r/a in nm above the target conic, or a conic constant."""

    name: str
    diameter_mm: float
    focal_ratio: float
    minutes: float
    shape: Callable[[np.ndarray], np.ndarray] | None = None
    conic: float | None = None
    lap_share: float = 1.0
    mirror_kg: float | None = None
    lap_kg: float | None = None
    spread: bool = False

    def bench(self, *, spread: bool = False) -> Bench:
        """The bench, the constants taken as known unless ``spread``."""
        curvature = 2.0 * self.focal_ratio * self.diameter_mm
        mirror = {
            "diameter": f"{self.diameter_mm} mm",
            "radius_of_curvature": f"{curvature} mm",
            "thickness": f"{self.diameter_mm / 8} mm",
        }
        if self.mirror_kg is not None:
            mirror["mass"] = f"{self.mirror_kg} kg"
        mass = self.lap_kg if self.lap_kg is not None else 45.0 * (self.lap_share * self.diameter_mm / 1e3) ** 2
        lap = {"diameter": f"{self.lap_share * self.diameter_mm} mm", "mass": f"{mass} kg"}
        table = {"mirror": mirror, "lap": lap, "figure": {"conic": self.conic if self.conic is not None else -1.0}}
        if not spread:
            table["spread"] = KNOWN
        return bench_from_table(table)

    def start(self, bench: Bench, accuracy: Accuracy = DEFAULT) -> StartFigure:
        """The start figure on the grid of an accuracy."""
        if self.shape is None:
            return from_conic(bench, float(self.conic or 0.0), accuracy)
        radius = np.linspace(0.0, bench.mirror.radius, 121)
        error = 1e-9 * self.shape(radius / bench.mirror.radius)
        return from_profile(bench, Profile(radius, error, None), accuracy)


def ring(height: float, place: float, width: float) -> Callable[[np.ndarray], np.ndarray]:
    """A Gaussian ring: height [nm], place and width in mirror radii."""
    return lambda x: height * np.exp(-(((x - place) / width) ** 2))


def _zones(x: np.ndarray) -> np.ndarray:
    return 60 * np.cos(2 * np.pi * x**2) + 40 * np.cos(3 * np.pi * x**2) - 25 * np.cos(4 * np.pi * x**2)


CASES = (
    StartCase("sphere to paraboloid, 0.2 m f/6", 200, 6.0, 60, conic=0.0),
    StartCase("sphere to paraboloid, 0.3 m f/5", 300, 5.0, 120, conic=0.0),
    StartCase("oblate twice the correction, 0.25 m f/7", 250, 7.0, 120, conic=2.0),
    StartCase("oblate five times the correction, 0.5 m f/6", 500, 6.0, 600, conic=5.0),
    StartCase("raised ring at 0.85, 0.4 m f/4.5", 400, 4.5, 90, ring(250, 0.85, 0.1), None, 1.0, 11.0, 5.0),
    StartCase("raised ring at 0.82, 0.3 m f/5", 300, 5.0, 60, ring(250, 0.82, 0.1)),
    StartCase(
        "hole and ring, 0.3 m f/5", 300, 5.0, 90,
        lambda x: ring(-150, 0.0, 0.2)(x) + ring(150, 0.7, 0.1)(x),
    ),
    StartCase("turned edge, 0.2 m f/6", 200, 6.0, 90, lambda x: -200 * np.exp(-(1 - x) / 0.05)),
    StartCase("zones at several radii, 0.35 m f/5", 350, 5.0, 90, _zones),
    StartCase("raised ring at 0.5, 0.25 m f/6", 250, 6.0, 60, ring(150, 0.5, 0.1)),
    StartCase("central hill, 0.15 m f/8", 150, 8.0, 45, ring(200, 0.0, 0.3)),
    StartCase(
        "low centre and raised ring at 0.7, 0.5 m f/4", 500, 4.0, 120,
        lambda x: ring(-200, 0.0, 0.25)(x) + ring(200, 0.7, 0.12)(x),
    ),
    StartCase("raised ring at 0.6, small lap, 0.3 m f/5", 300, 5.0, 60, ring(200, 0.6, 0.12), None, 0.6),
)  # fmt: skip
