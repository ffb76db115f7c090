"""What a stroke spends at each centre offset and load case: its path and its time, averaged over the hands' spread.

A load case says where the load stands relative to the top piece's centre, seen from the line of centres. The friction
lead carries the load forward along the motion; hands that push off centre carry it along and across the stroke (physics
section 2). Averaged over a spell only its place seen from the line of centres matters, and a few cases per offset stand
for all places: headings out, in and across for the lead, and for an off-centre push a few angles at a few
distances.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from wearsim.bench.bench import Bench
from wearsim.bench.hands import REFERENCE_SPEED
from wearsim.bench.programme import Stroke
from wearsim.errors import InputError
from wearsim.kernels.arrays import Floats
from wearsim.kernels.stroke_path import path_weights, reach_bound
from wearsim.kernels.wear_law import AZIMUTHS
from wearsim.wear.accuracy import Accuracy
from wearsim.wear.constants import AS_STATED, Constants
from wearsim.wear.strokes import draws_needed

ANGLES = 5
"""Angles from the line of centres, 0 to 180 degrees, at which a load that is pushed off centre is balanced."""
DISTANCES = 3
"""Distances from the top piece's centre at which it is, where friction carries it along as well."""


@dataclass(frozen=True, eq=False)
class LoadCases:
    """Load positions in axes along and across the line of centres; the same object for the same hands.

    Parameters
    ----------
    position : (M, 2) ndarray
        [m]
    push : (2,) ndarray
        Of the hands, along and across the stroke [m].
    lead : float
        Friction lead [m].
    angles : int
        See :func:`wearsim.kernels.stroke_path.case_weights`.
    """

    position: Floats
    push: Floats
    lead: float
    angles: int


@lru_cache(maxsize=256)
def load_cases(lead: float, push_offset: tuple[float, ...]) -> LoadCases:
    """Cases for a friction lead, push height times friction, and a push off centre along and across the stroke [m]."""
    push = np.array(push_offset)
    middle = float(np.hypot(*push))
    if middle == 0.0:
        places = lead * np.array([(1.0, 0.0), (-1.0, 0.0), (0.0, 1.0)])
        return LoadCases(places if lead != 0.0 else places[:1], push, lead, 0)
    turn = np.linspace(0.0, np.pi, ANGLES)
    half = np.column_stack([np.cos(turn), np.sin(turn)])
    half[-1, 1] = 0.0  # on the line of centres to the last bit: such cases are balanced without a tilt across
    radii = np.linspace(abs(middle - lead), middle + lead, DISTANCES) if lead != 0.0 else np.array([middle])
    return LoadCases(np.concatenate([radius * half for radius in radii]), push, lead, ANGLES)


@dataclass(frozen=True)
class SpeedLaw:
    """How fast lap and glass slide, and how wear goes with that (physics section 3).

    Parameters
    ----------
    top, bottom : float
        Rates at which the pieces turn [rad/s].
    exponent : float
        n of the speed [1].
    radius : float
        Of the mirror [m].
    """

    top: float = 0.0
    bottom: float = 0.0
    exponent: float = 1.0
    radius: float = 1.0

    @property
    def scale(self) -> float:
        """Factor that makes a speed to the n a speed again, the same at :data:`REFERENCE_SPEED` [(m/s)^(1-n)]."""
        return float(REFERENCE_SPEED ** (1.0 - self.exponent))

    def turned(self, top_is_tool: bool, rings: int) -> Floats:
        """What turning against each other adds to the lap's velocity at the glass's places (J, 2) [m/s].

        The places: the mirror's centre, then ``rings`` even radii of :data:`AZIMUTHS` azimuths from the line of
        centres on; the centre alone where the pieces turn alike, for then they slide alike everywhere.
        """
        spin = (self.top - self.bottom) * (1.0 if top_is_tool else -1.0)
        if spin == 0.0:
            return np.zeros((1, 2))
        radius, angle = np.arange(1, rings + 1) / rings, 2.0 * np.pi * np.arange(AZIMUTHS) / AZIMUTHS
        unit = np.column_stack([-np.sin(angle), np.cos(angle)])
        around = spin * self.radius * radius[:, None, None] * unit
        return np.concatenate([np.zeros((1, 2)), around.reshape(-1, 2)])


PLAIN = SpeedLaw()


def speed_law(bench: Bench, constants: Constants = AS_STATED) -> SpeedLaw:
    """The law of a bench's hands or machine."""
    exponent = bench.exponents(more_speed=constants.speed_exponent)[1]
    return SpeedLaw(*bench.hands.spins, exponent, bench.mirror.radius)


# Fine offsets for each one at which the contact is solved.
FINE = 16
# Concentric discs of one size touch all round at their rims, for no time at all; the least bit aside they touch
# half way round. The first node is there, as a share of the farthest.
OFF_CENTRE = 1e-6
# Power of the density that the nodes follow; found with tests/benchmarks/accuracy_table.py.
CROWDING = 0.25


@dataclass(frozen=True)
class OffsetWeights:
    """Weights of a stroke over centre offset and load case.

    Parameters
    ----------
    offset : (n_e,) ndarray
        Centre offsets [m].
    path : (n_e, M J) ndarray
        Path per second that lap and glass slide at each, at the J places of :meth:`SpeedLaw.turned` [m/s].
    time : (n_e, M) ndarray
        Share of time spent at each [1].
    left_out : float
        Share of the jittered strokes that would tip off and are left out [1].
    mean_speed : float
        Mean speed of the top piece's centre over the bottom piece [m/s].
    """

    offset: Floats
    path: Floats
    time: Floats
    left_out: float
    mean_speed: float


