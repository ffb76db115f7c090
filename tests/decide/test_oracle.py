"""Proposals against a much longer search: tests/benchmarks/search_oracle.py does all figures, this does one."""

from __future__ import annotations

import tomllib
from pathlib import Path

import pytest

from tests.benchmarks.uncertain_oracle import FIGURES, Ground, shown
from tests.helpers.any_stroke import any_limits
from tests.helpers.start_figures import CASES
from wearsim.decide.propose import propose

ORACLE = {
    one["name"]: one.get("whole_nm", one["rms_nm"])  # of whole minutes, as a proposal has them, where that is known
    for one in tomllib.loads((Path(__file__).parent / "oracle.toml").read_text())["oracle"]
}
# One of the thirteen figures; the others: docs/performance.md.
CHECKED = (10,)


def test_every_figure_has_an_oracle() -> None:
    assert set(ORACLE) == {case.name for case in CASES} and len(CASES) >= 12


@pytest.mark.slow
@pytest.mark.parametrize("number", CHECKED)
def test_a_proposal_comes_near_the_oracle(number: int) -> None:
    case = CASES[number]
    bench = case.bench()
    done = propose(bench, limits=any_limits(minutes=case.minutes), start=case.start(bench), draws=0)
    assert len(done.programme.spells) <= 3
    assert done.outcome.surface_rms <= 1.25e-9 * ORACLE[case.name]


@pytest.mark.slow
def test_long_spells_come_near_the_oracle_of_what_two_sessions_leave_unknown() -> None:
    """The five-times oblate, whose best strokes lie along the limit of reach; docs/performance.md has all fourteen."""
    assert shown(Ground(FIGURES[3], 2)) <= 1.05 * 169.0e-9
