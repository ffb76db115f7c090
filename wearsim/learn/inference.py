"""What all sessions together say of the constants.

First the most likely constants by least squares with the covariances frozen, then the curvature there, and then the
whole distribution by weighing draws from a wider one (importance sampling), because stiffness and relaxation time
hide behind each other and the distribution is bent. Means, covariance and intervals come from the weighed draws.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import cached_property
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy.linalg import cholesky
from scipy.optimize import least_squares
from scipy.special import ndtri

from wearsim.errors import ContactError, CouldNotError, InputError
from wearsim.kernels.arrays import Floats
from wearsim.learn.posterior import (
    FREEDOM,
    ConstantsPosterior,
    GlassPosterior,
    Mode,
    distinct_modes,
    fitted_mode,
    importance_weights,
)
from wearsim.learn.session_filter import FilterStep, Linearisation, SessionFilter
from wearsim.parallel import in_threads
from wearsim.wear.constants import Belief, constants_at
from wearsim.wear.engine_protocol import Progress

StageReport = Callable[[str], None]
"""Receives what is being done."""

SAMPLING_WIDENING = 1.25
"""How much wider than the curvature says it is drawn [1]."""
TRIAL_PLACES, TRIAL_WIDENING = 32, 1.4
"""Places that are tried before the search for the most likely constants, and how much wider than the prior they are [1]."""
CLIMBS = 3
"""Trial places from which is climbed, at most."""
FIRST_STEPS, STEPS = 4, 3
"""Steps of least squares at most: from a trial place, and of a mode once the engine is linearised there."""
DIFFERENCE = 0.1
"""Step of a difference, in sigmas of the prior [1]."""
MOST_DEFICIT = 30.0
"""The search does not begin at a place so much less likely than the best (in logarithms)."""
LEAST_EFFECTIVE = 60.0
"""Weighed draws are enough when they are worth so many even ones."""
MOST_BATCHES = 6
"""Batches of draws at most."""
SEARCH_BOUND = 5.0
"""Constants are sought within so many sigmas of the prior."""
NO_BALANCE = "the contact could not be solved for any constants within the bench's uncertainty"


@dataclass(frozen=True, eq=False)
class Inference:
    """The posterior of one mirror's constants, before (no modes yet) or after its modes were sought.

    Parameters
    ----------
    prior : Belief
        Of the constants; without covariance a constant is known.
    linearisations : tuple of Linearisation, optional
        Of each session, that the filter is run with.
    modes : tuple of Mode
        The best first.
    """

    session_filter: SessionFilter
    prior: Belief
    linearisations: tuple[Linearisation, ...] | None = None
    modes: tuple[Mode, ...] = ()

    @cached_property
    def axes(self) -> Floats:
        """Principal axes of the prior (n, d), each one sigma long; those of known constants left out."""
        return self.prior.axes

    @property
    def size(self) -> int:
        """Directions of the constants that are not known [1]."""
        return int(self.axes.shape[1])

    @property
    def spread(self) -> float:
        """Session-to-session spread with which the modes are sought [1]."""
        return self.session_filter.discrepancy.spread

    @property
    def best(self) -> Mode:
        """The mode that the measurements speak for most."""
        return self.modes[0]

    def vectors_at(self, place: Floats) -> Floats:
        """Vectors of constants (..., n) at places (..., d) in units of the prior's sigma."""
        return np.asarray(self.prior.mean + place @ self.axes.T)

    def follow(self, place: Floats, spread: float) -> tuple[FilterStep, ...]:
        """The sessions followed with the constants at a place."""
        return self.session_filter.follow(constants_at(self.vectors_at(place)), spread, self.linearisations)

    def with_modes(self, places: list[Floats] | None = None) -> Inference:
        """The same with its modes, each session linearised at the best of them.

        Parameters
        ----------
        places : list of (d,) ndarray, optional
            Where the search begins; by default at places all over the prior.

        Raises
        ------
        CouldNotError
            Where no balance is found with any constants.
        """
        reached = self._modes_from(self._trial_places() if places is None else places, FIRST_STEPS)
        if not reached:
            raise CouldNotError(NO_BALANCE)
        current = self._linearised(reached[0].middle)
        modes = current._modes_from([mode.middle for mode in distinct_modes(reached)], STEPS)
        if not modes:
            raise CouldNotError(NO_BALANCE)
        current = current._linearised(modes[0].middle)
        followed = [replace(mode, steps=current.follow(mode.middle, self.spread)) for mode in modes]
        return replace(current, modes=distinct_modes(followed))

    def _modes_from(self, places: list[Floats], steps: int) -> list[Mode]:
        """The modes reached from these places in few steps, the best first."""
        reached = [self.mode_from(place, steps) for place in places]
        return sorted((mode for mode in reached if mode is not None), key=lambda mode: -mode.evidence)

    def _linearised(self, place: Floats) -> Inference:
        constants = constants_at(self.vectors_at(place))
        steps = self.follow(place, self.spread)
        return replace(self, linearisations=self.session_filter.linearised(constants, steps))

    def _trial_places(self) -> list[Floats]:
        """The likeliest of places all over the prior, one in each part of it."""
        if not self.size:
            return [np.zeros(0)]
        from scipy.stats import qmc  # slow to import, and of no use where a folder is recalled

        uniform = qmc.Sobol(self.size, seed=np.random.default_rng(TRIAL_PLACES)).random(TRIAL_PLACES)
        places = np.vstack([np.zeros(self.size), TRIAL_WIDENING * ndtri(np.clip(uniform, 1e-6, 1.0 - 1e-6))])
        heights = np.array(in_threads(self.log_posterior, places, [self.spread] * len(places)))
        parts = self._parts(places)
        best = [np.flatnonzero(parts == part) for part in np.unique(parts)]
        likeliest = sorted((those[np.argmax(heights[those])] for those in best), key=lambda place: -heights[place])
        return [places[place] for place in likeliest[:CLIMBS] if heights[place] > heights.max() - MOST_DEFICIT]

    def _parts(self, places: Floats) -> NDArray[np.int64]:
        """Which part of the prior a place lies in: a third by the removal, a half by the stiffness."""
        logs = places @ self.axes.T
        sigma = np.sqrt(np.diagonal(self.prior.covariance))
        thirds = np.digitize(logs[:, 0], [-0.7 * sigma[0], 0.7 * sigma[0]])
        return np.asarray(2 * thirds + (logs[:, 1] > 0.0), dtype=np.int64)

    def mode_from(self, place: Floats, steps: int) -> Mode | None:
        """The mode reached from a place (d,) by least squares, the covariances frozen where it begins; None without one."""
        try:
            start_steps = self.follow(place, self.spread)
            roots = [cholesky(step.information, lower=False) for step in start_steps]
            if not self.size:
                return Mode(place, np.eye(0), start_steps)
            found = self._least_squares(place, roots, steps)
            root = cholesky(np.linalg.inv(found.jac.T @ found.jac), lower=True)
            return Mode(found.x, root, self.follow(found.x, self.spread))
        except (ContactError, InputError, np.linalg.LinAlgError):
            return None

    def _least_squares(self, place: Floats, roots: list[Floats], most_steps: int) -> Any:
        def residuals(at: Floats) -> Floats:
            try:
                steps = self.follow(at, self.spread)
            except (ContactError, InputError):
                return np.full(at.size + sum(len(root) for root in roots), 1e3)
            return np.concatenate([at, *(root @ step.innovation for root, step in zip(roots, steps, strict=True))])

        def differences(at: Floats) -> Floats:
            # inwards, so that no difference leaves the bounds
            steps = np.where(at > 0.0, -DIFFERENCE, DIFFERENCE)
            here, *there = in_threads(residuals, [at, *(at + row for row in np.diag(steps))])
            return np.array([(one - here) / step for one, step in zip(there, steps, strict=True)]).T

        start = np.clip(place, -0.98 * SEARCH_BOUND, 0.98 * SEARCH_BOUND)
        return least_squares(
            residuals, start, jac=differences, x_scale=1.0, bounds=(-SEARCH_BOUND, SEARCH_BOUND), max_nfev=most_steps,
            xtol=1e-2, ftol=1e-3,
        )  # fmt: skip

    def log_posterior(self, place: Floats, spread: float) -> float:
        """Logarithm of the posterior density, up to a constant, spread given [1]."""
        return self._trial(place, spread)[0]

    def _trial(self, place: Floats, spread: float) -> tuple[float, Floats | None, Floats | None]:
        """The same, with the glass after the last session (n,) [m] and its covariance (n, n) [m^2]."""
        try:
            steps = self.follow(place, spread)
        except (ContactError, InputError, np.linalg.LinAlgError):
            return -1e6, None, None
        height = float(sum(step.log_likelihood for step in steps) - 0.5 * place @ place)
        return height, steps[-1].state.height, steps[-1].covariance

    def sample(
        self, draws: int, seed: int, most_batches: int = MOST_BATCHES, progress: Progress | None = None
    ) -> ConstantsPosterior:
        """Weigh batches of draws, each moulded on what those before it found, until they are worth enough.

        All batches count, weighed by the mixture that they were drawn from together. ``progress`` receives the share of the
        first batch that is done [1]: how many more it takes cannot be known.
        """
        shares = iter(np.arange(1, draws + 1) / draws)

        def done() -> None:
            share = next(shares, None)
            if progress is not None and share is not None:
                progress(float(share))

        batches: list[list[Mode]] = [[Mode(m.middle, SAMPLING_WIDENING * m.root, ()) for m in self.modes]]
        places, spreads, trials = np.zeros((0, self.size)), np.zeros(0), list[tuple[float, Any, Any]]()
        for batch in range(most_batches):
            batch_places, batch_spreads = self._draws(batches[batch], draws, seed + batch)
            trials += in_threads(self._trial, batch_places, batch_spreads, done=done)
            places, spreads = np.vstack([places, batch_places]), np.concatenate([spreads, batch_spreads])
            weights, _ = importance_weights(places, np.array([one[0] for one in trials]), batches)
            if 1.0 / np.sum(weights**2) >= LEAST_EFFECTIVE or not self.size:
                break
            batches.append([fitted_mode(places, weights)])
        kept = [(w, *one[1:]) for w, one in zip(weights, trials, strict=True) if w > 0.0 and one[1] is not None]
        glass = GlassPosterior.mixed(self.session_filter.first.radius, kept)
        return ConstantsPosterior(self.vectors_at(places), spreads, weights, glass)

    def _draws(self, modes: list[Mode], draws: int, seed: int) -> tuple[Floats, Floats]:
        """Places (draws, d) from a mixture of modes in equal parts, and session-to-session spreads (draws,)."""
        from scipy.stats import qmc, t

        size, discrepancy = self.size, self.session_filter.discrepancy
        # the first of a power of two: the same points, whatever the count, and no warning of SciPy's about it
        points = qmc.Sobol(size + 1, seed=np.random.default_rng(seed)).random_base2((draws - 1).bit_length())
        uniform = points[:draws]
        uniform = np.clip(uniform, 1e-9, 1.0 - 1e-9)
        deviates = t.ppf(uniform[:, :size], FREEDOM) / np.sqrt(FREEDOM / (FREEDOM - 2.0))
        mode = np.arange(draws) % len(modes)
        places = [modes[i].middle + modes[i].root @ row for i, row in zip(mode, deviates, strict=True)]
        return np.array(places), discrepancy.spread * discrepancy.spread_factor ** ndtri(uniform[:, size])
