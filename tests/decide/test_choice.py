"""Which programme is proposed: the simplest of those as good as the best; and what is shown beside it."""

from __future__ import annotations

import numpy as np
import pytest

from tests.helpers.start_figures import StartCase
from wearsim.decide.choice import (
    ANY_STROKE,
    BEST,
    HANDBOOK,
    ONE_SPELL,
    PROPOSED,
    TOOL_ONLY,
    TRIAL,
    Alternative,
    beside,
    simplest,
    which_will_do,
    worth_listing,
    worth_their_spells,
)
from wearsim.decide.coarse_engine import PlannedSpell
from wearsim.decide.effort import FURTHER_SPELL, TURNING_OVER, effort_of
from wearsim.decide.handbook import COMPLAINTS, complaint_of, handbook_stroke
from wearsim.decide.least_squares import Candidate
from wearsim.decide.limits import Limits
from wearsim.decide.objective import Score
from wearsim.decide.repertoire import is_allowed
from wearsim.decide.stroke_library import StrokeSpec
from wearsim.figure.aim import verdict_for
from wearsim.wear.predict import gauge_for

BENCH = StartCase("", 300, 5.0, 60).bench()
TOOL = StrokeSpec("tool", None, "straight", 0.3)
MIRROR = StrokeSpec("mirror", None, "w", 0.4, 0.1)


def one(rms: float, *spells: tuple[StrokeSpec, float]) -> Candidate:
    """A programme with this expected RMS [nm]."""
    plan = tuple(PlannedSpell(stroke, minutes) for stroke, minutes in spells)
    return Candidate(plan, Score(1e-9 * rms, 1e-9 * rms, 1e-9 * rms, 0.0))


def test_a_further_spell_must_lower_the_rms_by_a_tenth() -> None:
    single, pair = one(36.0, (TOOL, 20.0)), one(33.0, (TOOL, 20.0), (MIRROR, 10.0))
    assert worth_their_spells([pair, single]) == [single]
    better = one(32.0, (TOOL, 20.0), (MIRROR, 10.0))
    assert worth_their_spells([better, single]) == [better, single]
    triple = one(28.0, (TOOL, 20.0), (MIRROR, 10.0), (TOOL, 5.0))
    assert triple in worth_their_spells([triple, better, single])
    assert simplest(BENCH, [triple, better, single])[0] == triple


def test_of_those_as_good_an_easy_one_is_proposed() -> None:
    best, easy, worse = one(30.0, (MIRROR, 60.0)), one(32.9, (TOOL, 20.0)), one(34.0, (TOOL, 5.0))
    assert simplest(BENCH, [best, easy, worse])[0] == easy
    better = one(32.0, (TOOL, 25.0))  # five minutes more are no harder
    assert simplest(BENCH, [best, easy, better])[0] == better
    assert simplest(BENCH, []) == []


def test_effort_counts_what_handling_costs() -> None:
    plan = one(1.0, (TOOL, 20.0), (MIRROR, 10.0)).plan
    assert effort_of(plan, BENCH) == 30.0 + FURTHER_SPELL + TURNING_OVER
    heavy = StartCase("", 450, 5.0, 60, mirror_kg=25.0).bench()
    assert effort_of(plan, heavy) == effort_of(plan, BENCH) + 10.0


def test_the_table_names_each_programme_once() -> None:
    best, tool, two = one(30.0, (MIRROR, 60.0)), one(32.0, (TOOL, 20.0)), one(29.0, (TOOL, 9.0), (MIRROR, 9.0))
    handbook = (COMPLAINTS[0], one(40.0, (MIRROR, 8.0)))
    table = beside(BENCH, tool, [best, tool, two], handbook, None, lambda rms: rms, 1.0)
    assert [row.name for row in table] == [PROPOSED, BEST, ONE_SPELL, HANDBOOK]
    assert TOOL_ONLY not in [row.name for row in table] and table[-1].words == COMPLAINTS[0].words


def test_a_turned_down_edge_is_said_to_take_hours_and_a_pressed_lap() -> None:
    edge = next(complaint for complaint in COMPLAINTS if complaint.words == "a turned-down edge")
    (row,) = beside(BENCH, None, [], (edge, one(40.0, (TOOL, 8.0))), None, lambda rms: rms, 1.0)
    assert row.words.startswith("a turned-down edge (")
    assert all(said in row.words for said in ("full-size", "freshly pressed", "hours", "masking is usually cheaper"))


