"""What is possible of all records together: as they stand, or one of them wrong in its size or in what was worked."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace

from wearsim.learn.chain import Chain, Step
from wearsim.learn.inference import Inference, Progress
from wearsim.learn.misfits import SessionFit, birge_ratio, chi_square_believed, found_with, session_fit, without_misfits
from wearsim.learn.sizes import SHAPE, Rival, chances_of, rivals_of
from wearsim.learn.suspicions import suspicions_of
from wearsim.wear.constants import Belief


@dataclass(frozen=True, eq=False)
class Verdict:
    """All that is possible of the records.

    Parameters
    ----------
    rivals : tuple of Rival
        The first: what fits best by the records as they stand, misfits aside.
    fits : tuple of SessionFit
        Each session against the likeliest of them, chances not yet in it.
    ratio : float
        How many times as uncertain as stated everything is taken to be where the records as they stand are believed [1].
    steps : tuple of Step
        The mirror followed with the likeliest constants.
    """

    rivals: tuple[Rival, ...]
    fits: tuple[SessionFit, ...]
    ratio: float
    steps: tuple[Step, ...]


def verdict_of(chain: Chain, before: Belief, tell: Progress) -> Verdict:
    """Weigh the records of a chain.

    Parameters
    ----------
    chain : Chain
    before : Belief
        The prior.
    tell : callable
        Told what is being done.

    Returns
    -------
    Verdict
    """
    tell("the most likely constants")
    found, set_aside = without_misfits(chain, before, tell)
    tell("each session of another size")
    sizes = rivals_of(found)
    tell("what else may have been worked")
    rivals = (*sizes, *suspicions_of(found, sizes))
    chances = chances_of(rival.weight for rival in rivals)
    likeliest = max(
        (place for place, rival in enumerate(rivals) if not place or (rival.inference.hills and rival.kind == SHAPE)),
        key=lambda place: chances[place],
    )  # fmt: skip
    best = rivals[likeliest]
    steps = best.inference.best.steps
    fits = _fits(chain, found, best, set_aside)
    ratio = birge_ratio(fits)
    if ratio == 1.0:
        return Verdict(rivals, fits, ratio, steps)
    doubted = found_with(replace(chain, ratio=ratio), before, found.misfits, found.sizes)
    wide = rivals_of(doubted)
    # as likely as before against other records, which need not be doubted to fit
    shift = sizes[0].weight - wide[0].weight
    wide = tuple(replace(rival, log_odds=rival.log_odds + shift) for rival in wide)
    return Verdict((*wide, *rivals[len(sizes) :]), fits, ratio, steps)


def _fits(chain: Chain, found: Inference, best: Rival, set_aside: Mapping[int, float]) -> tuple[SessionFit, ...]:
    """How each session fits the likeliest constants; a session whose record they do not believe, how it would."""
    aside = {number: value for number, value in set_aside.items() if number in best.wrong}
    if best.number and best.number in best.wrong and best.number not in aside:
        without = best.inference
        if without.size == found.size:
            aside[best.number] = chi_square_believed(found, without, best.number)
    return tuple(
        session_fit(step, link, aside.get(link.number))
        for step, link in zip(best.inference.best.steps, chain.links, strict=True)
    )
