"""Diverse benches with a 20-minute spell each, on which the default accuracy is found."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import numpy as np

from wearsim.bench.bench import Bench, Wear
from wearsim.bench.fields import Extent
from wearsim.bench.figure_source import FigureSource
from wearsim.bench.hands import Hands
from wearsim.bench.lap import Lap
from wearsim.bench.mirror import Mirror
from wearsim.bench.programme import Spell
from wearsim.wear.accuracy import Accuracy
from wearsim.wear.state import State, glass_grid, start_state


@dataclass(frozen=True)
class Case:
    """One bench, one spell, and the figure error that the glass starts with, as a function of r/a [m]."""

    name: str
    bench: Bench
    spell: Spell
    error: Callable[[Any], Any]

    def start(self, accuracy: Accuracy) -> State:
        """The state at the start on the grids of ``accuracy``."""
        mirror = self.bench.mirror
        radius = glass_grid(mirror, accuracy)
        conic = mirror.geometry.departure(radius)
        return start_state(self.bench, radius, conic + self.error(radius / mirror.radius), accuracy)


def ring(height: float, at: float, width: float) -> Callable[[Any], Any]:
    """A raised (or, negative, sunk) ring."""
    return lambda t: height * np.exp(-(((t - at) / width) ** 2))


def _case(
    name: str, stroke: str, on_top: str, error: Callable[[Any], Any], *, size: float = 0.3, big: float = 3.0,
    lap: float = 1.0, hole: float = 0.0, hands: Hands | None = None, gain: float = 0.3,
    start: str = "pressed", stiffness: float = 5e9, **spell: Any,
) -> Case:  # fmt: skip
    extents = {k: Extent(v) for k, v in spell.items() if k in ("length", "side_sweep", "side_overhang")}
    mirror = Mirror(diameter=size, radius_of_curvature=big, hole=hole, thickness=size / 8)
    piece = Lap(diameter=lap * size, mass=4.0 * (lap * size / 0.3) ** 3, start=start, stiffness=stiffness)
    bench = Bench(
        mirror=mirror, laps=(piece,), hands=hands or Hands(), wear=Wear(edge_gain=gain),
        figure=FigureSource(conic=-1.0),
    )  # fmt: skip
    return Case(name, bench, Spell(stroke=stroke, on_top=on_top, minutes=20.0, **{**spell, **extents}), error)


STEADY = Hands(length_jitter=0.0, centre_jitter=0.0, push_height=0.0)


def cases() -> tuple[Case, ...]:
    """Fifteen cases: either piece on top, all strokes, patches, small and large laps, stiff pitch, a hole."""
    zone = ring(250e-9, 0.82, 0.10)
    flat = ring(0.0, 0.5, 1.0)
    return (
        _case("tool W, raised zone", "w", "tool", zone, length=0.5, side_sweep=0.2),
        _case("the same, spherical lap", "w", "tool", zone, length=0.5, side_sweep=0.2, start="spherical"),
        _case("mirror long W, zone", "w", "mirror", zone, length=0.7, side_sweep=0.2),
        _case("mirror W, no jitter", "w", "mirror", zone, length=0.75, side_sweep=0.2, hands=STEADY, gain=0.0),
        _case("tool one-third, no jitter", "one-third", "tool", flat, hands=STEADY),
        _case("mirror straight, 0.2 m f/6 sphere", "straight", "mirror",
              lambda t: 387e-9 * (t**4 - t**2), size=0.2, big=2.4, length=0.55),
        _case("tool overhang", "overhang", "tool", zone, length=0.3, side_overhang=0.25),
        _case("tool oval", "oval", "tool", ring(400e-9, 0.0, 0.3), length=0.4, side_sweep=0.15),
        _case("mirror oval off centre", "oval", "mirror", ring(-300e-9, 0.6, 0.2),
              length=0.4, side_sweep=0.15, side_overhang=0.1),
        _case("small lap at the zone", "overhang", "tool", zone, lap=0.5, length=0.25, side_overhang=0.3),
        _case("small lap W, deep ring", "w", "tool", ring(-600e-9, 0.5, 0.12), lap=0.6, length=0.4,
              side_sweep=0.25, size=0.5, big=4.0),
        _case("large lap 1.15, mirror W", "w", "mirror", zone, lap=1.15, length=0.5, side_sweep=0.2),
        _case("stiff pitch x 5, spherical", "w", "tool", zone, length=0.5, side_sweep=0.2, stiffness=2.5e10,
              start="spherical"),
        _case("patchy, 0.4 m, waves", "straight", "tool", lambda t: 300e-9 * np.cos(14.0 * t), size=0.4, big=5.0,
              length=0.4, start="spherical"),
        _case("hole, mirror W", "w", "mirror", zone, size=0.4, big=3.2, hole=0.08, length=0.6, side_sweep=0.2),
        _case("push off centre, tool W", "w", "tool", zone, length=0.4, side_sweep=0.15,
              hands=Hands(push_offset=(0.01, 0.02))),
    )  # fmt: skip
