"""A few weighted cases that stand for everything uncertain about the constants.

A third-degree rule on the normal distribution of the logarithms: two points on each principal axis at a distance
r sigma with weight 1 / (2 r^2), and the middle with the rest; r^2 = max(3, number of axes) keeps every weight
non-negative.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from wearsim.wear.constants import NAMES, Belief, Constants


@dataclass(frozen=True)
class Scenario:
    """One case.

    Parameters
    ----------
    constants : Constants
    weight : float
        [1]
    """

    constants: Constants
    weight: float


def scenarios(belief: Belief) -> tuple[Scenario, ...]:
    """Weighted cases for a belief; one alone where everything is known.

    Parameters
    ----------
    belief : Belief
    """
    values, vectors = np.linalg.eigh(belief.covariance)
    active = values > 1e-12 * max(float(values.max()), 1e-300)
    axes = vectors[:, active] * np.sqrt(values[active])
    count = axes.shape[1]
    if count == 0:
        return (Scenario(belief.best(), 1.0),)
    reach = max(3.0, float(count))
    cases = []
    for axis in axes.T:
        for sign in (-1.0, 1.0):
            logs = belief.mean + sign * np.sqrt(reach) * axis
            factors = dict(zip(NAMES, (float(f) for f in np.exp(logs)), strict=True))
            cases.append(Scenario(Constants(**factors), 0.5 / reach))
    if count < reach:
        cases.append(Scenario(belief.best(), 1.0 - count / reach))
    return tuple(cases)


def share_to_aim_for(belief: Belief) -> float:
    """Which share of the way to go, by the spread of the Preston coefficient alone.

    With the removal known up to a factor f of mean m1 and mean square m2, the expected squared error
    ``E ||h - f R||^2`` is least where R is nearest to ``(m1 / m2) h`` (physics section 9). For a log-normal f of
    variance v of its logarithm that share is ``exp(-3 v / 2)``.

    Parameters
    ----------
    belief : Belief
    """
    return float(np.exp(-1.5 * belief.covariance[0, 0]))
