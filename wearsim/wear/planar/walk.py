"""A spell walked stroke by stroke on two grids (physics section 6).

What it needs comes as plain numbers (:class:`Pieces`, :class:`PlanarSpell`); wearsim.wear.planar.engine makes them from
a bench and its programme.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass, field

import numba
import numpy as np

from wearsim.errors import ContactError, CouldNotError, TipsOffError
from wearsim.kernels import planar_grid as floor
from wearsim.kernels.arrays import Floats
from wearsim.kernels.planar import walk
from wearsim.kernels.planar_grid import GlassGrid, PitchGrid, Work
from wearsim.wear.accuracy import PlanarAccuracy
from wearsim.wear.engine import Progress, SpellReport
from wearsim.wear.planar.grid import Mask, across_glass, across_lap, glass_of, pitch_of
from wearsim.wear.planar.motion import (
    Motion,
    check_tipping,
    drawn,
    nominal,
    poses_of,
    pressing_pose,
    stands,
    times_of_strokes,
    tips,
)
from wearsim.wear.planar.threads import crew

MOST_REDRAWS = 1000


STROKES_TOGETHER = (1, 2, 4, 8)
"""Strokes after which the state may be brought up to date: each time, threads wait for one another."""


@dataclass(frozen=True)
class Pieces:
    """The two pieces and what lies between them, SI.

    Parameters
    ----------
    mirror_radius, lap_radius : float
        [m]
    stiffness : float
        Foundation modulus per nominal area [Pa/m].
    relaxation : float
        Relaxation time of the pitch [s].
    preston : float
        [1/Pa]
    hole_radius : float
        [m]
    edge_gain, edge_length : float
        Of the glass-edge effect [1], [m].
    mask : callable, optional
        Where the lap has pitch.
    """

    mirror_radius: float
    lap_radius: float
    stiffness: float
    relaxation: float
    preston: float
    hole_radius: float = 0.0
    edge_gain: float = 0.0
    edge_length: float = 5e-3
    mask: Mask | None = None

    def glass(self, cells: int) -> GlassGrid:
        """The mirror laid out on `cells` cells across."""
        across = across_glass(self.mirror_radius, cells)
        return glass_of(self.mirror_radius, self.hole_radius, across, self.edge_gain, self.edge_length)

    def pitch(self, glass: GlassGrid) -> PitchGrid:
        """The lap laid out on cells of the same size."""
        return pitch_of(self.lap_radius, across_lap(self.lap_radius, glass.across), self.stiffness, self.mask)


@dataclass(frozen=True)
class PlanarSpell:
    """One spell, SI; a pressing where ``motion`` is None.

    Parameters
    ----------
    duration : float
        [s]
    load : float
        Force between the pieces [N].
    length_jitter : float
        Spread of length and sweep from stroke to stroke, relative [1].
    centre_jitter : float
        Spread of the centre along and across [m].
    number : int
        Of the spell in its programme, from 1.
    turned : float
        How far the lap lies turned against the mirror, for a pressing [rad].
    """

    duration: float
    load: float
    motion: Motion | None
    length_jitter: float = 0.0
    centre_jitter: float = 0.0
    number: int = 1
    turned: float = 0.0


@dataclass
class _Tally:
    """Sums of a spell under way."""

    covered: float = 0.0
    touching: float = 0.0
    reach: float = 0.0
    redraws: int = 0
    poses: int = 0
    passes: int = 0
    guess: Floats = field(default_factory=lambda: np.zeros((0, floor.SETTLEMENT_COLUMNS)))


def room_for(glass: GlassGrid, pitch: PitchGrid, slots: int) -> Work:
    """Room for the kernel, for as many threads as numba may start."""
    n, m, threads = glass.across.size, pitch.across.size, numba.get_num_threads()
    gap, stiff, held, peak = np.zeros((4, threads, n, n))
    ends = np.zeros((threads, n, 2), dtype=np.int64)
    return Work(np.zeros((slots, n, n)), np.zeros((slots, m, m)), gap, stiff, held, peak, ends)


def walk_spell(
    spell: PlanarSpell, pieces: Pieces, glass: GlassGrid, pitch: PitchGrid, w: Floats, u: Floats, *, seed: int = 0,
    accuracy: PlanarAccuracy | None = None, progress: Progress | None = None,
) -> SpellReport:  # fmt: skip
    """Walk one spell; glass ``w`` (n, n) and pitch ``u`` (m, m) [m] change in place.

    Parameters
    ----------
    seed : int
        Entropy of the jitter; the spell's number makes the stream its own.
    progress : callable, optional
        Called with the share of the spell done after each batch of strokes; what it raises stops the spell there.

    Raises
    ------
    TipsOffError
        If the stroke as meant carries the load outside the contact.
    ContactError
        If a balance was not found.
    """
    accuracy = accuracy or PlanarAccuracy()
    if spell.motion is not None:
        check_tipping(spell.motion, pieces.mirror_radius, pieces.lap_radius, spell.number)
    with crew(accuracy.slots):
        work, tally = room_for(glass, pitch, accuracy.slots), _Tally()
        for done, poses in _batches(spell, pieces, seed, accuracy, tally):
            _walk(spell, poses, pieces, glass, pitch, work, w, u, accuracy, tally)
            if progress is not None:
                progress(done)
    return _report(tally, work, glass, pitch, pieces)


def _batches(
    spell: PlanarSpell, pieces: Pieces, seed: int, accuracy: PlanarAccuracy, tally: _Tally
) -> Iterable[tuple[float, Floats]]:
    """Share of the spell done, and its poses (updates, poses, columns), batch by batch."""
    if spell.motion is None:
        yield from _pressing(spell, pieces, accuracy)
        return
    frequency = spell.motion.stroke.frequency
    total = spell.duration * frequency
    poses, updates, together = _pose_count(spell.motion, pieces, accuracy)
    rng = np.random.Generator(np.random.PCG64(np.random.SeedSequence(seed, spawn_key=(spell.number - 1,))))
    spare = accuracy.tipping_cells * 2.0 * pieces.mirror_radius / accuracy.cells
    whole = int(np.floor(total + 1e-9))
    parts = [
        (first, min(accuracy.strokes_a_batch, whole - first), 1.0)
        for first in range(0, whole, accuracy.strokes_a_batch)
    ]
    if total - whole > 1e-9:
        parts.append((whole, 1, total - whole))
    for first, count, part in parts:
        moments = times_of_strokes(first, count, poses, part, spell.motion.strokes_before)
        walked = _draw(spell, spell.motion, moments, part / (frequency * poses), pieces, rng, tally, spare)
        strokes = math.gcd(count, together)
        yield (
            (first + count * part) / total,
            walked.reshape(count * updates // strokes, strokes * poses // updates, -1),
        )


def _pose_count(motion: Motion, pieces: Pieces, accuracy: PlanarAccuracy) -> tuple[int, int, int]:
    """Poses of a stroke, how often its state is brought up to date, and how many strokes can wait for that together.

    Two rates matter: the pitch gives at 1/tau, and a high zone wears down at kappa k v.
    """
    poses = poses_of(motion, np.arange(64)[None, :] / 64.0, nominal(1), 1.0)
    speed = np.hypot(poses[..., floor.SPEED_X], poses[..., floor.SPEED_Y]).mean()
    speed += 0.5 * pieces.mirror_radius * np.abs(poses[..., floor.RATE]).mean()
    rate = max(1.0 / pieces.relaxation, pieces.stiffness * pieces.preston * float(speed))
    strokes = motion.stroke.frequency * accuracy.share_of_rate / rate
    updates = max(1, int(np.ceil(1.0 / strokes)))
    each = max(1, int(np.ceil(accuracy.poses / updates)))
    together = max(n for n in STROKES_TOGETHER if n <= max(1.0, strokes))
    return updates * each, updates, together


def _pressing(spell: PlanarSpell, pieces: Pieces, accuracy: PlanarAccuracy) -> Iterable[tuple[float, Floats]]:
    steps = max(8, int(np.ceil(4.0 * spell.duration / (accuracy.share_of_rate * pieces.relaxation))))
    pose = pressing_pose(spell.turned, spell.duration / steps)
    for first in range(0, steps, 64):
        count = min(64, steps - first)
        yield (first + count) / steps, np.broadcast_to(pose, (count, 1, pose.size)).copy()


def _draw(
    spell: PlanarSpell, motion: Motion, moments: Floats, seconds: float, pieces: Pieces, rng: np.random.Generator,
    tally: _Tally, spare: float,
) -> Floats:  # fmt: skip
    """Poses of a batch of strokes; those that come within `spare` [m] of tipping are drawn again, and counted."""
    count = moments.shape[0]
    if spell.length_jitter == 0.0 and spell.centre_jitter == 0.0:
        return poses_of(motion, moments, nominal(count), seconds)
    deviates = rng.standard_normal((count, 4))
    for _ in range(MOST_REDRAWS):
        draws = drawn(deviates, spell.length_jitter, spell.centre_jitter)
        poses = poses_of(motion, moments, draws, seconds)
        bad = tips(poses, pieces.mirror_radius - spare, pieces.lap_radius - spare).any(axis=1)
        if not bad.any():
            return poses
        tally.redraws += int(bad.sum())
        deviates[bad] = rng.standard_normal((int(bad.sum()), 4))
    raise CouldNotError(f"spell {spell.number}: hardly a stroke with this jitter keeps the top piece on")


def _walk(
    spell: PlanarSpell, poses: Floats, pieces: Pieces, glass: GlassGrid, pitch: PitchGrid, work: Work, w: Floats, u: Floats,
    accuracy: PlanarAccuracy, tally: _Tally,
) -> None:  # fmt: skip
    settled = np.zeros((*poses.shape[:2], floor.SETTLEMENT_COLUMNS))
    if tally.guess.shape == settled.shape[1:]:
        settled[0] = tally.guess
    numbers = [float(v) for v in (spell.load, pieces.preston, pieces.relaxation, accuracy.tolerance)]
    walk(poses, settled, w, u, glass, pitch, work, *numbers)
    if settled[..., floor.STATUS].any():
        raise _why(spell, poses, settled, glass, pitch)
    tally.guess = settled[-1]
    time = poses[..., floor.TIME]
    tally.covered += float(np.sum(settled[..., floor.COVERED] * time))
    tally.touching += float(np.sum(settled[..., floor.TOUCHING] * time))
    tally.reach = max(tally.reach, float(np.hypot(poses[..., 0], poses[..., 1]).max()))
    tally.poses += settled.shape[0] * settled.shape[1]
    tally.passes += int(settled[..., floor.STEPS].sum())


def _report(tally: _Tally, work: Work, glass: GlassGrid, pitch: PitchGrid, pieces: Pieces) -> SpellReport:
    peak = work.peak.max(axis=0) * (pieces.stiffness / pitch.stiffness)
    j, i = np.unravel_index(int(np.argmax(peak)), peak.shape)
    return SpellReport(
        peak_pressure=float(peak[j, i]),
        lift_off_share=1.0 - tally.touching / tally.covered if tally.covered > 0.0 else 0.0, reach=tally.reach,
        steps=tally.poses, iterations=tally.passes, peak_place=(float(glass.across[i]), float(glass.across[j])),
        redraws=tally.redraws,
    )  # fmt: skip


def _why(
    spell: PlanarSpell, poses: Floats, settled: Floats, glass: GlassGrid, pitch: PitchGrid
) -> TipsOffError | ContactError:
    """What is wrong with the first pose out of balance: the load outside the contact's hull, or a fault of ours.

    Facets, stars, rings and holes make the hull smaller than the overlap of the discs; and within a cell of tipping
    the contact is smaller than a cell.
    """
    bad = settled[..., floor.STATUS] != floor.BALANCED
    pose = poses[bad][0]
    offset = np.hypot(poses[..., floor.CENTRE_X], poses[..., floor.CENTRE_Y])
    if stands(pose, glass, pitch):
        return ContactError(f"spell {spell.number}, planar engine", float(settled[..., floor.IMBALANCE][bad][0]))
    least = float(offset[bad].min())
    return TipsOffError(spell.number, least, float(offset[~bad & (offset < least)].max(initial=0.0)))
