"""What limits a proposal, and what lifting a limit would buy: against calls without that limit."""

from __future__ import annotations

import re
from functools import cache

import numpy as np
import pytest

from tests.helpers.small_bench import ring_figure, small_bench
from wearsim.decide.limits import Limits
from wearsim.decide.proposal import Proposal
from wearsim.decide.propose import propose
from wearsim.wear.accuracy import DEFAULT


@cache
def asked(minutes: float, spread: bool) -> Proposal:
    bench = small_bench(spread=spread)
    return propose(bench, limits=Limits(minutes=minutes, spells=1), start=ring_figure(bench, DEFAULT), draws=0)


def said(proposal: Proposal, limit: str) -> list[float]:
    """The RMS that lifting a limit would leave, as the advice has it [nm]."""
    lines = [line for line in proposal.advice if line.startswith(limit)]
    return [float(re.search(r"down from \d+ to (\d+) nm", line)[1]) for line in lines]


def test_minutes_that_limit_are_named_with_what_twice_as_many_come_to() -> None:
    (rms,) = said(asked(5.0, False), "the time")
    assert rms < 0.91e9 * asked(5.0, False).expected_rms
    assert rms == pytest.approx(1e9 * asked(10.0, False).expected_rms, rel=0.1)
    assert not said(asked(60.0, False), "the time")


def test_uncertain_constants_limit_only_where_something_is_uncertain() -> None:
    assert not said(asked(60.0, False), "the uncertain constants")
    (rms,) = said(asked(60.0, True), "the uncertain constants")
    assert 1e9 * asked(60.0, False).expected_rms * 0.9 < rms < 0.91e9 * asked(60.0, True).expected_rms


def test_stopping_is_in_the_answer() -> None:
    for one in (asked(5.0, False), asked(60.0, True)):
        assert one.stopped_rms == pytest.approx(one.outcome.numbers_before.surface_rms, rel=0.02)
        assert one.expected_rms < one.stopped_rms
        assert np.isclose(one.to_json()["expected_rms_if_stopped_m"], one.stopped_rms)
