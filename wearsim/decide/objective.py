"""What makes one programme better than another.

Physics section 9: the expected squared figure error over everything uncertain,

    J = sum_s weight_s ( ||P (h - R_s)||^2 + sigma^2 sum_i ||P R_si||^2 ),

R_si the coupled engine's removal by spell i with the constants of scenario s, R_s their sum, and sigma the spread of a
spell's removal that no calibration takes away, each spell for itself: charge, wetness, the hands. The second term is
what makes a programme of large removals that cancel a bad one. Edge roll beyond its limit counts on top, and minutes,
spells and change-overs make the residual dearer.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np

from wearsim.decide.coarse_engine import Trying, worked
from wearsim.decide.limits import Limits
from wearsim.decide.lower_bound import rms_root
from wearsim.decide.scenarios import Scenario
from wearsim.figure.metrics import FigureGauge
from wearsim.kernels.arrays import Floats
from wearsim.wear.state import State

# How many times dearer than figure error an edge roll beyond the limit is. A judgement.
EDGE_WEIGHT = 3.0


@dataclass(frozen=True)
class Score:
    """A programme judged.

    Parameters
    ----------
    cost : float
        What the search makes small [m].
    expected_rms : float
        Root of the expected mean square figure error [m].
    rms : float
        RMS figure error with the most likely constants [m].
    edge_roll : float
        With the most likely constants [m].
    """

    cost: float
    expected_rms: float
    rms: float
    edge_roll: float


class Objective:
    """Scores programmes on one start figure.

    Parameters
    ----------
    gauge : FigureGauge
        On the trials' grid.
    start : State
    limits : Limits
    wavelength : float
        [m]
    """

    def __init__(self, gauge: FigureGauge, start: State, limits: Limits, wavelength: float) -> None:
        self.gauge, self.start, self.limits, self.wavelength = gauge, start, limits, wavelength
        root = rms_root(gauge)
        self.root = np.linalg.qr(root, mode="r") if root.shape[0] > root.shape[1] else root
        self.error = gauge.error(start.height)
        self.rms_before = float(np.linalg.norm(self.root @ self.error))
        self.roll_before = gauge.edge_roll(self.error)
        self.roll_limit = limits.edge_limit * wavelength

    def after(self, start: State) -> Objective:
        """The same from another state of the laps, the glass as it was."""
        if start is self.start:
            return self
        return Objective(self.gauge, start, self.limits, self.wavelength)

    def within(self, minutes: float) -> Objective:
        """The same with so many minutes of work allowed in all [min]."""
        return Objective(self.gauge, self.start, replace(self.limits, minutes=minutes), self.wavelength)

    def residuals(self, heights: list[Floats], aim: float = 1.0) -> Floats:
        """Rows whose sum of squares is one scenario's share of J, edge penalty included [m].

        Parameters
        ----------
        heights : list of (n,) ndarray
            Glass at the start and after each spell [m].
        aim : float
            Share of the way that counts as the whole [1].
        """
        left = self.root @ (aim * self.error - (heights[0] - heights[-1]))
        spread = self.limits.spread
        cancel = [spread * (self.root @ (one - two)) for one, two in pairwise(heights)] if spread > 0.0 else []
        return np.concatenate([left, [self._beyond(heights)], *cancel])

    def _beyond(self, heights: list[Floats]) -> float:
        """Edge roll beyond the limit, as it weighs beside the figure error [m]."""
        roll = self.gauge.edge_roll(self.error - (heights[0] - heights[-1]))
        return EDGE_WEIGHT * max(0.0, abs(roll) - self.roll_limit)

    def dearness(self, programme: tuple[Trying, ...]) -> float:
        """Factor by which minutes, spells and change-overs make the residual dearer [1]."""
        limits = self.limits
        spells = len(worked(programme))
        tops = [tried.shape.on_top for tried in worked(programme)]
        changes = sum(one != two for one, two in pairwise(tops))
        hours = sum(tried.minutes for tried in programme) / 60.0
        return 1.0 + limits.cost_spell * max(0, spells - 1) + limits.cost_change * changes + limits.cost_hour * hours

    def score(
        self, programme: tuple[Trying, ...], runs: list[list[Floats]], cases: tuple[Scenario, ...],
        nominal: Floats,
    ) -> Score:  # fmt: skip
        """Judge a programme from the glass it leaves in every scenario.

        Parameters
        ----------
        programme : tuple of Trying
        runs : list of lists of (n,) ndarray
            For each scenario the glass at the start and after each spell [m].
        cases : tuple of Scenario
        nominal : (n,) ndarray
            Glass after with the most likely constants [m].
        """
        pairs = list(zip(cases, runs, strict=True))
        penalised = sum(case.weight * float(np.sum(self.residuals(run) ** 2)) for case, run in pairs)
        penalty = sum(case.weight * self._beyond(run) ** 2 for case, run in pairs)
        error = self.gauge.error(nominal)
        return Score(
            float(np.sqrt(penalised)) * self.dearness(programme),
            float(np.sqrt(max(0.0, penalised - penalty))),
            float(np.linalg.norm(self.root @ error)),
            self.gauge.edge_roll(error),
        )


def heights_of(states: list[State]) -> list[Floats]:
    """Glass at the start and after each spell [m]."""
    return [state.height for state in states]
