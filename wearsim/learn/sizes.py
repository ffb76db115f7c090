"""Sessions that may have removed more or less than their record says: minutes, push, masses or abrasive written wrong.

A session's shape may fit well and its size be another: constants that wear less explain minutes that were written too
many. So beside the records as they stand, each session's removal is given a factor of its own, and the measurements
say how likely that is. Where they speak for it but do not settle it, the posterior holds both, each with its chance,
and is as wide as that.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace

import numpy as np
from scipy.special import logsumexp

from wearsim.kernels.arrays import Floats
from wearsim.learn.inference import Inference
from wearsim.learn.posterior import Posterior

LIKELY = 0.05
"""Share of sessions that removed another amount than their record says, beyond what varies anyhow. A judgement."""
CLEAR = 1.4
"""Factors nearer to 1 than this are not spoken of, unless they are likelier than not [1]."""
SUSPECTED = 0.2
"""From this chance on a session's size is said to be in doubt [1]."""
LITTLE = 2.0 * LIKELY
"""What is less likely than this is left out of the posterior: the measurements do not speak for it, and its rarity alone
would widen the intervals of every folder [1]. In a session, all slips together."""
LEAST = 0.02
"""Of those slips, one that is less likely than this is left out [1]."""
SIZE, SHAPE = "size", "shape"
"""What of a record is disbelieved."""
FEWER = 4
"""Draws of another size are so many times fewer, where it has less than :data:`SUSPECTED`."""


@dataclass(frozen=True, eq=False)
class Rival:
    """One session's record disbelieved, in its size or in what was worked, beside all of them believed.

    Parameters
    ----------
    number : int
        Of the session; 0 for the records as they stand.
    inference : Inference
    log_odds : float
        How rare that is before any measurement, against the records as they stand [1].
    kind : {"", "size", "shape"}
        What of the record is disbelieved.
    said : str
        What was worked instead, in words that follow "as if".
    wrong : frozenset of int
        Sessions in which something else was worked.
    rough : float, optional
        Its evidence, where no hill was climbed.
    """

    number: int
    inference: Inference
    log_odds: float
    kind: str = ""
    said: str = ""
    wrong: frozenset[int] = frozenset()
    rough: float | None = None

    @property
    def factor(self) -> float:
        """Likeliest factor on that session's removal [1]."""
        return self.inference.sizes_at(self.inference.best.middle).get(self.number, 1.0)

    @property
    def weight(self) -> float:
        """Logarithm of its odds by the hills [1]."""
        if self.rough is not None:
            return self.log_odds + self.rough
        return self.log_odds + float(logsumexp([hill.evidence for hill in self.inference.hills]))


def rivals_of(found: Inference) -> tuple[Rival, ...]:
    """The records as they stand, and each session's size disbelieved in turn.

    Parameters
    ----------
    found : Inference
        Its hills found.

    Returns
    -------
    tuple of Rival
        The first is ``found``.
    """
    rivals = [Rival(0, found, 0.0, wrong=found.misfits)]
    for link in found.chain.links:
        if link.number in found.misfits or link.number in found.sizes:
            continue
        other = found.with_size(link.number)
        if other.hills:
            odds = float(np.log(LIKELY / (1.0 - LIKELY)))
            rivals.append(Rival(link.number, other, odds, SIZE, wrong=found.misfits))
    for rival in possible(tuple(rivals))[1:]:  # sought about the frames of others, which may flatter it
        rival.inference.find([hill.middle for hill in rival.inference.hills])
    return tuple(rivals)


def chances_of(logs: Iterable[float]) -> Floats:
    """Chances from the logarithms of odds, their sum 1 [1]."""
    told = np.array(list(logs))
    return np.asarray(np.exp(told - logsumexp(told)))


def possible(rivals: tuple[Rival, ...]) -> tuple[Rival, ...]:
    """The records as they stand, and what else is not too unlikely to count (:data:`LITTLE`, :data:`LEAST`)."""
    return tuple(rivals[place] for place in _possible(rivals))


def _possible(rivals: tuple[Rival, ...]) -> list[int]:
    chances = chances_of(rival.weight for rival in rivals)
    of_session: dict[int, float] = {}
    for rival, chance in zip(rivals, chances, strict=True):
        if rival.kind != SIZE:
            of_session[rival.number] = of_session.get(rival.number, 0.0) + float(chance)
    return [
        place for place, (rival, chance) in enumerate(zip(rivals, chances, strict=True))
        if place == 0
        or ((chance >= LITTLE if rival.kind == SIZE else chance >= LEAST and of_session[rival.number] >= LITTLE)
        and rival.inference.hills)
    ]  # fmt: skip


def by_hills(rivals: tuple[Rival, ...]) -> tuple[Floats, Floats]:
    """Mean (4,) and covariance (4, 4) of the constants' logarithms, every hill taken as normal [1]."""
    hills = [(rival, hill) for rival in possible(rivals) for hill in rival.inference.hills]
    weights = chances_of(rival.log_odds + hill.evidence for rival, hill in hills)
    tops = np.array([rival.inference.logs_at(hill.middle) for rival, hill in hills])
    mean = weights @ tops
    covariance = np.zeros((mean.size, mean.size))
    for weight, top, (rival, hill) in zip(weights, tops, hills, strict=True):
        one = rival.inference
        root = one.axes @ hill.root[: one.known]
        covariance += weight * (root @ root.T + np.outer(top - mean, top - mean))
    return mean, covariance


def sampled(rivals: tuple[Rival, ...], draws: int, seed: int) -> tuple[Posterior, Floats]:
    """Weighed draws of all that is possible, and the chance of each rival.

    Parameters
    ----------
    rivals : tuple of Rival
        As :func:`rivals_of` gives them.
    draws : int
        A lot.
    seed : int

    Returns
    -------
    Posterior
        Its evidence is that of the first rival, its likeliest constants those of the likeliest, sizes aside.
    (R,) ndarray
        Chances [1].
    """
    chances = chances_of(rival.weight for rival in rivals)
    kept = _possible(rivals)
    told = []
    for place in kept:
        few = place and chances[place] < SUSPECTED
        inference = rivals[place].inference
        told.append(inference.sample(*((max(1, draws // FEWER), seed, 1) if few else (draws, seed))))
    by_draws = chances_of(
        rivals[place].log_odds + one.evidence for place, one in zip(kept, told, strict=True)
    )  # fmt: skip
    weights = [chance * one.weights for chance, one in zip(by_draws, told, strict=True)]
    best = max(
        (i for i, place in enumerate(kept) if not place or rivals[place].kind != SIZE), key=lambda i: by_draws[i]
    )  # fmt: skip
    posterior = replace(
        told[0],
        logs=np.vstack([one.logs for one in told]),
        spreads=np.concatenate([one.spreads for one in told]),
        weights=np.concatenate(weights),
        likeliest=told[best].likeliest,
    )
    chances[kept] = chances[kept].sum() * by_draws
    return posterior, chances
