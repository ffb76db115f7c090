"""From a bench and its programme to the planar engine's plain numbers, and a whole programme walked."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass

import numpy as np

from wearsim.bench.bench import Bench
from wearsim.bench.lap import Lap
from wearsim.bench.programme import Programme, Spell
from wearsim.figure.metrics import RippleSpectrum
from wearsim.kernels.arrays import Floats
from wearsim.kernels.planar_grid import Glass, Pitch
from wearsim.wear.constants import AS_STATED, Constants
from wearsim.wear.initial_figure import frame_for
from wearsim.wear.planar.engine import Pieces, PlanarAccuracy, PlanarSpell, SpellReport, work_spell
from wearsim.wear.planar.figure import FigureFrame, MapFigure
from wearsim.wear.planar.grid import (
    Mask,
    RoundStart,
    both,
    facets,
    glass_map,
    part_of_cells,
    pressed_lap,
    ring,
    ring_mean,
    star,
)
from wearsim.wear.planar.motion import Motion
from wearsim.wear.state import State, lap_name

SpellProgress = Callable[[int, float], None]


@dataclass(frozen=True, eq=False)
class LapMap:
    """One lap's pitch on its grid.

    Parameters
    ----------
    across : ndarray, shape (m,)
        Coordinates of its columns and rows, in its own frame [m].
    height : ndarray, shape (m, m)
        Above the reference sphere [m].
    share : ndarray, shape (m, m)
        Share of each cell that is pitch [1].
    """

    across: Floats
    height: Floats
    share: Floats


@dataclass(frozen=True, eq=False)
class PlanarResult:
    """What a programme does, on maps in each piece's own frame.

    Parameters
    ----------
    across : ndarray, shape (n,)
        Coordinates of the mirror's columns (x) and rows (y) [m].
    covered : ndarray, shape (n, n)
        Share of each cell that is glass [1].
    stages : ndarray, shape (spells + 1, n, n)
        Height of the glass above the reference sphere at the start and after each spell [m].
    laps : mapping of str to LapMap
        Every lap's pitch after, by the lap's name.
    reports : tuple of SpellReport
    before, after : MapFigure
        The figure before and after.
    terms : ndarray, shape (spells + 1, 28)
        Zernike coefficients at the start and after each spell [m].
    ripple : RippleSpectrum
        Of the removal.
    radius, removal_profile : ndarray, shape (k,)
        Radii asked for, and the removal's mean over their circles [m].
    frame : FigureFrame
        What the figure is referred to.
    glass : Glass
    """

    across: Floats
    covered: Floats
    stages: Floats
    laps: Mapping[str, LapMap]
    reports: tuple[SpellReport, ...]
    before: MapFigure
    after: MapFigure
    terms: Floats
    ripple: RippleSpectrum
    radius: Floats
    removal_profile: Floats
    frame: FigureFrame
    glass: Glass

    @property
    def removal(self) -> Floats:
        """Glass removed, nought where there is none ``(n, n)`` [m]."""
        return np.where(self.covered > 0.0, self.stages[0] - self.stages[-1], 0.0)

    def profile(self, stage: int) -> Floats:
        """Mean height over rings of the glass at a stage, at ``radius`` [m]."""
        return ring_mean(self.stages[stage], self.across, self.radius)

    @property
    def peak(self) -> SpellReport:
        """The report of the spell that pressed hardest."""
        return max(self.reports, key=lambda report: report.peak_pressure, default=SpellReport())

    @property
    def redraws(self) -> int:
        """Jittered strokes drawn again because they would have tipped the piece off."""
        return sum(report.redraws for report in self.reports)


def mask_for(lap: Lap) -> Mask | None:
    """Where a lap has pitch; None for a whole lap."""
    cut = facets(lap.facet_shape, lap.facet, lap.channel, (lap.channel_offset[0], lap.channel_offset[1]))
    if lap.ring_inner > 0.0:
        cut = both(cut, ring(lap.ring_inner / 2.0, lap.radius))
    if lap.star_points > 0:
        cut = both(cut, star(lap.star_points, lap.radius - lap.star_depth, lap.radius))
    return cut


def pieces_for(bench: Bench, lap: Lap, constants: Constants = AS_STATED) -> Pieces:
    """The two pieces of a spell, SI."""
    return Pieces(
        mirror_radius=bench.mirror.radius,
        lap_radius=lap.radius,
        stiffness=lap.stiffness * constants.stiffness,
        relaxation=bench.relaxation_time_at(lap) * constants.relaxation_time,
        preston=bench.preston * constants.preston,
        hole_radius=bench.mirror.hole_radius,
        edge_gain=bench.wear.edge_gain * constants.edge_gain,
        edge_length=bench.edge_length_for(lap),
        mask=mask_for(lap),
    )


@dataclass(frozen=True)
class Stand:
    """How the pieces and the worker stand to each other; angles in the barrel's frame [rad]."""

    on_top: str = ""
    mirror: float = 0.0
    lap: float = 0.0
    heading: float = 0.0
    turned: float = 0.0
    strokes: int = 0

    def before(self, spell: Spell) -> Stand:
        """The stand that a spell starts from.

        A spell that turns nothing and keeps the same piece on top goes on where the last one stopped. Otherwise
        the pieces come apart: the worker begins again where every session begins, the lap is laid on as it was, the
        mirror turned by the sum of its turns.
        """
        if spell.on_top == self.on_top and spell.turn == 0.0:
            return self
        turned = self.turned + spell.turn
        return Stand(spell.on_top, turned, 0.0, 0.0, turned)

    def after(self, motion: Motion, seconds: float) -> Stand:
        """The stand that it leaves."""
        mirror, lap, heading = motion.after(seconds)
        strokes = self.strokes + int(np.ceil(seconds * motion.stroke.frequency - 1e-9))
        return Stand(self.on_top, mirror, lap, heading, self.turned, strokes)


