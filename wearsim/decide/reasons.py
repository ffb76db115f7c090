"""Why a proposal stops where it stops, and what would lower a bad floor, each in a sentence."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from wearsim.bench.bench import Bench
from wearsim.bench.units import counted
from wearsim.decide.good_enough import AIM_REACHED, GoodEnough
from wearsim.decide.least_squares import Candidate
from wearsim.decide.limits import Limits
from wearsim.decide.lower_bound import Pricing, floor_over_all_sizes
from wearsim.decide.search_problem import ProposalProblem
from wearsim.kernels.arrays import Floats
from wearsim.wear.accuracy import DEFAULT
from wearsim.wear.constants import Belief
from wearsim.wear.initial_figure import NotRound, StartFigure, on_grid
from wearsim.wear.outcome import Outcome
from wearsim.wear.predict import gauge_for
from wearsim.wear.state import start_state
from wearsim.wear.warnings import EDGE_AT_WORST, EDGE_LIMIT_WAVES

# A start figure below this has nothing to gain [m].
NOTHING_LEFT = 0.1e-9
# A programme must lower the expected figure error by this share to be worth the walk to the barrel. A judgement.
WORTHWHILE = 0.05
TRIAL = (
    ". The short trial, recorded, shows how fast glass wears and how stiff the pitch is, even if it improves nothing"
)
READ_FIRST = "take better readings first"
# A floor above this share of the start figure, and above this height, is bad. Judgements.
BAD_SHARE, BAD_HEIGHT = 0.25, 10e-9
# A change is worth naming when it takes the floor below this share of what it was. A judgement.
NAMED_GAIN = 0.8
# Laps tried in addition to the bench's own, as shares of the mirror's diameter.
OTHER_LAPS = (0.7, 0.5)


def reason_for_share(belief: Belief, limits: Limits, share: float, band: Floats | None = None) -> str:
    """Why a programme goes as far as it does: ``share`` of the error removed, with its 5th and 95th percentile [1]."""
    if belief.is_certain:
        return (
            f"the constants are taken as known; removals that vary by {100.0 * limits.spread:g}% from "
            "spell to spell are allowed for"
        )
    factor = float(np.exp(np.sqrt(belief.covariance[0, 0])))
    return (
        f"this is expected to remove {share_words(share, band)}. The removal is known only within a factor of "
        f"{factor:.1f}, so going further would risk more than it gains. Test, record, and continue from there"
    )


def share_words(share: float, band: Floats | None) -> str:
    """A share of the error; with its band, where there is one, in words that say what more than all of it means."""
    removed = f"{share:.0%} of the error" if share >= 0.0 else f"nothing of the error, and to add {-share:.0%} to it"
    if band is None:
        return removed
    what = ["below 0%, the figure gets worse"] if band[0] < 0.0 else []
    what += ["above 100%, the work overshoots"] if band[1] > 1.0 else []
    more = f"; {'; '.join(what)}" if what else ""
    return f"{removed} (in nine of ten cases {band[0]:.0%} to {band[1]:.0%}{more})"


def reason_for_none(
    rms_before: float, best: list[Candidate], uncommon: Candidate | None, has_trial: bool = False,
    not_round: NotRound | None = None, measured: float = 0.0,
) -> str:  # fmt: skip
    """Why nothing is proposed, from the RMS figure error at the start [m] and what the search ended with.

    ``uncommon`` is the best of any stroke, where that was looked for; ``has_trial``: whether a short trial is offered
    instead; ``measured`` the uncertainty of the figure [m].
    """
    said = _for_none(rms_before, best, TRIAL if has_trial else "", not_round)
    if uncommon is None or uncommon.score.expected_rms >= (1.0 - WORTHWHILE) * rms_before:
        return said
    rms = np.hypot(uncommon.score.expected_rms, measured)
    return f"{said}. With less usual strokes allowed (--repertoire any), {rms * 1e9:.0f} nm RMS could be reached"


def _for_none(rms_before: float, best: list[Candidate], trial: str, not_round: NotRound | None) -> str:
    if rms_before < NOTHING_LEFT:
        if not_round is not None:
            left = _left_by_round_strokes(not_round)
            return f"the rotationally symmetric part of the figure error is already zero; {left}"
        return "the figure error is already zero: there is nothing to gain"
    if not best or not any(item.plan for item in best):
        found = "no allowed stroke is predicted to improve the figure in the time given"
        return f"{found}, once all uncertainties are included{trial}" if trial else found
    if min(item.score.expected_rms for item in best) >= (1.0 - WORTHWHILE) * rms_before:
        return (
            f"no allowed programme is expected to reduce the error by {WORTHWHILE:.0%} or more, all uncertainties "
            f"included{trial}"
        )
    return (
        "every promising programme either exceeds the limit on the edge roll or, computed at full accuracy, does not "
        "improve the figure"
    )


def _left_by_round_strokes(not_round: NotRound) -> str:
    return f"{not_round.words} is left; strokes worked evenly all round cannot remove it"


def reason_to_stop(
    good: GoodEnough, rms_before: float, outcome: Outcome | None, not_round: NotRound | None = None
) -> str:  # fmt: skip
    """Why to stop where the aim is reached, and what going on would risk."""
    alone = "" if not_round is None else " by the rotationally symmetric part of the figure alone"
    said = (
        f"{AIM_REACHED}{alone}: Strehl ratio {good.strehl:.2f} inside the unmasked aperture, target {good.aim:.2f}; "
        f"the chance that it is reached is {good.chance:.0%}"
    )
    if not_round is not None:
        said += f"; {_left_by_round_strokes(not_round)}"
    if outcome is None or outcome.band is None:
        return said
    low, high = outcome.band.surface_rms * 1e9
    return f"{said}; continuing would leave {low:.0f} to {high:.0f} nm RMS, from {rms_before * 1e9:.0f} nm now"


def edge_advice(outcome: Outcome, limits: Limits, wavelength: float) -> tuple[str, ...]:
    """A sentence where the edge stays beyond the limit on its roll, or may come to lie there by the band."""
    limit, roll, before = limits.edge_limit * wavelength, outcome.edge_roll, outcome.numbers_before.edge_roll
    if abs(roll) > 1.02 * limit:
        return (
            f"edge roll {roll * 1e9:.0f} nm ({before * 1e9:.0f} nm before) remains beyond the limit of {limit * 1e9:.0f} "
            "nm; the search penalises strokes that would turn it further",
        )
    is_warned = limits.edge_limit == EDGE_LIMIT_WAVES and any(
        line.startswith(EDGE_AT_WORST) for line in outcome.warnings
    )
    if outcome.band is None or is_warned:
        return ()
    low, high = outcome.band.edge_roll
    directions = [direction for direction, end in (("down", -low), ("up", high)) if end > 1.02 * limit]
    if not directions:
        return ()
    return (
        f"in more than 5% of cases the edge turns {' or '.join(directions)} by more than the limit of "
        f"{limit * 1e9:.0f} nm: edge roll {low * 1e9:.0f} to {high * 1e9:.0f} nm (5th to 95th percentile), "
        f"{before * 1e9:.0f} nm before",
    )


def lower_floor_advice(problem: ProposalProblem, limits: Limits, floor: float) -> tuple[str, ...]:
    """What would lower the present floor [m], each a sentence; nothing where the floor is good.

    Where the clock's time is over no further change is looked into.
    """
    lines, before, measured = [], problem.objective.rms_before, problem.measured
    if measured > max(floor, 0.5 * before):
        lines.append(
            f"{READ_FIRST}: the measurement itself is uncertain by {measured * 1e9:.0f} nm RMS, more than "
            "the strokes could gain"
        )
    if floor <= max(BAD_SHARE * before, BAD_HEIGHT):
        return tuple(lines)
    for text, other, allowed in _changes(problem.bench, limits):
        if problem.clock.leaves_out("changes that would lower the floor"):
            return tuple(lines)
        lower = _floor(other, allowed, problem.start, problem.belief)
        if lower < NAMED_GAIN * floor:
            lines.append(f"{text} would lower the floor from {floor * 1e9:.0f} to {lower * 1e9:.0f} nm RMS")
    if not lines:
        lines.append(
            f"neither more minutes nor a smaller lap would lower the floor of {floor * 1e9:.0f} nm RMS much: work in "
            "short steps, so that the lap can adapt to the glass"
        )
    return tuple(lines)


def _changes(bench: Bench, limits: Limits) -> list[tuple[str, Bench, Limits]]:
    out = [(counted(round(2 * limits.minutes), "minute"), bench, replace(limits, minutes=2.0 * limits.minutes))]
    if len(limits.pieces) == 1:
        other = "mirror" if limits.pieces[0] == "tool" else "tool"
        out.append((f"the {other} on top as well", bench, replace(limits, on_top=("tool", "mirror"))))
    own = bench.laps[0]
    for share in OTHER_LAPS:
        diameter = share * bench.mirror.diameter
        if all(abs(lap.diameter - diameter) > 0.1 * bench.mirror.diameter for lap in bench.laps):
            area = (diameter / own.diameter) ** 2
            lap = own.model_copy(update={"diameter": diameter, "mass": own.mass * area, "name": "smaller"})
            named = own.model_copy(update={"name": own.name or "own"})
            laps = (named, *bench.laps[1:], lap)
            out.append((f"a lap of {share:.0%} of the mirror", bench.model_copy(update={"laps": laps}), limits))
    return out


def _floor(bench: Bench, limits: Limits, start: StartFigure, belief: Belief) -> float:
    fine = on_grid(bench, start, DEFAULT)
    state = start_state(bench, fine.radius, fine.height, DEFAULT)
    gauge = gauge_for(bench, fine.radius)
    pricing = Pricing(bench, state, limits, belief.best(), DEFAULT)
    return floor_over_all_sizes(pricing, gauge, gauge.error(fine.height), limits.minutes).rms
