"""Sessions in which something else was worked than their record says: how likely, and what it looks like.

Beside the records as they stand, each session is taken as it would have been after each slip that a person makes
(:mod:`wearsim.learn.slips`), and as a removal of unknown size and shape. A slip predicts a removal of its own, so that the
measurements can speak for it where they cannot speak for "anything else".
"""

from __future__ import annotations

from collections.abc import Iterable
from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace

import numpy as np

from wearsim.learn.chain import Link
from wearsim.learn.inference import FIRST_STEPS, Inference
from wearsim.learn.outlook import Outlook, View
from wearsim.learn.sizes import LIKELY, LITTLE, SHAPE, Rival, chances_of
from wearsim.learn.slips import slips_of
from wearsim.wear.predict import WORKERS

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
    outlook = Outlook(found)
    seen = [one for link in found.chain.links for one in _seen(outlook, link)]
    close = _worth_a_look(others, seen)
    with ThreadPoolExecutor(max_workers=WORKERS) as pool:
        climbed = dict(
            zip(close, pool.map(lambda place: _climbed(*seen[place]), close), strict=True)
        )  # fmt: skip
    out = [climbed.get(place, rival) for place, (rival, _) in enumerate(seen)]
    # climbed about the frames of others, which may flatter them
    for rival in [out[place] for place in _likeliest(others, out)[:MOST_FOUND]]:
        rival.inference.find([hill.middle for hill in rival.inference.hills])
    return tuple(out)


def _seen(outlook: Outlook, link: Link) -> list[tuple[Rival, View]]:
    """A session's slips and anything else, at a first look."""
    found, number = outlook.found, link.number
    base = float(np.log(RARE / (1.0 - RARE)))
    told: list[tuple[str, str, float, View | None, frozenset[int]]] = []
    others = found.misfits - {number}
    # what the session's odds already are in what was found
    odds = base if number in found.misfits else float(np.log(LIKELY)) if number in found.sizes else 0.0
    if number in found.misfits:
        told.append(("", "", -odds, outlook.view(found.chain, number, others), others))
    else:
        wrong = found.misfits | {number}
        told.append((SHAPE, ANYTHING, base - odds, outlook.view(found.chain, number, wrong), wrong))
    for slip in slips_of(link, is_first=link is found.chain.links[0]):
        view = outlook.view(found.chain.with_link(slip.link), number, others)
        told.append((SHAPE, slip.said, float(np.log(slip.share)) - odds, view, found.misfits | {number}))
    return [
        (Rival(number, view.inference, log_odds, kind, said, wrong, view.evidence), view)
        for kind, said, log_odds, view, wrong in told
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
