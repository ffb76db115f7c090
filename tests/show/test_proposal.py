"""A proposal as it is read: text and plot."""

from __future__ import annotations

from dataclasses import replace
from functools import cache

import numpy as np
import pytest
from matplotlib.figure import Figure

import wearsim as ws
from tests.helpers.small_bench import figure, ring_figure, small_bench
from wearsim.bench.personal_units import read_heights_in, surface_unit
from wearsim.bench.units import length_unit
from wearsim.decide.limits import Limits
from wearsim.decide.proposal import LaterSession, Proposal
from wearsim.decide.trade_off import TradeOff
from wearsim.figure.metrics import percentiles
from wearsim.show.card import card_bytes
from wearsim.show.expected_readings import expected_text
from wearsim.show.proposal import proposal_figure, proposal_text, where_words
from wearsim.wear.accuracy import DEFAULT
from wearsim.wear.expected_readings import ReadingsAfter, drawn_figures, readings_after, usual_sheet
from wearsim.wear.predict import predict


@cache
def proposal() -> Proposal:
    """Of a raised ring, the default spreads, a few draws; the later session is the first one over again."""
    start = ring_figure(small_bench(True), DEFAULT)
    limits = Limits(minutes=20.0, spells=1)
    done = ws.propose(small_bench(True), limits=limits, start=start, starts=1, draws=5, with_trade_off=True)
    return replace(done, later=(LaterSession(done.programme, done.outcome, done.expected_rms),))


@cache
def after() -> ReadingsAfter:
    bench = small_bench(True)
    start = ring_figure(bench, DEFAULT)
    sheet = usual_sheet(bench)
    assert sheet is not None
    drawn = drawn_figures(bench, proposal().programme, draws=5, start=start)
    return readings_after(bench, proposal().outcome, sheet, drawn, is_own=False)


ZONES = [(0.0, "the centre"), (0.6, "the zone {} mm from the centre"), (1.0, "the edge")]


@pytest.mark.parametrize(("middle", "zone"), ZONES)
def test_the_zone_that_is_lowered_most_is_said(middle: float, zone: str) -> None:
    outcome = proposal().outcome
    hill = np.exp(-(((outcome.radius / outcome.radius[-1] - middle) / 0.4) ** 2))
    done = replace(outcome, before=60e-9 * hill, figure_error=20e-9 * hill)
    zone = zone.format(round(1e3 * outcome.radius[np.argmax(hill)]))
    said = f"Against the rest of the surface it lowers {zone} most, by 40 nm, where the glass is 60 nm too high."
    assert where_words(done, length_unit(small_bench(True))) == said
    assert (
        where_words(replace(done, before=-20e-9 * hill, figure_error=-60e-9 * hill), length_unit(small_bench())) == ""
    )


def test_the_table_says_programme_floor_and_why() -> None:
    done = proposal()
    bench = small_bench(True)
    text = proposal_text(bench, done, expected_text(bench, after()))
    assert text.isascii() and max(map(len, text.splitlines())) <= 80
    lines = text.splitlines()
    row = lines[3].split()
    spell = done.programme.spells[0]
    assert row[:4] == ["1", f"{spell.minutes:g}", spell.on_top, spell.stroke.replace("w", "W")]
    assert f"{spell.stroke_on(0.2).length * 1e3:.1f}" == row[4]
    floor = next(line for line in lines if line.startswith("Floor: estimated best"))
    assert floor.split()[-2:] == ["nm", f"{done.floor * 1e9:.0f}"]
    band = done.outcome.band
    assert band is not None and done.gap == done.outcome.surface_rms - done.floor
    # what is shown subtracts as shown
    least = round(done.floor * 1e9)
    low, high = (round(end * 1e9) - least for end in band.surface_rms)
    gap = next(line for line in lines if line.startswith("Gap")).split()
    assert gap[-4:] == [f"{round(done.outcome.surface_rms * 1e9) - least}", f"{low}", "to", f"{high}"]
    predicted = next(line for line in lines if line.startswith("Predicted RMS, most likely constants, nm"))
    assert int(predicted.split()[-1]) - least == int(gap[-4])
    flat = " ".join(text.split())
    assert f"{done.share:.0%} of the error (in nine of ten cases {band.share[0]:.0%} to {band.share[1]:.0%}" in flat
    (later,) = done.later
    assert later.outcome.band is not None
    low, high = later.outcome.band.surface_rms * 1e9
    assert f"Session 2 (outline): {sum(s.minutes for s in later.programme.spells):g} minutes" in flat
    assert f"predicted RMS {later.rms * 1e9:.0f} nm ({low:.0f} to {high:.0f})" in flat
    assert "Expected knife-edge readings, through a standard mask, moving source" in text