def motion_for(bench: Bench, spell: Spell, stand: Stand) -> Motion:
    """A spell's motion (physics section 5)."""
    hands = bench.hands
    return Motion(
        on_top=spell.on_top,
        stroke=spell.stroke_on(bench.mirror.diameter),
        walk=2.0 * np.pi / hands.walk,
        hand_turn=2.0 * np.pi / hands.hand_turn,
        mirror_angle=stand.mirror,
        lap_angle=stand.lap,
        heading=stand.heading,
        push_offset=(hands.push_offset[0], hands.push_offset[1]),
        lead=hands.friction_lead,
        strokes_before=stand.strokes,
    )


def spell_for(bench: Bench, spell: Spell, number: int, stand: Stand) -> PlanarSpell:
    """One spell, SI."""
    lap = bench.lap(spell.lap)
    load = bench.load_on(spell.on_top, lap, spell.push, pressing=spell.is_press)
    turned = stand.lap - stand.mirror
    if spell.is_press:
        return PlanarSpell(spell.duration, load, None, number=number, turned=turned)
    hands = bench.hands
    motion = motion_for(bench, spell, stand)
    return PlanarSpell(spell.duration, load, motion, hands.length_jitter, hands.centre_jitter, number)


@dataclass
class _Lap:
    pieces: Pieces
    pitch: Pitch
    height: Floats


