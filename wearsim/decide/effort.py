"""What a programme asks of whoever works it, in minutes: the work itself, and what handling costs.

The numbers are judgements after common practice: what a person would rather work longer than do.
"""

from __future__ import annotations

from itertools import pairwise

from wearsim.bench.bench import Bench
from wearsim.decide.coarse_engine import Plan, without_pressings
from wearsim.decide.limits import HEAVY

FURTHER_SPELL = 15.0
"""A further spell: another stroke, charge, and mirror turned [min]."""
TURNING_OVER = 15.0
"""Turning the pair over, the other piece on top [min]."""
HEAVY_SHARE = 1.0
"""Glass of more than :data:`wearsim.decide.limits.HEAVY` on top: every minute with it counts so much more [1]."""


def effort_of(plan: Plan, bench: Bench) -> float:
    """Minutes that a programme feels like, pressings included [min]."""
    spells = without_pressings(plan)
    changes = sum(one.stroke.on_top != two.stroke.on_top for one, two in pairwise(spells))
    heavy = HEAVY_SHARE if bench.mirror.piece_mass > HEAVY else 0.0
    worked = sum(one.minutes for one in plan) + heavy * sum(
        one.minutes for one in spells if one.stroke.on_top == "mirror"
    )
    return worked + FURTHER_SPELL * max(0, len(spells) - 1) + TURNING_OVER * changes