def test_json_has_the_bands_of_gap_share_and_later_sessions() -> None:
    answer, done = proposal().to_json(), proposal()
    low, high = answer["gap_to_floor_band_m"]
    assert low < high and answer["gap_to_floor_m"] == pytest.approx(done.outcome.surface_rms - answer["floor"])
    assert answer["share_of_the_way_band"][0] < answer["share_of_the_way"] < answer["share_of_the_way_band"][1]
    (later,) = answer["later_sessions"]
    assert later["surface_rms_band_m"][0] < later["expected_rms_m"] and "no_band" not in later
    assert later["edge_roll_band_m"][0] < later["edge_roll_band_m"][1]


def test_nothing_to_do_is_said_with_the_reason() -> None:
    bench = small_bench()
    start = figure(bench, np.zeros(61), DEFAULT)
    nothing = ws.propose(bench, start=start, draws=0)
    text = proposal_text(bench, nothing)
    assert text.startswith("Stop: the target is reached") and "of the error" not in text
    assert isinstance(proposal_figure(bench, nothing), Figure)
    assert card_bytes(bench, nothing, None).startswith(b"%PDF-")


def test_without_a_band_the_numbers_stand_alone() -> None:
    bare = replace(proposal().outcome, band=None, no_band="the bench states every constant as exact")
    later = tuple(replace(one, outcome=replace(one.outcome, band=None, no_band="so")) for one in proposal().later)
    done = replace(proposal(), outcome=bare, later=later)
    text = proposal_text(small_bench(True), done)
    (gap,) = (line for line in text.splitlines() if line.startswith("Gap"))
    assert gap.split()[-2:] == ["nm", f"{done.gap * 1e9:.0f}"]
    answer = done.to_json()
    assert not {"gap_to_floor_band_m", "share_of_the_way_band"} & answer.keys()
    assert answer["later_sessions"][0]["no_band"] == "so"


def test_a_stopped_search_and_advice_are_said() -> None:
    done = replace(proposal(), stopped=True, advice=("120 minutes would lower the floor",))
    text = proposal_text(small_bench(True), done)
    assert "The time limit ended the search" in text and "Advice: 120 minutes would lower the floor." in text


def test_the_readings_to_expect_are_those_of_the_outcome() -> None:
    from wearsim.knifeedge.longitudinal import zone_readings

    bench, found = small_bench(True), after()
    outcome = proposal().outcome
    exact = zone_readings(found.sheet.zones, outcome.radius, outcome.figure_error, bench.mirror.geometry)
    assert np.allclose(found.after.positions, exact - exact[0], atol=1e-12)
    assert np.all(found.after.sigma[1:] > 0.0) and found.after.spread[0] == 0.0
    table = found.to_json()
    assert table["after_m"] == found.after.positions.tolist()
    assert len(expected_text(bench, found).splitlines()) >= len(found.sheet.zones) + 4


