"""A proposal, and simpler ones to lay beside it."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import replace
from functools import partial
from typing import Any

from wearsim.bench.bench import Bench
from wearsim.decide.limits import Limits
from wearsim.decide.proposal import Proposal
from wearsim.decide.propose import propose


def alternatives(
    bench: Bench, limits: Limits, progress: Callable[[str, str, float], Any], **known: Any
) -> Iterator[tuple[str, Proposal]]:
    """The best first, then simpler ones beside it, each as soon as it is found; one that was found before is left out.

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
    found: list[str] = []
    for name, limited in _variants(limits):
        told = partial(progress, name)
        proposal = propose(bench, limits=limited, with_trade_off=not found, progress=told, **known)
        if proposal.programme.text not in found:
            found.append(proposal.programme.text)
            yield name, proposal


def _variants(limits: Limits) -> Iterator[tuple[str, Limits]]:
    yield "Best within the limits", limits
    if limits.spells > 1:
        yield "One spell", replace(limits, spells=1)
    if len(limits.on_top) > 1:
        yield "Tool on top only", replace(limits, on_top=("tool",))
        yield "Mirror on top only", replace(limits, on_top=("mirror",))
    yield "Half the minutes", replace(limits, minutes=max(0.5 * limits.minutes, 2.0))
