"""Where the top piece tips off, against linear programming and by hand."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.optimize import linprog

from tests.helpers.workbench import STEADY, make_bench, make_spell, start, work_spell
from wearsim.bench.hands import Hands
from wearsim.errors import TipsOffError
from wearsim.wear.radial.engine import largest_offset, tipping_offset
from wearsim.wear.radial.path_weights import load_cases
from wearsim.wear.radial.tipping import tip_offset

A = 0.15


def stands(hole: float, b: float, e: float, load: Any) -> bool:
    """Whether pushing pressures on contact points, dense along the edges, can carry the load: a linear programme."""
    r, t = np.meshgrid(np.sqrt(np.linspace(0.0, 1.0, 13)), np.linspace(0.0, 2 * np.pi, 181)[:-1])
    clouds = [A * np.array([r * np.cos(t), r * np.sin(t)]), b * np.array([r * np.cos(t), r * np.sin(t)])]
    clouds[1][0] += e
    if hole:
        clouds.append(hole * np.array([np.cos(t[:, 0]), np.sin(t[:, 0])])[:, :, None] * (1 + 1e-9))
    x, y = np.concatenate([c.reshape(2, -1) for c in clouds], axis=1)
    on = (np.hypot(x, y) <= A * (1 + 1e-9)) & (np.hypot(x, y) >= hole) & (np.hypot(x - e, y) <= b * (1 + 1e-9))
    if not on.any():
        return False
    sums = np.array([np.ones(on.sum()), x[on] / A, y[on] / A])
    return linprog(np.zeros(on.sum()), A_eq=sums, b_eq=[1.0, load[0] / A, load[1] / A]).status == 0


@settings(max_examples=8)
@given(
    st.integers(40, 120), st.sampled_from([0.0, 0.1, 0.3]), st.booleans(), st.sampled_from([0.0, 0.005]),
    st.sampled_from([(0.0, 0.0), (0.012, -0.006)]),
)  # fmt: skip
def test_threshold_against_linear_programming(
    ratio: int, hole: float, tool: bool, lead: float, push: tuple[float, float]
) -> None:
    b, cases = ratio / 100 * A, load_cases(lead, push)
    tip = tip_offset(A, hole * A, b, tool, cases)

    def all_stand(e: float) -> bool:
        return all(stands(hole * A, b, e, [q[0] + (e if tool else 0.0), q[1]]) for q in cases.position)

    if tip > 0.005:
        assert all_stand(tip - 0.003)
    assert not all_stand(tip + 0.003)


@pytest.mark.parametrize(("tool", "ratio", "tip"), [(True, 1.0, A), (True, 0.5, A), (False, 0.8, 0.8 * A)])
def test_by_hand(tool: bool, ratio: float, tip: float) -> None:
    # a centred load stands while the top piece's centre is over the bottom piece
    assert tip_offset(A, 0.0, ratio * A, tool, load_cases(0.0, (0.0, 0.0))) == pytest.approx(tip, rel=1e-4)
    # and a friction lead takes its own length off
    assert tip_offset(A, 0.0, ratio * A, tool, load_cases(0.005, (0.0, 0.0))) == pytest.approx(tip - 0.005, rel=1e-3)


@pytest.mark.parametrize("on_top", ["tool", "mirror"])
@pytest.mark.parametrize("hole", [0.0, 0.06])
def test_strokes_up_to_tipping_are_worked_and_beyond_refused(on_top: str, hole: float) -> None:
    bench = make_bench(hole=hole, hands=STEADY)
    tip = tipping_offset(bench, bench.lap(), on_top)
    state = start(bench)
    for reach in (0.9 * tip, 0.98 * tip, 0.9999 * tip):
        after, report = work_spell(bench, make_spell("straight", on_top, 1.0, length=2 * reach / 0.3), state)
        assert report.imbalance < 1e-9
        assert np.all(np.isfinite(after.height))
    with pytest.raises(TipsOffError, match="spell 3: the top piece tips off at an offset of") as caught:
        work_spell(bench, make_spell("straight", on_top, 1.0, length=2.01 * tip / 0.3), state, 3)
    assert caught.value.spell == 3
    assert caught.value.largest == pytest.approx(tip)
    assert caught.value.offset == pytest.approx(1.005 * tip)


def test_the_last_offset_solved_is_close_to_tipping() -> None:
    from wearsim.wear.accuracy import DEFAULT

    for hole, least in ((0.0, 0.985), (0.04, 0.95)):
        bench = make_bench(hole=hole, hands=Hands())
        for on_top in ("tool", "mirror"):
            tip = tipping_offset(bench, bench.lap(), on_top)
            assert least * tip < largest_offset(bench, bench.lap(), on_top, DEFAULT) < tip
