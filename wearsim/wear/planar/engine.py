"""The planar engine: a bench and its programme walked stroke by stroke on maps of both pieces (physics section 6)."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import lru_cache
from math import ceil
from pathlib import Path
from types import MappingProxyType

import numpy as np

from wearsim.bench.bench import Bench
from wearsim.bench.lap import Lap
from wearsim.bench.programme import Programme, Spell
from wearsim.bench.units import in_digits, length_unit
from wearsim.errors import InputError, TipsOffError
from wearsim.kernels.arrays import Floats
from wearsim.kernels.planar_grid import GlassGrid
from wearsim.wear.accuracy import DEFAULT, Accuracy, PlanarAccuracy
from wearsim.wear.constants import AS_STATED, Constants
from wearsim.wear.engine_protocol import Engine, Misfit, Progress, Run, SpellReport
from wearsim.wear.initial_figure import StartFigure, uneven_start
from wearsim.wear.planar import grid as grids
from wearsim.wear.planar.figure import MapFigure, MapGauge
from wearsim.wear.planar.motion import Motion
from wearsim.wear.planar.walk import Pieces, PlanarSpell, count_poses, walk_spell
from wearsim.wear.radial.engine import tipping_offset
from wearsim.wear.rotation import bias_left, is_turned
from wearsim.wear.state import PitchProfile, State, glass_grid, lap_name
from wearsim.wear.strokes import made_by_hands

CHANNEL_CELLS = 2.0
"""Cells that a channel has to span for its pattern to be resolved (sampling theorem)."""
PITCH_RADII = 60
"""Number of radii in the round profile of a lap's pitch."""


def mask_for(lap: Lap) -> grids.Mask | None:
    """Where a lap has pitch; None for a whole lap."""
    cut = grids.facets(lap.facet_shape, lap.facet, lap.channel, (lap.channel_offset[0], lap.channel_offset[1]))
    if lap.ring_inner > 0.0:
        cut = grids.both(cut, grids.ring(lap.ring_inner / 2.0, lap.radius))
    if lap.star_points > 0:
        cut = grids.both(cut, grids.star(lap.star_points, lap.radius - lap.star_depth, lap.radius))
    return cut


@lru_cache(maxsize=4)  # a spell asks for two; at 1024 cells each is 80 MB
def pieces_for(bench: Bench, lap: Lap, constants: Constants, cells: int) -> Pieces:
    """The two pieces of a spell on their grids: each lap has its own edge length, and so its own view of the glass."""
    mirror, stiffness = bench.mirror, lap.stiffness * constants.stiffness
    across, edge_gain = grids.across_glass(mirror.radius, cells), bench.wear.edge_gain * constants.edge_gain
    return Pieces(
        glass=grids.glass_of(
            mirror.radius, mirror.hole_radius, across, edge_gain, bench.edge_length_for(lap) * constants.edge_length
        ),
        pitch=grids.pitch_of(lap.radius, grids.across_lap(lap.radius, across), stiffness, mask_for(lap)),
        stiffness=stiffness,
        relaxation=bench.relaxation_time_at(lap, constants.temperature_slope) * constants.relaxation_time,
        preston=bench.preston * constants.preston,
        exponents=bench.exponents(constants.pressure_exponent, constants.speed_exponent),
    )


@lru_cache(maxsize=1)
def _gauge(bench: Bench, cells: int) -> MapGauge:
    """What measures the figure of the glass on its grid."""
    return MapGauge(bench.mirror.geometry, pieces_for(bench, bench.laps[0], AS_STATED, cells).glass)


def pieces_under(load: float, bench: Bench, lap: Lap, constants: Constants, cells: int) -> Pieces:
    """The two pieces of a spell, the pitch as stiff as it is under this load [N]."""
    stiffening = lap.stiffening_under(load, min(bench.mirror.radius, lap.radius), constants.stiffness_exponent)
    return pieces_for(bench, lap, constants, cells).stiffened(stiffening)


