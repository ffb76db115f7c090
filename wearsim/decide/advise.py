"""What would lower a bad floor: more minutes, the other piece on top, another lap, better readings."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from wearsim.bench.bench import Bench
from wearsim.decide.clock import Clock
from wearsim.decide.limits import Limits
from wearsim.decide.objective import Objective
from wearsim.decide.pricing import Pricing, floor_over_all_sizes
from wearsim.wear.accuracy import DEFAULT
from wearsim.wear.advice import EDGE_LIMIT_WAVES
from wearsim.wear.constants import Belief
from wearsim.wear.outcome import Outcome
from wearsim.wear.predict import gauge_for
from wearsim.wear.start import StartFigure, on_grid
from wearsim.wear.state import start_state

# A floor above this share of the start figure, and above this height, is bad. Judgements.
BAD_SHARE, BAD_HEIGHT = 0.25, 10e-9
# A change is worth naming when it takes the floor below this share of what it was. A judgement.
WORTH_NAMING = 0.8
# Laps tried besides the bench's own, as shares of the mirror's diameter.
OTHER_LAPS = (0.7, 0.5)


def edge_advice(outcome: Outcome, limits: Limits, wavelength: float) -> tuple[str, ...]:
    """A sentence where the edge stays beyond the limit on its roll, or may come to lie there by the band.

    Parameters
    ----------
    outcome : Outcome
    limits : Limits
    wavelength : float
        [m]
    """
    limit, roll, before = limits.edge_limit * wavelength, outcome.edge_roll, outcome.numbers_before.edge_roll
    if abs(roll) > 1.02 * limit:
        return (
            f"edge roll {roll * 1e9:.0f} nm ({before * 1e9:.0f} nm before) stays beyond the limit of {limit * 1e9:.0f} "
            "nm: the search found no programme that betters the figure and brings it within",
        )
    told = limits.edge_limit == EDGE_LIMIT_WAVES and any(
        line.startswith("edge: may") for line in outcome.warnings
    )
    if outcome.band is None or told:
        return ()
    low, high = outcome.band.edge_roll
    ways = [way for way, end in (("down", -low), ("up", high)) if end > 1.02 * limit]
    if not ways:
        return ()
    return (
        f"the edge may come out turned {' or '.join(ways)} by more than the limit of {limit * 1e9:.0f} nm if the "
        f"constants are unlucky: edge roll {low * 1e9:.0f} to {high * 1e9:.0f} nm (5th to 95th percentile), "
        f"{before * 1e9:.0f} nm before",
    )


def lower_floor_advice(
    bench: Bench, limits: Limits, start: StartFigure, floor: float, objective: Objective, belief: Belief,
    clock: Clock | None = None,
) -> tuple[str, ...]:  # fmt: skip
    """What would lower the floor, each a sentence; nothing where the floor is good.

    Parameters
    ----------
    bench : Bench
    limits : Limits
    start : StartFigure
    floor : float
        The present floor [m].
    objective : Objective
    belief : Belief
    clock : Clock, optional
        Where its time is over no further change is looked into.
    """
    lines, clock = [], Clock() if clock is None else clock
    gauge = gauge_for(bench, start.radius)
    measured = float(np.sqrt(np.sum((gauge.aperture.rms_matrix() @ start.root) * start.root)))
    if measured > max(floor, 0.5 * objective.rms_before):
        lines.append(
            f"better readings first: the measurement itself is uncertain by {measured * 1e9:.0f} nm RMS, more than "
            "the strokes could gain"
        )
    if floor <= max(BAD_SHARE * objective.rms_before, BAD_HEIGHT):
        return tuple(lines)
    for text, other, allowed in _changes(bench, limits):
        if clock.leaves_out("what would lower the floor"):
            return tuple(lines)
        lower = _floor(other, allowed, start, belief)
        if lower < WORTH_NAMING * floor:
            lines.append(f"{text} would lower the floor from {floor * 1e9:.0f} to {lower * 1e9:.0f} nm RMS")
    if not lines:
        lines.append(
            f"the floor of {floor * 1e9:.0f} nm RMS holds for more minutes and smaller laps too: work in steps and "
            "let the lap follow"
        )
    return tuple(lines)


def _changes(bench: Bench, limits: Limits) -> list[tuple[str, Bench, Limits]]:
    out = [(f"{2 * limits.minutes:.0f} minutes", bench, replace(limits, minutes=2.0 * limits.minutes))]
    if len(limits.on_top) == 1:
        other = "mirror" if limits.on_top[0] == "tool" else "tool"
        out.append((f"the {other} on top as well", bench, replace(limits, on_top=("tool", "mirror"))))
    own = bench.laps[0]
    for share in OTHER_LAPS:
        diameter = share * bench.mirror.diameter
        if all(abs(lap.diameter - diameter) > 0.1 * bench.mirror.diameter for lap in bench.laps):
            area = (diameter / own.diameter) ** 2
            lap = own.model_copy(update={"diameter": diameter, "mass": own.mass * area, "name": "smaller"})
            named = own.model_copy(update={"name": own.name or "own"})
            laps = (named, *bench.laps[1:], lap)
            out.append(
                (f"a lap of {share:.0%} of the mirror", bench.model_copy(update={"laps": laps}), limits)
            )
    return out


def _floor(bench: Bench, limits: Limits, start: StartFigure, belief: Belief) -> float:
    fine = on_grid(bench, start, DEFAULT)
    state = start_state(bench, fine.radius, fine.height, DEFAULT)
    gauge = gauge_for(bench, fine.radius)
    pricing = Pricing(bench, state, limits, belief.best(), DEFAULT)
    return floor_over_all_sizes(pricing, gauge, gauge.error(fine.height), limits.minutes).rms
