"""What limits a proposal, and what lifting each limit would buy."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from wearsim.decide.choice import AS_GOOD
from wearsim.decide.least_squares import Candidate, Refiner
from wearsim.decide.limits import Limits
from wearsim.decide.search_problem import ProposalProblem
from wearsim.errors import ContactError

USED_UP = 0.95
"""Minutes limit a programme that takes so much of them [1]."""
MORE = 2.0
"""So many times the minutes are looked at [1]."""
STEPS = 6
"""Evaluations of the residuals while minutes are brought down."""


def what_limits(
    problem: ProposalProblem, limits: Limits, proposed: Candidate, unpractised: Candidate | None
) -> tuple[str, ...]:
    """Which limits hold a programme back, a sentence each: those whose lifting makes the RMS to expect a tenth better.

    Parameters
    ----------
    problem : ProposalProblem
    limits : Limits
        As they were asked for.
    proposed : Candidate
        The programme.
    unpractised : Candidate or None
        The best of any stroke, where that was looked for.

    Returns
    -------
    tuple of str
        The minutes, the uncertain constants, the repertoire: each with the RMS that lifting it would come to.
    """
    found: list[tuple[float | None, str]] = []
    if sum(one.work for one in proposed.plan) >= USED_UP * limits.minutes:
        minutes = MORE * limits.minutes
        found.append((_with_minutes(problem, proposed, minutes), f"the minutes: {minutes:g} of them"))
    if not problem.is_certain:
        found.append((_if_known(problem, proposed), "what is not known: the same strokes, once it is known,"))
    if unpractised is not None:
        found.append((unpractised.score.expected_rms, "the strokes that hands do: any stroke (--repertoire any)"))
    now, own = proposed.score.expected_rms, problem.measured
    return tuple(
        f"limited by {what} would come to {np.hypot(rms, own) * 1e9:.0f} nm RMS, where {np.hypot(now, own) * 1e9:.0f} "
        "are to be expected"
        for rms, what in found
        if rms is not None and AS_GOOD * rms <= now
    )


def _with_minutes(problem: ProposalProblem, proposed: Candidate, minutes: float) -> float | None:
    """The RMS to expect of the same strokes with more minutes in all [m]."""
    refiner = problem.in_all_scenarios(minutes)
    try:
        return refiner.improve(proposed.plan, steps=STEPS, free="minutes").score.expected_rms
    except ContactError:
        return None


def _if_known(problem: ProposalProblem, proposed: Candidate) -> float | None:
    """The RMS that the same strokes come to with their best minutes, each case of the constants by itself [m]."""
    squares, every = 0.0, problem.in_all_scenarios()
    for case, engine in zip(every.cases, every.engines, strict=True):
        alone = Refiner(every.objective, [engine], (replace(case, weight=1.0),), engine, every.clock)
        try:
            best = alone.improve(proposed.plan, steps=STEPS, free="minutes").score.expected_rms
        except ContactError:
            return None
        squares += case.weight * min(best, every.objective.rms_before) ** 2
    return float(np.sqrt(squares))
