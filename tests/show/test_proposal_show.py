"""A proposal as it is read: text, plot, bench card on paper and as HTML."""

from __future__ import annotations

import re
from dataclasses import replace
from functools import cache
from html.parser import HTMLParser

import numpy as np
import pytest
from matplotlib.figure import Figure
from small_bench import figure, ring_figure, small_bench

import wearsim as ws
from wearsim.bench.bench import Bench
from wearsim.decide.limits import Limits
from wearsim.decide.proposal import EarlyStop, Proposal
from wearsim.decide.trade_off import TradeOff
from wearsim.knifeedge.on_bench import waiting_for
from wearsim.show.card import card_bytes
from wearsim.show.card_content import CardContent, card_content, quarters
from wearsim.show.card_page import card_pages
from wearsim.show.card_pen import HEIGHT, WIDTH, text_width, wrapped
from wearsim.show.expected_table import expected_text
from wearsim.show.lengths import temperature_unit
from wearsim.show.proposal_plot import proposal_figure
from wearsim.show.proposal_table import proposal_text
from wearsim.wear.accuracy import DEFAULT
from wearsim.wear.predict import predict
from wearsim.wear.readings_after import ReadingsAfter, drawn_figures, readings_after, usual_sheet

SPELLS = (
    {"on_top": "mirror", "stroke": "w", "length": 0.71, "side_sweep": 0.12, "side_overhang": 0.11,
     "strokes_per_sweep": 8.0, "rate": 50.0, "minutes": 27.0, "turn": 1.2566370614},
    {"on_top": "tool", "stroke": "straight", "length": 0.25, "rate": 50.0, "minutes": 5.0},
    {"on_top": "tool", "stroke": "oval", "length": 0.2, "side_sweep": 0.1, "side_overhang": 0.15, "rate": 40.0,
     "minutes": 3.0, "push": 20.0},
)  # fmt: skip


@cache
def proposal() -> Proposal:
    """Of a raised ring, the default spreads, a few draws."""
    start = ring_figure(small_bench(True), DEFAULT)
    limits = Limits(minutes=20.0, spells=2)
    return ws.propose(
        small_bench(True), limits=limits, start=start, starts=1, draws=5, sessions=2, with_trade_off=True
    )


@cache
def after() -> ReadingsAfter:
    bench = small_bench(True)
    start = ring_figure(bench, DEFAULT)
    sheet = usual_sheet(bench)
    assert sheet is not None
    drawn = drawn_figures(bench, proposal().programme, draws=5, start=start)
    return readings_after(bench, proposal().outcome, sheet, drawn, is_own=False)


def with_spells(count: int, turned: bool = True) -> Proposal:
    """The proposal with a programme of this many long-winded spells instead (its numbers are not theirs)."""
    spells = []
    for number in range(count):
        table = {key: _extent(key, value) for key, value in SPELLS[number % len(SPELLS)].items()}
        spells.append(ws.Spell.model_validate(table if turned else {**table, "turn": 0.0}))
    minutes = np.linspace(0.0, sum(spell.minutes for spell in spells), 20)
    early = EarlyStop(minutes, np.linspace(60e-9, 20e-9, 20), np.linspace(3e-9, -40e-9, 20))
    return replace(proposal(), programme=ws.Programme(spells=tuple(spells)), early=early)


def _extent(key: str, value: object) -> object:
    from wearsim.bench.quantity import Extent

    return Extent(value) if key in ("length", "side_sweep", "side_overhang") else value  # type: ignore[arg-type]


def content(count: int, bench: Bench | None = None) -> CardContent:
    return card_content(small_bench(True) if bench is None else bench, with_spells(count), after())


