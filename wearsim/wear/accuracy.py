"""Every numerical knob of an engine in one frozen object, with the error it bounds.

The defaults are *found*: ``tests/benchmarks/accuracy_table.py`` prints error against time over grids, offsets
and steps, and docs/performance.md keeps the table.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any


@dataclass(frozen=True)
class Accuracy:
    """Numerical settings of the radial engine.

    Parameters
    ----------
    glass_rings, pitch_rings : int
        Nodes of the radial grids of mirror and lap.
    rim_share : float
        0 = even grid .. 1 = crowded towards the rim like a Chebyshev grid.
    offsets : int
        Centre offsets at which a stroke's contact is solved (made odd).
    per_radius, per_turn : int
        Area nodes for the balance, per radius of the smaller piece and per half turn.
    ring_per_turn : int
        Nodes of a whole ring's half turn for the ring means.
    speed_rings : int
        Radii at which the speed over the glass is tabulated where the pieces turn against each other.
    table_cells : int
        Cells of the fine tables in which heights are looked up.
    draws : int
        Draws of a jittered stroke (a low-discrepancy set, always the same), about.
    phases : int
        Poses along each drawn stroke for the path weights.
    tolerance : float
        Error allowed in a time step, relative to the mean removal of the spell and to the pitch's mean
        compression.
    steps : int
        0 for error control; otherwise equal time steps (for the convergence tests).
    """

    glass_rings: int = 48
    pitch_rings: int = 40
    rim_share: float = 0.85
    offsets: int = 30
    per_radius: int = 12
    per_turn: int = 12
    ring_per_turn: int = 13
    speed_rings: int = 6
    table_cells: int = 400
    draws: int = 256
    phases: int = 24
    tolerance: float = 5e-3
    steps: int = 0

    def refined(self, factor: float = 2.0) -> Accuracy:
        """The same with every knob turned up by ``factor`` (and the tolerance down by its square).

        Parameters
        ----------
        factor : float
            Above 1 for less error.

        Returns
        -------
        Accuracy
            For convergence checks: compare what it gives with what this one gives.
        """
        counts = {name: count for name, count in vars(self).items() if isinstance(count, int)}
        finer: dict[str, Any] = {name: round(count * factor) for name, count in counts.items()}
        return replace(self, tolerance=self.tolerance / factor**2, **finer)


DEFAULT = Accuracy()
SMOOTH = replace(DEFAULT, offsets=4 * DEFAULT.offsets)
"""For pictures of slopes: the rim of the piece on top prints a ring at each offset, a nanometre high, which shadows show."""


@dataclass(frozen=True)
class PlanarAccuracy:
    """Numerical settings of the planar engine, each with the error that it bounds.

    Parameters
    ----------
    cells : int
        Cells across the mirror; the removal converges with the square of their size.
    poses : int
        Poses of a stroke; their places shift from stroke to stroke, so that few are enough.
    share_of_rate : float
        Longest time that the state stands still, as a share of the quicker of the pitch's relaxation time and the
        time in which a high zone wears down: the error is about half of it, of the change that is still to come.
    tolerance : float
        Imbalance allowed of force and moments, relative.
    slots : int
        Parts that poses are dealt into, and so the most threads that help; sums are taken in their order.
    strokes_a_batch : int
        Strokes between two reports of progress; Ctrl-C is heard between batches. Jittered strokes are drawn by
        batches, so that this is part of what a seed means.
    tipping_cells : float
        Jittered strokes whose load comes within so many cells of a piece's rim count as tipping and are drawn again:
        there a coarse grid may find no contact. It cuts the widest strokes off; 0 for what the discs themselves allow.
    most_poses : int
        Poses that a programme may need with the bench's own constants; a longer one is refused before its first spell.
        It bounds time and memory, not an error: a million take about 12 minutes of one core at 128 cells.
    """

    cells: int = 128
    poses: int = 16
    share_of_rate: float = 0.01
    tolerance: float = 1e-9
    slots: int = 4
    strokes_a_batch: int = 16
    tipping_cells: float = 0.0
    most_poses: int = 1_000_000
