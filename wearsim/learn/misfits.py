"""Sessions whose record is wrong: how each one fits, and which are set aside.

A session is set aside where the measurements are likelier with its record disbelieved, its removal unknown in size
and shape, or in size alone, the rarity of a wrong record weighed in. Where one misses by more than chance explains and none
can be named, all are believed less: the whole is taken to be as uncertain as it turned out (:func:`birge_ratio`).
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from scipy.special import chdtrc

from wearsim.learn.chain import Chain, Link, Step
from wearsim.learn.inference import Inference, Progress
from wearsim.learn.sizes import CLEAR, LIKELY, SHAPE, SIZE, SUSPECTED, Rival
from wearsim.learn.suspicions import ANYTHING, RARE
from wearsim.wear.constants import Belief

SUSPECT = 0.01
"""A session this unlikely is looked at twice [1]."""
LOOKS = 0.5
"""From this share of all that may have been worked on, one slip is named alone [1]."""
NAMED = 3
"""Slips that are named at most."""


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
    factor : float
        Likeliest factor on its removal, were its size not as recorded [1].
    size_chance : float
        That it is not [1].
    wrong_chance : float
        That something else was worked than its record says [1].
    slips : tuple of (str, float)
        What that may have been, in words that follow "as if", the likeliest first; with its chance [1].
    """

    number: int
    chi_square: float
    compared: int
    chance: float
    fits: bool
    removal: float
    factor: float = 1.0
    size_chance: float = 0.0
    wrong_chance: float = 0.0
    slips: tuple[tuple[str, float], ...] = ()

    @property
    def is_record_in_doubt(self) -> bool:
        """Whether something else may well have been worked (:mod:`wearsim.learn.suspicions`), less likely than not."""
        return self.fits and self.wrong_chance >= SUSPECTED

    @property
    def looks_like(self) -> tuple[tuple[str, float], ...]:
        """The slips to name: one where it has most of the chance, else some."""
        if not self.slips or self.slips[0][1] >= LOOKS * self.wrong_chance:
            return self.slips[:1]
        return tuple(one for one in self.slips[:NAMED] if one[1] >= 0.1 * self.wrong_chance)

    @property
    def has_size_in_doubt(self) -> bool:
        """Whether its removal may well be of another size than its record says (:mod:`wearsim.learn.sizes`)."""
        is_large = max(self.factor, 1.0 / self.factor) >= CLEAR
        return self.is_of_other_size or (self.fits and is_large and self.size_chance >= SUSPECTED)

    @property
    def is_of_other_size(self) -> bool:
        """Whether that is likelier than not."""
        return self.fits and self.size_chance > 0.5

    @property
    def is_doubtful(self) -> bool:
        """Whether it misses by more than chance explains although no session could be named as the wrong one."""
        return self.fits and self.chance < SUSPECT

    def to_json(self) -> dict[str, Any]:
        """Plain numbers, as part of what ``calibrate --json`` gives.

        Returns
        -------
        dict
            One entry an attribute, and whether the session is doubtful or of another size.
        """
        return {
            "number": self.number, "chi_square": self.chi_square, "compared": self.compared, "chance": self.chance,
            "fits": self.fits, "doubtful": self.is_doubtful,
            "removal_shape_rms_m": self.removal,
            "other_size": {
                "chance": self.size_chance, "factor": self.factor, "in_doubt": self.has_size_in_doubt,
            },
            "other_work": {
                "chance": self.wrong_chance, "in_doubt": self.is_record_in_doubt,
                "as_if": [{"said": said, "chance": chance} for said, chance in self.slips],
            },
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
    return SessionFit(link.number, chi_square, size, chance, set_aside is None, float(np.sqrt(np.mean(about**2))))


def with_chances(
    fits: Iterable[SessionFit], rivals: tuple[Rival, ...], chances: Iterable[float]
) -> tuple[SessionFit, ...]:
    """Fits with how likely each session's size, or what was worked in it, is other than recorded.

    Parameters
    ----------
    fits : iterable of SessionFit
    rivals : tuple of Rival
        All that is possible; sizes that the first of them disbelieves are certainly other.
    chances : iterable of float
        Of each [1].
    """
    first, told = rivals[0].inference, list(zip(rivals, (float(chance) for chance in chances), strict=True))
    factors = first.sizes_at(first.best.middle)
    factors |= {rival.number: rival.factor for rival in rivals if rival.kind == SIZE}
    out = []
    for fit in fits:
        wrong = sum(chance for rival, chance in told if fit.number in rival.wrong)
        size = sum(chance for rival, chance in told if fit.number in rival.inference.sizes)
        slips = [(one.said, p) for one, p in told if one.number == fit.number and one.kind == SHAPE]
        if fit.number in first.misfits:
            slips.append((ANYTHING, told[0][1]))
        slips.sort(key=lambda one: -one[1])
        out.append(replace(
            fit, factor=factors.get(fit.number, 1.0), size_chance=size, wrong_chance=wrong,
            slips=tuple(slips[:NAMED]), fits=wrong < 0.5,
        ))  # fmt: skip
    return tuple(out)


def without_misfits(chain: Chain, before: Belief, tell: Progress) -> tuple[Inference, dict[int, float]]:
    """The most likely constants; sessions that fit nothing set aside, the worst first, each with its chi-square.

    A session is set aside where the measurements are likelier with its record disbelieved (its removal unknown in
    size and shape), the rarity of a wrong record weighed in. Where they are likelier still with its size alone unknown,
    only that is disbelieved: it is one of the ``sizes`` of what is found, and not set aside.
    """
    found, set_aside = found_with(chain, before, frozenset()), dict[int, float]()
    while len(found.misfits) + len(found.sizes) < len(chain.links):
        chances = [session_fit(step, link).chance for step, link in zip(found.best.steps, chain.links, strict=True)]
        open_ones = [
            link.number for link in chain.links
            if link.number not in found.misfits and link.number not in found.sizes
        ]  # fmt: skip
        if min(chances[number - 1] for number in open_ones) > SUSPECT:
            break
        tell("a session that does not fit")
        best, odds = max(
            (one for number in open_ones for one in _disbelieved(found, number)),
            key=lambda one: one[0].best.evidence + one[1],
        )
        if best.best.evidence + odds <= found.best.evidence:
            break
        for number in best.misfits - found.misfits:
            set_aside[number] = chi_square_believed(found, best, number)
        found = best
    return found, set_aside


def _disbelieved(found: Inference, number: int) -> list[tuple[Inference, float]]:
    """One more session's record disbelieved, wholly and in its size alone; each with the logarithm of its odds."""
    chain, before = found.chain, found.prior
    wholly = found_with(chain, before, found.misfits | {number}, found.sizes)
    # about frames of its own: those of constants that are bent make a size look likelier than it is
    one = Inference(chain, before, found.misfits, (*found.sizes, number))
    tops = [hill.middle for hill in (*found.hills, wholly.best)]
    one.find([np.append(top, way) for top in tops for way in (-1.0, 1.0)])
    return [(wholly, float(np.log(RARE / (1.0 - RARE)))), (one, float(np.log(LIKELY / (1.0 - LIKELY))))]


def chi_square_believed(believed: Inference, without: Inference, number: int) -> float:
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


def found_with(
    chain: Chain, before: Belief, misfits: frozenset[int], sizes: tuple[int, ...] = ()
) -> Inference:  # fmt: skip
    """The hills of a chain's posterior, the records of some sessions disbelieved.

    Parameters
    ----------
    chain : Chain
    before : Belief
        The prior.
    misfits : frozenset of int
        Numbers of those sessions.
    sizes : tuple of int
        Sessions of which the size alone is disbelieved.

    Returns
    -------
    Inference
    """
    inference = Inference(chain, before, misfits, sizes)
    inference.find()
    return inference
