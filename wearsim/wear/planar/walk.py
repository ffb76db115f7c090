"""A spell walked stroke by stroke on two grids (physics section 6).

What it needs comes as plain numbers (:class:`Pieces`, :class:`PlanarSpell`); wearsim.wear.planar.engine makes them from
a bench and its programme.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass, replace

import numba
import numpy as np

from wearsim.bench.hands import REFERENCE_SPEED
from wearsim.bench.lap import REFERENCE_PRESSURE
from wearsim.errors import ContactError, CouldNotError, TipsOffError
from wearsim.kernels import planar_grid as grid
from wearsim.kernels.arrays import Floats
from wearsim.kernels.planar_grid import GlassGrid, PitchGrid, Work
from wearsim.kernels.planar_wear import walk
from wearsim.parallel import kernel_threads
from wearsim.wear.accuracy import PlanarAccuracy
from wearsim.wear.engine_protocol import Progress, SpellReport
from wearsim.wear.planar import motion as motions
from wearsim.wear.planar.motion import Motion

MOST_REDRAWS = 1000
STROKES_TOGETHER = (1, 2, 4, 8)
"""Strokes after which the state may be brought up to date: each time, threads wait for one another."""
PRESSES_TOGETHER = 64
"""Steps of a pressing between two reports of progress."""


@dataclass(frozen=True, eq=False)
class Pieces:
    """The two pieces on their grids, and what lies between them, SI."""

    glass: GlassGrid
    pitch: PitchGrid
    stiffness: float  # foundation modulus per nominal area; that of the pitch which is there is in ``pitch`` [Pa/m]
    relaxation: float  # time of the pitch [s]
    preston: float  # [1/Pa]
    exponents: tuple[float, float] = (1.0, 1.0)  # m of the pressure and n of the speed in the law of wear [1]

    def stiffened(self, factor: float) -> Pieces:
        """The same with stiffer pitch, which flows as it did (physics section 2)."""
        pitch = self.pitch._replace(stiffness=factor * self.pitch.stiffness)
        return replace(self, pitch=pitch, stiffness=factor * self.stiffness, relaxation=self.relaxation / factor)

    @property
    def coefficient(self) -> float:
        """Wear over pressure to the m and speed to the n, the mean over facets and channels a whole lap's [SI]."""
        (m, n), of_facets = self.exponents, self.pitch.stiffness / self.stiffness
        usual = REFERENCE_PRESSURE ** (1.0 - m) * REFERENCE_SPEED ** (1.0 - n)
        return float(self.preston * usual * of_facets ** (1.0 - m))


@dataclass(frozen=True)
class PlanarSpell:
    """One spell, SI; a pressing where ``motion`` is None."""

    duration: float  # [s]
    load: float  # force between the pieces [N]
    motion: Motion | None
    length_jitter: float = 0.0  # spread of length and sweep from stroke to stroke, relative [1]
    centre_jitter: float = 0.0  # spread of the centre along and across [m]
    number: int = 1  # of the spell in its programme, from 1
    turned: float = 0.0  # how far the lap lies turned against the mirror, for a pressing [rad]


def room_for(glass: GlassGrid, pitch: PitchGrid, slots: int) -> Work:
    """Room for the kernel, for as many threads as numba may start."""
    n, m, threads = glass.across.size, pitch.across.size, numba.get_num_threads()
    gap, stiff, held, peak = np.zeros((4, threads, n, n))
    ends = np.zeros((threads, n, 2), dtype=np.int64)
    return Work(np.zeros((slots, n, n)), np.zeros((slots, m, m)), gap, stiff, held, peak, ends)


