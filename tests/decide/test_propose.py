"""Proposals: never worse than stopping, inside every limit, written so that predict reads them."""

from __future__ import annotations

import json
import re
from dataclasses import replace
from functools import cache
from pathlib import Path

import numpy as np
import pytest
import tomli_w

import wearsim as ws
from tests.helpers.small_bench import figure, random_figure, ring_figure, small_bench
from tests.helpers.start_figures import CASES
from wearsim.decide import propose, search
from wearsim.decide.alternatives import or_trial
from wearsim.decide.choice import TRIAL
from wearsim.decide.coarse_engine import COARSE, CoarseEngine, PlannedSpell, plan_of
from wearsim.decide.least_squares import Candidate
from wearsim.decide.limits import USUAL_SHORTEST, Limits, usual_limits
from wearsim.decide.objective import Score
from wearsim.decide.proposal import EarlyStop, Proposal, stopped_early
from wearsim.decide.propose import SPREAD_AFTER_SESSION
from wearsim.decide.reasons import edge_advice
from wearsim.decide.response_search import CandidatePool
from wearsim.decide.search import Searched
from wearsim.decide.stroke_library import StrokeSpec
from wearsim.decide.trade_off import trade_off
from wearsim.errors import InputError
from wearsim.wear import outcome as bands
from wearsim.wear.accuracy import DEFAULT
from wearsim.wear.constants import Belief, prior
from wearsim.wear.discrepancy import Discrepancy
from wearsim.wear.initial_figure import StartFigure, on_grid
from wearsim.wear.outcome import Band
from wearsim.wear.predict import gauge_for, predict
from wearsim.wear.state import start_state

QUICK = {"starts": 1, "draws": 0}


def proposed(start: StartFigure, limits: Limits, spread: bool = False, **more: object) -> Proposal:
    limits = replace(limits, beyond=False)
    return ws.propose(small_bench(spread), limits=limits, start=start, **{**QUICK, **more})


@cache
def ring_proposal() -> Proposal:
    """Of a raised ring, constants known, two spells in half an hour."""
    start = ring_figure(small_bench(), DEFAULT)
    return proposed(start, Limits(minutes=30.0, spells=2), with_trade_off=True)


@cache
def searched_few_minutes() -> tuple[Proposal, list[tuple[str, float]]]:
    """Of the same, one spell in ten minutes; and what was said on the way."""
    said: list[tuple[str, float]] = []
    limits = Limits(minutes=10.0, spells=1)
    done = proposed(ring_figure(small_bench(), DEFAULT), limits, progress=lambda *one: said.append(one))
    return done, said


def few_minutes() -> Proposal:
    return searched_few_minutes()[0]


def check_limits(proposal: Proposal, limits: Limits) -> None:
    spells, limits = proposal.programme.spells, limits.settled(small_bench())
    assert len(spells) <= limits.spells
    assert sum(spell.minutes for spell in spells) <= limits.minutes
    for spell in spells:
        assert spell.minutes == round(spell.minutes) >= limits.shortest
        assert spell.on_top in limits.pieces
        assert spell.rate == limits.rate


@pytest.mark.parametrize("seed", range(9))
def test_never_worse_than_doing_nothing(seed: int) -> None:
    rng = np.random.default_rng(seed)
    spread = seed % 3 == 0
    start = random_figure(small_bench(spread), rng, DEFAULT)
    limits = Limits(minutes=float(rng.integers(5, 60)), spells=1 + (seed % 10 == 0))
    done = proposed(start, limits, spread)
    outcome = done.outcome
    check_limits(done, limits)
    if not done.programme.spells:
        assert np.array_equal(outcome.before, outcome.figure_error)
        assert outcome.removal.max() == 0.0 and done.reason
        return
    assert outcome.surface_rms < outcome.numbers_before.surface_rms
    assert done.expected_rms < outcome.numbers_before.surface_rms
    allowed = limits.edge_limit * small_bench().light.wavelength
    assert abs(outcome.edge_roll) <= 1.02 * max(allowed, abs(outcome.numbers_before.edge_roll))


def test_a_ring_is_taken_down() -> None:
    done = ring_proposal()
    check_limits(done, Limits(minutes=30.0, spells=2))
    assert done.programme.spells
    assert done.outcome.surface_rms < 0.4 * done.outcome.numbers_before.surface_rms
    assert 0.5 < done.share < 1.1


