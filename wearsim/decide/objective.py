"""What makes one programme better than another: the expected squared figure error, and what a person feels as a cost.

Physics section 9: the expected squared figure error over everything uncertain,

    J = sum_s weight_s ( ||P (h - R_s)||^2 + sigma^2 sum_i ||P R_si||^2 ),

R_si the coupled engine's removal by spell i with the constants of scenario s, R_s their sum, and sigma the spread of a
spell's removal that no calibration takes away, each spell for itself: charge, wetness, the hands. The second term is
what makes a programme of large removals that cancel a bad one. Edge roll beyond its limit counts on top, and minutes,
spells and change-overs make the residual dearer.

The scenarios are a few weighted cases that stand for everything uncertain about the constants: a third-degree rule on the
normal distribution of what pitch and abrasive do, two points on each principal axis at a distance r sigma with weight
1 / (2 r^2), and the middle with the rest; r^2 = max(3, number of axes) keeps every weight non-negative. What the hands
always do in the same way, too long or to one side, goes along with these points.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np

from wearsim.decide.coarse_engine import Plan, without_pressings
from wearsim.decide.limits import Limits
from wearsim.decide.lower_bound import compressed, rms_root
from wearsim.figure.metrics import FigureGauge
from wearsim.kernels.arrays import Floats
from wearsim.wear.constants import Belief, Constants, constants_at
from wearsim.wear.state import State

# How many times dearer than figure error an edge roll beyond the limit is. A judgement.
EDGE_WEIGHT = 3.0
# Constants of pitch and abrasive, the first ones of a vector; the others are the hands'.
MAIN = 4


@dataclass(frozen=True)
class Scenario:
    """One case, with its weight [1]."""

    constants: Constants
    weight: float


def scenarios(belief: Belief) -> tuple[Scenario, ...]:
    """Weighted cases for a belief; one alone where everything is known.

    Two points on each main axis; the other axes, of the hands, are taken along with those points by orthogonal contrasts of
    the pairs, so that mean and covariance of all are exact with no more cases.
    """
    main, other = _axes(belief)
    count = main.shape[1]
    if count == 0:
        return (Scenario(belief.best(), 1.0),)
    reach = max(3.0, float(count))
    aside = np.sqrt(reach) * _contrasts(count)[: other.shape[1]].T @ other.T
    cases = [
        Scenario(constants_at(belief.mean + sign * np.sqrt(reach) * axis + beside), 0.5 / reach)
        for axis, beside in zip(main.T, aside, strict=True)
        for sign in (-1.0, 1.0)
    ]
    if count < reach:
        cases.append(Scenario(belief.best(), 1.0 - count / reach))
    return tuple(cases)


def _axes(belief: Belief) -> tuple[Floats, Floats]:
    """Columns whose squares sum to the covariance: main ones, and fewer than these of what is independent of them."""
    covariance, pitch = belief.covariance, MAIN
    inner = Belief(belief.mean[:pitch], covariance[:pitch, :pitch]).axes
    main = np.vstack([inner, covariance[pitch:, :pitch] @ np.linalg.pinv(inner).T])
    rest = covariance - main @ main.T
    faint = np.diagonal(rest) < 1e-9 * np.diagonal(covariance)
    faint[:pitch] = True
    rest[faint], rest[:, faint] = 0.0, 0.0
    other = Belief(belief.mean, 0.5 * (rest + rest.T)).axes
    spare = max(main.shape[1] - 1, 0)
    return np.hstack([main, other[:, spare:]]), other[:, :spare]


def _contrasts(count: int) -> Floats:
    """Rows (count - 1, count), orthonormal, each of sum 0 (Helmert's)."""
    rows = [[1.0] * place + [-float(place)] + [0.0] * (count - place - 1) for place in range(1, count)]
    return np.array([np.array(row) / np.linalg.norm(row) for row in rows]).reshape(count - 1, count)


def share_to_aim_for(belief: Belief) -> float:
    """Which share of the way to go, by the spread of the Preston coefficient alone.

    With the removal known up to a factor f of mean m1 and mean square m2, the expected squared error
    ``E ||h - f R||^2`` is least where R is nearest to ``(m1 / m2) h`` (physics section 9). For a log-normal f of
    variance v of its logarithm that share is ``exp(-3 v / 2)``.
    """
    return float(np.exp(-1.5 * belief.covariance[0, 0]))


@dataclass(frozen=True)
class Score:
    """How good a programme is [m].

    ``cost`` is what the search makes small, ``expected_rms`` the root of the expected mean square figure error; RMS and edge
    roll are those with the most likely constants.
    """

    cost: float
    expected_rms: float
    rms: float
    edge_roll: float


class Objective:
    """Scores programmes on one start figure; gauge and state are on the grids of the engine that works them."""

    def __init__(self, gauge: FigureGauge, start: State, limits: Limits, wavelength: float) -> None:
        self.gauge, self.start, self.limits, self.wavelength = gauge, start, limits, wavelength
        self.root = compressed(rms_root(gauge))
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

    def residuals(self, heights: Sequence[Floats], aim: float = 1.0) -> Floats:
        """Rows whose sum of squares is one scenario's share of J, edge penalty included [m].

        ``heights`` are the glass at the start and after each spell, (n,) each [m]; ``aim`` is the share of the way that
        counts as the whole [1].
        """
        left = self.root @ (aim * self.error - (heights[0] - heights[-1]))
        spread = self.limits.spread
        cancel = [spread * (self.root @ (one - two)) for one, two in pairwise(heights)] if spread > 0.0 else []
        return np.concatenate([left, [self._edge_excess(heights)], *cancel])

    def _edge_excess(self, heights: Sequence[Floats]) -> float:
        """Edge roll beyond the limit, as it weighs beside the figure error [m]."""
        roll = self.gauge.edge_roll(self.error - (heights[0] - heights[-1]))
        return EDGE_WEIGHT * max(0.0, abs(roll) - self.roll_limit)

    def effort(self, plan: Plan) -> float:
        """Factor by which minutes, spells and change-overs make the residual dearer [1]."""
        limits, spells = self.limits, without_pressings(plan)
        changes = sum(one.stroke.on_top != two.stroke.on_top for one, two in pairwise(spells))
        hours = sum(spell.minutes for spell in plan) / 60.0
        more_spells = max(0, len(spells) - 1)
        return 1.0 + limits.cost_spell * more_spells + limits.cost_change * changes + limits.cost_hour * hours

    def score(
        self,
        plan: Plan,
        runs: Sequence[Sequence[Floats]],
        cases: Sequence[Scenario],
        nominal: Sequence[Floats],
        aim: float = 1.0,
    ) -> Score:
        """Score a programme from the glass it leaves in every scenario.

        ``runs`` hold for each scenario the glass at the start and after each spell, (n,) each [m], ``nominal`` the same with
        the most likely constants. Where the aim is not the whole way, the cost is that of these alone.
        """
        pairs = list(zip(cases, runs, strict=True))
        penalised = sum(case.weight * float(np.sum(self.residuals(run) ** 2)) for case, run in pairs)
        penalty = sum(case.weight * self._edge_excess(run) ** 2 for case, run in pairs)
        aimed = penalised if aim == 1.0 else np.sum(self.residuals(nominal, aim) ** 2)
        error = self.gauge.error(nominal[-1])
        return Score(
            float(np.sqrt(aimed)) * self.effort(plan),
            float(np.sqrt(max(0.0, penalised - penalty))),
            float(np.linalg.norm(self.root @ error)),
            self.gauge.edge_roll(error),
        )


def heights_of(states: Sequence[State]) -> list[Floats]:
    """Glass at the start and after each spell [m]."""
    return [state.height for state in states]