def run_planar(
    bench: Bench, programme: Programme, start: RoundStart | Floats, *, radius: Floats | None = None, seed: int = 0,
    accuracy: PlanarAccuracy | None = None, constants: Constants = AS_STATED, laps: State | None = None,
    progress: SpellProgress | None = None,
) -> PlanarResult:  # fmt: skip
    """Walk a programme on a bench.

    Parameters
    ----------
    bench : Bench
    programme : Programme
    start : RoundStart or ndarray, shape (n, n)
        Height of the glass above its reference sphere: round, or a map on the engine's grid
        (:meth:`FigureFrame.height_of_map`, :meth:`FigureFrame.height_of_terms`) [m].
    radius : ndarray, shape (k,), optional
        Radii of the profiles [m]; one a cell by default.
    seed : int
        Entropy of the jitter.
    constants : Constants
        Factors on the bench's uncertain constants.
    laps : State, optional
        Laps as a session left them, round; by default as the bench starts them.
    progress : callable, optional
        Called with the spell's number, from 0, and the share of it done.

    Raises
    ------
    TipsOffError
        If a stroke carries the load outside the contact.
    ContactError
        If a balance was not found.
    """
    accuracy = accuracy or PlanarAccuracy()
    pieces = pieces_for(bench, bench.laps[0], constants)
    glass = pieces.glass(accuracy.cells)
    w = glass_map(start, glass) if isinstance(start, RoundStart) else np.array(start, dtype=np.float64)
    worked = {lap_name(lap): _lap(bench, lap, w, glass, constants, laps) for lap in bench.laps}
    stages, reports, stand = [w.copy()], [], Stand()
    for number, spell in enumerate(programme.spells, start=1):
        lap = worked[lap_name(bench.lap(spell.lap))]
        stand = stand.before(spell)
        plain = spell_for(bench, spell, number, stand)
        # each lap has its own edge length, and so its own view of the glass
        seen = lap.pieces.glass(accuracy.cells)
        told = None if progress is None else (lambda share, at=number - 1: progress(at, share))
        reports.append(
            work_spell(plain, lap.pieces, seen, lap.pitch, w, lap.height, seed=seed, accuracy=accuracy, progress=told)
        )
        stand = stand if plain.motion is None else stand.after(plain.motion, spell.duration)
        stages.append(w.copy())
    return _result(bench, glass, stages, worked, reports, radius)


def _lap(bench: Bench, lap: Lap, w: Floats, glass: Glass, constants: Constants, laps: State | None) -> _Lap:
    pieces = pieces_for(bench, lap, constants)
    pitch = pieces.pitch(glass)
    if laps is not None:
        left = laps.laps[lap_name(lap)]
        beyond = 3.0 * float(pitch.across[1] - pitch.across[0])
        distance = np.hypot(pitch.across[None, :], pitch.across[:, None])
        height = RoundStart(left.radius, left.height).at(np.minimum(distance, lap.radius + beyond))
    elif lap.start == "spherical":
        height = np.zeros((pitch.across.size,) * 2)
    else:
        height = pressed_lap(w, glass, pitch)
    return _Lap(pieces, pitch, height)


def _share(pitch: Pitch) -> Floats:
    """Share of each of a lap's cells that is pitch, its rim included [1]."""
    return pitch.share * part_of_cells(pitch.across, lambda x, y: x**2 + y**2 <= pitch.radius**2)


def _result(
    bench: Bench, glass: Glass, stages: list[Floats], laps: dict[str, _Lap], reports: list[SpellReport],
    radius: Floats | None,
) -> PlanarResult:  # fmt: skip
    size = float(glass.across[1] - glass.across[0])
    if radius is None:
        radius = np.linspace(glass.hole, glass.radius, 1 + round((glass.radius - glass.hole) / size))
    frame = frame_for(bench)
    figures = [frame.figure(stage, glass) for stage in stages]
    return PlanarResult(
        across=glass.across,
        covered=glass.area / size**2,
        stages=np.array(stages),
        laps={name: LapMap(lap.pitch.across, lap.height, _share(lap.pitch)) for name, lap in laps.items()},
        reports=tuple(reports),
        before=figures[0],
        after=figures[-1],
        terms=np.array([figure.zernike for figure in figures]),
        ripple=frame.ripple(stages[0] - stages[-1], glass),
        radius=radius,
        removal_profile=ring_mean(stages[0] - stages[-1], glass.across, radius),
        frame=frame,
        glass=glass,
    )
