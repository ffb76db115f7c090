"""What makes one programme better than another: the expected squared figure error, and what a person feels as a cost.

Physics section 9: the expected squared figure error over everything uncertain,

    J = sum_s weight_s ( ||P (h - R_s)||^2 + sigma^2 sum_i ||P R_si||^2 ),

R_si the coupled engine's removal by spell i with the constants of scenario s, R_s their sum, and sigma the spread of a
spell's removal that no calibration takes away, each spell for itself: charge, wetness, the hands. The second term is
what makes a programme of large removals that cancel a bad one. Edge roll beyond its limit counts on top, and
handling makes the residual more expensive (:mod:`wearsim.decide.effort`). So do slopes on short scales, which show at the
eyepiece.

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

from wearsim.bench.bench import Bench
from wearsim.decide.coarse_engine import Plan
from wearsim.decide.effort import effort_of
from wearsim.decide.limits import Limits
from wearsim.decide.lower_bound import compressed, rms_root
from wearsim.figure.metrics import FigureGauge
from wearsim.kernels.arrays import Floats
from wearsim.wear.constants import Belief, Constants, constants_at
from wearsim.wear.state import State

# How many times more an edge roll beyond the limit costs than figure error. A judgement.
EDGE_WEIGHT = 3.0
# Slopes count beside the RMS on scales below this, in diameters of the mirror [1]. A judgement: zones and ripple show at the
# eyepiece before a smooth error of the same RMS does.
RIPPLE_SCALE = 0.2
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


@dataclass(frozen=True)
class Score:
    """How good a programme is [m].

    ``cost`` is what the search makes small, ``expected_rms`` the root of the expected mean square figure error; RMS and edge
    roll are those with the most likely constants, ``ripple`` what slopes on short scales count as.
    """

    cost: float
    expected_rms: float
    rms: float
    edge_roll: float
    ripple: float = 0.0


class Objective:
    """Scores programmes on one start figure; gauge and state are on the grids of the engine that works them."""

    def __init__(self, gauge: FigureGauge, start: State, limits: Limits, bench: Bench) -> None:
        self.gauge, self.start, self.limits, self.bench = gauge, start, limits, bench
        self.root = compressed(rms_root(gauge))
        self.ripple = limits.ripple * compressed(ripple_root(gauge, bench.mirror.diameter))
        self.error = gauge.error(start.height)
        self.rms_before = float(np.linalg.norm(self.root @ self.error))
        self.roll_before = gauge.edge_roll(self.error)
        self.roll_limit = limits.edge_limit * bench.light.wavelength

    def after(self, start: State) -> Objective:
        """The same from another state of the laps, the glass as it was."""
        if start is self.start:
            return self
        return Objective(self.gauge, start, self.limits, self.bench)

    def within(self, minutes: float) -> Objective:
        """The same with so many minutes of work allowed in all [min]."""
        return self.limited(replace(self.limits, minutes=minutes))

    def limited(self, limits: Limits) -> Objective:
        """The same with other limits."""
        return Objective(self.gauge, self.start, limits, self.bench)

    def residuals(self, heights: Sequence[Floats]) -> Floats:
        """Rows whose sum of squares is one scenario's share of J, edge penalty included [m].

        ``heights`` are the glass at the start and after each spell, (n,) each [m].
        """
        after = self._after(heights)
        spread = self.limits.spread
        cancel = [spread * (self.root @ (one - two)) for one, two in pairwise(heights)] if spread > 0.0 else []
        return np.concatenate([self.root @ after, self.ripple @ after, [self._edge_excess(heights)], *cancel])

    def _edge_excess(self, heights: Sequence[Floats]) -> float:
        """Edge roll beyond the limit, as it weighs beside the figure error [m]."""
        roll = self.gauge.edge_roll(self._after(heights))
        return EDGE_WEIGHT * max(0.0, abs(roll) - self.roll_limit)

    def _beside_rms(self, heights: Sequence[Floats]) -> float:
        """What counts beside the figure error: the edge's excess and the slopes on short scales, squared [m^2]."""
        after = self._after(heights)
        return self._edge_excess(heights) ** 2 + float(np.sum((self.ripple @ after) ** 2))

    def effort(self, plan: Plan) -> float:
        """Factor by which what a programme asks of a person makes the residual more expensive [1]."""
        return 1.0 + self.limits.cost_hour * effort_of(plan, self.bench) / 60.0

    def score(
        self, plan: Plan, runs: Sequence[Sequence[Floats]], cases: Sequence[Scenario], nominal: Sequence[Floats]
    ) -> Score:
        """Score a programme from the glass it leaves in every scenario.

        ``runs`` hold for each scenario the glass at the start and after each spell, (n,) each [m], ``nominal`` the same with
        the most likely constants.
        """
        pairs = list(zip(cases, runs, strict=True))
        penalised = sum(case.weight * float(np.sum(self.residuals(run) ** 2)) for case, run in pairs)
        penalty = sum(case.weight * self._beside_rms(run) for case, run in pairs)
        error = self.gauge.error(nominal[-1])
        return Score(
            float(np.sqrt(penalised)) * self.effort(plan),
            float(np.sqrt(max(0.0, penalised - penalty))),
            float(np.linalg.norm(self.root @ error)),
            self.gauge.edge_roll(error),
            float(np.sqrt(sum(case.weight * np.sum((self.ripple @ self._after(run)) ** 2) for case, run in pairs))),
        )

    def figures(self, height: Floats) -> tuple[float, float]:
        """RMS figure error of glass (n,) [m], and what its slopes on short scales count as [m]."""
        error = self.gauge.error(height)
        return float(np.linalg.norm(self.root @ error)), float(np.linalg.norm(self.ripple @ error))

    def _after(self, heights: Sequence[Floats]) -> Floats:
        """The figure error that a run leaves [m]."""
        return np.asarray(self.error - (heights[0] - heights[-1]))


def ripple_root(gauge: FigureGauge, diameter: float) -> Floats:
    """Matrix (q, n): what slopes on scales below :data:`RIPPLE_SCALE` count as, beside the RMS figure error.

    The profile less its running mean over half of that scale, weighed so that a ripple of this scale counts as about its own
    RMS, and a shorter one as its slope does: by the scale over its period.
    """
    aperture, scale = gauge.aperture, RIPPLE_SCALE * diameter
    radius = aperture.radius
    apart = np.abs(radius[:, None] - radius)
    width = np.gradient(radius)
    window = np.exp(-0.5 * (apart / (0.25 * scale)) ** 2) * width
    rough = np.eye(radius.size) - window / window.sum(axis=1, keepdims=True)
    slope = np.gradient(rough, radius, axis=0) * scale / (2.0 * np.pi)
    return np.asarray(np.sqrt(aperture.weights)[:, None] * (aperture.matrix @ slope))


def heights_of(states: Sequence[State]) -> list[Floats]:
    """Glass at the start and after each spell [m]."""
    return [state.height for state in states]