def texts_of(page: Figure) -> list[tuple[str, np.ndarray]]:
    """Every text on a page with its box in millimetres: left, top, right, bottom."""
    page.set_dpi(300)
    page.canvas.draw()
    renderer = page.canvas.get_renderer()  # type: ignore[attr-defined]
    found = []
    for axes in page.axes:
        for text in [*axes.texts, axes.xaxis.label, axes.title]:
            if text.get_text().strip():
                box = text.get_window_extent(renderer)
                mm = np.array([box.x0, box.y0, box.x1, box.y1]) * 25.4 / 300.0
                found.append((text.get_text(), np.array([mm[0], HEIGHT - mm[3], mm[2], HEIGHT - mm[1]])))
    return found


@pytest.mark.parametrize("count", range(9))
def test_nothing_on_the_card_overlaps_or_leaves_the_page(count: int) -> None:
    pages = card_pages(content(count))
    assert len(pages) == (1 if count <= 4 else 2)
    for page in pages:
        assert np.allclose(page.get_size_inches() * 25.4, [WIDTH, HEIGHT])
        boxes = texts_of(page)
        assert boxes
        for text, box in boxes:
            assert box[0] >= 9.0 and box[2] <= WIDTH - 9.0, text
            assert box[1] >= 8.0 and box[3] <= HEIGHT - 8.0, text
        for i, (one, a) in enumerate(boxes):
            for two, b in boxes[i + 1 :]:
                across = min(a[2], b[2]) - max(a[0], b[0])
                along = min(a[3], b[3]) - max(a[1], b[1])
                assert min(across, along) < 0.9, (one, two)


def test_the_card_is_safe_on_a4_and_letter() -> None:
    assert min(210.0, 215.9) >= WIDTH and min(297.0, 279.4) >= HEIGHT


def test_the_spells_are_said_in_full() -> None:
    first = content(3).spells[0]
    assert first.minutes == "27" and first.top == "MIRROR ON TOP"
    assert first.stroke == "W stroke, 8 from side to side"
    assert first.sizes == (
        "142 mm long (0.71\u00a0D)",
        "24 mm each side (0.12\u00a0D)",
        "22 mm off centre (0.11\u00a0D)",
    )
    # 27 min at 50 a minute; a circuit of 4 min, a turn of 6 min
    assert first.pace == (
        "1350 strokes, 50 a minute",
        "6\u00be round the barrel",
        "4\u00bd turned in the hands",
    )
    assert first.turn == "First turn the mirror by\u00a072\u00b0"
    third = content(3).spells[2]
    assert "push 20 N (2.0 kg)" in third.pace and third.turn == ""


def test_inches_and_pounds_for_whoever_wrote_inches() -> None:
    bench = small_bench(True).model_copy(update={"text": '[mirror]\ndiameter = "7.874 in"\n'})
    said = content(3, bench)
    assert said.spells[0].sizes[0] == "5.59 in long (0.71\u00a0D)"
    assert "push 20 N (4.5 lb)" in said.spells[2].pace
    assert "30 N (6.7 lb)" in said.before[1]


def test_a_long_spell_has_a_checkpoint_halfway() -> None:
    said = content(2)
    early = with_spells(2).early
    rms, roll = (float(np.interp(13.5, early.minutes, y)) * 1e9 for y in (early.rms, early.edge_roll))
    assert said.spells[0].checkpoint == f"At 13.5 min: check. RMS {rms:.0f} nm, edge roll {roll:.0f} nm"
    assert said.spells[1].checkpoint == ""
    assert said.ends == (27.0, 32.0)


def test_when_to_press() -> None:
    bench = small_bench(True)
    assert (
        content(2).before[0] == "Press 5 min before spell 1 (common practice, no source); not between spells."
    )
    lap = bench.laps[0].model_copy(update={"start": "spherical"})
    assert content(2, bench.model_copy(update={"laps": (lap,)})).before[0].startswith("Do not press before")
    press = ws.Spell.model_validate({"stroke": "press", "minutes": 5.0})
    spells = with_spells(2).programme.spells
    first = replace(with_spells(2), programme=ws.Programme(spells=(press, *spells)))
    said = card_content(bench, first, None)
    assert said.before[0] == "Press as spell 1 says; not between spells."
    assert said.spells[0].sizes == () and said.ends[0] == 0.0 and said.spells[0].checkpoint == ""
    between = replace(with_spells(2), programme=ws.Programme(spells=(spells[0], press, spells[1])))
    assert card_content(bench, between, None).before[0].endswith("later only where a spell says so.")