def test_known_constants_have_no_band() -> None:
    assert ring_proposal().outcome.band is None
    start = ring_figure(small_bench(), DEFAULT)
    spread = proposed(start, Limits(minutes=10.0, spells=1), spread=True, draws=6)
    assert spread.outcome.band is not None and spread.outcome.band.draws == 6


def test_the_programme_reads_back_and_predicts_the_same(tmp_path: Path) -> None:
    done = ring_proposal()
    path = tmp_path / "programme.toml"
    path.write_text(done.programme.text, encoding="utf-8")
    bench = small_bench()
    read = ws.load_programme(path, bench)
    assert read == done.programme
    again = predict(bench, read, draws=0, start=ring_figure(bench, DEFAULT))
    assert np.array_equal(again.removal, done.outcome.removal)
    assert again.to_json() == done.outcome.to_json()


def test_json_holds_the_programme_and_plain_numbers(tmp_path: Path) -> None:
    done = ring_proposal()
    table = json.loads(json.dumps(done.to_json(), allow_nan=False))
    assert table.keys() >= {"programme", "outcome", "floor"}
    assert table["outcome"]["surface_rms_m"] == done.outcome.surface_rms
    assert table["floor"] == done.floor
    path = tmp_path / "programme.toml"
    path.write_text(tomli_w.dumps({"spell": table["programme"]}), encoding="utf-8")
    assert ws.load_programme(path, small_bench()) == done.programme


def test_two_proposals_are_equal() -> None:
    start = ring_figure(small_bench(True), DEFAULT)
    limits = Limits(minutes=20.0, spells=1)
    one, two = (proposed(start, limits, True, draws=4, seed=3) for _ in range(2))
    assert one.to_json() == two.to_json()


def test_a_perfect_mirror_is_left_alone(tmp_path: Path) -> None:
    start = figure(small_bench(), np.zeros(61), DEFAULT)
    done = proposed(start, Limits())
    assert done.programme.spells == () and "the target is reached" in done.reason
    assert done.floor <= 1e-12 and done.advice == ()
    path = tmp_path / "nothing.toml"
    path.write_text(done.programme.text, encoding="utf-8")
    assert ws.load_programme(path, small_bench()).spells == ()


def test_a_nearly_perfect_mirror_under_uncertain_constants_is_left_alone_or_bettered() -> None:
    x = np.linspace(0.0, 1.0, 61)
    start = figure(small_bench(True), 0.5e-9 * np.cos(9.0 * np.pi * x**2), DEFAULT)
    done = proposed(start, Limits(minutes=20.0, spells=1), True)
    assert done.outcome.surface_rms <= done.outcome.numbers_before.surface_rms
    assert done.programme.spells or done.reason


@pytest.mark.parametrize("on_top", ["tool", "mirror"])
def test_the_piece_on_top_can_be_chosen(on_top: str) -> None:
    start = ring_figure(small_bench(), DEFAULT)
    limits = Limits(minutes=25.0, spells=1, on_top=(on_top,))
    done = proposed(start, limits)
    check_limits(done, limits)


def test_shortest_spell_and_rate_hold() -> None:
    start = ring_figure(small_bench(), DEFAULT)
    limits = Limits(minutes=24.0, spells=2, shortest=7.0, rate=30.0)
    done = proposed(start, limits)
    check_limits(done, limits)
    assert done.programme.spells


def test_more_minutes_never_raise_the_floor() -> None:
    assert ring_proposal().floor <= few_minutes().floor


def test_an_edge_beyond_the_limit_is_brought_in_or_it_is_said() -> None:
    start = ring_figure(small_bench(), DEFAULT)
    wavelength = small_bench().light.wavelength
    for waves in (0.03, 1e-4):
        done = proposed(start, Limits(minutes=30.0, spells=1, edge_limit=waves))
        roll, before = abs(done.outcome.edge_roll), abs(done.outcome.numbers_before.edge_roll)
        assert before > waves * wavelength
        assert roll <= 1.02 * before
        said = [line for line in done.advice if "beyond the limit" in line]
        assert bool(said) == (roll > 1.02 * waves * wavelength)


