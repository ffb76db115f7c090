"""A proposal, and what it was chosen from, each as a proposal of its own to lay beside it."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import replace
from functools import partial
from typing import Any

from wearsim.bench.bench import Bench
from wearsim.decide.choice import BEST, PROPOSED, TRIAL
from wearsim.decide.limits import Limits
from wearsim.decide.proposal import Proposal
from wearsim.decide.propose import propose, with_programme


def alternatives(
    bench: Bench, limits: Limits, progress: Callable[[str, str, float], Any], **known: Any
) -> Iterator[tuple[str, Proposal]]:
    """The proposed programme first, then the best, plainer ones and the handbook's beside it.

    Parameters
    ----------
    progress : callable
        Takes the name of what is looked for, the stage, and the best RMS so far [m].
    **known
        As :func:`wearsim.decide.propose.propose` takes it.

    Yields
    ------
    name, proposal
    """
    proposal = propose(bench, limits=limits, with_trade_off=True, progress=partial(progress, BEST), **known)
    yield PROPOSED, proposal
    for one in proposal.choices[1 if proposal.programme.spells else 0 :]:
        name = f"{one.name}: {one.words}" if one.words else one.name
        yield name, replace(with_programme(bench, proposal, one, **known), trade_off=())


def or_trial(bench: Bench, proposal: Proposal, **known: Any) -> Proposal:
    """The same; where nothing is proposed but a short trial is offered, with that in its place.

    Parameters
    ----------
    **known
        As :func:`wearsim.decide.propose.propose` takes it.
    """
    trial = next((one for one in proposal.choices if one.name == TRIAL and not proposal.programme.spells), None)
    return proposal if trial is None else with_programme(bench, proposal, trial, **known)
