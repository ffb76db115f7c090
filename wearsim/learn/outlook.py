"""How likely the measurements would be with another record of one session, from the slopes at constants found already.

Dozens of records have to be looked at, so each gets a few runs of the engine and no search: the chain is followed with the
other record at the likeliest constants, and one step of least squares with the slopes of the records as they stand
says where the constants would go to and how likely the measurements would be there.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.linalg import cholesky, solve_triangular

from wearsim.errors import ContactError, InputError
from wearsim.kernels.arrays import Floats
from wearsim.learn.chain import Chain, Frame, Step
from wearsim.learn.inference import Inference
from wearsim.learn.posterior import constants_at
from wearsim.wear.radial.engine import RadialEngine

NUDGE = 0.05
"""Step of a place in a difference, in sigmas of the prior."""


@dataclass(frozen=True, eq=False)
class View:
    """One other record as it looks from where the constants were found.

    Parameters
    ----------
    inference : Inference
        With that record, without hills.
    place : (d,) ndarray
        Where the constants would go to, in units of the prior's sigma.
    evidence : float
        As :attr:`wearsim.learn.hills.Hill.evidence`, roughly [1].
    """

    inference: Inference
    place: Floats
    evidence: float


class Outlook:
    """The likeliest constants with their slopes.

    Parameters
    ----------
    found : Inference
        Its hills found.
    """

    def __init__(self, found: Inference) -> None:
        self.found, self.top = found, found.best
        self.spread = found.chain.discrepancy.spread
        self.slopes = self._slopes()

    def _slopes(self) -> list[Floats]:
        """Change of each session's miss with the place, (p, d) a session."""
        place, columns = self.top.middle, []
        for axis in range(place.size):
            nudge = np.zeros(place.size)
            # towards the middle, where a balance is found more likely
            nudge[axis] = -NUDGE if place[axis] > 0.0 else NUDGE
            try:
                steps = self.found.follow(place + nudge, self.spread)
            except (ContactError, InputError):
                columns.append([np.zeros(step.miss.size) for step in self.top.steps])
                continue
            columns.append(
                [(one.miss - step.miss) / nudge[axis] for one, step in zip(steps, self.top.steps, strict=True)]
            )
        if not columns:
            return [np.zeros((step.miss.size, 0)) for step in self.top.steps]
        return [np.stack(parts, axis=1) for parts in zip(*columns, strict=True)]

    def view(self, chain: Chain, number: int, misfits: frozenset[int]) -> View | None:
        """The same with another record of one session, or with other records disbelieved; None where no balance is found.

        Parameters
        ----------
        chain : Chain
        number : int
        misfits : frozenset of int
        """
        found, place = self.found, number - 1
        sizes = tuple(one for one in found.sizes if one != number)
        kept = [*range(found.known), *(found.known + i for i, one in enumerate(found.sizes) if one != number)]
        other = Inference(chain, found.prior, misfits, sizes)
        at, slopes = self.top.middle[kept], [slope[:, kept] for slope in self.slopes]
        constants, factors = constants_at(other.logs_at(at)), other.sizes_at(at)
        done = self.top.steps[:place] if misfits - {number} == found.misfits - {number} else ()
        link, frames = chain.links[place], list(found.frames or ())
        try:
            if link is not found.chain.links[place]:
                state = chain.begun(self.top.steps)[place]
                after = RadialEngine(chain.accuracy).run(link.bench, link.programme, state, constants).end
                removal = state.height - after.height
                carrier = frames[place].carrier if frames else np.eye(removal.size)
                # a removal goes by the Preston coefficient
                more = chain.links[place].observation.matrix @ (removal - self.top.steps[place].removal)
                slopes[place] = slopes[place] + np.outer(more, other.axes[0] @ np.eye(other.known, at.size))
                if frames:
                    frames[place] = Frame(carrier, removal, -removal)
            other.frames = tuple(frames) or None
            steps = chain.follow(constants, self.spread, other.frames, misfits, factors, done)
        except (ContactError, InputError):
            return None
        return _stepped(other, at, slopes, steps)


def _stepped(other: Inference, at: Floats, slopes: list[Floats], steps: tuple[Step, ...]) -> View:
    """One step of least squares, and the evidence at its end."""
    roots = [cholesky(step.spread, lower=True) for step in steps]
    miss = np.concatenate([solve_triangular(r, s.miss, lower=True) for r, s in zip(roots, steps, strict=True)])
    slope = np.vstack([solve_triangular(r, s, lower=True) for r, s in zip(roots, slopes, strict=True)])
    curvature = np.eye(at.size) + slope.T @ slope
    goes_to = np.linalg.solve(curvature, slope.T @ (slope @ at - miss))
    left = miss + slope @ (goes_to - at)
    told = -0.5 * (left @ left + goes_to @ goes_to) - 0.5 * np.linalg.slogdet(curvature)[1]
    told -= sum(float(np.log(np.diagonal(root)).sum()) for root in roots)
    return View(other, goes_to, float(told))
