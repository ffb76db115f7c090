"""What would lower a bad floor: more minutes, the other piece on top, another lap, better readings."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from wearsim.bench.bench import Bench
from wearsim.decide.limits import Limits
from wearsim.decide.objective import Objective
from wearsim.decide.pricing import Pricing, floor_over_all_sizes
from wearsim.wear.accuracy import DEFAULT
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


def beyond_the_edge_limit(outcome: Outcome, limits: Limits, wavelength: float) -> tuple[str, ...]:
    """A sentence where the edge stays beyond the limit on its roll, since nothing allowed brings it in.

    Parameters
    ----------
    outcome : Outcome
    limits : Limits
    wavelength : float
        [m]
    """
    limit, roll, before = limits.edge_limit * wavelength, outcome.edge_roll, outcome.numbers_before.edge_roll
    if abs(roll) <= 1.02 * limit:
        return ()
    return (
        f"edge roll {roll * 1e9:.0f} nm ({before * 1e9:.0f} nm before) stays beyond the limit of {limit * 1e9:.0f} nm: "
        "the search found no programme that betters the figure and brings it within",
    )


def lower_floor_advice(
    bench: Bench, limits: Limits, start: StartFigure, floor: float, objective: Objective, belief: Belief
) -> tuple[str, ...]:
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
    """
    lines = []
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
