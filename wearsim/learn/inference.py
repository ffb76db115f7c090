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
from scipy.linalg import cholesky, solve_triangular
from scipy.optimize import least_squares
from scipy.special import ndtri

from wearsim.errors import ContactError, CouldNotError, InputError
from wearsim.kernels.arrays import Floats
from wearsim.learn.posterior import (
    FREEDOM,
    NEGLIGIBLE_EVIDENCE,
    ConstantsPosterior,
    Mode,
    distinct_modes,
    fitted_mode,
    importance_weights,
)
from wearsim.learn.session_filter import FilterStep, Linearisation, SessionFilter
from wearsim.parallel import in_threads
from wearsim.wear.constants import Belief, constants_at

StageReport = Callable[[str], None]
"""Receives what is being done."""

RELINEARISATIONS = 2
"""Times that the frozen covariances are taken anew in the search for the most likely constants."""
SAMPLING_WIDENING = 1.25
"""How much wider than the curvature says it is drawn [1]."""
TRIAL_PLACES, TRIAL_WIDENING = 64, 1.4
"""Places that are tried before the search for the most likely constants, and how much wider than the prior they lie [1]."""
FIRST_STEPS, STEPS = 5, 10
"""Steps of least squares at most: from a trial place, and on a mode that was found to matter."""
MOST_DEFICIT = 60.0
"""The search does not begin at a place so much less likely than the best (in logarithms)."""
LEAST_EFFECTIVE = 80.0
"""Weighed draws are enough when they are worth so many even ones."""
MOST_BATCHES = 4
"""Batches of draws at most."""
CONVERGED = 0.1
"""A search that moves less than this, in sigmas of the prior, has arrived."""
SEARCH_BOUND = 5.0
"""Constants are sought within so many sigmas of the prior."""
WRONG_SIZE = float(np.log(2.0))
"""Spread of the logarithm of a removal whose size was recorded wrong [1]. A judgement: minutes doubled or halved."""
NO_BALANCE = "the engine finds no balance with any constants that the bench's spread allows"


