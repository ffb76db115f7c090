"""Sessions in which something else was worked than their record says: how likely, and what it looks like.

Beside the records as they stand, each session is taken as it would have been after each slip that a person makes
(:mod:`wearsim.learn.slips`), and as a removal of unknown size and shape. A slip predicts a removal of its own, so that the
measurements can speak for it where they cannot speak for "anything else".
"""

from __future__ import annotations

from collections.abc import Iterable
from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace
from typing import NamedTuple

import numpy as np

from wearsim.learn.chain import Chain, Link
from wearsim.learn.inference import FIRST_STEPS, Inference
from wearsim.learn.outlook import Outlook, View
from wearsim.learn.sizes import LIKELY, LITTLE, SHAPE, Rival, chances_of
from wearsim.learn.slips import slips_of
from wearsim.parallel import worker_count

RARE = 0.02
"""Share of sessions in which something was worked that no record suggests: one in fifty. A judgement."""
ANYTHING = "anything else was worked"
CONSIDERED, LEAST = 0.04, 0.01
"""Sessions and slips of a smaller chance at a first look are not looked at closely [1]."""
MOST_CLIMBED, MOST_FOUND = 8, 3
"""Slips that are climbed to, and about whose own constants the engine is linearised, at most."""


def suspicions_of(found: Inference, others: tuple[Rival, ...]) -> tuple[Rival, ...]:
    """Other records of one session each, beside what was found with the records as they stand.

    Parameters
    ----------
    found : Inference
        Its hills found.
    others : tuple of Rival
        What else is possible, ``found`` first (:func:`wearsim.learn.sizes.rivals_of`).

    Returns
    -------
    tuple of Rival
        Those that were looked at closely with their hills, the others by a rough evidence alone.
    """
    seen = _seen(Outlook(found))
    close = _worth_a_look(others, seen)
    with ThreadPoolExecutor(max_workers=worker_count()) as pool:
        climbed = dict(
            zip(close, pool.map(lambda place: _climbed(*seen[place]), close), strict=True)
        )  # fmt: skip
    out = [climbed.get(place, rival) for place, (rival, _) in enumerate(seen)]
    # climbed about the frames of others, which may flatter them
    for rival in [out[place] for place in _likeliest(others, out)[:MOST_FOUND]]:
        rival.inference.find([hill.middle for hill in rival.inference.hills])
    return tuple(out)


class _Other(NamedTuple):
    """One other record of a session, before it is looked at."""

    number: int
    chain: Chain
    misfits: frozenset[int]
    log_odds: float
    kind: str
    said: str
    wrong: frozenset[int]


def _others(found: Inference, link: Link) -> list[_Other]:
    """A session's slips and anything else; of a session that is set aside its record as it stands too."""
    number, chain = link.number, found.chain
    base = float(np.log(RARE / (1.0 - RARE)))
    # what the session's odds already are in what was found
    odds = base if number in found.misfits else float(np.log(LIKELY)) if number in found.sizes else 0.0
    believed, wrong = found.misfits - {number}, found.misfits | {number}
    if number in found.misfits:
        told = [_Other(number, chain, believed, -odds, "", "", believed)]
    else:
        told = [_Other(number, chain, wrong, base - odds, SHAPE, ANYTHING, wrong)]
    for slip in slips_of(link, is_first=link is chain.links[0]):
        share = float(np.log(slip.share))
        told.append(_Other(number, chain.with_link(slip.link), believed, share - odds, SHAPE, slip.said, wrong))
    return told


def _seen(outlook: Outlook) -> list[tuple[Rival, View]]:
    """All other records at a first look."""
    told = [one for link in outlook.found.chain.links for one in _others(outlook.found, link)]
    with ThreadPoolExecutor(max_workers=worker_count()) as pool:
        views = list(pool.map(lambda one: outlook.view(one.chain, one.number, one.misfits), told))
    return [
        (Rival(one.number, view.inference, one.log_odds, one.kind, one.said, one.wrong, view.evidence), view)
        for one, view in zip(told, views, strict=True)
        if view is not None
    ]


def _climbed(rival: Rival, view: View) -> Rival:
    """The same, its hill climbed; as it was where there is none."""
    hill = rival.inference.climbed(view.place, FIRST_STEPS)
    if hill is None:
        return rival
    rival.inference.hills = [hill]
    return replace(rival, rough=None)


def _worth_a_look(others: tuple[Rival, ...], seen: list[tuple[Rival, View]]) -> list[int]:
    """Places of those that may matter, the likeliest first."""
    chances = chances_of(rival.weight for rival in (*others, *(one for one, _ in seen)))[len(others) :]
    of_session = by_session([one for one, _ in seen], chances)
    good = [
        place for place in np.argsort(-chances)
        if chances[place] >= LEAST and of_session[seen[place][0].number] >= CONSIDERED
    ]  # fmt: skip
    return [int(place) for place in good[:MOST_CLIMBED]]


def _likeliest(others: tuple[Rival, ...], seen: list[Rival]) -> list[int]:
    """Places of those that were climbed to and are likely, in a session that is; the likeliest first."""
    chances = chances_of(rival.weight for rival in (*others, *seen))[len(others) :]
    of_session = by_session(seen, chances)
    return [
        int(place) for place in np.argsort(-chances)
        if seen[place].inference.hills and chances[place] >= LEAST and of_session[seen[place].number] >= LITTLE
    ]  # fmt: skip


def by_session(rivals: Iterable[Rival], chances: Iterable[float]) -> dict[int, float]:
    """Chances added up by the session whose record differs [1]."""
    told: dict[int, float] = {}
    for rival, chance in zip(rivals, chances, strict=True):
        told[rival.number] = told.get(rival.number, 0.0) + float(chance)
    return told