def test_the_turn_of_the_mirror_is_the_programmes_or_practice() -> None:
    bench = small_bench(True)
    assert not any("fifth" in line for line in content(3).before)
    unturned = card_content(bench, with_spells(3, turned=False), None)
    assert any("a fifth of a turn (common practice, no source)" in line for line in unturned.before)


def test_what_to_look_for() -> None:
    look = " ".join(content(2).look)
    assert "from the centre" in look and "Edge roll" in look
    assert waiting_for(small_bench(True).mirror).time > 0.0 and "let the glass stand" in look


@pytest.mark.parametrize(
    ("value", "said"), [(0.1, "less than \u00bc"), (0.13, "\u00bc"), (1.0, "1"), (2.6, "2\u00bd"), (3.9, "4")]
)
def test_hands_count_in_quarters(value: float, said: str) -> None:
    assert quarters(value) == said


class Checker(HTMLParser):
    """Whether every tag is closed in order, and what is written."""

    VOID = ("meta", "br")

    def __init__(self) -> None:
        super().__init__()
        self.open: list[str] = []
        self.text = ""
        self.bad: list[str] = []

    def handle_starttag(self, tag: str, attrs: object) -> None:
        if tag not in self.VOID:
            self.open.append(tag)

    def handle_startendtag(self, tag: str, attrs: object) -> None:
        """Closed at once."""

    def handle_endtag(self, tag: str) -> None:
        if not self.open or self.open.pop() != tag:
            self.bad.append(tag)

    def handle_data(self, data: str) -> None:
        self.text += data


@pytest.mark.parametrize("count", [0, 1, 4, 8])
def test_html_stands_alone_and_says_what_the_paper_says(count: int) -> None:
    html = card_bytes(small_bench(True), with_spells(count), after(), ".html").decode("utf-8")
    checker = Checker()
    checker.feed(html)
    assert checker.open == [] and checker.bad == []
    assert not re.search(r"https?:|src=|href=|url\(|@import|<script", html)
    said = content(count)
    for spell in said.spells:
        for line in (spell.top, spell.stroke, *spell.sizes, *spell.pace, spell.turn, spell.checkpoint):
            assert line in checker.text
    assert html.count('aria-label="stroke over the bottom piece"') == count
    assert all(line in checker.text for line in (*said.before, *said.look, *said.cautions))
    assert "nan" not in html


def test_html_escapes_what_people_write() -> None:
    laps = tuple(small_bench(True).laps[0].model_copy(update={"name": name}) for name in ("a<b>&c", "other"))
    bench = small_bench(True).model_copy(update={"laps": laps})
    spells = (ws.Spell.model_validate({"stroke": "one-third", "minutes": 4.0, "lap": "a<b>&c"}),)
    one = replace(with_spells(1), programme=ws.Programme(spells=spells))
    html = card_bytes(bench, one, None, ".html").decode("utf-8")
    assert "a&lt;b&gt;&amp;c" in html and "a<b>" not in html


def test_the_stroke_is_drawn_to_scale() -> None:
    from wearsim.show.card_html import stroke_svg

    said = content(1)
    drawing = said.spells[0].drawing
    svg = stroke_svg(drawing, said.scale)
    points = np.array(
        [[float(n) for n in pair.split(",")] for pair in re.search(r'points="([^"]+)"', svg)[1].split()]
    )
    radius = float(re.search(r'<circle r="([\d.]+)"', svg)[1])
    across = np.ptp(points[:, 0]) / (2.0 * radius)
    along = np.ptp(points[:, 1]) / (2.0 * radius)
    assert across == pytest.approx(0.71, abs=0.005) and along == pytest.approx(0.24, abs=0.005)
    assert points[:, 1].mean() < 0.0  # the overhang is drawn upwards


