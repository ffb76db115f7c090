"""The offset basis: wear per unit of path as a function of centre offset and zone, at a given state.

Physics section 6: at a given state, load and piece on top, *every* stroke is a weight over the centre offset, so
a library of strokes costs one table and one matrix product.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from wearsim.bench.bench import Bench
from wearsim.bench.lap import Lap
from wearsim.bench.programme import Stroke
from wearsim.bench.units import length_unit
from wearsim.errors import ContactError
from wearsim.kernels import radial_wear as kernels
from wearsim.kernels.arrays import Floats
from wearsim.parallel import in_threads, worker_count
from wearsim.wear.accuracy import DEFAULT, Accuracy
from wearsim.wear.constants import AS_STATED, Constants
from wearsim.wear.radial.engine import largest_offset, load_cases_for, spell_contact
from wearsim.wear.radial.path_weights import OFF_CENTRE, PLAIN, LoadCases, SpeedLaw, along_path, speed_law
from wearsim.wear.state import State, glass_grid, lap_name, pitch_grid
from wearsim.wear.strokes import draws_needed

BASIS_OFFSETS = 48
# Fewer are not worth a thread.
_STROKES_A_THREAD = 64


@dataclass(frozen=True)
class OffsetBasis:
    """Ring means of the pressure at every offset and load case.

    Where the pieces turn against each other, each load case has J rows: the pressure weighted by how much of the speed
    over the glass is that at each of the places of :meth:`SpeedLaw.turned`. Where wear is not linear in the pressure,
    the pressure stands for its power (physics section 3).

    Parameters
    ----------
    on_top : str
    lap : str
        The lap's name.
    offset : (n_e,) ndarray
        Centre offsets, from 0 to where the top piece tips off [m].
    cases : LoadCases
    radius : (n_r,) ndarray
        [m]
    pressure : (n_e, M J, n_r) ndarray
        Ring means of the pressure, zero where not covered [Pa].
    """

    on_top: str
    lap: str
    offset: Floats
    cases: LoadCases
    radius: Floats
    pressure: Floats

    def wear(self, weights: Floats, preston: float) -> Floats:
        """Glass removed per second (N, n_r) [m/s] by strokes with weights (N, n_e M J) of :func:`path_matrix` [m/s]."""
        rows = self.pressure.reshape(-1, self.radius.size)
        return np.asarray(preston * (weights @ rows))


def basis_offsets(
    bench: Bench, lap: Lap, on_top: str, accuracy: Accuracy = DEFAULT, count: int = BASIS_OFFSETS
) -> Floats:
    """Offsets of a basis: even, from all but 0 to just short of tipping [m]."""
    largest = largest_offset(bench, lap, on_top, accuracy)
    return np.linspace(OFF_CENTRE * largest, largest, count)


def offset_basis(
    bench: Bench, state: State, on_top: str, lap: Lap, *, push: float | None = None, constants: Constants = AS_STATED,
    accuracy: Accuracy = DEFAULT, count: int = BASIS_OFFSETS,
) -> OffsetBasis:  # fmt: skip
    """Ring means of the pressure at every offset and load case, at a state.

    Parameters
    ----------
    push : float, optional
        Of the hands; by default the bench's [N].
    count : int
        Offsets.

    Raises
    ------
    ContactError
        Where a balance was not found.
    ValueError
        Where the state is not on the grids of ``accuracy``.
    """
    _check_grids(bench, state, lap, accuracy)
    offset = basis_offsets(bench, lap, on_top, accuracy, count)
    cases = load_cases_for(bench)
    places = len(speed_law(bench).turned(on_top == "tool", accuracy.speed_rings))
    shape = (count, len(cases.position))
    ones, zeros = np.ones((count, shape[1] * places)), np.zeros(shape)
    force = bench.load_on("tool" if on_top == "tool" else "mirror", lap, push=push)
    contact, nodes = spell_contact(bench, lap, on_top, force, offset, ones, zeros, cases, constants, accuracy)
    table = np.zeros((ones.size, state.radius.size))
    u = state.laps[lap_name(lap)].height
    unused, survey, poses = np.zeros((1, u.size)), np.zeros(4), np.zeros((*shape, 3))
    speeds = np.zeros((shape[1], 2, 0), np.float32)
    status = kernels.offset_pressures(
        state.height, u, contact, nodes, poses, True, ones, zeros, speeds, table, unused, survey
    )
    if status != 0:
        raise ContactError(f"offset {length_unit(bench).text(offset[status - 1])}", float(survey[2]))
    pressure = table.reshape(*ones.shape, state.radius.size)
    return OffsetBasis(on_top, lap_name(lap), offset, cases, state.radius, pressure)


def _check_grids(bench: Bench, state: State, lap: Lap, accuracy: Accuracy) -> None:
    radius, rho = glass_grid(bench.mirror, accuracy), pitch_grid(lap, accuracy)
    if not np.array_equal(state.radius, radius) or not np.array_equal(state.laps[lap_name(lap)].radius, rho):
        raise ValueError("the state is not on the grids of this accuracy; State.on_grids takes it there")


def path_matrix(
    strokes: Sequence[Stroke], jitter: tuple[float, float], basis_offset: Floats, cases: LoadCases, on_top: str,
    accuracy: Accuracy = DEFAULT, law: SpeedLaw = PLAIN,
) -> Floats:  # fmt: skip
    """Path per second of many strokes over a basis's offsets (n_e,) [m] and load cases.

    Parameters
    ----------
    jitter : (float, float)
        Relative spread of length and sweep [1], of the centre [m].

    Returns
    -------
    (N, n_e M J) ndarray
        [m/s]
    """
    size = len(cases.position) * len(law.turned(on_top == "tool", accuracy.speed_rings))
    out = np.zeros((len(strokes), basis_offset.size * size))

    def fill(part: range) -> None:
        for i in part:
            path, _ = stroke_weights(strokes[i], jitter, basis_offset, cases, on_top, accuracy, law)
            out[i] = path.ravel()

    workers = max(1, min(worker_count(), len(strokes) // _STROKES_A_THREAD))
    in_threads(fill, [range(first, len(strokes), workers) for first in range(workers)], workers=workers)
    return out


def stroke_weights(
    stroke: Stroke, jitter: tuple[float, float], offset: Floats, cases: LoadCases, on_top: str, accuracy: Accuracy,
    law: SpeedLaw = PLAIN,
) -> tuple[Floats, Floats]:  # fmt: skip
    """Path (n_e, M J) [m/s] and time (n_e, M) [1] of one stroke over given offsets (n_e,) [m]."""
    many, phases = draws_needed(stroke, jitter, accuracy)
    limit, top_is_tool = offset[-1] * (1.0 + 1e-9), on_top == "tool"
    path, time, _ = along_path(stroke, jitter, many, phases, limit, top_is_tool, offset, cases, law, accuracy)
    return path, time
