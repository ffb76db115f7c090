"""Least squares from one programme, a few coupled runs at a time.

Gauss-Newton steps within a box about the programme and within the cube of what is allowed, each the solution of the
linear problem with bounds (P. B. Stark, R. L. Parker, Comput. Stat. 10 (1995) 129, from memory; by SciPy). The box
grows and shrinks with what the slopes had promised (J. J. More, Lect. Notes Math. 630 (1978) 105, from memory). Slopes
by differences cost as many runs as there are numbers; after a good step they are put right by what the step has shown
instead (C. G. Broyden, Math. Comp. 19 (1965) 577, from memory), which costs none.
"""

from __future__ import annotations

import numpy as np

from wearsim.decide.clock import TimeUp
from wearsim.decide.problem import Problem
from wearsim.decide.refine import Judged, Refiner, kept
from wearsim.decide.trial import Trying
from wearsim.errors import ContactError
from wearsim.wear.grid import Array

# How far a number may go in the first step, and below what the box has shrunk to nothing [1].
FIRST_BOX, LEAST_BOX = 0.2, 1e-3
# Steps that promise or bring less than this share of the sum of squares are the last.
LITTLE = 1e-3
# Slopes are worked anew where a step brought less than this share, or less than this of its promise.
SLOW, BROKEN = 0.05, 0.25
# A step that brings this share of its promise lets the box grow.
KEPT = 0.75
# Damping of the steps, as a share of the steepest slope.
_DAMPING = 1e-3


class Climb:
    """A programme on its way to the best one near it.

    Parameters
    ----------
    refiner : Refiner
    programme : tuple of Trying
        Its kinds, pieces on top, laps and their order stay.

    Attributes
    ----------
    cost : float
        Of the programme reached, as the refiner's score has it [m].
    is_over : bool
        Whether going on brings nothing.

    Raises
    ------
    ContactError
        Where the programme's contact cannot be solved.
    TimeUp
    """

    def __init__(self, refiner: Refiner, programme: tuple[Trying, ...]) -> None:
        self.refiner, self.problem = refiner, Problem(refiner, programme)
        self.x, self.box, self.is_over = self.problem.start, FIRST_BOX, not self.problem.keys
        self.rows = self.problem.residuals(self.x)
        self.slopes: Array | None = None
        self.is_fresh = False

    @property
    def squares(self) -> float:
        """Sum of squares of the residuals [1]."""
        return float(self.rows @ self.rows)

    @property
    def programme(self) -> tuple[Trying, ...]:
        """The programme reached."""
        return self.problem.programme(self.x)

    @property
    def cost(self) -> float:
        """What the search makes small [m]."""
        objective = self.refiner.objective
        return float(np.sqrt(self.squares)) * objective.rms_before * objective.dearness(self.programme)

    def judged(self) -> Judged:
        """The programme reached, judged; spells of next to no minutes left out."""
        return self.refiner.judge(kept(self.programme))

    def go(self, runs: int) -> None:
        """Take steps.

        Parameters
        ----------
        runs : int
            No step is begun after so many coupled runs.
        """
        left = runs
        while left > 0 and not self.is_over:
            if self.slopes is None:
                try:
                    self.slopes, self.is_fresh = self.problem.slopes(self.x), True
                except ContactError:
                    self.is_over = True
                    break
                left -= self.x.size
            left -= self._step(self.slopes)

    def _step(self, slopes: Array) -> int:
        """One step, taken if it is down; runs that it took."""
        move = self._move(slopes)
        squares = self.squares
        promised = squares - float(np.sum((self.rows + slopes @ move) ** 2))
        if promised <= LITTLE * squares * 0.1:
            self._give_up()
            return 0
        try:
            rows = self.problem.residuals(self.x + move)
        except ContactError:
            rows = np.full_like(self.rows, np.inf)
        gained = squares - float(rows @ rows)
        far = float(np.abs(move).max())
        if gained > 0.0:
            change = rows - self.rows - slopes @ move
            self.x, self.rows = self.x + move, rows
            if gained > KEPT * promised and far > 0.9 * self.box:
                self.box *= 2.0
            elif gained < BROKEN * promised:
                self.box = 0.5 * far
            if gained < LITTLE * squares and self.is_fresh:
                self.is_over = True
            elif gained < BROKEN * promised or gained < SLOW * squares:
                self.slopes = None
            else:
                self.slopes, self.is_fresh = slopes + np.outer(change, move) / float(move @ move), False
        elif self.is_fresh:
            self.box = 0.3 * far
        else:
            self.slopes, self.box = None, min(self.box, 0.5 * far)
        self.is_over |= self.box < LEAST_BOX
        return 1

    def _give_up(self) -> None:
        """At the end, unless slopes worked anew may see further."""
        if self.is_fresh:
            self.is_over = True
        else:
            self.slopes = None

    def _move(self, slopes: Array) -> Array:
        """The step to where the slopes are least within the box and the cube."""
        from scipy.optimize import lsq_linear  # slow to import, and a dry run does not come by here

        low = np.maximum(self.problem.bounds[0] - self.x, -self.box)
        high = np.maximum(np.minimum(self.problem.bounds[1] - self.x, self.box), low + 1e-9)
        count = self.x.size
        damping = _DAMPING * np.linalg.norm(slopes, axis=0).max() * np.eye(count, count + 1)
        small = np.linalg.qr(np.vstack([np.column_stack([slopes, self.rows]), damping]), mode="r")
        return np.asarray(lsq_linear(small[:, :count], -small[:, count], (low, high), method="bvls").x)


def climbed(refiner: Refiner, programme: tuple[Trying, ...], runs: int) -> Judged | None:
    """The best programme near one, after so many coupled runs; None where the contact cannot be solved.

    Parameters
    ----------
    refiner : Refiner
    programme : tuple of Trying
    runs : int
    """
    try:
        climb = Climb(refiner, programme)
    except (ContactError, TimeUp):
        return None
    try:
        climb.go(runs)
    except TimeUp:
        pass
    try:
        return climb.judged()
    except ContactError:
        return None