@dataclass(frozen=True, eq=False)
class Inference:
    """The posterior of one mirror's constants, before (no modes yet) or after its modes were sought.

    Parameters
    ----------
    prior : Belief
        Of the constants; without covariance a constant is known.
    misfits : frozenset of int
        Sessions whose record is not believed.
    sizes : tuple of int
        Sessions of which only the size of the removal is not believed: a factor on it is one more unknown of each.
    linearisations : tuple of Linearisation, optional
        Of each session, that the filter is run with.
    modes : tuple of Mode
        The best first.
    """

    session_filter: SessionFilter
    prior: Belief
    misfits: frozenset[int] = frozenset()
    sizes: tuple[int, ...] = ()
    linearisations: tuple[Linearisation, ...] | None = None
    modes: tuple[Mode, ...] = ()

    @cached_property
    def axes(self) -> Floats:
        """Principal axes of the prior (4, d), each one sigma long; those of known constants left out [1]."""
        values, vectors = np.linalg.eigh(self.prior.covariance)
        active = values > 1e-12
        return np.asarray(vectors[:, active] * np.sqrt(values[active]))

    @property
    def open_constants(self) -> int:
        """Directions of the constants that are not known [1]."""
        return int(self.axes.shape[1])

    @property
    def size(self) -> int:
        """All unknowns: those of the constants and one for each size [1]."""
        return self.open_constants + len(self.sizes)

    @property
    def spread(self) -> float:
        """Session-to-session spread with which the modes are sought [1]."""
        return self.session_filter.discrepancy.spread

    @property
    def best(self) -> Mode:
        """The mode that the measurements speak for most."""
        return self.modes[0]

    def logs_at(self, place: Floats) -> Floats:
        """Logarithms of the factors at a place in units of the prior's sigma."""
        return np.asarray(self.prior.mean + place[..., : self.open_constants] @ self.axes.T)

    def sizes_at(self, place: Floats) -> dict[int, float]:
        """Factors on the removal of those sessions whose size is not believed [1]."""
        factors = np.exp(WRONG_SIZE * place[self.open_constants :])
        return dict(zip(self.sizes, (float(factor) for factor in factors), strict=True))

    def follow(self, place: Floats, spread: float) -> tuple[FilterStep, ...]:
        """The sessions followed with the constants at a place."""
        constants, sizes = constants_at(self.logs_at(place)), self.sizes_at(place)
        return self.session_filter.follow(constants, spread, self.linearisations, self.misfits, sizes)

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
        reached = self._modes_from(self._trial_places() if places is None else places)
        found = sorted(reached, key=lambda mode: -mode.evidence)
        if not found:
            raise CouldNotError(NO_BALANCE)
        current = self._linearised(found[0].middle)
        high = [one for one in found if one.evidence >= found[0].evidence - 2.0 * NEGLIGIBLE_EVIDENCE]
        modes = [mode for one in high if (mode := current.mode_from(one.middle)) is not None]
        if not modes:
            raise CouldNotError(NO_BALANCE)
        for _ in range(RELINEARISATIONS if self.size else 0):
            before = modes[0]
            current = current._linearised(before.middle)
            modes[0] = current.mode_from(before.middle) or before
            if np.abs(modes[0].middle - before.middle).max() < CONVERGED:
                break
        return replace(current, modes=distinct_modes(modes))

    def with_size(self, number: int) -> Inference:
        """The same with the size of session ``number`` unknown, sought from here; without modes where none was found."""
        other = replace(self, sizes=(*self.sizes, number), modes=())
        places = [np.append(mode.middle, sign) for mode in self.modes for sign in (-1.0, 1.0)]
        return replace(other, modes=distinct_modes(other._modes_from(places)))

    def _modes_from(self, places: list[Floats]) -> list[Mode]:
        """The modes reached from these places in few steps."""
        reached = in_threads(lambda place: self.mode_from(place, FIRST_STEPS), places)
        return [mode for mode in reached if mode is not None]

    def _linearised(self, place: Floats) -> Inference:
        constants, sizes = constants_at(self.logs_at(place)), self.sizes_at(place)
        steps = self.follow(place, self.spread)
        return replace(self, linearisations=self.session_filter.linearised(constants, steps, sizes))

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
        likeliest = [those[np.argmax(heights[those])] for those in best]
        return [places[place] for place in likeliest if heights[place] > heights.max() - MOST_DEFICIT]

    def _parts(self, places: Floats) -> NDArray[np.int64]:
        """Which part of the prior a place lies in: a third by the removal, a half by the stiffness."""
        logs = places[:, : self.open_constants] @ self.axes.T
        sigma = np.sqrt(np.diagonal(self.prior.covariance))
        thirds = np.digitize(logs[:, 0], [-0.7 * sigma[0], 0.7 * sigma[0]])
        return np.asarray(2 * thirds + (logs[:, 1] > 0.0), dtype=np.int64)

    def mode_from(self, place: Floats, steps: int = STEPS) -> Mode | None:
        """The mode reached from a place (d,) by least squares, the covariances frozen where it begins; None without one."""
        try:
            start_steps = self.follow(place, self.spread)
            roots = [cholesky(step.innovation_covariance, lower=True) for step in start_steps]
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
            whitened = [
                solve_triangular(root, step.innovation, lower=True) for root, step in zip(roots, steps, strict=True)
            ]
            return np.concatenate([at, *whitened])

        start = np.clip(place, -0.98 * SEARCH_BOUND, 0.98 * SEARCH_BOUND)
        return least_squares(
            residuals, start, diff_step=0.02, x_scale=1.0, bounds=(-SEARCH_BOUND, SEARCH_BOUND), max_nfev=most_steps,
            xtol=1e-3, ftol=1e-3,
        )  # fmt: skip

    def log_posterior(self, place: Floats, spread: float) -> float:
        """Logarithm of the posterior density, up to a constant, spread given [1]."""
        try:
            steps = self.follow(place, spread)
        except (ContactError, InputError):
            return -1e6
        return float(sum(step.log_likelihood for step in steps) - 0.5 * place @ place)

    def sample(self, draws: int, seed: int, most_batches: int = MOST_BATCHES) -> ConstantsPosterior:
        """Weigh batches of draws, each moulded on what those before it found, until they are worth enough.

        All batches count, weighed by the mixture that they were drawn from together.
        """
        batches: list[list[Mode]] = [[Mode(m.middle, SAMPLING_WIDENING * m.root, ()) for m in self.modes]]
        places, spreads, heights = np.zeros((0, self.size)), np.zeros(0), np.zeros(0)
        for batch in range(most_batches):
            batch_places, batch_spreads = self._draws(batches[batch], draws, seed + batch)
            found = in_threads(self.log_posterior, batch_places, batch_spreads)
            places, spreads = np.vstack([places, batch_places]), np.concatenate([spreads, batch_spreads])
            heights = np.concatenate([heights, found])
            weights, evidence = importance_weights(places, heights, batches)
            if 1.0 / np.sum(weights**2) >= LEAST_EFFECTIVE or not self.size:
                break
            batches.append([fitted_mode(places, weights)])
        return ConstantsPosterior(self.logs_at(places), spreads, weights, evidence)

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
