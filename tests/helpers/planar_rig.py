"""A small rig for planar tests: two pieces, a start, one spell walked; fixtures that conftests take over."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass, field

import numba
import numpy as np
import pytest

from wearsim.bench.programme import Stroke
from wearsim.kernels.arrays import Floats
from wearsim.kernels.planar_grid import GlassGrid, PitchGrid
from wearsim.wear.accuracy import PlanarAccuracy
from wearsim.wear.engine_protocol import SpellReport
from wearsim.wear.planar.grid import Mask, across_glass, across_lap, glass_of, pitch_of, ring_mean
from wearsim.wear.planar.motion import Motion
from wearsim.wear.planar.walk import Pieces, PlanarSpell, walk_spell


@pytest.fixture(autouse=True, scope="session")
def one_thread() -> Iterator[None]:
    """One thread is enough for tests, and leaves the machine to others."""
    before = numba.get_num_threads()
    numba.set_num_threads(1)
    yield
    numba.set_num_threads(before)


def planar_pieces(
    cells: int, mirror_radius: float = 0.15, lap_radius: float = 0.15, *, stiffness: float = 5e9, relaxation: float = 300.0,
    preston: float = 8e-13, hole_radius: float = 0.0, edge_gain: float = 0.0, edge_length: float = 5e-3,
    mask: Mask | None = None,
) -> Pieces:  # fmt: skip
    """Two pieces on their grids, SI."""
    across = across_glass(mirror_radius, cells)
    glass = glass_of(mirror_radius, hole_radius, across, edge_gain, edge_length)
    pitch = pitch_of(lap_radius, across_lap(lap_radius, across), stiffness, mask)
    return Pieces(glass, pitch, stiffness, relaxation, preston)


WALK, HAND = 2.0 * np.pi / 240.0, 2.0 * np.pi / 360.0


@dataclass
class Rig:
    """Two pieces on their grids, with the state that spells change."""

    pieces: Pieces
    accuracy: PlanarAccuracy
    glass: GlassGrid = field(init=False)
    pitch: PitchGrid = field(init=False)
    w: Floats = field(init=False)
    u: Floats = field(init=False)

    def __post_init__(self) -> None:
        self.glass, self.pitch = self.pieces.glass, self.pieces.pitch
        self.w = np.zeros((self.glass.across.size,) * 2)
        self.u = np.zeros((self.pitch.across.size,) * 2)

    def raise_zone(self, height: float = 250e-9, at: float = 0.82, width: float = 0.1) -> None:
        share = self.glass.distance / self.glass.radius
        self.w[:] = height * np.exp(-np.minimum(((share - at) / width) ** 2, 700.0))

    def work(self, motion: Motion | None, seconds: float, load: float = 70.0, **options: object) -> SpellReport:
        plain = {key: options.pop(key) for key in ("length_jitter", "centre_jitter", "number") if key in options}
        spell = PlanarSpell(seconds, load, motion, **plain)  # type: ignore[arg-type]
        return walk_spell(
            spell,
            self.pieces,
            self.w,
            self.u,
            accuracy=self.accuracy,
            **options,  # type: ignore[arg-type]
        )

    def rings(self, field: Floats, radius: Floats) -> Floats:
        return ring_mean(field, self.glass.across, radius)


@pytest.fixture(scope="session")
def rig() -> Callable[..., Rig]:
    def make(cells: int = 64, poses: int = 16, **pieces: object) -> Rig:
        return Rig(planar_pieces(cells, **pieces), PlanarAccuracy(cells=cells, poses=poses))  # type: ignore[arg-type]

    return make


@pytest.fixture(scope="session")
def motion() -> Callable[..., Motion]:
    def make(
        kind: str = "w", length: float = 0.15, sweep: float = 0.06, aside: float = 0.0, on_top: str = "tool",
        frequency: float = 50.0 / 60.0, **more: object,
    ) -> Motion:  # fmt: skip
        turning: dict[str, object] = {"walk": WALK, "hand_turn": HAND}
        stroke = Stroke(kind, length, sweep, aside, 8.0, frequency)
        return Motion(on_top, stroke, **{**turning, **more})  # type: ignore[arg-type]

    return make