@pytest.mark.parametrize(
    ("words", "shape"),
    [
        ("a raised zone", lambda x: 100 * np.exp(-(((x - 0.7) / 0.1) ** 2))),
        ("a turned-down edge", lambda x: -200 * np.exp(-(1 - x) / 0.05)),
        ("a central hill", lambda x: 100 * np.exp(-((x / 0.25) ** 2))),
        ("undercorrection", lambda x: 300 * x**4),
    ],
)
def test_a_figure_is_named_and_answered_by_the_handbook(words: str, shape) -> None:
    start = StartCase("", 300, 5.0, 60, shape).start(BENCH)
    gauge = gauge_for(BENCH, start.radius)
    complaint = complaint_of(gauge, gauge.error(start.height))
    assert complaint.words == words
    limits = Limits().settled(BENCH)
    stroke = handbook_stroke(complaint, BENCH, limits)
    assert stroke is not None and is_allowed(stroke, BENCH, limits)
    other = "mirror" if stroke.on_top == "tool" else "tool"
    assert handbook_stroke(complaint, BENCH, Limits(on_top=(other,)).settled(BENCH)) is None


def test_good_enough_goes_by_what_the_readings_leave_possible() -> None:
    found = [verdict_for(chance, 0.9, 0.95) for chance in (1.0, 0.95, 0.5, 0.05, 0.0)]
    assert found == ["yes", "yes", "open", "no", "no"]
    assert verdict_for(0.0, 0.99, 0.95) == "open"  # poor readings of what may well be good


def test_where_nothing_is_proposed_a_trial_and_what_uncommon_strokes_gain_are_left() -> None:
    handbook = COMPLAINTS[0], one(60.0, (TOOL, 5.0))
    for uncommon, names in ((29.0, [HANDBOOK]), (26.0, [ANY_STROKE, HANDBOOK])):
        table = beside(BENCH, None, [], handbook, one(uncommon, (MIRROR, 8.0)), lambda rms: rms, 30e-9)
        assert [row.name for row in table] == names


def test_any_stroke_is_in_the_table_only_where_it_is_a_tenth_better_and_all_are_promised_alike() -> None:
    practised = one(30.0, (TOOL, 20.0))
    for rms, names in ((28.0, [PROPOSED]), (26.0, [PROPOSED, ANY_STROKE])):
        table = beside(BENCH, practised, [practised], None, one(rms, (MIRROR, 8.0)), lambda left: left + 5e-9, 1.0)
        assert [row.name for row in table] == names
        assert [row.expected_rms for row in table] == [row.candidate.score.expected_rms + 5e-9 for row in table]


def _row(name: str, rms: float) -> Alternative:
    return Alternative(name, one(rms, (TOOL, 5.0)), 5.0, 1e-9 * rms)


def test_what_is_worse_than_stopping_is_not_listed_unless_it_is_all_there_is() -> None:
    proposed, worse, trial = _row(PROPOSED, 20.0), _row(HANDBOOK, 31.0), _row(TRIAL, 30.5)
    assert worth_listing([proposed, worse], 30e-9) == (proposed,)
    assert worth_listing([proposed, worse], 31e-9) == (proposed, worse)
    assert worth_listing([trial, worse], 30e-9) == (trial,)  # to learn from, though it improves nothing
    assert worth_listing([worse], 30e-9) == (worse,)


def test_where_a_choice_hangs_by_a_hair_that_is_said() -> None:
    proposed, best, other = _row(PROPOSED, 20.0), _row(BEST, 19.0), _row(ONE_SPELL, 23.0)
    said = which_will_do([proposed, best, other], 40e-9)
    assert said == "Proposed or Best: the difference is smaller than what is not known; either will do."
    said = which_will_do([proposed, best, other], 21.5e-9)
    assert said.startswith("Proposed, Best or Stop now: ") and said.endswith("any of them will do.")
    assert which_will_do([proposed, other], 40e-9) == which_will_do([_row(TRIAL, 20.0), best], 20e-9) == ""
    assert which_will_do([], 20e-9) == ""
