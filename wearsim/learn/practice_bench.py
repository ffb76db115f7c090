"""Benches for practice mirrors: sizes, laps and faults invented here, drawn from a seed."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal, get_args

import numpy as np

from wearsim.bench.bench import Bench
from wearsim.bench.files import bench_from_table
from wearsim.bench.lengths import INCHES, MILLIMETRES, POUND, POUND_FORCE, Unit, round_unit
from wearsim.bench.reading import parse_toml
from wearsim.figure.conic import conic_departure
from wearsim.wear.accuracy import DEFAULT
from wearsim.wear.grid import Array
from wearsim.wear.start import StartFigure
from wearsim.wear.state import glass_grid

Fault = Literal["raised ring", "oblate", "sphere", "turned edge"]
FAULTS: tuple[Fault, ...] = get_args(Fault)


@dataclass(frozen=True)
class Drawn:
    """A mirror to practise on, as it truly is at the beginning.

    Parameters
    ----------
    fault : str
        What is wrong with its figure.
    text : str
        Its ``bench.toml``.
    bench : Bench
    start : StartFigure
        The true glass, exact.
    """

    fault: Fault
    text: str
    bench: Bench
    start: StartFigure


def draw_mirror(
    seed: int, fault: Fault | None = None, diameter: float | None = None, focal_ratio: float | None = None
) -> Drawn:
    """A practice mirror of 0.2 to 0.5 m, f/4.5 to f/7, with one of the faults that are met with.

    Parameters
    ----------
    seed : int
    fault : str, optional
        One of :data:`FAULTS`; drawn where not given.
    diameter : float, optional
        [m]; drawn where not given.
    focal_ratio : float, optional
        Focal length over diameter [1]; drawn where not given.
    """
    rng = np.random.default_rng(np.random.SeedSequence(seed, spawn_key=(0,)))
    kind = FAULTS[int(rng.integers(len(FAULTS)))] if fault is None else fault
    drawn_diameter, drawn_ratio = (
        round(float(rng.uniform(0.2, 0.5)), 3),
        round(float(rng.uniform(4.5, 7.0)), 2),
    )
    diameter = drawn_diameter if diameter is None else diameter
    focal_ratio = drawn_ratio if focal_ratio is None else focal_ratio
    text = bench_text(diameter, 2.0 * focal_ratio * diameter)
    # the sheet that the text names is not read yet; the true glass stands in ``start``
    bench = bench_from_table({**parse_toml(text, None), "figure": {"conic": 0.0}}, text=text)
    radius = glass_grid(bench.mirror, DEFAULT)
    height = _target(bench, radius) + _fault(kind, bench, radius, rng)
    return Drawn(kind, text, bench, StartFigure(radius, height, np.zeros((radius.size, 0))))


def bench_text(diameter: float, radius_of_curvature: float) -> str:
    """TOML of a bench with a paraboloid of these sizes [m] and laps that suit it.

    In inches and pounds where the diameter is a rounder number of inches than of millimetres: 10 in, and not 254 mm.
    """
    inches = _digits(diameter / INCHES.size) < _digits(diameter / MILLIMETRES.size)
    whole = (Unit("in", INCHES.size, 3) if inches else Unit("mm", MILLIMETRES.size, 2)).short(diameter)
    size = (INCHES if inches else round_unit(MILLIMETRES)).short
    thickness = 0.11 * diameter
    area = np.pi * (0.5 * diameter) ** 2
    weight = 2230.0 * area * thickness
    push = f"{440.0 * area / POUND_FORCE:.1f} lbf" if inches else f"{440.0 * area:.0f} N"

    def mass(share: float) -> str:
        return f"{share * weight / POUND:.2f} lb" if inches else f"{share * weight:.2f} kg"

    return f"""\
# A practice mirror, invented by wearsim: there is no such glass.

[mirror]
diameter = "{whole}"
radius_of_curvature = "{size(radius_of_curvature)}"
conic = -1.0
glass = "borosilicate"
thickness = "{size(thickness)}"
rim_excluded = "{size(2e-3)}"

[[lap]]
name = "full"
diameter = "{whole}"
mass = "{mass(0.5)}"      # about half of what the mirror weighs
facet_shape = "none"

[[lap]]
name = "small"
diameter = "{size(0.6 * diameter)}"
mass = "{mass(0.2)}"
facet_shape = "none"

[hands]
push = "{push}"
length_jitter = 0.05

[figure]
readings = "readings.toml"
"""


def _digits(number: float) -> int:
    """How many digits a number takes, zeros at its ends not counted."""
    return len(f"{number:.7g}".replace(".", "").strip("0"))


def _target(bench: Bench, radius: Array) -> Array:
    return conic_departure(radius, bench.mirror.radius_of_curvature, bench.mirror.conic)


def _fault(kind: Fault, bench: Bench, radius: Array, rng: np.random.Generator) -> Array:
    """Figure error of one kind at these radii [m], and a little of everything on top."""
    mirror = bench.mirror
    x = radius / mirror.radius
    smooth = sum(rng.normal(0.0, 6e-9) * np.cos(np.pi * n * x**2) for n in (1, 2, 3))
    if kind == "raised ring":
        middle, width = rng.uniform(0.3, 0.85), rng.uniform(0.09, 0.2)
        size = rng.uniform(60e-9, 200e-9) * rng.choice([1.0, 1.0, -1.0])
        return np.asarray(
            smooth + size * np.exp(-4.0 * np.log(2.0) * np.clip((x - middle) / width, -12, 12) ** 2)
        )
    if kind == "turned edge":
        width, depth = rng.uniform(0.06, 0.12), rng.uniform(200e-9, 500e-9)
        return np.asarray(smooth - depth * np.clip((x - 1.0 + width) / width, 0.0, None) ** 2)
    conic = rng.uniform(0.3, 1.0) if kind == "oblate" else 0.0
    return np.asarray(
        smooth + conic_departure(radius, mirror.radius_of_curvature, conic) - _target(bench, radius)
    )
