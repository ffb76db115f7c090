"""Least squares from one programme, a few coupled runs at a time.

Gauss-Newton steps within a box about the programme and within the cube of what is allowed, each the solution of the
linear problem with bounds (P. B. Stark, R. L. Parker, Comput. Stat. 10 (1995) 129, from memory). The box grows and
shrinks with what the slopes had promised (J. J. More, Lect. Notes Math. 630 (1978) 105, from memory). Slopes by
differences cost as many runs as there are numbers; after a good step they are put right by what the step has shown
instead (C. G. Broyden, Math. Comp. 19 (1965) 577, from memory), which costs none.
"""

from __future__ import annotations

from contextlib import suppress

import numpy as np

from wearsim.decide.coarse_engine import Trying
from wearsim.decide.least_squares import Judged, Problem, Refiner, kept
from wearsim.decide.limits import TimeUp
from wearsim.errors import ContactError
from wearsim.kernels.arrays import Floats

# How far a number may go in the first step, and below what the box has shrunk to nothing [1].
FIRST_BOX, LEAST_BOX = 0.35, 1e-3
# The least share of the minutes in which a spell is kept alive [1].
LEAST_SHARE = 0.01
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
        self.low, self.high = self._bounds()
        self.x = np.clip(self.x, self.low, self.high)
        self.rows = self.problem.residuals(self.x)
        self.slopes: Floats | None = None
        self.is_fresh = False

    def _bounds(self) -> tuple[Floats, Floats]:
        """Of the cube; a spell of no minutes would have no slopes to come back by."""
        timed = np.array([name == "minutes" for _, name in self.problem.keys], dtype=bool)
        whole = timed & (np.cumsum(timed) == 1)
        low, high = (bound.copy() for bound in self.problem.bounds)
        low[timed] = LEAST_SHARE
        high[timed & ~whole] = 1.0 - LEAST_SHARE
        return low, high

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

    def _step(self, slopes: Floats) -> int:
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

    def _move(self, slopes: Floats) -> Floats:
        """The step to where the slopes are least within the box and the cube."""
        low = np.maximum(self.low - self.x, -self.box)
        high = np.maximum(np.minimum(self.high - self.x, self.box), low + 1e-9)
        normal, lean = slopes.T @ slopes, slopes.T @ self.rows
        normal[np.diag_indices_from(normal)] += _DAMPING**2 * normal.diagonal().max() + 1e-300
        return least_within(normal, lean, low, high)


def least_within(normal: Floats, lean: Floats, low: Floats, high: Floats) -> Floats:
    """Where ``x normal x / 2 + lean x`` is least between bounds.

    The active-set method: numbers that want beyond a bound are held there, and let go again where they want back.
    SciPy's ``lsq_linear`` finds the same (tests/decide/test_climb.py); for ten numbers it takes several times as long,
    a sixth of a climb on rough grids.

    Parameters
    ----------
    normal : (n, n) ndarray
        Positive definite.
    lean : (n,) ndarray
    low, high : (n,) ndarray
        Around 0.

    Returns
    -------
    (n,) ndarray
    """
    x, free = np.zeros_like(lean), np.ones(lean.size, dtype=bool)
    for _ in range(4 * lean.size):
        if free.any():
            held = lean[free] + normal[np.ix_(free, ~free)] @ x[~free]
            x[free] = np.linalg.solve(normal[np.ix_(free, free)], -held)
        out = free & ((x < low) | (x > high))
        x = np.clip(x, low, high)
        if out.any():
            free &= ~out
            continue
        slope = normal @ x + lean
        wants = np.where(free, 0.0, np.where(x <= low, -slope, slope))
        if wants.max() <= 0.0:
            break
        free[np.argmax(wants)] = True
    return x


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
        with suppress(TimeUp):
            climb.go(runs)
        return climb.judged()
    except (ContactError, TimeUp):
        return None
