"""What all sessions together say of the constants.

First the most likely constants by least squares with the covariances frozen, then the curvature there, and then the
whole distribution by weighing draws from a wider one (importance sampling), because stiffness and relaxation time
hide behind each other and the distribution is bent. Means, covariance and intervals come from the weighed draws.
"""

from __future__ import annotations

from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy.linalg import cholesky, solve_triangular
from scipy.optimize import least_squares
from scipy.special import ndtri

from wearsim.errors import ContactError, CouldNotError, InputError
from wearsim.kernels.arrays import Floats
from wearsim.learn.chain import Chain, Frame, Step
from wearsim.learn.hills import FREEDOM, NEGLIGIBLE, Hill, distinct, moulded, weights_of
from wearsim.learn.posterior import Posterior, constants_at
from wearsim.parallel import worker_count
from wearsim.wear.constants import Belief

Progress = Callable[[str], None]

ROUNDS = 2
"""Times that the frozen covariances are taken anew in the search for the most likely constants."""
WIDER = 1.25
"""How much wider than the curvature says it is drawn [1]."""
SCOUTS = 64
"""Places, drawn from the prior, that are looked at before the search for the most likely constants."""
FIRST_STEPS, STEPS = 5, 10
"""Steps of least squares at most: from a beginning, and on a hill that was found to matter."""
ABROAD = 1.4
"""How much wider than the prior they lie."""
HOPELESS = 60.0
"""A beginning so much less likely than the best is not climbed from (in logarithms)."""
ENOUGH = 80.0
"""Weighed draws are enough when they are worth so many even ones."""
MOST_LOTS = 4
"""Lots of draws at most."""
CLOSE = 0.1
"""A search that moves less than this, in sigmas of the prior, has arrived."""
FARTHEST = 5.0
"""Constants are sought within so many sigmas of the prior."""
WRONG_SIZE = float(np.log(2.0))
"""Spread of the logarithm of a removal whose size was recorded wrong [1]. A judgement: minutes doubled or halved."""


