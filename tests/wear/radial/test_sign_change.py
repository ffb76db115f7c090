"""The stroke at which the conic stays as it is: flat lap, mirror on top, straight strokes; independent values.

Equal discs: 0.614 of the diameter whatever k, stiffness and load [derived, two independent codes]; the others
[derived, one code]. Neither code is wearsim's.
"""

from __future__ import annotations

from typing import Any

import pytest
from scipy.optimize import brentq

from tests.helpers.flat_wear import flat_removal
from tests.helpers.workbench import STEADY, make_bench, make_spell
from wearsim.bench.bench import Wear
from wearsim.wear.predict import gauge_for

RATE = 20.0  # strokes a minute; the lap below turns once in three
TURNING = {"stand_turns": RATE / 3.0}
FOLLOWING = {**TURNING, "top_turns": RATE / 3.0}
DRAPER = {"pressure_exponent": 1.25, "speed_exponent": 0.75}


def conic_rate(length: float, lap: float, hands: dict[str, float], wear: dict[str, float]) -> float:
    """How the conic constant changes with a little wear from a sphere, in any unit."""
    bench = make_bench(
        0.4, 8.0, 0.4 * lap, hands=STEADY.model_copy(update=hands), wear=Wear(edge_gain=0.0, **wear), mass=4.0
    )
    spell = make_spell("straight", "mirror", length=length, rate=RATE)
    radius, rate, _ = flat_removal(bench, spell)
    gauge = gauge_for(bench, radius)
    return float(gauge.numbers(-1e-9 * rate / rate.max()).conic_fit)


@pytest.mark.parametrize(
    ("lap", "hands", "wear", "wanted"),
    [
        (1.0, {}, {}, 0.614),
        (1.0, FOLLOWING, {}, 0.574),
        (1.0, TURNING, {}, 0.588),
        (0.95, {}, {}, 0.576),
        (0.90, {}, {}, 0.526),
        (0.80, {}, {}, 0.364),
        (1.0, {}, DRAPER, 0.578),
        (0.97, FOLLOWING, DRAPER, 0.524),
    ],
)  # fmt: skip
def test_stroke_that_keeps_the_conic(lap: float, hands: Any, wear: Any, wanted: float) -> None:
    found = brentq(lambda length: conic_rate(length, lap, hands, wear), wanted - 0.06, wanted + 0.06, xtol=1e-4)
    assert found == pytest.approx(wanted, abs=0.004)
