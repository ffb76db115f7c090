"""Sessions whose record is wrong: how each one fits, and which are set aside.

A session is set aside where the measurements are likelier with its record disbelieved, its removal unknown in size
and shape, the rarity of a wrong record weighed in. Where one misses by more than chance explains and none can be
named, all are believed less: the whole is taken to be as uncertain as it turned out (:func:`birge_ratio`).
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any

import numpy as np
from scipy.special import chdtrc

from wearsim.learn.chain import Chain, Link, Step
from wearsim.learn.posterior import Inference, Progress
from wearsim.wear.constants import Belief

SUSPECT = 0.01
"""A session this unlikely is looked at twice [1]."""
RARE = 0.02
"""Share of sessions whose record is wrong: one in fifty. A judgement."""


@dataclass(frozen=True, eq=False)
class SessionFit:
    """How one session fits the others and the prior.

    Parameters
    ----------
    number : int
    chi_square : float
        Squared miss in its own spread, its record believed [1]. Of a session that is set aside: by how much less all
        the others and the prior are missed without it, for with it the constants are bent to it and the miss is
        spread over all.
    compared : int
        Numbers compared: what ``chi_square`` is about where all is well.
    chance : float
        Of a chi-square this large or larger [1].
    fits : bool
        Whether its record is believed.
    removal : float
        RMS of the removal's shape, as the engine has it [m].
    """

    number: int
    chi_square: float
    compared: int
    chance: float
    fits: bool
    removal: float

    @property
    def is_doubtful(self) -> bool:
        """Whether it misses by more than chance explains although no session could be named as the wrong one."""
        return self.fits and self.chance < SUSPECT

    def to_json(self) -> dict[str, Any]:
        """Plain numbers, as part of what ``calibrate --json`` gives.

        Returns
        -------
        dict
            One entry an attribute, and whether the session is doubtful.
        """
        return {
            "number": self.number, "chi_square": self.chi_square, "compared": self.compared, "chance": self.chance,
            "fits": self.fits, "doubtful": self.is_doubtful,
            "removal_shape_rms_m": self.removal,
        }  # fmt: skip


def birge_ratio(fits: Iterable[SessionFit]) -> float:
    """How many times as uncertain as stated everything turned out, where sessions are doubtful [1].

    Root of chi-square over the numbers compared, as R. T. Birge had it (Physical Review 40, 207, 1932; from memory),
    over the doubtful sessions alone, so that one of them does not hide among many good ones. 1 where none is doubtful.

    Parameters
    ----------
    fits : iterable of SessionFit
    """
    doubtful = [fit for fit in fits if fit.is_doubtful]
    compared = sum(fit.compared for fit in doubtful)
    return float(np.sqrt(sum(fit.chi_square for fit in doubtful) / compared)) if compared else 1.0


def session_fit(step: Step, link: Link, set_aside: float | None = None) -> SessionFit:
    """How a session fits.

    Parameters
    ----------
    step : Step
        The chain followed with the likeliest constants.
    link : Link
    set_aside : float, optional
        Chi-square of its record believed, of a session that is set aside [1].
    """
    size = step.miss.size
    about = step.removal - step.removal.mean()
    chi_square = step.chi_square if set_aside is None else set_aside
    chance = float(chdtrc(size, chi_square))
    return SessionFit(
        link.number, chi_square, size, chance, set_aside is None, float(np.sqrt(np.mean(about**2)))
    )


def without_misfits(chain: Chain, before: Belief, tell: Progress) -> tuple[Inference, dict[int, float]]:
    """The most likely constants; sessions that fit nothing set aside, the worst first, each with its chi-square.

    A session is set aside where the measurements are likelier with its record disbelieved (its removal unknown in
    size and shape), the rarity of a wrong record weighed in.
    """
    found, set_aside = found_with(chain, before, frozenset()), dict[int, float]()
    while len(found.misfits) < len(chain.links):
        chances = [
            session_fit(step, link).chance for step, link in zip(found.best.steps, chain.links, strict=True)
        ]
        open_ones = [link.number for link in chain.links if link.number not in found.misfits]
        if min(chances[number - 1] for number in open_ones) > SUSPECT:
            break
        tell("a session that does not fit")
        others = [found_with(chain, before, found.misfits | {number}) for number in open_ones]
        best = max(others, key=lambda one: one.best.evidence)
        if best.best.evidence + np.log(RARE / (1.0 - RARE)) <= found.best.evidence:
            break
        (number,) = best.misfits - found.misfits
        set_aside[number] = _chi_square_believed(found, best, number)
        found = best
    return found, set_aside


def _chi_square_believed(believed: Inference, without: Inference, number: int) -> float:
    """Squared miss that believing a session's record brings: in that session and, the constants bent, in the rest [1].

    For an engine linear in the constants it is the squared miss of what the others and the prior predict, in its own
    spread; never less than what is missed in the session itself with the constants bent to it.
    """
    own = believed.best.steps[number - 1].chi_square
    rest = [
        sum(step.chi_square for step in one.best.steps) - one.best.steps[number - 1].chi_square
        + float(one.best.middle @ one.best.middle)
        for one in (believed, without)
    ]  # fmt: skip
    return max(own, own + rest[0] - rest[1])


def found_with(chain: Chain, before: Belief, misfits: frozenset[int]) -> Inference:
    """The hills of a chain's posterior, the records of some sessions disbelieved.

    Parameters
    ----------
    chain : Chain
    before : Belief
        The prior.
    misfits : frozenset of int
        Numbers of those sessions.

    Returns
    -------
    Inference
    """
    inference = Inference(chain, before, misfits)
    inference.find()
    return inference