def test_a_limit_that_the_edge_keeps_is_kept() -> None:
    start = ring_figure(small_bench(), DEFAULT)
    before = abs(ring_proposal().outcome.numbers_before.edge_roll)
    limits = Limits(minutes=30.0, spells=1, edge_limit=1.05 * before / small_bench().light.wavelength)
    done = proposed(start, limits)
    assert done.programme.spells and abs(done.outcome.edge_roll) <= 1.02 * 1.05 * before
    assert not any("beyond the limit" in line for line in done.advice)


@pytest.mark.parametrize(("low", "high", "way"), [(-90.0, 10.0, "down"), (-10.0, 90.0, "up"), (-50.0, 50.0, "")])
def test_an_edge_whose_band_leaves_the_limit_is_named_either_way(low: float, high: float, way: str) -> None:
    outcome = ring_proposal().outcome
    limit = abs(outcome.edge_roll) + 60e-9  # of which the outcome itself keeps clear
    ends = outcome.edge_roll + limit * np.array([low, high]) / 60.0
    band = Band(np.zeros((2, 1)), {"surface_rms": np.zeros(2), "edge_roll": ends}, draws=8)
    said = edge_advice(replace(outcome, band=band), Limits(edge_limit=limit / 550e-9), 550e-9)
    assert [f"turns {way} by" in line for line in said] == ([True] if way else [])


def test_a_time_limit_that_is_over_is_said() -> None:
    start = ring_figure(small_bench(), DEFAULT)
    done = proposed(start, Limits(minutes=20.0, spells=1), time_limit=1e-9)
    assert done.stopped and done.to_json()["stopped_by_time_limit"]
    assert not ring_proposal().stopped


def test_stopped_early_begins_and_ends_where_it_should() -> None:
    done = ring_proposal()
    early, minutes = done.early, sum(spell.minutes for spell in done.programme.spells)
    assert early.minutes[0] == 0.0 and early.minutes[-1] == pytest.approx(minutes)
    assert np.all(np.diff(early.minutes) > 0.0)
    assert early.rms[0] == pytest.approx(done.outcome.numbers_before.surface_rms, rel=0.02)
    span = done.outcome.numbers_before.surface_rms
    assert early.rms[-1] == pytest.approx(done.outcome.surface_rms, abs=0.05 * span)


@pytest.mark.parametrize(
    ("highest", "minutes"),
    [((60, 50, 45, 60), None), ((60, 50, 55, 90), None), ((60, 55, 65, 90), 4.0), ((60, 70, 80, 90), 4.0)],
    ids=["never worse", "only at the end", "halfway", "from the beginning"],
)
def test_a_programme_that_may_harm_is_tested_before_it_may(highest: tuple[float, ...], minutes: float | None) -> None:
    band = 1e-9 * np.array([[20.0, one] for one in highest])
    early = EarlyStop(np.array([0.0, 4.0, 8.0, 10.0]), band[:, 0], band[:, 0], band, band)
    assert early.test_after == minutes and early.to_json()["test_after_minutes"] == minutes
    said = " ".join(early.advice(few_minutes().outcome))  # without a band of its own
    assert ("Stop after 4 minutes" in said and "60 nm now, may become 90 nm" in said) == (minutes is not None)


