"""The state that a session changes: the glass, and the pitch of every lap."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from types import MappingProxyType

import numpy as np

from wearsim.bench.bench import Bench
from wearsim.bench.lap import Lap
from wearsim.bench.mirror import Mirror
from wearsim.figure.aperture import spline_matrix
from wearsim.wear.accuracy import Accuracy
from wearsim.wear.grid import Array, radial_grid


@dataclass(frozen=True)
class Pitch:
    """Height of one lap's pitch above the reference sphere (physics section 1).

    Parameters
    ----------
    radius : (m,) ndarray
        Radii in the lap's frame [m].
    height : (m,) ndarray
        [m]
    """

    radius: Array
    height: Array


@dataclass(frozen=True)
class State:
    """Glass and laps at one moment.

    Parameters
    ----------
    radius : (n,) ndarray
        Radii of the mirror's grid, from the hole's rim to the outer rim [m].
    height : (n,) ndarray
        Height of the glass above the reference sphere [m].
    laps : mapping of str to Pitch
        By the lap's name.
    """

    radius: Array
    height: Array
    laps: Mapping[str, Pitch]

    def with_lap(self, name: str, height: Array) -> State:
        """The same with one lap's pitch changed."""
        laps = {**self.laps, name: replace(self.laps[name], height=height)}
        return replace(self, laps=MappingProxyType(laps))

    def on_grids(self, bench: Bench, accuracy: Accuracy) -> State:
        """The same on the grids of another accuracy."""
        radius = glass_grid(bench.mirror, accuracy)
        laps = {}
        for lap in bench.laps:
            old, rho = self.laps[lap_name(lap)], pitch_grid(lap, accuracy)
            laps[lap_name(lap)] = Pitch(rho, _moved(old.radius, old.height, rho))
        return State(radius, _moved(self.radius, self.height, radius), MappingProxyType(laps))


def _moved(radius: Array, height: Array, to: Array) -> Array:
    return height if np.array_equal(radius, to) else spline_matrix(radius, to) @ height


def lap_name(lap: Lap) -> str:
    """The lap's name, "lap" where a bench has one without a name."""
    return lap.name or "lap"


def glass_grid(mirror: Mirror, accuracy: Accuracy) -> Array:
    """Radii of the mirror's grid [m]."""
    return radial_grid(mirror.hole_radius, mirror.radius, accuracy.glass_rings, accuracy.rim_share)


def pitch_grid(lap: Lap, accuracy: Accuracy) -> Array:
    """Radii of a lap's grid [m]."""
    return radial_grid(0.0, lap.radius, accuracy.pitch_rings, accuracy.rim_share)


def fresh_pitch(lap: Lap, radius: Array, height: Array, accuracy: Accuracy) -> Pitch:
    """A lap as it starts a session: pressed to the glass, or spherical (physics section 4).

    Parameters
    ----------
    lap : Lap
    radius, height : (n,) ndarray
        The glass [m].
    accuracy : Accuracy
    """
    rho = pitch_grid(lap, accuracy)
    if lap.start == "spherical":
        return Pitch(rho, np.zeros_like(rho))
    inside = np.clip(rho, radius[0], radius[-1])
    return Pitch(rho, -(spline_matrix(radius, inside) @ height))


def start_state(bench: Bench, radius: Array, height: Array, accuracy: Accuracy) -> State:
    """State at the start of a session with a given glass.

    Parameters
    ----------
    bench : Bench
    radius, height : (n,) ndarray
        The glass on the mirror's grid [m].
    accuracy : Accuracy
    """
    laps = {lap_name(lap): fresh_pitch(lap, radius, height, accuracy) for lap in bench.laps}
    return State(radius, height, MappingProxyType(laps))