@dataclass(frozen=True)
class Orientation:
    """How the pieces and the worker are turned to each other; angles in the barrel's frame [rad]."""

    on_top: str = ""
    mirror: float = 0.0
    lap: float = 0.0
    heading: float = 0.0
    turned: float = 0.0
    strokes: int = 0

    def before(self, spell: Spell) -> Orientation:
        """How a spell finds them.

        A spell that turns nothing and keeps the same piece on top goes on where the last one stopped. Otherwise
        the pieces come apart: the worker begins again where every session begins, the lap is laid on as it was, the
        mirror turned by the sum of its turns.
        """
        if spell.on_top == self.on_top and spell.turn == 0.0:
            return self
        turned = self.turned + spell.turn
        return Orientation(spell.on_top, turned, 0.0, 0.0, turned)

    def after(self, motion: Motion, seconds: float) -> Orientation:
        """How it leaves them."""
        mirror, lap, heading = motion.after(seconds)
        strokes = self.strokes + int(np.ceil(seconds * motion.stroke.frequency - 1e-9))
        return Orientation(self.on_top, mirror, lap, heading, self.turned, strokes)


def spell_for(
    bench: Bench, spell: Spell, number: int, at: Orientation, constants: Constants = AS_STATED
) -> PlanarSpell:
    """One spell and its motion as these hands make it (physics section 5), SI."""
    hands, load = bench.hands, bench.load_on(spell.on_top, bench.lap(spell.lap), spell.push, pressing=spell.is_press)
    if spell.is_press:
        return PlanarSpell(spell.duration, load, None, number=number, turned=at.lap - at.mirror)
    stroke = spell.stroke_on(bench.mirror.diameter)
    if constants != AS_STATED:
        stroke = made_by_hands(stroke, constants, tipping_offset(bench, bench.lap(spell.lap), spell.on_top))
    top, bottom = hands.spins
    walk = 0.0 if bottom else 2.0 * np.pi / hands.walk
    motion = Motion(  # a spindle's turns are counted in the room, whoever walks
        spell.on_top, stroke, walk=walk, hand_turn=walk if top else 2.0 * np.pi / hands.hand_turn,
        mirror_angle=at.mirror, lap_angle=at.lap, heading=at.heading,
        push_offset=(hands.push_offset[0], hands.push_offset[1]), lead=hands.friction_lead, spin_top=top,
        spin_bottom=bottom, strokes_before=at.strokes,
    )  # fmt: skip
    return PlanarSpell(spell.duration, load, motion, hands.length_jitter, hands.centre_jitter, number)


def check_length(
    bench: Bench, spells: Iterable[tuple[int, Spell]], accuracy: PlanarAccuracy, file: Path | None
) -> None:
    """Refuse spells that together need too many poses with the bench's own constants (:class:`PlanarAccuracy`).

    Parameters
    ----------
    spells : iterable of (int, Spell)
        With their numbers in the programme of this ``file``.

    Raises
    ------
    InputError
        With the longest that the spell which goes too far could be.
    """
    left = float(accuracy.most_poses)
    for number, spell in spells:
        plain = spell_for(bench, spell, number, Orientation())
        pieces = pieces_under(plain.load, bench, bench.lap(spell.lap), AS_STATED, accuracy.cells)
        poses = count_poses(plain, pieces, accuracy)
        if poses > left:
            raise InputError(
                f"too long for the planar engine: this spell needs {poses:,.0f} computed positions of the top piece; "
                f"the limit for all spells together is {accuracy.most_poses:,}",
                file=file, key=f"spell {number}.minutes", value=f"{spell.minutes:g}",
                expected=f"at most {in_digits(spell.minutes * left / poses, down=True)} minutes, or the radial engine",
            )  # fmt: skip
        left -= poses


@dataclass(frozen=True, eq=False)
class PlanarState:
    """Glass and laps on maps, each in its own frame.

    Parameters
    ----------
    across : ndarray, shape (n,)
        Coordinates of the mirror's columns (x) and rows (y) [m].
    glass : ndarray, shape (n, n)
        Height above the reference sphere [m].
    laps : mapping of str to ndarray, shape (m, m)
        Height of every lap's pitch above the reference sphere, by the lap's name [m].
    """

    across: Floats
    glass: Floats
    laps: Mapping[str, Floats]
    orientation: Orientation = field(default_factory=Orientation)

    def profile(self, radius: Floats) -> Floats:
        """Mean height of the glass over circles of these radii ``(k,)`` [m]."""
        return grids.ring_mean(self.glass, self.across, radius)