def far_out() -> CardContent:
    """Three spells, one of them far off centre with the mirror on top."""
    spell = {
        "on_top": "mirror",
        "stroke": "overhang",
        "length": 0.2,
        "side_overhang": 0.36,
        "rate": 50.0,
        "minutes": 2.0,
    }
    far = ws.Spell.model_validate({key: _extent(key, value) for key, value in spell.items()})
    programme = ws.Programme(spells=(*with_spells(2).programme.spells, far))
    return card_content(small_bench(True), replace(with_spells(3), programme=programme), after())


def test_the_top_piece_at_its_farthest_is_shown_whole_and_to_one_scale() -> None:
    from matplotlib.patches import Circle

    from wearsim.show.card_html import stroke_svg
    from wearsim.show.card_parts import draw_stroke
    from wearsim.show.card_pen import Pen

    said, side = far_out(), 36.0
    radii = set()
    for spell in said.spells:
        pen, drawing = Pen(), spell.drawing
        draw_stroke(pen, drawing, (50.0, 60.0), side, said.scale)
        discs = [patch for patch in pen.axes.patches if isinstance(patch, Circle)]
        for disc in discs:
            (x, y), r = disc.center, disc.radius
            assert x - r >= 50.0 and x + r <= 50.0 + side and y - r >= 60.0 and y + r <= 60.0 + side
            assert disc.get_clip_path() is None or disc.get_clip_path() is pen.axes.patch
        radii.add(round(discs[0].radius, 6))
        svg = stroke_svg(drawing, said.scale)
        left, top = (float(n) for n in re.search(r'viewBox="(\S+) (\S+) 200 200"', svg).groups())
        circles = re.findall(r'<circle (?:cx="(\S+)" cy="(\S+)" )?r="(\S+)"', svg)
        for x, y, r in ([float(n or 0.0) for n in circle] for circle in circles):
            assert left <= x - r and x + r <= left + 200.0 and top <= y - r and y + r <= top + 200.0
    assert len(radii) == 1 and len(circles) == 2


@pytest.mark.parametrize(
    ("text", "degree"),
    [
        ('[mirror]\ndiameter = "8 in"\n', "\u00b0C"),
        ('[wear]\ntemperature = "17.5 degC"\n', "\u00b0C"),
        ('[wear]\ntemperature = "66 degF"\n', "\u00b0F"),
        ('[wear]\ntemperature = "290 K"\n', "K"),
        ('[lap]\npitch_temperature = "70 fahrenheit"\n', "\u00b0F"),
        ('[[lap]]\nmass = "5 lb"\n[[lap]]\npitch_temperature = "70 degF"\n', "\u00b0F"),
    ],
)
def test_temperatures_are_noted_in_the_unit_of_the_bench(text: str, degree: str) -> None:
    bench = small_bench(True).model_copy(update={"text": text})
    assert temperature_unit(bench) == degree
    html = card_bytes(bench, with_spells(2), after(), ".html").decode("utf-8")
    assert set(re.findall(r"[.] (\u00b0C|\u00b0F|K)<", html)) == {degree}
    (page,) = card_pages(content(2, bench))
    noted = [text for text, _ in texts_of(page) if "......" in text]
    assert len(noted) == 3 and all(line.endswith(f" {degree}") for line in noted)


def test_the_same_card_twice_is_the_same_file() -> None:
    for ending in (".pdf", ".html"):
        one, two = (card_bytes(small_bench(True), with_spells(2), after(), ending) for _ in range(2))
        assert one == two
    with pytest.raises(ValueError, match="pdf or"):
        card_bytes(small_bench(True), with_spells(2), after(), ".png")