def walk_spell(
    spell: PlanarSpell, pieces: Pieces, w: Floats, u: Floats, *, seed: int = 0, accuracy: PlanarAccuracy | None = None,
    progress: Progress | None = None,
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
    if spell.motion is not None:
        motions.check_tipping(spell.motion, pieces.glass.radius, pieces.pitch.radius, spell.number)
    accuracy = accuracy or PlanarAccuracy()
    with kernel_threads(accuracy.slots):
        under_way = _Walk(spell, pieces, seed, accuracy)
        for done, poses in under_way.batches():
            under_way.work(poses, w, u)
            if progress is not None:
                progress(done)
    return under_way.report()


def count_poses(spell: PlanarSpell, pieces: Pieces, accuracy: PlanarAccuracy) -> float:
    """Poses that a spell needs, about."""
    if spell.motion is None:
        return float(_press_steps(spell, pieces, accuracy))
    return _pose_count(spell.motion, pieces, accuracy)[0] * spell.duration * spell.motion.stroke.frequency


class _Walk:
    """A spell under way: its poses, batch by batch, and the sums of its report."""

    def __init__(self, spell: PlanarSpell, pieces: Pieces, seed: int, accuracy: PlanarAccuracy) -> None:
        self.spell, self.pieces, self.accuracy = spell, pieces, accuracy
        self.rng = np.random.Generator(np.random.PCG64(np.random.SeedSequence(seed, spawn_key=(spell.number - 1,))))
        self.room = room_for(pieces.glass, pieces.pitch, accuracy.slots)
        self.guess = np.zeros((0, grid.BALANCE_COLUMNS))
        self.covered = self.touching = self.reach = 0.0
        self.redraws = self.poses = self.passes = 0

    def batches(self) -> Iterator[tuple[float, Floats]]:
        """Share of the spell done, and its poses (updates, poses, columns), batch by batch."""
        return self._pressing() if self.spell.motion is None else self._strokes(self.spell.motion)

    def _pressing(self) -> Iterator[tuple[float, Floats]]:
        steps = _press_steps(self.spell, self.pieces, self.accuracy)
        pose = motions.pressing_pose(self.spell.turned, self.spell.duration / steps)
        for first in range(0, steps, PRESSES_TOGETHER):
            count = min(PRESSES_TOGETHER, steps - first)
            yield (first + count) / steps, np.broadcast_to(pose, (count, 1, pose.size)).copy()

    def _strokes(self, motion: Motion) -> Iterator[tuple[float, Floats]]:
        frequency, batch = motion.stroke.frequency, self.accuracy.strokes_a_batch
        total = self.spell.duration * frequency
        poses, updates, together = _pose_count(motion, self.pieces, self.accuracy)
        whole = int(np.floor(total + 1e-9))
        parts = [(first, min(batch, whole - first), 1.0) for first in range(0, whole, batch)]
        if total - whole > 1e-9:
            parts.append((whole, 1, total - whole))
        for first, count, part in parts:
            moments = motions.moments_of(first, count, poses, part, motion.strokes_before)
            walked = self._drawn(motion, moments, part / (frequency * poses))
            strokes = math.gcd(count, together)
            shape = (count * updates // strokes, strokes * poses // updates, -1)
            yield (first + count * part) / total, walked.reshape(shape)

    def _drawn(self, motion: Motion, moments: Floats, seconds: float) -> Floats:
        """Poses of a batch of strokes; those that come too close to tipping are drawn again, and counted."""
        spell, glass, pitch = self.spell, self.pieces.glass, self.pieces.pitch
        if spell.length_jitter == 0.0 and spell.centre_jitter == 0.0:
            return motions.poses_of(motion, moments, seconds)
        spare = self.accuracy.tipping_cells * 2.0 * glass.radius / self.accuracy.cells
        deviates = self.rng.standard_normal((moments.shape[0], 4))
        for _ in range(MOST_REDRAWS):
            made = motions.drawn_strokes(deviates, spell.length_jitter, spell.centre_jitter)
            poses = motions.poses_of(motion, moments, seconds, made)
            bad = motions.tips(poses, glass.radius - spare, pitch.radius - spare).any(axis=1)
            if not bad.any():
                return poses
            self.redraws += int(bad.sum())
            deviates[bad] = self.rng.standard_normal((int(bad.sum()), 4))
        raise CouldNotError(f"spell {spell.number}: with this jitter nearly every stroke tips the top piece off")

    def work(self, poses: Floats, w: Floats, u: Floats) -> None:
        """Wear and creep of a batch of poses, in place."""
        pieces, balances = self.pieces, np.zeros((*poses.shape[:2], grid.BALANCE_COLUMNS))
        if self.guess.shape == balances.shape[1:]:
            balances[0] = self.guess
        law = np.array([pieces.coefficient, *pieces.exponents])
        numbers = [float(v) for v in (pieces.relaxation, self.accuracy.tolerance)]
        walk(poses, balances, w, u, pieces.glass, pieces.pitch, self.room, float(self.spell.load), law, *numbers)
        if balances[..., grid.STATUS].any():
            raise self._unbalanced(poses, balances)
        self.guess = balances[-1]
        time = poses[..., grid.TIME]
        self.covered += float(np.sum(balances[..., grid.COVERED] * time))
        self.touching += float(np.sum(balances[..., grid.TOUCHING] * time))
        self.reach = max(self.reach, float(motions.offsets_of(poses).max()))
        self.poses += balances.shape[0] * balances.shape[1]
        self.passes += int(balances[..., grid.STEPS].sum())

    def report(self) -> SpellReport:
        """What the spell did in addition to its removal."""
        peak = self.room.peak.max(axis=0) * (self.pieces.stiffness / self.pieces.pitch.stiffness)
        j, i = np.unravel_index(int(np.argmax(peak)), peak.shape)
        across = self.pieces.glass.across
        return SpellReport(
            peak_pressure=float(peak[j, i]),
            lift_off_share=1.0 - self.touching / self.covered if self.covered > 0.0 else 0.0, reach=self.reach,
            steps=self.poses, iterations=self.passes, peak_place=(float(across[i]), float(across[j])),
            redraws=self.redraws,
        )  # fmt: skip

    def _unbalanced(self, poses: Floats, balances: Floats) -> TipsOffError | ContactError:
        """What is wrong with the first pose out of balance: the load outside the contact's hull, or a fault of ours.

        Facets, stars, rings and holes make the hull smaller than the overlap of the discs; and within a cell of tipping
        the contact is smaller than a cell.
        """
        bad = balances[..., grid.STATUS] != grid.BALANCED
        offset, number = motions.offsets_of(poses), self.spell.number
        if motions.is_supported(poses[bad][0], self.pieces.glass, self.pieces.pitch):
            return ContactError(f"spell {number}, planar engine", float(balances[..., grid.IMBALANCE][bad][0]))
        least = float(offset[bad].min())
        return TipsOffError(number, least, float(offset[~bad & (offset < least)].max(initial=0.0)))


def _press_steps(spell: PlanarSpell, pieces: Pieces, accuracy: PlanarAccuracy) -> int:
    return max(8, math.ceil(4.0 * spell.duration / (accuracy.share_of_rate * pieces.relaxation)))


def _pose_count(motion: Motion, pieces: Pieces, accuracy: PlanarAccuracy) -> tuple[int, int, int]:
    """Poses of a stroke, how often its state is brought up to date, and how many strokes can wait for that together.

    Two rates matter: the pitch gives at 1/tau, and a high zone wears down at kappa k v.
    """
    poses = motions.poses_of(motion, np.arange(64)[None, :] / 64.0, 1.0)
    speed = np.hypot(poses[..., grid.SPEED_X], poses[..., grid.SPEED_Y]).mean()
    speed += 0.5 * pieces.glass.radius * np.abs(poses[..., grid.RATE]).mean()
    rate = max(1.0 / pieces.relaxation, pieces.stiffness * pieces.preston * float(speed))
    strokes = motion.stroke.frequency * accuracy.share_of_rate / rate
    updates = max(1, int(np.ceil(1.0 / strokes)))
    each = max(1, int(np.ceil(accuracy.poses / updates)))
    together = max(n for n in STROKES_TOGETHER if n <= max(1.0, strokes))
    return updates * each, updates, together