class Inference:
    """One chain's posterior in the making.

    Parameters
    ----------
    chain : Chain
    prior : Belief
        Of the constants; without covariance a constant is known.
    misfits : frozenset of int
        Sessions whose record is not believed.
    sizes : tuple of int
        Sessions of which only the size of the removal is not believed: a factor on it is one more unknown of each.
    """

    def __init__(
        self, chain: Chain, prior: Belief, misfits: frozenset[int] = frozenset(), sizes: tuple[int, ...] = ()
    ) -> None:
        self.chain, self.prior, self.misfits, self.sizes = chain, prior, misfits, sizes
        values, vectors = np.linalg.eigh(prior.covariance)
        active = values > 1e-12
        self.axes = vectors[:, active] * np.sqrt(values[active])
        self.known = int(self.axes.shape[1])
        self.size = self.known + len(sizes)
        self.frames: tuple[Frame, ...] | None = None
        self.hills: list[Hill] = []

    @property
    def best(self) -> Hill:
        """The hill that the measurements speak for most."""
        return self.hills[0]

    def logs_at(self, place: Floats) -> Floats:
        """Logarithms of the factors at a place in units of the prior's sigma."""
        return np.asarray(self.prior.mean + place[..., : self.known] @ self.axes.T)

    def sizes_at(self, place: Floats) -> dict[int, float]:
        """Factors on the removal of those sessions whose size is not believed [1]."""
        factors = np.exp(WRONG_SIZE * place[self.known :])
        return dict(zip(self.sizes, (float(factor) for factor in factors), strict=True))

    def follow(self, place: Floats, spread: float) -> tuple[Step, ...]:
        """The chain with the constants at a place."""
        constants, sizes = constants_at(self.logs_at(place)), self.sizes_at(place)
        return self.chain.follow(constants, spread, self.frames, self.misfits, sizes)

    def find(self, beginnings: list[Floats] | None = None) -> None:
        """The hills of the posterior, the best first.

        Parameters
        ----------
        beginnings : list of (d,) ndarray, optional
            Where the search begins; by default it looks all over the prior first.
        """
        spread = self.chain.discrepancy.spread
        beginnings = self._beginnings(spread) if beginnings is None else beginnings
        with ThreadPoolExecutor(max_workers=worker_count()) as pool:
            climbed = list(pool.map(lambda place: self.climbed(place, FIRST_STEPS), beginnings))
        found = sorted((hill for hill in climbed if hill is not None), key=lambda hill: -hill.evidence)
        if not found:
            raise CouldNotError("the engine finds no balance with any constants that the bench's spread allows")
        self._linearise(found[0].middle, spread)
        high = [one for one in found if one.evidence >= found[0].evidence - 2.0 * NEGLIGIBLE]
        self.hills = [hill for one in high if (hill := self.climbed(one.middle)) is not None]
        for _ in range(ROUNDS if self.size else 0):
            before = self.best.middle
            self._linearise(before, spread)
            again = self.climbed(before)
            self.hills[0] = self.best if again is None else again
            if np.abs(self.best.middle - before).max() < CLOSE:
                break
        self.hills = distinct(self.hills)

    def with_size(self, number: int) -> Inference:
        """The same with the size of one session's removal unknown, sought from here and about these frames.

        Parameters
        ----------
        number : int
            Of the session.

        Returns
        -------
        Inference
            Without hills where nothing was found.
        """
        other = Inference(self.chain, self.prior, self.misfits, (*self.sizes, number))
        other.frames = self.frames
        places = [np.append(hill.middle, way) for hill in self.hills for way in (-1.0, 1.0)]
        with ThreadPoolExecutor(max_workers=worker_count()) as pool:
            climbed = list(pool.map(lambda place: other.climbed(place, FIRST_STEPS), places))
        other.hills = distinct([hill for hill in climbed if hill is not None])
        return other

    def _linearise(self, place: Floats, spread: float) -> None:
        constants, sizes = constants_at(self.logs_at(place)), self.sizes_at(place)
        self.frames = self.chain.frames(constants, self.follow(place, spread), sizes)

    def _beginnings(self, spread: float) -> list[Floats]:
        """The likeliest of places all over the prior, one in each part of it."""
        if not self.size:
            return [np.zeros(0)]
        from scipy.stats import qmc  # slow to import, and of no use to a folder that remembers

        uniform = qmc.Sobol(self.size, seed=np.random.default_rng(SCOUTS)).random(SCOUTS)
        places = np.vstack([np.zeros(self.size), ABROAD * ndtri(np.clip(uniform, 1e-6, 1.0 - 1e-6))])
        with ThreadPoolExecutor(max_workers=worker_count()) as pool:
            told = np.array(list(pool.map(self.log_posterior, places, [spread] * len(places))))
        parts = self._parts(places)
        best = [np.flatnonzero(parts == part) for part in np.unique(parts)]
        tops = [those[np.argmax(told[those])] for those in best]
        return [places[top] for top in tops if told[top] > told.max() - HOPELESS]

    def _parts(self, places: Floats) -> NDArray[np.int64]:
        """Which part of the prior a place lies in: a third by the removal, a half by the stiffness."""
        logs = places[:, : self.known] @ self.axes.T
        sigma = np.sqrt(np.diagonal(self.prior.covariance))
        thirds = np.digitize(logs[:, 0], [-0.7 * sigma[0], 0.7 * sigma[0]])
        return np.asarray(2 * thirds + (logs[:, 1] > 0.0), dtype=np.int64)

    def climbed(self, place: Floats, steps: int = STEPS) -> Hill | None:
        """The hill reached from a place by least squares, the covariances frozen where it begins; None where there is none.

        Parameters
        ----------
        place : (d,) ndarray
            In units of the prior's sigma.
        steps : int
            Of least squares, at most.
        """
        spread = self.chain.discrepancy.spread
        try:
            roots = [cholesky(step.spread, lower=True) for step in self.follow(place, spread)]
            if not self.size:
                return Hill(place, np.eye(0), self.follow(place, spread))
            found = self._least_squares(place, roots, spread, steps)
            root = cholesky(np.linalg.inv(found.jac.T @ found.jac), lower=True)
            return Hill(found.x, root, self.follow(found.x, spread))
        except (ContactError, InputError, np.linalg.LinAlgError):
            return None

    def _least_squares(self, place: Floats, roots: list[Floats], spread: float, steps: int) -> Any:
        def residuals(at: Floats) -> Floats:
            try:
                steps = self.follow(at, spread)
            except (ContactError, InputError):
                return np.full(at.size + sum(len(root) for root in roots), 1e3)
            told = [solve_triangular(root, step.miss, lower=True) for root, step in zip(roots, steps, strict=True)]
            return np.concatenate([at, *told])

        start = np.clip(place, -0.98 * FARTHEST, 0.98 * FARTHEST)
        return least_squares(
            residuals, start, diff_step=0.02, x_scale=1.0, bounds=(-FARTHEST, FARTHEST), max_nfev=steps,
            xtol=1e-3, ftol=1e-3,
        )  # fmt: skip

    def log_posterior(self, place: Floats, spread: float) -> float:
        """Logarithm of the posterior density, up to a constant, spread given [1]."""
        try:
            steps = self.follow(place, spread)
        except (ContactError, InputError):
            return -1e6
        return float(sum(step.log_likelihood for step in steps) - 0.5 * place @ place)

    def sample(self, draws: int, seed: int, most_lots: int = MOST_LOTS) -> Posterior:
        """Weigh draws, lot after lot, each moulded on what the lots before it found, until they are worth enough.

        All lots count, weighed by the mixture that they were drawn from together.

        Parameters
        ----------
        draws : int
            A lot.
        seed : int
        most_lots : int
            That are drawn.
        """
        lots: list[list[Hill]] = [[Hill(h.middle, WIDER * h.root, ()) for h in self.hills]]
        places, spreads, told = np.zeros((0, self.size)), np.zeros(0), np.zeros(0)
        for lot in range(most_lots):
            more, their = self._drawn(lots[lot], draws, seed + lot)
            with ThreadPoolExecutor(max_workers=worker_count()) as pool:
                found = list(pool.map(self.log_posterior, more, their))
            places, spreads = np.vstack([places, more]), np.concatenate([spreads, their])
            told = np.concatenate([told, found])
            weights, evidence = weights_of(places, told, lots)
            if 1.0 / np.sum(weights**2) >= ENOUGH or not self.size:
                break
            lots.append([moulded(places, weights)])
        logs = self.logs_at(places)
        return Posterior(logs, spreads, weights, self.logs_at(self.best.middle), evidence)

    def _drawn(self, hills: list[Hill], draws: int, seed: int) -> tuple[Floats, Floats]:
        """Places (draws, d) from a mixture of hills in equal parts, and session-to-session spreads (draws,)."""
        from scipy.stats import qmc, t

        size, belief = self.size, self.chain.discrepancy
        uniform = qmc.Sobol(size + 1, seed=np.random.default_rng(seed)).random(draws)
        uniform = np.clip(uniform, 1e-9, 1.0 - 1e-9)
        deviates = t.ppf(uniform[:, :size], FREEDOM) / np.sqrt(FREEDOM / (FREEDOM - 2.0))
        hill = np.arange(draws) % len(hills)
        places = [hills[i].middle + hills[i].root @ row for i, row in zip(hill, deviates, strict=True)]
        return np.array(places), belief.spread * belief.spread_factor ** ndtri(uniform[:, size])