def test_stopped_early_has_the_band_of_the_prediction() -> None:
    """As many draws by the coarse engine: the band's ends are about those at full accuracy, at the start and at the end."""
    bench, programme, figure_now = (small_bench(True), ring_proposal().programme, ring_figure(small_bench(), DEFAULT))
    belief, glass = prior(bench), on_grid(bench, figure_now, COARSE)
    trials = CoarseEngine(bench, Limits(minutes=20.0, spells=2), belief.best())
    state, gauge = start_state(bench, glass.radius, glass.height, COARSE), gauge_for(bench, glass.radius)

    def stopped(belief: Belief, draws: int) -> EarlyStop:
        return stopped_early(
            trials, state, gauge, plan_of(programme), belief, figure_now, Discrepancy(), seed=3, draws=draws
        )

    early = stopped(belief, 60)
    outcome = predict(bench, programme, seed=3, draws=60, start=figure_now)
    assert early.rms_band is not None and early.edge_roll_band is not None and outcome.band is not None
    assert early.rms_band.shape == early.edge_roll_band.shape == (early.minutes.size, 2)
    span = outcome.numbers_before.surface_rms
    assert early.rms_band[0] == pytest.approx([early.rms[0]] * 2, rel=1e-9)  # this figure is exact
    assert early.rms_band[-1] == pytest.approx(outcome.band.surface_rms, abs=0.1 * span)
    assert early.edge_roll_band[-1] == pytest.approx(outcome.band.edge_roll, abs=0.2 * span)  # the rim is coarse here
    assert np.all(np.diff(np.ptp(early.rms_band, axis=1))[:2] > 0.0)  # the more is removed, the less is known
    assert early.to_json()["surface_rms_band_m"] == early.rms_band.tolist()
    known = Belief(belief.mean, np.zeros_like(belief.covariance))
    for one in (stopped(belief, 0), stopped(known, 12)):  # none asked for; nothing uncertain
        assert one.rms_band is None and "surface_rms_band_m" not in one.to_json()


def test_trade_off_falls_with_the_minutes() -> None:
    done = ring_proposal()
    assert [one.spells for one in done.trade_off] == [1, 2]
    for one in done.trade_off:
        assert one.minutes[0] == 0.0 and np.all(np.diff(one.minutes) > 0.0)
        assert np.all(np.diff(one.expected_rms) < 0.0)


def test_a_curve_promises_what_a_proposal_within_fewer_minutes_does() -> None:
    done = ring_proposal()
    curve, both = done.trade_off
    assert curve.evaluated.size >= 4 and both.at(30.0) <= done.expected_rms * (1.0 + 1e-9)
    assert curve.at(10.0) <= 1.3 * few_minutes().expected_rms
    assert curve.at(0.0) == curve.expected_rms[0]
    assert np.array_equal(curve.minutes, np.round(curve.minutes))  # each step can be worked


def test_more_spells_allowed_are_never_worse() -> None:
    """Three spells at 24 nm are no reason to expect more than the 20 nm of two."""

    def judged(minutes: tuple[float, ...], rms: float) -> Candidate:
        shape = StrokeSpec("tool", None, "straight", 0.3)
        return Candidate(tuple(PlannedSpell(shape, m) for m in minutes), Score(rms, rms, rms, 0.0))

    seen = [judged((20.0,), 40e-9), judged((10.0, 20.0), 20e-9), judged((5.0, 5.0, 15.0), 24e-9), judged((), 1e-9)]
    limits = Limits(minutes=60.0, spells=4)
    one, two, three, four = trade_off(seen, limits, 50e-9, 0.0)
    assert [curve.spells for curve in (one, two, three, four)] == [1, 2, 3, 4]
    assert one.expected_rms.tolist() == [50e-9, 40e-9]
    assert two.expected_rms.tolist() == [50e-9, 40e-9, 20e-9]
    assert three.minutes.tolist() == four.minutes.tolist() == [0.0, 20.0, 25.0, 30.0]
    assert three.expected_rms.tolist() == [50e-9, 40e-9, 24e-9, 20e-9]


@pytest.mark.slow
def test_later_sessions_go_on_from_there() -> None:
    start = ring_figure(small_bench(True), DEFAULT)
    done = proposed(start, Limits(minutes=30.0, spells=1), True, sessions=2)
    assert len(done.later) == 1
    assert done.later[0].rms < done.outcome.surface_rms and done.later[0].outcome.band is None  # no draws asked for