@lru_cache(maxsize=4096)
def offset_weights(
    stroke: Stroke, jitter: tuple[float, float], top_is_tool: bool, cases: LoadCases, limit: float,
    largest: float, accuracy: Accuracy, law: SpeedLaw = PLAIN,
) -> OffsetWeights:  # fmt: skip
    """Path and time of a stroke over centre offset.

    Parameters
    ----------
    jitter : (float, float)
        Relative spread of length and sweep [1], spread of the centre [m].
    limit : float
        Offset at which the top piece tips off [m]; jittered strokes that reach it are left out.
    largest : float
        Offset beyond which poses are taken to be there [m].
    law : SpeedLaw
        Turning of the pieces and exponent of the speed.
    """
    many, phases = draws_needed(stroke, jitter, accuracy)
    kind, length, sweep, overhang, _ = stroke.numbers
    spread = float(np.abs(jitter[1] * many[:, 2:4]).max())
    factor = 1.0 + jitter[0] * max(0.0, float(many[:, :2].max()))
    most = reach_bound(kind, length * factor, sweep * factor, overhang, spread, spread)
    fine = np.linspace(0.0, max(min(most, largest), 1e-9), FINE * accuracy.offsets)
    path, time, (left_out, speed) = along_path(
        stroke, jitter, many, phases, limit, top_is_tool, fine, cases, law, accuracy
    )
    if not np.any(path > 0.0):
        raise InputError(
            "with this jitter nearly every stroke tips the top piece off", key="hands",
            expected="less length_jitter or centre_jitter, or a shorter stroke",
        )  # fmt: skip
    offset = offset_nodes(fine, path.sum(axis=1) / path.sum() + time.sum(axis=1), accuracy.offsets)
    path, time = gather(fine, path, offset), gather(fine, time, offset)
    return OffsetWeights(offset, path, time, left_out, speed)


def along_path(
    stroke: Stroke, jitter: tuple[float, float], many: Floats, phases: int, limit: float, top_is_tool: bool,
    offset: Floats, cases: LoadCases, law: SpeedLaw, accuracy: Accuracy,
) -> tuple[Floats, Floats, tuple[float, float]]:  # fmt: skip
    """Path (n_e, M J) [m/s] and time (n_e, M) [1] of a stroke over given offsets; share left out and mean speed."""
    turned = law.turned(top_is_tool, accuracy.speed_rings)
    time = np.zeros((offset.size, len(cases.position)))
    path = np.zeros((offset.size, time.shape[1] * len(turned)))
    found = path_weights(
        *stroke.numbers, stroke.frequency, np.array(jitter), many, phases, limit, top_is_tool, offset,
        cases.push, cases.lead, cases.angles, np.array([law.top, law.bottom]), turned, law.exponent, path, time,
    )  # fmt: skip
    path *= law.scale
    return path, time, found


def offset_nodes(fine: Floats, measure: Floats, count: int) -> Floats:
    """Offsets at which a measure over the offset is best gathered: closer where it is dense.

    With a spacing h the error of a cell goes as ``measure density x h^p``; it is least for a given count where h
    goes as a small power of the density.

    Parameters
    ----------
    fine : (m,) ndarray
        Even offsets [m].
    measure : (m,) ndarray
        What lies at each [1].
    count : int
        Wanted; rounded up to an odd number.
    """
    there = np.flatnonzero(measure > 1e-12 * measure.max())
    low, high = max(there[0] - 1, 0), min(there[-1] + 1, fine.size - 1)
    density = np.convolve(measure, np.ones(5) / 5.0, mode="same")[low : high + 1]
    step = (density / density.max()) ** CROWDING
    reached = np.concatenate([[0.0], np.cumsum(0.5 * (step[1:] + step[:-1]))])
    wanted = np.linspace(0.0, reached[-1], count + 1 - count % 2)
    return np.asarray(np.maximum(np.interp(wanted, reached, fine[low : high + 1]), OFF_CENTRE * fine[-1]))


def gather(fine: Floats, weight: Floats, offset: Floats) -> Floats:
    """Weights over fine offsets gathered onto a few: nothing negative, sum and mean offset exact.

    Each point goes to the three nodes of its pair of cells as a parabola through them would have it, which keeps
    the mean square too; where that would make a weight negative, to its two neighbours linearly.

    Parameters
    ----------
    fine : (m,) ndarray
        [m]
    weight : (m, M) ndarray
        Not negative.
    offset : (n,) ndarray
        n odd, ascending [m].
    """
    out = np.zeros((offset.size, weight.shape[1]))
    pair = np.clip((np.searchsorted(offset, fine) - 1) // 2, 0, offset.size // 2 - 1)
    for k in range(offset.size // 2):
        inside = pair == k
        e, (a, b, c) = fine[inside], offset[2 * k : 2 * k + 3]
        e = np.clip(e, a, c)
        curved = np.array([
            (e - b) * (e - c) / ((a - b) * (a - c)),
            (e - a) * (e - c) / ((b - a) * (b - c)),
            (e - a) * (e - b) / ((c - a) * (c - b)),
        ]) @ weight[inside]  # fmt: skip
        first, last = np.clip((b - e) / (b - a), 0.0, 1.0), np.clip((e - b) / (c - b), 0.0, 1.0)
        straight = np.array([first, 1.0 - first - last, last]) @ weight[inside]
        out[2 * k : 2 * k + 3] += np.where(curved.min(axis=0) < 0.0, straight, curved)
    return out
