"""What fewer minutes and fewer spells buy, and what a time limit leaves of a proposal, in counted work."""

from __future__ import annotations

from dataclasses import replace

import pytest

import wearsim as ws
from tests.helpers.small_bench import ring_figure, small_bench
from wearsim.decide import limits as clock
from wearsim.decide import propose
from wearsim.decide.coarse_engine import CoarseEngine, PlannedSpell
from wearsim.decide.limits import Limits
from wearsim.decide.proposal import Proposal
from wearsim.decide.repertoire import common_strokes
from wearsim.decide.response_search import PASSES, CandidatePool
from wearsim.decide.robust_search import SPELL_LENGTHS
from wearsim.decide.search import Searched, SearchSchedule
from wearsim.wear.accuracy import DEFAULT
from wearsim.wear.state import State

LIMITS = Limits(minutes=24.0, spells=2)


def proposed(limits: Limits = LIMITS, **more: object) -> Proposal:
    """Of a raised ring, the default spreads: the search is short."""
    bench = small_bench(True)
    start = ring_figure(bench, DEFAULT)
    return ws.propose(bench, limits=replace(limits, beyond=False), start=start, **{"starts": 1, "draws": 0, **more})


@pytest.mark.slow
def test_each_point_is_what_a_proposal_with_these_limits_comes_to() -> None:
    done = proposed(with_trade_off=True)
    for spells in (1, 2):
        curve = done.trade_off[spells - 1]
        for minutes in curve.evaluated[1:3]:
            alone = proposed(replace(LIMITS, minutes=float(minutes), spells=spells))
            assert curve.at(float(minutes)) == pytest.approx(alone.expected_rms, rel=0.05)


class Counted:
    """A clock that goes on by one with every spell that is tried."""

    def __init__(self, patch: pytest.MonkeyPatch) -> None:
        self.count, after = 0, CoarseEngine.after

        def counted(trials: CoarseEngine, state: State, tried: PlannedSpell) -> State:
            self.count += 1
            return after(trials, state, tried)

        patch.setattr(CoarseEngine, "after", counted)
        patch.setattr(clock, "monotonic", lambda: float(self.count))


@pytest.mark.parametrize("limit", [0.5, 400.0])
def test_a_time_limit_holds_for_the_whole_call(limit: float, monkeypatch: pytest.MonkeyPatch) -> None:
    bench, counted = small_bench(True), Counted(monkeypatch)
    done = proposed(sessions=4, time_limit=limit, with_trade_off=True)
    # a look at every stroke, responses of a first spread of them; then some programmes in each scenario and the early stop
    scenarios, strokes = 8, len(common_strokes(bench, LIMITS))
    least = strokes + len(SPELL_LENGTHS) * scenarios * -(-strokes // PASSES) if limit < 1.0 else 0
    allowance = least + 24 * scenarios * LIMITS.spells + LIMITS.minutes
    assert counted.count <= limit + allowance
    assert done.stopped and done.programme.spells and done.later == () and done.trade_off == ()
    assert done.left_out == ("sessions 2 to 4", "the limits of the proposal", "results with fewer minutes and spells")
    assert done.no_more_sessions == "the time limit was reached"
    answer = done.to_json()
    assert answer["left_out_by_time_limit"] == list(done.left_out) and answer["floor"] > 0.0


def test_why_fewer_sessions_are_planned(monkeypatch: pytest.MonkeyPatch) -> None:
    class OneLook(SearchSchedule):
        looks = 0

        def run(self, starts: int | None = None) -> Searched:
            OneLook.looks += 1
            return super().run(starts) if OneLook.looks == 1 else Searched(CandidatePool())

    monkeypatch.setattr(propose, "SearchSchedule", OneLook)
    done = proposed(Limits(minutes=12.0, spells=1), sessions=3)
    assert done.programme.spells and done.later == ()
    assert done.no_more_sessions.startswith("after session 1 no allowed stroke")
    assert proposed(Limits(minutes=12.0, spells=1), sessions=1).no_more_sessions == ""
