"""Which programme is proposed: the simplest of those that are as good as the best, and what is shown beside it."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass

from wearsim.bench.bench import Bench
from wearsim.decide.coarse_engine import without_pressings
from wearsim.decide.effort import effort_of
from wearsim.decide.handbook import Complaint
from wearsim.decide.least_squares import Candidate, Refiner
from wearsim.decide.limits import COMMON
from wearsim.decide.repertoire import Gentle

AS_GOOD = 1.1
"""Programmes within this factor of the best expected RMS are as good; a further spell must lower it by as much [1]. A
judgement: the constants alone make more of a difference."""
EASE = 1.5
"""Programmes of as many spells are as easy within this factor of the least effort: then the RMS decides [1]. A judgement."""
ROUGHER, LARGE_GAIN = 1.1, 0.2
"""A spell may raise the slopes on short scales by this factor, and more only where the RMS falls by this share [1].
Judgements."""
STREHL_LOST = 0.02
"""By how much the likely Strehl ratio may fall [1]: a lower RMS with sharper zones is none. A judgement."""

STOP = "Stop now"
PROPOSED, BEST, ONE_SPELL, TOOL_ONLY = "Proposed", "Best", "One spell", "Tool on top only"
HANDBOOK, TRIAL, ANY_STROKE = "Textbook stroke", "Short trial", "Uncommon strokes"


@dataclass(frozen=True)
class Alternative:
    """A programme of the table of choices.

    Parameters
    ----------
    name : str
    candidate : Candidate
    effort : float
        Minutes that it feels like (:mod:`wearsim.decide.effort`) [min].
    expected_rms : float
        Root of the expected mean square figure error over everything uncertain, the measurement's own band included [m].
    words : str
        What it is, where the name does not say it.
    """

    name: str
    candidate: Candidate
    effort: float
    expected_rms: float
    words: str = ""


def alternative(
    name: str, one: Candidate, bench: Bench, promised: Callable[[float], float], words: str = ""
) -> Alternative:  # fmt: skip
    """A row of the table; ``promised`` turns the RMS that the strokes leave into the expected one [m]."""
    return Alternative(name, one, effort_of(one.plan, bench), promised(one.score.expected_rms), words)


def is_workable(refiner: Refiner, gentle: Gentle, one: Candidate) -> bool:
    """Whether no spell presses or lifts off too much, none is likely to leave the figure worse or roughens it for little,
    and the Strehl ratio is not likely to fall."""
    if refiner.objective.limits.repertoire != COMMON:
        return True
    objective, engine = refiner.objective, refiner.nominal
    state, before = objective.start, objective.figures(objective.start.height)
    for spell in one.plan:
        if not gentle.allows(state, spell):
            return False
        state = engine.after(state, spell)
        after = objective.figures(state.height)
        is_rougher = after[1] > ROUGHER * before[1] and after[0] > (1.0 - LARGE_GAIN) * before[0]
        if not spell.stroke.is_press and (is_rougher or after[0] > before[0]):
            return False
        before = after
    was, becomes = (objective.gauge.strehl(objective.gauge.error(one.height)) for one in (objective.start, state))
    return becomes >= was - STREHL_LOST


def worth_their_spells(candidates: Iterable[Candidate]) -> list[Candidate]:
    """Those whose every further spell lowers the expected RMS by a tenth, best first."""
    ordered = sorted(candidates, key=lambda one: one.score.expected_rms)
    least: dict[int, float] = {}
    for one in ordered:
        least.setdefault(len(without_pressings(one.plan)), one.score.expected_rms)

    def is_worth(one: Candidate) -> bool:
        count, rms = len(without_pressings(one.plan)), one.score.expected_rms
        return all(rms * AS_GOOD ** (count - fewer) <= best for fewer, best in least.items() if fewer < count)

    return [one for one in ordered if is_worth(one)]


def simplest(bench: Bench, candidates: Iterable[Candidate]) -> list[Candidate]:
    """Those worth proposing, in order: of all as good as the best the fewest spells, an effort near the least, then what is
    made small: of two that leave the same RMS the smoother."""
    worth = worth_their_spells(candidates)
    if not worth:
        return []
    most = AS_GOOD * worth[0].score.expected_rms
    good = [one for one in worth if one.score.expected_rms <= most]
    fewest = min(len(without_pressings(one.plan)) for one in good)
    least = min(effort_of(one.plan, bench) for one in good if len(without_pressings(one.plan)) == fewest)

    def rank(one: Candidate) -> tuple[bool, int, bool, float]:
        spells, effort = len(without_pressings(one.plan)), effort_of(one.plan, bench)
        if one.score.expected_rms > most:
            return True, 0, False, one.score.expected_rms
        return False, spells, effort > EASE * least, one.score.cost

    return sorted(worth, key=rank)


def beside(
    bench: Bench,
    proposed: Candidate | None,
    candidates: Sequence[Candidate],
    handbook: tuple[Complaint, Candidate] | None,
    uncommon: Candidate | None,
    promised: Callable[[float], float],
    stopped: float,
) -> tuple[Alternative, ...]:
    """The table of choices: the proposed programme, the best, one spell, the tool on top only, the textbook stroke.

    The best of any stroke too, where it is better by a tenth than the best of common ones, and than stopping, which leaves
    ``stopped`` [m]. ``promised`` turns the RMS that the strokes leave into the expected one [m].
    """
    ordered = sorted(candidates, key=lambda one: one.score.expected_rms)

    def first(wanted: Iterable[Candidate]) -> Candidate | None:
        return next(iter(wanted), None)

    named = (
        (PROPOSED, proposed),
        (BEST, first(ordered)),
        (ONE_SPELL, first(one for one in ordered if len(without_pressings(one.plan)) == 1)),
        (TOOL_ONLY, first(one for one in ordered if all(s.stroke.on_top == "tool" for s in one.plan))),
    )
    found: list[Alternative] = []
    for name, one in named:
        if one is not None and all(one.plan != other.candidate.plan for other in found):
            found.append(alternative(name, one, bench, promised))
    least = min([stopped, *(one.score.expected_rms for one in ordered)])
    if uncommon is not None and AS_GOOD * uncommon.score.expected_rms < least:
        found.append(alternative(ANY_STROKE, uncommon, bench, promised))
    if handbook is not None:
        found.append(alternative(HANDBOOK, handbook[1], bench, promised, handbook[0].answer))
    return tuple(found)


def worth_listing(choices: Iterable[Alternative], stopped: float) -> tuple[Alternative, ...]:
    """Without what is worse than stopping now [m], except a short trial, which is to learn from; all where none is left."""
    there = tuple(choices)
    return tuple(one for one in there if one.name in (PROPOSED, TRIAL) or one.expected_rms <= stopped) or there


def which_will_do(choices: Sequence[Alternative], stopped: float) -> str:
    """Which choices are as good as the proposed programme, stopping now [m] among them; empty where none is."""
    if not choices or choices[0].name != PROPOSED:
        return ""
    rows = [*((one.name, one.expected_rms) for one in choices[1:]), (STOP, stopped)]
    proposed = choices[0].expected_rms
    alike = [name for name, rms in rows if max(rms, proposed) <= AS_GOOD * min(rms, proposed)]
    if not alike:
        return ""
    names = f"{', '.join([PROPOSED, *alike[:-1]])} or {alike[-1]}"
    which = "either" if len(alike) == 1 else "any of them"
    return f"{names}: the difference is smaller than what is not known; {which} will do."
