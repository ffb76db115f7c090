"""The state that a session changes: the glass and the pitch of every lap, on radial grids finer towards the rim."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from functools import cache, lru_cache
from types import MappingProxyType

import numpy as np
from numpy.typing import NDArray

from wearsim.bench.bench import Bench
from wearsim.bench.lap import Lap
from wearsim.bench.mirror import Mirror
from wearsim.figure.spline import ProfileSpline
from wearsim.kernels.arrays import Floats
from wearsim.wear.accuracy import Accuracy


def radial_grid(inner: float, outer: float, count: int, rim_share: float) -> Floats:
    """Radii (count,) from ``inner`` to ``outer`` [m], the last cells ``1 - rim_share`` times as wide as an even grid's."""
    t = np.linspace(0.0, 1.0, count)
    return inner + (outer - inner) * ((1.0 - rim_share) * t + rim_share * np.sin(0.5 * np.pi * t))


@lru_cache(maxsize=128)
def _table(radius: bytes, cells: int) -> tuple[NDArray[np.int32], Floats]:
    nodes = np.frombuffer(radius)
    at = np.linspace(nodes[0], nodes[-1], cells + 1)
    first = np.clip(np.searchsorted(nodes, at, side="right") - 2, 0, nodes.size - 4)
    source = (first[:, None] + np.arange(4)).astype(np.int32)
    x = nodes[source]
    weight = np.ones_like(x)
    for j in range(4):
        for m in range(4):
            if m != j:
                weight[:, j] *= (at - x[:, m]) / (x[:, j] - x[:, m])
    return source, weight


def resampling(radius: Floats, cells: int) -> tuple[NDArray[np.int32], Floats]:
    """Which nodes (cells + 1, 4), with which weights, make each value of an even table: local cubics through four nodes."""
    return _table(np.ascontiguousarray(radius).tobytes(), cells)


@cache
def gauss_table(most: int = 64) -> Floats:
    """Gauss-Legendre nodes and weights (2, .) on 0..1 for 1 to ``most`` nodes, packed: rule n starts at n (n - 1) / 2."""
    rules = [np.polynomial.legendre.leggauss(n) for n in range(1, most + 1)]
    nodes = np.concatenate([0.5 * (x + 1.0) for x, _ in rules])
    weights = np.concatenate([0.5 * w for _, w in rules])
    return np.vstack([nodes, weights])


@lru_cache(maxsize=256)
def power_of(exponent: float, terms: int = 6) -> Floats:
    """Polynomial (terms,), without a constant, in the square root of t that comes nearest to ``t ** exponent`` on 0..1.

    For :func:`wearsim.kernels.wear_law.power_of_share`; least squares on Chebyshev's points.
    """
    root = 0.5 * (1.0 - np.cos(np.pi * (np.arange(200) + 0.5) / 200))
    powers = root[:, None] ** np.arange(1, terms + 1)
    return np.asarray(np.linalg.lstsq(powers, root ** (2.0 * exponent), rcond=None)[0])


@dataclass(frozen=True)
class PitchProfile:
    """Height of one lap's pitch above the reference sphere (physics section 1).

    Parameters
    ----------
    radius : (m,) ndarray
        Radii in the lap's frame [m].
    height : (m,) ndarray
        [m]
    """

    radius: Floats
    height: Floats


@dataclass(frozen=True)
class State:
    """Glass and laps at one moment.

    Parameters
    ----------
    radius : (n,) ndarray
        Radii of the mirror's grid, from the hole's rim to the outer rim [m].
    height : (n,) ndarray
        Height of the glass above the reference sphere [m].
    laps : mapping of str to PitchProfile
        By the lap's name.
    """

    radius: Floats
    height: Floats
    laps: Mapping[str, PitchProfile]

    def with_lap(self, name: str, height: Floats) -> State:
        """The same with one lap's pitch changed."""
        laps = {**self.laps, name: replace(self.laps[name], height=height)}
        return replace(self, laps=MappingProxyType(laps))

    def on_grids(self, bench: Bench, accuracy: Accuracy) -> State:
        """The same on the grids of another accuracy."""
        radius = glass_grid(bench.mirror, accuracy)
        laps = {}
        for lap in bench.laps:
            old, rho = self.laps[lap_name(lap)], pitch_grid(lap, accuracy)
            laps[lap_name(lap)] = PitchProfile(rho, _moved(old.radius, old.height, rho))
        return State(radius, _moved(self.radius, self.height, radius), MappingProxyType(laps))


def _moved(radius: Floats, height: Floats, to: Floats) -> Floats:
    return height if np.array_equal(radius, to) else ProfileSpline(radius, height).height(to)


def lap_name(lap: Lap) -> str:
    """The lap's name, "lap" where a bench has one without a name."""
    return lap.name or "lap"


def glass_grid(mirror: Mirror, accuracy: Accuracy) -> Floats:
    """Radii of the mirror's grid [m]."""
    return radial_grid(mirror.hole_radius, mirror.radius, accuracy.glass_rings, accuracy.rim_share)


def pitch_grid(lap: Lap, accuracy: Accuracy) -> Floats:
    """Radii of a lap's grid [m]."""
    return radial_grid(0.0, lap.radius, accuracy.pitch_rings, accuracy.rim_share)


def fresh_pitch(lap: Lap, radius: Floats, height: Floats, accuracy: Accuracy) -> PitchProfile:
    """A lap as it starts a session: pressed to the glass (n,) [m], or spherical (physics section 4)."""
    rho = pitch_grid(lap, accuracy)
    if lap.start == "spherical":
        return PitchProfile(rho, np.zeros_like(rho))
    return PitchProfile(rho, -ProfileSpline(radius, height).height(rho))


def start_state(bench: Bench, radius: Floats, height: Floats, accuracy: Accuracy) -> State:
    """State at the start of a session with a given glass, (n,) [m] on the mirror's grid."""
    laps = {lap_name(lap): fresh_pitch(lap, radius, height, accuracy) for lap in bench.laps}
    return State(radius, height, MappingProxyType(laps))
