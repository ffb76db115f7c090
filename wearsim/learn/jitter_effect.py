"""What other hands would have made of a session: the planar engine walked with their jitter.

Strokes are drawn in pairs, every deviation once as it falls and once the other way. Half the difference of a pair is
what chance did to the round part of the glass, and grows with the spread; their mean is what the spread does whatever
the strokes, and grows with its square. So a few pairs are enough, where plain draws would drown the second in the first.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from wearsim.bench.bench import Bench
from wearsim.bench.programme import Programme
from wearsim.errors import ContactError, CouldNotError, TipsOffError
from wearsim.kernels.arrays import Floats
from wearsim.learn.chain import Link
from wearsim.learn.discrepancy import Discrepancy
from wearsim.wear.accuracy import PlanarAccuracy
from wearsim.wear.constants import Constants
from wearsim.wear.initial_figure import StartFigure
from wearsim.wear.planar.engine import PlanarEngine
from wearsim.wear.state import State

WALKED = (0.0, 1.0, 2.0, 3.0, 5.0, 8.0)
"""Factors on the bench's spread that are walked; between them is interpolated, by the square."""
PAIRS = 2
"""Of programmes walked with each."""
WALKS = 1 + 2 * PAIRS * (len(WALKED) - 1)
"""Walks through a session in all."""
MOST_STROKES = 10_000
"""A session of more is left out: it would take a minute and more."""
DOUBT = Discrepancy(shape=0.1, even=0.0, rim=0.0, floor=0.0)
"""Doubt of the effect: along its own shape and in any other, a tenth of it. A judgement: walked with cells of 48 and of
64 across it stands up to that far apart (docs/learning.md)."""
EFFECT = PlanarAccuracy(cells=48, poses=8, share_of_rate=0.05, tipping_cells=0.5)
"""Of the planar engine here: only differences between its own runs are used."""


@dataclass(frozen=True, eq=False)
class Effect:
    """What the hands' spread does to the glass after one session; (n,) are the mirror's radii.

    Parameters
    ----------
    radius : (n,) ndarray
        [m]
    factors : (k,) ndarray
        On the bench's spread, from 0 up [1].
    mean : (k, n) ndarray
        Mean over circles of the glass's height after it, whatever the strokes [m].
    error : (k, n) ndarray
        Standard error of that, as one shape [m].
    chance : (q, n) ndarray
        Shapes that chance made, with the spread of the bench [m]; their mean square is its covariance.
    """

    radius: Floats
    factors: Floats
    mean: Floats
    error: Floats
    chance: Floats

    @property
    def largest(self) -> float:
        """Factor up to which it is known [1]."""
        return float(self.factors[-1])

    def change(self, factor: float, at: float) -> Floats:
        """Height after with this factor, less the same with the factor ``at``, shape (n,) [m]."""
        rows = _curve(self.factors**2, self.mean)((factor**2, at**2))
        return np.asarray(rows[0] - rows[1])

    def covariance(self, factor: float, at: float) -> Floats:
        """Of the height after: chance with this factor, and what is not known of the change, shape (n, n) [m^2]."""
        error = _curve(self.factors, self.error)(factor)
        change = self.change(factor, at)
        doubt = DOUBT.covariance(change, self.radius) + DOUBT.shape**2 * np.outer(change, change)
        chance = factor * self.chance / np.sqrt(len(self.chance))
        return np.asarray(chance.T @ chance + np.outer(error, error) + doubt)


def _curve(at: Floats, values: Floats) -> Any:
    """Through these values, as even as they are."""
    # slow to import, and a dry run does not come by here
    from scipy.interpolate import PchipInterpolator

    return PchipInterpolator(at, values)


def strokes_of(programme: Programme) -> float:
    """Strokes in a programme [1]."""
    return float(sum(s.minutes * (s.rate or 0.0) for s in programme.spells if not s.is_press))


def effect_of(link: Link, begun: State, constants: Constants, at: float = 1.0, seed: int = 0) -> Effect | None:
    """What the hands' spread did in one session.

    Parameters
    ----------
    link : Link
    begun : State
        Glass and laps as it began.
    constants : Constants
    at : float
        Factor on the bench's spread that the link's bench has in it already [1].
    seed : int

    Returns
    -------
    Effect or None
        None where even twice the spread would have tipped the top piece off. Laps are taken without their channels, which
        the mean over circles does not see.
    """
    bench, still = _whole(link.bench), begun.radius.size
    factors, mean, error, chance = [], [], [], []
    for place, factor in enumerate(WALKED):
        pairs = 1 if factor == 0.0 else PAIRS
        try:
            ends = np.array([
                [_walked(bench, link.programme, begun, constants, sign * factor / at, [seed, link.number, place, pair])
                 for sign in ((1.0,) if factor == 0.0 else (1.0, -1.0))]
                for pair in range(pairs)
            ])  # fmt: skip
        except (TipsOffError, ContactError, CouldNotError):
            break
        even = ends.mean(axis=1)
        factors.append(factor)
        mean.append(even.mean(axis=0))
        error.append(np.zeros(still) if factor == 0.0 else 0.5 * (even[0] - even[1]))
        if factor > 0.0:
            chance += [0.5 * (pair[0] - pair[1]) / factor for pair in ends]
    if len(factors) < 3 or factors[-1] < at:
        return None
    return Effect(begun.radius, *(np.array(part) for part in (factors, mean, error, chance)))


def _whole(bench: Bench) -> Bench:
    laps = tuple(lap.model_copy(update={"facet_shape": "none"}) for lap in bench.laps)
    return bench.model_copy(update={"laps": laps})


def _walked(
    bench: Bench, programme: Programme, begun: State, constants: Constants, factor: float, entropy: list[int]
) -> Floats:
    """The glass after, mean over circles, at the radii of ``begun`` [m]."""
    other = bench.model_copy(update={"hands": bench.hands.with_spread(factor)})
    seed = int(np.random.SeedSequence(entropy).generate_state(1)[0])
    engine = PlanarEngine(EFFECT)
    start = engine.begin(other, StartFigure.exact(begun.radius, begun.height), begun)
    end = engine.run(other, programme, start, constants, seed=seed).end
    return begun.height - (start.profile(begun.radius) - end.profile(begun.radius))