def test_drawn_figures_are_those_of_the_band() -> None:
    bench = small_bench(True)
    start = ring_figure(bench, DEFAULT)
    outcome = predict(bench, proposal().programme, draws=6, seed=4, start=start)
    drawn = drawn_figures(bench, proposal().programme, draws=6, seed=4, start=start)
    assert outcome.band is not None
    assert np.allclose(percentiles(drawn), outcome.band.figure_error, rtol=1e-9, atol=1e-15)


def test_the_plot_shows_what_minutes_and_spells_buy() -> None:
    done = proposal()
    plot = proposal_figure(small_bench(True), done)
    titles = [axes.get_title(loc="left") for axes in plot.axes]
    assert "Gain from more minutes" in titles and "Gain from more spells" in titles
    minutes = plot.axes[titles.index("Gain from more minutes")]
    chosen = next(line for line in minutes.lines if line.get_label() == "proposed")
    work = sum(spell.minutes for spell in done.programme.spells)
    assert chosen.get_xdata()[0] == work and chosen.get_ydata()[0] == pytest.approx(done.expected_rms * 1e9)
    curves = {str(line.get_label()): line for line in minutes.lines}
    spells_of = {
        label: [int(word) for word in label.split() if word.isdigit()]
        for label in curves
        if label.startswith("at most")
    }
    for one in done.trade_off:  # one curve stands for several numbers of spells where more of them buy nothing
        (label,) = (name for name, of in spells_of.items() if min(of) <= one.spells <= max(of))
        curve = curves[label]
        assert curve.get_ydata()[0] == pytest.approx(one.expected_rms[0] * 1e9)


def test_every_curve_of_minutes_reads_on_its_own_and_none_looks_like_the_floor() -> None:
    minutes = np.array([0.0, 10.0, 20.0])
    two, three = (np.array([50e-9, 40e-9, least]) for least in (20e-9, 15e-9))
    curves = (TradeOff(2, minutes, two), TradeOff(3, minutes, two), TradeOff(4, minutes, three))
    limits = replace(proposal().limits, spells=4)
    plot = proposal_figure(small_bench(True), replace(proposal(), trade_off=curves, limits=limits))
    axes = next(one for one in plot.axes if one.get_title(loc="left") == "Gain from more minutes")
    legend = axes.get_legend()
    assert legend is not None
    named = [text.get_text() for text in legend.get_texts()]
    assert named == ["floor", "at most 2 or 3 spells", "at most 4 spells", "proposed"]
    lines = {str(line.get_label()): line for line in axes.lines}
    looks = {name: (lines[name].get_linewidth(), str(lines[name]._dash_pattern)) for name in named[:3]}  # type: ignore[attr-defined]
    assert len(set(looks.values())) == 3 and looks["floor"][0] > 2.0 * looks["at most 4 spells"][0]
    plot.canvas.draw()
    box, page = legend.get_window_extent(), plot.bbox
    assert box.x0 >= page.x0 and box.x1 <= page.x1


def test_no_mark_of_the_trade_off_is_cut_off_and_no_title() -> None:
    read_heights_in(surface_unit("waves", 550e-9))
    try:
        plot = proposal_figure(small_bench(True), proposal())
    finally:
        read_heights_in(None)
    plot.canvas.draw()
    for axes in plot.axes:
        marked = [line for line in axes.lines if line.get_marker() not in ("None", None, "", "+")]
        assert not any(line.get_clip_on() for line in marked if axes.get_title(loc="left").startswith("What"))
        box = axes.title.get_window_extent() if axes.get_title() else axes._left_title.get_window_extent()  # type: ignore[attr-defined]
        assert box.x1 <= plot.bbox.x1 + 1.0, axes.get_title(loc="left")


def test_seconds_stand_beside_minutes_in_json() -> None:
    answer = proposal().to_json()
    for table in (*answer["trade_off"], answer["stopped_early"]):
        assert table["time_s"] == pytest.approx([60.0 * one for one in table["minutes"]])
    for spell in answer["outcome"]["spells"]:
        assert spell["time_s"] == 60.0 * spell["minutes"]