class PlanarEngine(Engine[PlanarState]):
    """Every stroke walked as the hands make it, on maps.

    Parameters
    ----------
    accuracy : Accuracy
        Its radii are those of the profiles.
    """

    name = "planar"
    band_draws = 0  # each would walk the whole programme again
    runs_together = False
    takes_uneven = True

    def __init__(self, planar: PlanarAccuracy | None = None, accuracy: Accuracy = DEFAULT) -> None:
        self.planar, self.accuracy = planar or PlanarAccuracy(), accuracy

    def measured(self, bench: Bench) -> StartFigure | None:
        """The bench's figure where it is round; a map or Zernike terms are taken as they are."""
        return None if bench.figure.is_uneven else super().measured(bench)

    def cautions(self, bench: Bench, programme: Programme) -> tuple[str, ...]:
        """Channels narrower than two cells: their pattern is not sampled finely enough."""
        cell, length = bench.mirror.diameter / self.planar.cells, length_unit(bench).text
        laps = {lap_name(lap): lap for lap in (bench.lap(spell.lap) for spell in programme.spells)}
        return tuple(
            f'lap "{name}": its channels of {length(lap.channel)} are less than two cells wide ({length(cell)} each): the '
            "pattern of the lap is not resolved, so do not trust its ripple; use --cells "
            f"{ceil(CHANNEL_CELLS * bench.mirror.diameter / lap.channel)} or more"
            for name, lap in laps.items()
            if lap.facet_shape != "none" and 0.0 < lap.channel < CHANNEL_CELLS * cell
        )

    def check(self, bench: Bench, programme: Programme) -> None:
        """Refuse a programme of too many poses."""
        check_length(bench, enumerate(programme.spells, start=1), self.planar, programme.file)

    def begin(self, bench: Bench, glass: StartFigure | None, laps: State | None = None) -> PlanarState:
        """Glass and laps on this engine's grids."""
        grid = self._pieces(bench, bench.laps[0]).glass
        surface = uneven_start(bench, grid) if glass is None else self._surface(bench, glass, grid)
        pitch = {lap_name(lap): self._pitch(bench, lap, surface, laps) for lap in bench.laps}
        return PlanarState(grid.across, surface, MappingProxyType(pitch))

    def _surface(self, bench: Bench, glass: StartFigure, grid: GlassGrid) -> Floats:
        """Glass that was measured round, with what else is known of it: the bench's own map, or astigmatism."""
        surface = grids.round_map(glass.radius, glass.height, grid)
        if glass.not_round is None:
            return surface
        gauge = _gauge(bench, self.planar.cells)
        if not bench.figure.is_uneven:
            return surface + glass.not_round.on(gauge)
        error = (
            uneven_start(bench, grid) - gauge.departure()
        )  # the conic itself would lose to the reading between cells
        return surface + error - grids.round_map(glass.radius, grids.ring_mean(error, grid.across, glass.radius), grid)

    def _pieces(self, bench: Bench, lap: Lap, constants: Constants = AS_STATED) -> Pieces:
        return pieces_for(bench, lap, constants, self.planar.cells)

    def _pitch(self, bench: Bench, lap: Lap, surface: Floats, laps: State | None) -> Floats:
        pieces = self._pieces(bench, lap)
        if laps is not None:
            left = laps.laps[lap_name(lap)]
            return grids.round_map(left.radius, left.height, pieces.pitch)
        if lap.start == "spherical":
            return np.zeros((pieces.pitch.across.size,) * 2)
        return grids.pressed_lap(surface, pieces.glass, pieces.pitch)

    def with_misfit(self, bench: Bench, state: PlanarState, misfit: Misfit) -> PlanarState:
        """The laps' maps changed, the same all round."""
        laps = {}
        for lap in bench.laps:
            across = self._pieces(bench, lap).pitch.across
            share = np.minimum(np.hypot(across, across[:, None]) / lap.radius, 1.0)
            laps[lap_name(lap)] = state.laps[lap_name(lap)] + misfit(lap, share)
        return replace(state, laps=MappingProxyType(laps))

    def run(
        self, bench: Bench, programme: Programme, state: PlanarState, constants: Constants = AS_STATED, *, seed: int = 0,
        sizes: Sequence[float] | Floats | None = None, progress: Progress | None = None,
    ) -> Run[PlanarState]:  # fmt: skip
        """A session: the pieces and the worker begin where every session begins."""
        self.check(bench, programme)
        state = replace(state, orientation=Orientation())
        return super().run(bench, programme, state, constants, seed=seed, sizes=sizes, progress=progress)

    def work_spell(
        self, bench: Bench, spell: Spell, state: PlanarState, number: int = 1, constants: Constants = AS_STATED, *,
        seed: int = 0, file: Path | None = None, progress: Progress | None = None,
    ) -> tuple[PlanarState, SpellReport]:  # fmt: skip
        """One spell walked on a state; it goes on where the last one left the pieces."""
        check_length(bench, [(number, spell)], self.planar, file)
        lap, at = bench.lap(spell.lap), state.orientation.before(spell)
        plain = spell_for(bench, spell, number, at, constants)
        pieces = pieces_under(plain.load, bench, lap, constants, self.planar.cells)
        w, u = state.glass.copy(), state.laps[lap_name(lap)].copy()
        try:
            report = walk_spell(plain, pieces, w, u, seed=seed, accuracy=self.planar, progress=progress)
        except TipsOffError as error:
            raise error.in_unit(length_unit(bench).text, file, spell.taken_as_diameters) from None
        if plain.motion is None:
            done, tip, strokes = at, bench.mirror.radius, 0.0
        else:
            done, tip = at.after(plain.motion, spell.duration), tipping_offset(bench, lap, spell.on_top)
            strokes = spell.duration * plain.motion.stroke.frequency
        drawn = strokes + report.redraws
        laps = MappingProxyType({**state.laps, lap_name(lap): u})
        after = PlanarState(state.across, w, laps, done)
        return after, replace(report, tip=tip, left_out=report.redraws / drawn if drawn else 0.0)

    def stage(self, bench: Bench, state: PlanarState) -> tuple[Floats, MapFigure]:
        """The glass's mean profile and its figure, no map."""
        profile = state.profile(glass_grid(bench.mirror, self.accuracy))
        return profile, _gauge(bench, self.planar.cells).figure(state.glass)

    def gather(
        self, bench: Bench, programme: Programme, ends: tuple[PlanarState, PlanarState],
        stages: Sequence[tuple[Floats, MapFigure]], reports: tuple[SpellReport, ...],
    ) -> Run[PlanarState]:  # fmt: skip
        """Mean profiles, maps and what their figures are."""
        pitch = {}
        for lap in bench.laps:
            rho, across = np.linspace(0.0, lap.radius, PITCH_RADII), self._pieces(bench, lap).pitch.across
            pitch[lap_name(lap)] = PitchProfile(rho, grids.ring_mean(ends[1].laps[lap_name(lap)], across, rho))
        heights, figures = zip(*stages, strict=True)
        found = _gauge(bench, self.planar.cells).through(ends[0].glass, ends[1].glass, figures)
        details, maps = found.details | _of_reports(programme, reports), found.maps | self._pitch_maps(bench, ends[1])
        radius = glass_grid(bench.mirror, self.accuracy)
        return Run(self.name, programme, ends[1], reports, radius, np.array(heights), pitch, maps, details)

    def _pitch_maps(self, bench: Bench, state: PlanarState) -> dict[str, Floats]:
        """Every lap's pitch with its coordinates; the first lap's without its name."""
        found: dict[str, Floats] = {}
        for number, lap in enumerate(bench.laps):
            pitch, name = self._pieces(bench, lap).pitch, lap_name(lap)
            before = "" if number == 0 else f"{name}: "
            facets = pitch.share * grids.annulus(pitch.across, 0.0, pitch.radius)
            found |= {f"{before}pitch": state.laps[name], f"{before}facets": facets}
            found |= {f"{before}pitch_x": pitch.across, f"{before}pitch_y": pitch.across}
        return found


def _of_reports(programme: Programme, reports: tuple[SpellReport, ...]) -> dict[str, float]:
    """Where it was pressed hardest, what was drawn again, and what turning leaves of a steady bias."""
    hardest = max(reports, key=lambda report: report.peak_pressure, default=SpellReport())
    found = {"peak_x_m": hardest.peak_place[0], "peak_y_m": hardest.peak_place[1]}
    found["strokes_redrawn"] = float(sum(report.redraws for report in reports))
    if is_turned(programme):
        found["steady_bias_left"] = float(bias_left(programme)[-1])
    return found
