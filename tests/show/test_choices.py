"""What the page says of a choice: what it changes of the edge, why it is not what is proposed, what is next."""

from __future__ import annotations

from dataclasses import replace
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest

from tests.helpers.card_cases import with_spells
from tests.helpers.small_bench import ring_figure, small_bench
from tests.helpers.workbench import make_bench, make_programme, make_spell
from wearsim.bench.bench import Bench, Spread
from wearsim.decide.choice import ANY_STROKE, BEST, HANDBOOK, PROPOSED, Alternative
from wearsim.decide.proposal import EarlyStop, Proposal
from wearsim.show.choices import choice_words, edge_already, predicted_words, why_not
from wearsim.wear.accuracy import DEFAULT
from wearsim.wear.constants import prior
from wearsim.wear.outcome import Outcome
from wearsim.wear.predict import predict
from wearsim.wear.warnings import EDGE_AT_WORST

QUICK = replace(DEFAULT, glass_rings=32, pitch_rings=24, offsets=10, draws=64)
PROGRAMME = make_programme(make_spell("one-third", minutes=2.0))
WARNED = f"{EDGE_AT_WORST} the edge ends up turned up by 117 nm or more on the surface (now turned up by 60 nm)"


@pytest.fixture(scope="module")
def bench() -> Bench:
    spread = Spread(preston=1.3, stiffness=1.5, relaxation_time=1.0, edge_gain=1.0)
    return make_bench(0.2, 2.4, glass=-1.0, thickness=0.03).model_copy(update={"spread": spread})


@pytest.fixture(scope="module")
def outcome(bench: Bench) -> Outcome:
    return predict(bench, PROGRAMME, accuracy=QUICK, draws=8)


def _of_edge(outcome: Outcome, before: tuple[float, float], after: tuple[float, float], *warnings: str) -> Outcome:
    """The same with other ends of the bands of the edge roll [nm], and with these warnings."""
    assert outcome.band is not None
    ends = {name: 1e-9 * np.array(pair) for name, pair in (("before", before), ("after", after))}
    band = replace(
        outcome.band, numbers_before={**outcome.band.numbers_before, "edge_roll": ends["before"]},
        numbers={**outcome.band.numbers, "edge_roll": ends["after"]},
    )  # fmt: skip
    return replace(outcome, band=band, warnings=warnings)


@pytest.mark.parametrize(
    ("before", "after", "is_so_already"),
    [((5.0, 115.0), (5.0, 117.0), True), ((5.0, 80.0), (5.0, 117.0), False), ((-115.0, 60.0), (-3.0, 117.0), False)],
)
def test_a_card_warns_of_the_edge_only_where_the_programme_changes_it(
    bench: Bench, outcome: Outcome, before: Any, after: Any, is_so_already: bool
) -> None:
    known = {"belief": prior(bench), "start": None, "laps": None}
    turned = _of_edge(outcome, before, after, WARNED, "spell 1: near tipping")
    words = predicted_words(bench, known, PROGRAMME, turned)
    assert words["warnings"] == [*([] if is_so_already else [WARNED]), "spell 1: near tipping"]
    assert ("the edge may be turned up by 115 nm" in words["edge_now"]) == is_so_already


def test_nothing_is_said_of_an_edge_that_nothing_warns_of(outcome: Outcome) -> None:
    assert edge_already(_of_edge(outcome, (5.0, 115.0), (5.0, 117.0))) == ""
    assert edge_already(replace(outcome, band=None, warnings=(WARNED,))) == ""


def test_why_uncommon_strokes_are_not_what_is_proposed(bench: Bench) -> None:
    far = make_programme(make_spell("overhang", "mirror", 5.0, length=0.3, side_overhang=0.3))
    said = why_not(ANY_STROKE, bench, far)
    assert "hard to keep up by hand" in said and "0.3 D off centre with the mirror on top (at most 0.2 D)" in said
    assert why_not(BEST, bench, far) == why_not(HANDBOOK, bench, far) == why_not(ANY_STROKE, bench, PROGRAMME) == ""


def _words(name: str, proposal: Proposal) -> dict[str, Any]:
    bench = small_bench(True)
    known = {"start": ring_figure(bench, DEFAULT), "belief": prior(bench), "laps": None}
    return choice_words(name, bench, known, proposal)


@pytest.mark.parametrize(("top", "stop"), [(90e-9, "Stop after 11 minutes of work, test and record."), (60e-9, "")])
def test_a_test_on_the_way_is_said_with_the_minutes_and_at_the_barrel(top: float, stop: str) -> None:
    minutes, rms = np.linspace(0.0, 32.0, 4), np.linspace(60e-9, 30e-9, 4)
    high = np.array([60e-9, 60e-9, top, top])
    early = EarlyStop(minutes, rms, 0.0 * rms, np.column_stack([0.5 * rms, high]))
    said = _words(PROPOSED, replace(with_spells(2), early=early))
    assert said["work"].endswith(stop) and said["stop"] == (11.0 if stop else 0.0)
    assert ("Stop after" in said["work"]) == bool(stop)
    assert said["work"].startswith("32 minutes in 2 spells")


def test_which_will_do_is_said_with_the_last_of_those_it_names() -> None:
    one = with_spells(2)
    rows = [Alternative(name, SimpleNamespace(plan=()), 9.0, rms) for name, rms in ((PROPOSED, 30e-9), (BEST, 29e-9))]  # type: ignore[arg-type]
    both = replace(one, choices=tuple(rows), stopped_rms=60e-9)
    assert _words(PROPOSED, both)["alike"] == ""
    assert _words(BEST, both)["alike"].startswith("Proposed or Best: ")
