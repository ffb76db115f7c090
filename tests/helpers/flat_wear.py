"""Wear under a flat lap, nothing creeping: the engine held at w = u = 0."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np

from tests.helpers.workbench import flat_state, work_spell
from wearsim.bench.bench import Bench
from wearsim.bench.programme import Spell
from wearsim.wear.accuracy import DEFAULT, Accuracy
from wearsim.wear.constants import Constants

STILL = Constants(preston=1e-9, relaxation_time=1e12)


def flat_removal(bench: Bench, spell: Spell, accuracy: Accuracy = DEFAULT) -> tuple[Any, Any, float]:
    """Radii [m], removal rate divided by the Preston coefficient [Pa m/s], and mean speed [m/s]."""
    start = flat_state(bench, accuracy)
    after, report = work_spell(bench, spell, start, constants=STILL, accuracy=replace(accuracy, steps=1))
    rate = (start.height - after.height) / (bench.preston * STILL.preston * spell.duration)
    return start.radius, np.asarray(rate), report.mean_speed