def test_the_band_of_a_later_session_is_of_what_is_believed_by_then(monkeypatch: pytest.MonkeyPatch) -> None:
    """Narrower where less is uncertain; with the constants known, of the measurement alone; with all known, none."""
    ring = ring_figure(small_bench(), DEFAULT)
    limits = Limits(minutes=12.0, spells=1)
    (found,) = plan_of(few_minutes().programme)
    third = Candidate((replace(found, minutes=found.minutes / 3.0),), Score(1e-9, 1e-9, 0.0, 1e-9))

    class NoLook:
        """Always the same: nothing is searched."""

        def __init__(self, *_: object) -> None: ...

        def run(self, _: int | None = None) -> Searched:
            return Searched(CandidatePool(), [third])

    monkeypatch.setattr(propose, "SearchSchedule", NoLook)

    def band(spread: bool, sigma: float, left: float = SPREAD_AFTER_SESSION) -> np.ndarray | None:
        monkeypatch.setattr(propose, "SPREAD_AFTER_SESSION", left)
        root = sigma * np.cos(np.pi * ring.radius / ring.radius[-1])[:, None] if sigma else ring.root
        done = proposed(replace(ring, root=root), limits, spread, sessions=2, draws=8)
        (later,) = done.later
        told = later.to_json()
        if later.outcome.band is None:
            assert told["no_band"] == bands.EXACT
            return None
        assert told["surface_rms_band_m"] == later.outcome.band.surface_rms.tolist()
        assert (later.outcome.band.before is not None) == bool(sigma)
        return later.outcome.band.surface_rms

    wide, narrow = band(True, 0.0), band(True, 0.0, 0.05)
    assert wide is not None and narrow is not None and 0.0 < np.ptp(narrow) < 0.6 * np.ptp(wide)
    measured = band(False, 5e-9)
    assert measured is not None and np.ptp(measured) > 0.0
    assert band(False, 0.0) is None


def test_progress_is_told() -> None:
    said = searched_few_minutes()[1]
    assert len(said) >= 3 and all(stage and cost > 0.0 for stage, cost in said)


@pytest.mark.parametrize(
    ("key", "value"),
    [
        ("minutes", 0.0),
        ("minutes", -3.0),
        ("minutes", float("nan")),
        ("minutes", 1e9),
        ("spells", 0),
        ("spells", 9),
        ("shortest", 0.0),
        ("shortest", 61.0),
        ("edge_limit", 0.0),
        ("rate", 0.5),
        ("rate", 1e4),
        ("on_top", ()),
        ("on_top", ("glass",)),
    ],
)
def test_impossible_limits_are_refused(key: str, value: object) -> None:
    with pytest.raises(InputError) as caught:
        replace(Limits(), **{key: value})
    assert "expected" in str(caught.value) and "\n" not in str(caught.value)


def test_where_no_stroke_helps_and_no_textbook_has_one_a_short_trial_is_left(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(search, "handbook_stroke", lambda *_: None)
    case = next(one for one in CASES if one.name.startswith("zones"))
    bench = case.bench(spread=True)
    done = ws.propose(bench, start=case.start(bench), minutes=90.0, draws=0)
    assert not done.programme.spells and "The short trial, recorded" in done.reason
    (trial,) = done.choices
    (spell,) = trial.candidate.plan
    assert (trial.name, spell.stroke.kind) == (TRIAL, "one-third") and spell.minutes in (search.SHORT, USUAL_SHORTEST)
    assert trial.candidate.score.expected_rms <= 1.05 * done.stopped_rms
    helps = r"one spell with a lap of \d+ mm \(on top, [a-zW-]+, \d+ mm long(, \d+ mm [a-z ]+)*, (5|10|20) min\) would"
    assert any(re.search(helps, line) for line in done.advice)  # what would help all the same, and how


def test_with_a_small_lap_the_trial_is_a_straight_stroke_of_half_its_size(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(search.SearchSchedule, "run", lambda self, _: Searched(self.pool))  # nothing is found
    case = replace(next(one for one in CASES if one.name.startswith("zones")), lap_share=0.5)
    bench = case.bench(spread=True)
    limits = replace(usual_limits(minutes=10.0), beyond=False)
    done = ws.propose(bench, start=case.start(bench), limits=limits, draws=0)
    assert not done.programme.spells and "The short trial, recorded" in done.reason
    (spell,) = next(one for one in done.choices if one.name == TRIAL).candidate.plan
    assert (spell.stroke.on_top, spell.stroke.kind) == ("tool", "straight")
    assert spell.stroke.length == pytest.approx(0.25, abs=0.03)
    worked = or_trial(bench, done, start=case.start(bench), draws=0)
    assert [(one.on_top, one.stroke, one.minutes) for one in worked.programme.spells] == [
        (spell.stroke.on_top, "straight", spell.minutes)
    ]
    assert or_trial(bench, worked) is worked and or_trial(bench, replace(done, choices=())).programme.spells == ()
