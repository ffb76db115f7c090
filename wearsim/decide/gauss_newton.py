"""Gauss-Newton from one programme, a few coupled runs at a time.

Steps within a box about the programme and within the cube of allowed values, each the solution of the linear problem
with bounds (P. B. Stark and R. L. Parker, Bounded-variable least-squares, 1995, from memory). The box grows and shrinks
with how well the slopes predicted the step (J. J. More, The Levenberg-Marquardt algorithm, 1978, from memory). Slopes by
differences cost as many runs as there are numbers; after a good step they are corrected by its result instead, which costs
none (C. G. Broyden, A class of methods for solving nonlinear simultaneous equations, 1965, from memory).
"""

from __future__ import annotations

from contextlib import suppress

import numpy as np

from wearsim.decide.coarse_engine import Plan
from wearsim.decide.least_squares import BoundedResiduals, Candidate, Refiner, without_short
from wearsim.decide.limits import TimeUp
from wearsim.errors import ContactError
from wearsim.kernels.arrays import Floats

# How far a number may go in the first step, and below what the box has shrunk to nothing [1].
FIRST_BOX, LEAST_BOX = 0.35, 1e-3
# The least share of the minutes in which a spell is kept alive [1].
LEAST_SHARE = 0.01
# Steps that promise or bring less than this share of the sum of squares are the last.
LEAST_GAIN = 1e-3
# Slopes are computed again where a step gained less than this share, or less than this of its promise.
SLOW_SHARE, POOR_SHARE = 0.05, 0.25
# A step that brings this share of its promise lets the box grow.
GOOD_SHARE = 0.75
# Damping of the steps, as a share of the steepest slope.
_DAMPING = 1e-3


class GaussNewton:
    """A programme on its way to the best one near it; its kinds, pieces on top, laps and their order stay.

    Raises ContactError where the programme's contact cannot be solved, and TimeUp.
    """

    def __init__(self, refiner: Refiner, plan: Plan) -> None:
        self.refiner, self.problem = refiner, BoundedResiduals(refiner, plan)
        self.box = FIRST_BOX
        self.is_over = not self.problem.keys  # whether going on brings nothing
        self.low, self.high = self._bounds()
        self.x = np.clip(self.problem.start, self.low, self.high)
        self.rows = self.problem.residuals(self.x)
        self.slopes: Floats | None = None
        self.is_fresh = False

    def _bounds(self) -> tuple[Floats, Floats]:
        """Bounds of the cube; a spell of no minutes would have no slopes to come back by."""
        timed = np.array([name == "minutes" for _, name in self.problem.keys], dtype=bool)
        total_work = timed & (np.cumsum(timed) == 1)
        low, high = (bound.copy() for bound in self.problem.bounds)
        low[timed] = LEAST_SHARE
        high[timed & ~total_work] = 1.0 - LEAST_SHARE
        return low, high

    @property
    def squares(self) -> float:
        """Sum of squares of the residuals [1]."""
        return float(self.rows @ self.rows)

    @property
    def plan(self) -> Plan:
        """The programme reached."""
        return self.problem.plan(self.x)

    @property
    def cost(self) -> float:
        """What the search makes small, as the refiner's score has it [m]."""
        objective = self.refiner.objective
        effort = objective.effort(self.plan) if len(self.refiner.engines) == 1 else 1.0  # of several it is in the rows
        return float(np.sqrt(self.squares)) * objective.rms_before * effort

    def candidate(self) -> Candidate | None:
        """The programme reached with its score, spells of next to no minutes left out; None where it has none."""
        return self.refiner.attempt(without_short(self.plan))

    def run(self, runs: int) -> None:
        """Take steps; none is begun after so many coupled runs."""
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
        move, squares = self._move(slopes), self.squares
        predicted = squares - float(np.sum((self.rows + slopes @ move) ** 2))
        if predicted <= LEAST_GAIN * squares * 0.1:
            if self.is_fresh:
                self.is_over = True
            else:
                self.slopes = None  # computed again, they may reach further
            return 0
        try:
            rows = self.problem.residuals(self.x + move)
        except ContactError:
            rows = np.full_like(self.rows, np.inf)
        length = float(np.abs(move).max())
        if squares - float(rows @ rows) > 0.0:
            self._take(slopes, move, rows, predicted)
        elif self.is_fresh:
            self.box = 0.3 * length
        else:
            self.slopes, self.box = None, min(self.box, 0.5 * length)
        self.is_over |= self.box < LEAST_BOX
        return 1

    def _take(self, slopes: Floats, move: Floats, rows: Floats, predicted: float) -> None:
        """Take a step that is down, and put box and slopes right by what it has shown."""
        squares, change = self.squares, rows - self.rows - slopes @ move
        gained, length = squares - float(rows @ rows), float(np.abs(move).max())
        self.x, self.rows = self.x + move, rows
        if gained > GOOD_SHARE * predicted and length > 0.9 * self.box:
            self.box *= 2.0
        elif gained < POOR_SHARE * predicted:
            self.box = 0.5 * length
        if gained < LEAST_GAIN * squares and self.is_fresh:
            self.is_over = True
        elif gained < POOR_SHARE * predicted or gained < SLOW_SHARE * squares:
            self.slopes = None
        else:
            self.slopes, self.is_fresh = slopes + np.outer(change, move) / float(move @ move), False

    def _move(self, slopes: Floats) -> Floats:
        """The step to where the slopes are least within the box and the cube."""
        low = np.maximum(self.low - self.x, -self.box)
        high = np.maximum(np.minimum(self.high - self.x, self.box), low + 1e-9)
        normal, gradient = slopes.T @ slopes, slopes.T @ self.rows
        normal[np.diag_indices_from(normal)] += _DAMPING**2 * normal.diagonal().max() + 1e-300
        return least_within(normal, gradient, low, high)


def least_within(normal: Floats, gradient: Floats, low: Floats, high: Floats) -> Floats:
    """Where ``x normal x / 2 + gradient x`` is least between bounds around 0, (n,); ``normal`` (n, n) is positive definite.

    The active-set method: numbers that want beyond a bound are held there, and let go again where they want back.
    SciPy's ``lsq_linear`` finds the same (tests/decide/test_gauss_newton.py); for ten numbers it takes several times as
    long, a sixth of a climb on rough grids.
    """
    x, free = np.zeros_like(gradient), np.ones(gradient.size, dtype=bool)
    for _ in range(4 * gradient.size):
        if free.any():
            held = gradient[free] + normal[np.ix_(free, ~free)] @ x[~free]
            x[free] = np.linalg.solve(normal[np.ix_(free, free)], -held)
        out = free & ((x < low) | (x > high))
        x = np.clip(x, low, high)
        if out.any():
            free &= ~out
            continue
        slope = normal @ x + gradient
        multipliers = np.where(free, 0.0, np.where(x <= low, -slope, slope))
        if multipliers.max() <= 0.0:
            break
        free[np.argmax(multipliers)] = True
    return x


def gauss_newton(refiner: Refiner, plan: Plan, runs: int) -> Candidate | None:
    """The best programme near one, after so many coupled runs; None where the contact cannot be solved."""
    try:
        climb = GaussNewton(refiner, plan)
        with suppress(TimeUp):
            climb.run(runs)
        return climb.candidate()
    except (ContactError, TimeUp):
        return None
