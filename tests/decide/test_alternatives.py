"""A proposal, and what it was chosen from, to lay beside it."""

from __future__ import annotations

from tests.helpers.small_bench import ring_figure, small_bench
from wearsim.decide.alternatives import alternatives
from wearsim.decide.choice import HANDBOOK, PROPOSED
from wearsim.decide.limits import Limits
from wearsim.wear.accuracy import DEFAULT


def test_what_it_was_chosen_from_comes_with_its_own_figures() -> None:
    bench = small_bench(spread=True)
    told: list[str] = []
    known = {"start": ring_figure(bench, DEFAULT), "draws": 0}
    found = list(
        alternatives(bench, Limits(minutes=24.0, spells=2, beyond=False), lambda name, *_: told.append(name), **known)
    )
    (first, proposal), *others = found
    assert first == PROPOSED and proposal.trade_off and told
    assert len(others) == len(proposal.choices) - 1
    for (name, other), choice in zip(others, proposal.choices[1:], strict=True):
        assert name.startswith(choice.name) and other.programme.spells != proposal.programme.spells
        assert other.outcome.surface_rms != proposal.outcome.surface_rms and not other.trade_off
        assert other.expected_rms >= choice.candidate.score.expected_rms
    assert any(name.startswith(HANDBOOK) for name, _ in others)
