"""What limits a proposal, and what lifting each limit would gain."""

from __future__ import annotations

from dataclasses import replace
from types import MappingProxyType

import numpy as np

from wearsim.bench.programme import STROKES, spell_sizes
from wearsim.bench.units import length_unit, stroke_unit
from wearsim.decide.choice import AS_GOOD
from wearsim.decide.coarse_engine import CoarseEngine, PlannedSpell
from wearsim.decide.least_squares import Candidate, Refiner
from wearsim.decide.limits import Limits
from wearsim.decide.objective import Objective
from wearsim.decide.repertoire import common_strokes
from wearsim.decide.search_problem import ProposalProblem
from wearsim.errors import ContactError
from wearsim.wear.state import start_state

USED_UP = 0.95
"""Minutes limit a programme that takes so much of them [1]."""
MORE = 2.0
"""Times the minutes that are tried [1]."""
STEPS = 6
"""Evaluations of the residuals while minutes are improved."""
SMALLER_LAPS, SMALL = (0.6, 0.4), 0.7
"""Laps that are tried in a spell after the others, in diameters of the mirror, where no lap of the bench is below so much
[1]."""
SHORT_SPELLS = (5.0, 10.0, 20.0)
"""Minutes of that spell that are tried [min]."""
NEW = "smaller"


def what_limits(
    problem: ProposalProblem, limits: Limits, proposed: Candidate, uncommon: Candidate | None
) -> tuple[str, ...]:
    """Which limits hold a programme back, a sentence each: those whose lifting makes the expected RMS a tenth better.

    Parameters
    ----------
    problem : ProposalProblem
    limits : Limits
        As they were asked for.
    proposed : Candidate
        The programme, or an empty one where nothing is proposed.
    uncommon : Candidate or None
        The best of any stroke, where that was looked for.

    Returns
    -------
    tuple of str
        The minutes, the uncertain constants, the repertoire, the laps: each with the RMS that lifting it would leave.
    """
    found: list[tuple[float | None, str]] = []
    if problem.clock.leaves_out("the limits of the proposal"):
        return ()
    if proposed.plan and sum(one.work for one in proposed.plan) >= USED_UP * limits.minutes:
        minutes = MORE * limits.minutes
        found.append((_with_minutes(problem, proposed, minutes), f"the time limit matters: {minutes:g} minutes"))
    if proposed.plan and not problem.is_certain:
        found.append(
            (_if_known(problem, proposed), "the uncertain constants matter: if they were known, the same strokes")
        )
    if uncommon is not None:
        found.append(
            (uncommon.score.expected_rms, "keeping to common strokes matters: allowing any stroke (--repertoire any)")
        )
    if all(lap.diameter > SMALL * problem.bench.mirror.diameter for lap in problem.bench.laps):
        tried = [_with_lap(problem, limits, proposed, share) for share in SMALLER_LAPS]
        found.append(min(tried, key=lambda one: np.inf if one[0] is None else one[0]))
    now, own = proposed.score.expected_rms, problem.measured
    return tuple(
        f"{what} would bring the expected RMS down from {np.hypot(now, own) * 1e9:.0f} to "
        f"{np.hypot(rms, own) * 1e9:.0f} nm"
        for rms, what in found
        if rms is not None and AS_GOOD * np.hypot(rms, own) <= np.hypot(now, own)
    )


def _with_minutes(problem: ProposalProblem, proposed: Candidate, minutes: float) -> float | None:
    """The expected RMS of the same strokes with more minutes in all [m]."""
    refiner = problem.in_all_scenarios(minutes)
    try:
        return refiner.improve(proposed.plan, steps=STEPS, free="minutes").score.expected_rms
    except ContactError:
        return None


def _if_known(problem: ProposalProblem, proposed: Candidate) -> float | None:
    """The RMS of the same strokes with their best minutes, for each case of the constants separately [m]."""
    squares, every = 0.0, problem.in_all_scenarios()
    for case, engine in zip(every.cases, every.engines, strict=True):
        alone = Refiner(every.objective, [engine], (replace(case, weight=1.0),), engine, every.clock)
        try:
            best = alone.improve(proposed.plan, steps=STEPS, free="minutes").score.expected_rms
        except ContactError:
            return None
        squares += case.weight * min(best, every.objective.rms_before) ** 2
    return float(np.sqrt(squares))


def _with_lap(problem: ProposalProblem, limits: Limits, proposed: Candidate, share: float) -> tuple[float | None, str]:
    """The expected RMS with one spell of a smaller lap after the others [m]; None where there is no time for it."""
    bench, every = problem.bench, problem.in_all_scenarios()
    own, start = bench.laps[0], every.objective.start
    size = {
        "diameter": share * bench.mirror.diameter,
        "mass": own.mass * (share * bench.mirror.diameter / own.diameter) ** 2,
    }
    lap = own.model_copy(update={**size, "name": NEW})
    more = "one more spell" if proposed.plan else "one spell"
    words = f"the size of the lap matters: {more} with a lap of {length_unit(bench).short(lap.diameter)}"
    left = limits.minutes - sum(one.work for one in proposed.plan)
    bench = bench.model_copy(update={"laps": (*bench.laps, lap)})
    fresh = start_state(bench, start.radius, start.height, every.nominal.accuracy).laps[NEW]
    begun = replace(start, laps=MappingProxyType({**start.laps, NEW: fresh}))
    engines = [CoarseEngine(bench, one.limits, one.constants, one.accuracy) for one in every.engines]
    nominal = CoarseEngine(bench, every.nominal.limits, every.nominal.constants, every.nominal.accuracy)
    objective = Objective(every.objective.gauge, begun, every.objective.limits, bench)
    refiner = Refiner(objective, engines, every.cases, nominal, every.clock)
    strokes = [one for one in common_strokes(bench, problem.limits) if one.lap == NEW and one.on_top == "tool"]
    spells = [PlannedSpell(one, minutes) for one in strokes for minutes in SHORT_SPELLS if minutes <= left]
    try:
        worked = nominal.states(begun, proposed.plan)[-1]
        best = min(spells, key=lambda one: objective.figures(nominal.after(worked, one).height)[0], default=None)
        if best is None:
            return None, words
        lengths = [(*proposed.plan, replace(best, minutes=minutes)) for minutes in SHORT_SPELLS if minutes <= left]
        done = min(map(refiner.evaluate, lengths), key=lambda one: one.score.expected_rms)
        spell = done.plan[-1].stroke.spell(done.plan[-1].minutes, limits.strokes_a_minute)
        sizes = spell_sizes(spell, bench.mirror.diameter, stroke_unit(bench))
        stroke = f"on top, {STROKES[spell.stroke].words}, {sizes}, {spell.minutes:g} min"
        return done.score.expected_rms, f"{words} ({stroke})"
    except ContactError:
        return None, words