def test_lines_are_broken_where_they_are_too_wide() -> None:
    text = "press about five minutes before the first spell and not between spells"
    lines = wrapped(text, 40.0, 11.0)
    assert " ".join(lines) == text and len(lines) > 2
    assert all(text_width(line, 11.0) <= 40.0 for line in lines)
    assert wrapped("unbreakable" * 9, 40.0, 11.0) == ["unbreakable" * 9]


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
    assert f"{done.floor * 1e9:.0f} nm" in next(line for line in lines if line.startswith("Floor: no mix"))
    gap = (done.outcome.surface_rms - done.floor) * 1e9
    assert f"{gap:.0f} nm" in next(line for line in lines if line.startswith("Gap"))
    assert f"{done.share:.0%} of the way" in text
    assert "Session 2, in outline" in text
    assert "Knife-edge readings to expect, through a usual mask, source moving" in text


def test_nothing_to_do_is_said_with_the_reason() -> None:
    bench = small_bench()
    start = figure(bench, np.zeros(61), DEFAULT)
    nothing = ws.propose(bench, start=start, draws=0)
    text = proposal_text(bench, nothing)
    assert text.startswith("Nothing to do: the figure error is already nil") and "of the way" not in text
    assert isinstance(proposal_figure(bench, nothing), Figure)
    assert card_bytes(bench, nothing, None).startswith(b"%PDF-")


def test_a_stopped_search_and_advice_are_said() -> None:
    done = replace(proposal(), stopped=True, advice=("120 minutes would lower the floor",))
    text = proposal_text(small_bench(True), done)
    assert "The time limit ended the search" in text and "Advice: 120 minutes would lower the floor." in text


def test_the_readings_to_expect_are_those_of_the_outcome() -> None:
    from wearsim.knifeedge.zones import zone_readings

    bench, found = small_bench(True), after()
    mirror, outcome = bench.mirror, proposal().outcome
    exact = zone_readings(
        found.sheet.zones, outcome.radius, outcome.figure_error,
        radius_of_curvature=mirror.radius_of_curvature, conic=mirror.conic,
    )  # fmt: skip
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
    assert np.allclose(
        np.percentile(drawn, [5.0, 95.0], axis=0), outcome.band.figure_error, rtol=1e-9, atol=1e-15
    )


def test_the_plot_shows_what_minutes_and_spells_buy() -> None:
    done = proposal()
    plot = proposal_figure(small_bench(True), done)
    titles = [axes.get_title(loc="left") for axes in plot.axes]
    assert "What minutes buy" in titles and "What spells buy" in titles
    minutes = plot.axes[titles.index("What minutes buy")]
    chosen = next(line for line in minutes.lines if line.get_label() == "proposed")
    work = sum(spell.minutes for spell in done.programme.spells)
    assert chosen.get_xdata()[0] == work and chosen.get_ydata()[0] == pytest.approx(done.expected_rms * 1e9)
    curves = {line.get_label(): line for line in minutes.lines}
    for one in done.trade_off:
        curve = curves["at most 1 spell" if one.spells == 1 else f"at most {one.spells} spells"]
        assert curve.get_ydata()[0] == pytest.approx(one.expected_rms[0] * 1e9)


def test_every_curve_of_minutes_reads_on_its_own_and_none_looks_like_the_floor() -> None:
    minutes = np.array([0.0, 10.0, 20.0])
    two, three = (np.array([50e-9, 40e-9, least]) for least in (20e-9, 15e-9))
    curves = (TradeOff(2, minutes, two), TradeOff(3, minutes, two), TradeOff(4, minutes, three))
    limits = replace(proposal().limits, spells=4)
    plot = proposal_figure(small_bench(True), replace(proposal(), trade_off=curves, limits=limits))
    axes = next(one for one in plot.axes if one.get_title(loc="left") == "What minutes buy")
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


def test_seconds_stand_beside_minutes_in_json() -> None:
    answer = proposal().to_json()
    for table in (*answer["trade_off"], answer["stopped_early"]):
        assert table["time_s"] == pytest.approx([60.0 * one for one in table["minutes"]])
    for spell in answer["outcome"]["spells"]:
        assert spell["time_s"] == 60.0 * spell["minutes"]
