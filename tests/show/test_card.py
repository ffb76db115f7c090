"""The bench card: what it says, how it stands on paper, and the files that hold it."""

from __future__ import annotations

import re
from base64 import b64decode
from dataclasses import replace
from html import unescape
from xml.etree import ElementTree

import numpy as np
import pytest

import wearsim as ws
from tests.helpers.card_cases import (
    after,
    content,
    full_content,
    in_inches,
    of_fused_silica,
    own_readings,
    programme_of,
    texts_of,
    with_spells,
)
from tests.helpers.small_bench import ring_figure, small_bench
from wearsim.bench.fields import Extent
from wearsim.bench.hands import Hands
from wearsim.bench.personal_units import temperature_text
from wearsim.errors import InputError
from wearsim.show.card import PredictedWork, card_bytes
from wearsim.show.card.content import BOX, PRESSED_FOR, card_content, pressing_words, quarters, rounds_of
from wearsim.show.card.page import CAUTION_SIZE, HALF, card_pages, plan
from wearsim.show.card.pen import HEIGHT, WIDTH, Pen, printed_width, wrapped
from wearsim.show.card.readings import ReadingRows, can_check, check_zones
from wearsim.show.notices import CAUTIONS, ON_THE_CARD
from wearsim.show.numbers import degree_sign
from wearsim.show.strokes import facet_outlines
from wearsim.wear.accuracy import DEFAULT
from wearsim.wear.predict import predict, pressings_before


def nothing_overlaps(pages: list[Pen]) -> None:
    """Every text within the margins, none upon another."""
    for page in pages:
        assert np.allclose(page.figure.get_size_inches() * 25.4, [WIDTH, HEIGHT])
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


def there_is_room_to_write(pages: list[Pen], spells: int) -> None:
    """Beside every "done" a line for the minutes, and two or more long lines under the pace, none through a text."""
    found = 0
    for page in pages:
        rules, short = (
            [
                (line.get_xdata()[0], line.get_ydata()[0], line.get_xdata()[1])
                for line in page.axes.lines
                if line.get_linestyle() != "-" and (line.get_xdata()[1] < 40.0) == is_short
            ]
            for is_short in (False, True)
        )
        boxes = texts_of(page)
        for left, y, right in rules + short:
            assert not any(b[0] < right and b[2] > left and b[1] + 0.5 < y < b[3] - 0.9 for _, b in boxes), y
        ends = [box[3] for text, box in boxes if "strokes," in text or "own weight" in text]
        foot = [box[1] for text, box in boxes if text.startswith("To scale")]
        for text, box in boxes:
            if text == "done":
                assert any(box[1] < y < box[3] and right - left >= 12.0 for left, y, right in short)
                begin = max(end for end in ends if end < box[3])
                below = min(end for end in (*ends, *foot) if end > box[3])
                lines = [y for left, y, right in rules if begin < y < below and right - left >= 60.0]
                assert len(lines) >= 2 and np.diff(lines).min() >= 5.0
                found += 1
    assert found == spells


def smallest_type(pages: list[Pen]) -> float:
    """[pt]"""
    return min(
        text.get_fontsize()
        for page in pages
        for axes in page.figure.axes
        for text in [*axes.texts, axes.xaxis.label, *axes.get_xticklabels(), *axes.get_yticklabels()]
        if text.get_text().strip()
    )


@pytest.mark.parametrize("count", [0, 2, 5, 8])
def test_nothing_on_the_card_overlaps_or_leaves_the_page(count: int) -> None:
    pages = card_pages(content(count))
    assert len(pages) == (1 if count <= 5 else 2)
    nothing_overlaps(pages)
    there_is_room_to_write(pages, count)


@pytest.mark.parametrize(
    ("count", "zones", "unit"), [(1, 10, "mm"), (2, 3, "in"), (3, 10, "in"), (3, 8, "mm"), (4, 3, "mm"), (4, 10, "in")]
)
def test_a_full_card_has_room_to_write_and_nothing_overlaps(count: int, zones: int, unit: str) -> None:
    pages = card_pages(full_content(count, zones, unit))
    assert len(pages) == 1 and smallest_type(pages) >= 9.0
    nothing_overlaps(pages)
    there_is_room_to_write(pages, count)


def test_four_long_spells_fit_on_one_page_whatever_the_mask_and_six_on_two() -> None:
    for zones in (3, 6, 8, 10):
        for unit in ("mm", "in"):
            for count in (1, 2, 3, 4, 6):
                _, pages = plan(full_content(count, zones, unit))
                assert len(pages) == (1 if count <= 4 else 2)
                assert sum(map(len, pages)) == count
    for count, size in ((1, 14.0), (2, 12.0), (3, 11.0), (4, 9.5)):
        assert plan(full_content(count, 8, "mm"))[0].size >= size
    assert plan(content(4))[0].size >= 10.5
    assert plan(content(5))[0].size >= 9.5


def test_cautions_are_set_in_ten_points_and_none_is_missing() -> None:
    (page,) = card_pages(full_content(4, 8, "mm"))
    lines = [text for text in page.axes.texts if text.get_fontsize() == CAUTION_SIZE]
    foot = " ".join(line.get_text() for line in lines)
    assert CAUTION_SIZE >= 10.0 and "CAUTION. " + " ".join(ON_THE_CARD) in foot
    for hazard in ("slippery", "Hot pitch", "respirator", "gloves", "laser", "licensed or qualified"):
        assert hazard in foot and hazard in " ".join(CAUTIONS)


def test_the_widest_cells_of_the_readings_stay_in_their_half() -> None:
    cell = ("110.1234 - 112.1234", "-123.1234", "-123.1234", "\u00b1 12.1234")
    rows = ReadingRows("head", ("zone [mm]", "now", "after", ""), (cell,) * 3, "foot")
    assert sum(printed_width(text, 13.0) for text in cell) > HALF  # wider than it has room for
    (page,) = card_pages(replace(content(2), readings=rows))
    nothing_overlaps([page])


def test_the_card_is_safe_on_a4_and_letter() -> None:
    assert min(210.0, 215.9) >= WIDTH and min(297.0, 279.4) >= HEIGHT


def test_the_spells_are_said_in_full() -> None:
    first = content(3).spells[0]
    assert first.minutes == "27" and first.top == "MIRROR ON TOP"
    assert first.what == (
        "W stroke, 8 strokes per sweep",
        "142 mm long (0.71\u00a0D)",
        "24 mm to each side (0.12\u00a0D)",
        "22 mm off centre (0.11\u00a0D)",
    )
    # 27 min at 50 a minute; a circuit of 4 min, a turn of 6 min
    assert first.pace == ("1350 strokes, 50 per minute", "walk round 7\u00d7, turn top 4\u00bd\u00d7")
    assert first.turn == "First turn the mirror by\u00a072\u00b0"
    third = content(3).spells[2]
    assert "push 20 N (2.0 kg)" in third.pace and third.turn == ""


def test_inches_and_pounds_for_whoever_wrote_inches() -> None:
    said = content(3, in_inches())
    assert said.spells[0].what[1] == "5.59 in long (0.71\u00a0D)"
    assert "push 4.5 lb (20 N)" in said.spells[2].pace
    assert "Press down on the top piece with 6.7 lb (30 N) in addition to its weight." in said.before[2]


def test_a_long_spell_has_a_checkpoint_of_the_figure_where_nobody_reads_a_knife() -> None:
    bench = of_fused_silica(small_bench(True))
    said = content(2, bench)
    early = with_spells(2).early
    rms, roll = (float(np.interp(13.5, early.minutes, y)) * 1e9 for y in (early.rms, early.edge_roll))
    assert said.spells[0].checkpoint == f"CHECK at 13.5 min:  RMS {rms:.0f} nm,  edge roll {roll:.0f} nm"
    assert said.spells[1].checkpoint == "" and "clearly different" in said.checking
    assert said.ends == (27.0, 32.0)
    band = np.column_stack([early.rms - 10e-9, early.rms + 20e-9])
    done = replace(with_spells(2), early=replace(early, rms_band=band))
    banded = card_content(bench, done, None)
    assert f"RMS {rms:.0f} nm ({rms - 10:.0f} to {rms + 20:.0f} nm)" in banded.spells[0].checkpoint
    assert "outside its brackets" in banded.checking


def test_a_long_spell_has_a_checkpoint_at_the_knife_where_the_bench_has_readings() -> None:
    readings = own_readings(6, "mm", (1,))
    said = card_content(of_fused_silica(small_bench(True)), with_spells(2), readings)
    half = readings.halfway[1]
    for i in check_zones(readings.now, half, readings.after.positions):
        assert (
            f"window\u00a0{i + 1}:\u00a0{half.positions[i] * 1e3:.2f}\u00a0\u00b1\u00a0{half.spread[i] * 1e3:.2f}"
        ) in said.spells[0].checkpoint
    assert "RMS" not in said.spells[0].checkpoint and said.spells[1].checkpoint == ""
    assert said.readings is not None and said.checking == ""
    assert "Relative to zone 1" in said.readings.foot and "at a CHECK, stop" in said.readings.foot
    assert said.readings.titles[0] == "window" and [row[0] for row in said.readings.rows] == list("123456")


def test_nothing_is_checked_halfway_where_the_glass_cools_for_longer_than_a_lap_keeps_its_fit() -> None:
    bench = small_bench(True)  # borosilicate, 30 mm thick: more than an hour
    assert not can_check(bench) and can_check(of_fused_silica(bench))
    for readings in (None, own_readings(6, "mm", (1,))):
        said = card_content(bench, with_spells(2), readings)
        assert not any(spell.checkpoint for spell in said.spells) and said.checking == ""
    assert said.readings is not None and "CHECK" not in said.readings.foot


def test_the_check_zones_move_most_against_what_a_setting_mistakes_and_are_no_neighbours() -> None:
    half = own_readings(5, "mm", (1,)).after
    half = replace(half, positions=np.array([0.0, 1.0, 9.0, 8.0, -5.0]) * 1e-4, setting=np.full(5, 1e-4))
    assert check_zones(np.zeros(5), half, half.positions).tolist() == [2, 4]
    later = np.array([0.0, 1.0, 9.0, 8.0, 30.0]) * 1e-4  # has most to change yet
    assert check_zones(np.zeros(5), half, later).tolist() == [2, 4]
    careful = replace(half, setting=np.array([1.0, 0.01, 1.0, 1.0, 1.0]) * 1e-4)
    assert check_zones(np.zeros(5), careful, half.positions).tolist() == [1, 3]


def test_how_long_to_press_is_what_the_prediction_takes_of_the_laps() -> None:
    bench = small_bench(True)
    done = replace(with_spells(2), pressings={None: 1230.0})
    assert bench.laps[0].start == "pressed" and not any(spell.is_press for spell in done.programme.spells)
    assert card_content(bench, done, None).before[1] == (
        "Press the lap until it fits, tool on top: about 21 min at this temperature. "
        f"Do not enter this as a spell: {PRESSED_FOR}. No pressing between spells."
    )
    assert (
        "about 2.0 h at this temperature"
        in card_content(bench, replace(done, pressings={None: 7200.0}), None).before[1]
    )
    other_way = tuple(spell.model_copy(update={"on_top": "mirror"}) for spell in done.programme.spells)
    turned = ws.Programme(spells=other_way)
    words = pressing_words(bench, turned, {None: 1230.0}, by_clock=True)
    assert "tool on top for the pressing only: about 21 min" in words
    assert "The minutes on this clock go into the record by themselves." in words and "as a spell" not in words
    round_one = bench.laps[0].model_copy(update={"start": "spherical"})
    alone = bench.model_copy(update={"laps": (round_one,)})
    said = card_content(alone, replace(done, pressings={}), None).before[1]
    assert said.startswith("Do not press the lap before spell 1: the prediction assumes that it is spherical.")
    laps = (bench.laps[0].model_copy(update={"name": "big"}), round_one.model_copy(update={"name": "small"}))
    spells = [spell.model_copy(update={"lap": "big"}) for spell in done.programme.spells]
    two = ws.Programme(spells=(*spells, spells[0].model_copy(update={"lap": "small"})))
    both = bench.model_copy(update={"laps": laps})
    said = card_content(both, replace(done, programme=two, pressings={"big": 600.0}), None).before[1]
    assert "Press the lap big until it fits, tool on top: about 10 min" in said
    assert "Do not press the lap small before spell 1" in said


def test_a_pressing_of_the_programme_is_a_spell_of_the_card() -> None:
    bench = small_bench(True)
    press = ws.Spell.model_validate({"stroke": "press", "minutes": 5.0})
    spells = with_spells(2).programme.spells
    first = replace(with_spells(2), programme=ws.Programme(spells=(press, *spells)), pressings={})
    said = card_content(bench, first, None)
    assert said.before[1] == "Press as spell 1 says. No pressing between spells."
    assert (
        said.spells[0].what == ("cold pressing, at rest",) and said.ends[0] == 0.0 and said.spells[0].checkpoint == ""
    )
    between = replace(with_spells(2), programme=ws.Programme(spells=(spells[0], press, spells[1])))
    assert card_content(bench, between, None).before[1].endswith("Press the lap again only where a spell says so.")


def test_numbers_that_round_to_nothing_have_no_minus() -> None:
    from wearsim.bench.units import INCHES, decimal

    assert INCHES.number(-1e-6) == "0.00" and decimal(-0.0004, 3, "+") == "+0.000"
    assert decimal(-0.0006, 3) == "-0.001" and INCHES.number(1e-3, "+") == "+0.04"
    readings = own_readings(4, "in", ())
    tiny = replace(readings, now=np.full(4, -1e-9), after=replace(readings.after, positions=np.full(4, -1e-9)))
    rows = card_content(in_inches(), with_spells(1), tiny).readings
    assert rows is not None and not any(cell.startswith("-") for row in rows.rows for cell in row)


def test_the_turn_of_the_mirror_is_the_programmes_or_practice() -> None:
    bench = small_bench(True)
    assert not any("fifth" in line for line in content(3).before)
    unturned = card_content(bench, with_spells(3, turned=False), None)
    assert any("a fifth of a turn (common practice, no source)" in line for line in unturned.before)


def test_what_to_look_for() -> None:
    look = " ".join(content(2).to_look_for)
    assert "from the centre" in look and "Edge roll" in look
    assert "let it cool" in look.replace("\u00a0", " ")


def test_there_is_a_list_to_tick_before_and_one_after() -> None:
    said = content(2)
    before, after_work = (line.replace("\u00a0", " ") for line in (said.before[0], said.to_look_for[-1]))
    assert all(
        f"{BOX} {step}" in before for step in ("lap warmed and pressed", "fresh charge on", "lap wet", "mirror rotated")
    )
    steps = ("wash", "let it cool", "read each zone 3 times", "look at the edge", "ripple?", "scratches?")
    assert all(f"{BOX} {step}" in after_work for step in steps)


def test_glass_does_not_go_up() -> None:
    bench, done = small_bench(True), with_spells(1)
    change = done.outcome.figure_error - done.outcome.before
    for sign, words in (
        (1.0, "higher than the rest, because less glass is removed there."),
        (-1.0, "lower than the rest."),
    ):
        bump = sign * 300e-9 * np.exp(-(((done.outcome.radius / bench.mirror.radius - 0.3) / 0.1) ** 2))
        outcome = replace(done.outcome, figure_error=done.outcome.before + change + bump, band=None)
        look = card_content(bench, replace(done, outcome=outcome), None).to_look_for[0]
        assert look.startswith("Largest change: ") and look.endswith(words)


def test_a_lap_is_drawn_with_its_own_facets_to_scale() -> None:
    bench = small_bench(True)
    lap = bench.laps[0].model_copy(update={"facet": 0.03, "channel": 0.008, "channel_offset": (0.004, 0.0)})
    facets = facet_outlines(lap)
    corners = next(outline for outline in facets if np.hypot(*outline.mean(axis=0)) < 0.02)
    assert np.ptp(corners, axis=0) == pytest.approx([0.03, 0.03]) and corners.mean(axis=0) == pytest.approx(
        [0.004, 0.0]
    )
    middles = np.sort([outline[:, 0].mean() for outline in facets if abs(outline[:, 1].mean()) < 1e-9])
    assert np.diff(middles) == pytest.approx(0.038)
    hexagons = facet_outlines(lap.model_copy(update={"facet_shape": "hexagonal"}))
    near = np.sort(np.hypot(*np.array([one.mean(axis=0) - [0.004, 0.0] for one in hexagons]).T))
    assert near[1:7] == pytest.approx(0.038) and all(len(one) == 6 for one in hexagons)
    assert facet_outlines(lap.model_copy(update={"facet_shape": "none"})) == ()
    said = content(3)
    assert said.spells[0].drawing.facets and not said.spells[1].drawing.facets  # tool on top: its face is not seen


def test_a_programme_of_ones_own_has_a_card() -> None:
    bench, programme = small_bench(True), programme_of(3)
    outcome = predict(bench, programme, draws=4, start=ring_figure(bench, DEFAULT))
    work = PredictedWork(programme, outcome, pressings_before(bench, programme))
    said = card_content(bench, work, after())
    assert [spell.minutes for spell in said.spells] == ["27", "5", "3"] and said.ends == (27.0, 32.0, 35.0)
    assert said.early.minutes.tolist() == [0.0, 27.0, 32.0, 35.0]
    assert said.early.rms[-1] == outcome.surface_rms and said.early.rms[0] == outcome.numbers_before.surface_rms
    assert said.early.rms_band is not None and said.early.rms_band[1:] == pytest.approx(outcome.band.stage_rms)
    nothing_overlaps(card_pages(said))
    assert (
        said.warning.startswith("Do not trust these numbers: spell 1: ")
        and said.warning in card_pages(said)[0].text[:3]
    )
    sound = tuple(replace(spell, peak_pressure=1e4) for spell in outcome.spells)
    assert card_content(bench, replace(work, outcome=replace(outcome, spells=sound)), None).warning == ""
    none = PredictedWork(ws.Programme(), predict(bench, ws.Programme(), start=ring_figure(bench, DEFAULT)), {})
    assert "Nothing to do: the programme has no spells." in card_content(bench, none, None).prediction


@pytest.mark.parametrize(
    ("value", "said"), [(0.1, "less than \u00bc"), (0.13, "\u00bc"), (1.0, "1"), (2.6, "2\u00bd"), (3.9, "4")]
)
def test_hands_count_in_quarters(value: float, said: str) -> None:
    assert quarters(value) == said


@pytest.mark.parametrize(("minutes", "rounds"), [(2.0, 2), (5.0, 2), (9.0, 2), (10.5, 3), (27.0, 7)])
def test_one_walks_round_in_whole_rounds_and_twice_at_least(minutes: float, rounds: int) -> None:
    assert rounds_of(Hands(), 60.0 * minutes) == rounds  # a round of four minutes


def test_lines_are_broken_where_they_are_too_wide() -> None:
    text = "press about five minutes before the first spell and not between spells"
    lines = wrapped(text, 40.0, 11.0)
    assert " ".join(lines) == text and len(lines) > 2
    assert all(printed_width(line, 11.0) <= 40.0 for line in lines)
    assert wrapped("unbreakable" * 9, 40.0, 11.0) == ["unbreakable" * 9]


def test_strokes_are_drawn_to_one_scale_and_hold_the_top_piece_at_its_farthest() -> None:
    far = {"on_top": "mirror", "stroke": "overhang", "length": Extent(0.2), "side_overhang": Extent(0.36),
           "rate": 50.0, "minutes": 2.0}  # fmt: skip
    programme = ws.Programme(spells=(*programme_of(2).spells, ws.Spell.model_validate(far)))
    said = card_content(small_bench(True), replace(with_spells(3), programme=programme), after())
    (page,) = card_pages(said)
    sides = set()
    for spell, axes in zip(said.spells, page.figure.axes[1:], strict=False):
        left, right, low, top = spell.drawing.box
        (x0, x1), (y0, y1) = axes.get_xlim(), axes.get_ylim()
        assert x0 <= left and right <= x1 and y0 <= low and top <= y1
        width, height = axes.get_position().size * [WIDTH, HEIGHT]
        assert width == pytest.approx(height)
        sides |= {round(x1 - x0, 12), round(y1 - y0, 12)}
    assert sides == {round(2.0 * said.scale, 12)}
    way = said.spells[0].drawing
    along, across = (np.ptp(one) / (2.0 * small_bench(True).mirror.radius) for one in way.drawn)
    assert along == pytest.approx(0.71, abs=0.005) and across == pytest.approx(0.24, abs=0.005)
    assert way.drawn[1].mean() > 0.0  # the overhang is drawn upwards


@pytest.mark.parametrize(
    ("text", "degree"),
    [
        ('[mirror]\ndiameter = "8 in"\n', "\u00b0F"),
        ('[wear]\ntemperature = "17.5 degC"\n', "\u00b0C"),
        ('[wear]\ntemperature = "66 degF"\n', "\u00b0F"),
        ('[wear]\ntemperature = "290 K"\n', "K"),
        ('[lap]\npitch_temperature = "70 fahrenheit"\n', "\u00b0F"),
        ('[[lap]]\nmass = "5 lb"\n[[lap]]\npitch_temperature = "70 degF"\n', "\u00b0F"),
    ],
)
def test_temperatures_are_noted_in_the_unit_of_the_bench(text: str, degree: str) -> None:
    bench = small_bench(True).model_copy(update={"text": text})
    assert degree_sign(bench) == degree
    assert temperature_text(20.0, bench) == {"\u00b0C": "20 degC", "\u00b0F": "68 degF", "K": "293.1 K"}[degree]
    (page,) = card_pages(content(2, bench))
    noted = [text for text, _ in texts_of(page) if text == degree or "room ......" in text]
    assert len(noted) == 3 and all(line.endswith(degree) for line in noted)


def pictures(html: str) -> list[str]:
    """The pages of a card in HTML, as SVG."""
    return [b64decode(one).decode("utf-8") for one in re.findall(r'src="data:image/svg\+xml;base64,([^"]+)"', html)]


@pytest.mark.parametrize("count", [0, 1, 4, 8])
def test_html_stands_alone_shows_the_pages_of_the_paper_and_says_them_as_text(count: int) -> None:
    html = card_bytes(small_bench(True), with_spells(count), after(), ".html").decode("utf-8")
    around = ElementTree.fromstring(re.sub(r"<!DOCTYPE html>|<(?:meta|img) [^>]*>", "", html))
    assert not re.search(r"https?:|href=|url\(|@import|<script", html)
    shown, pages = pictures(html), card_pages(content(count))
    assert len(shown) == html.count("src=") == len(pages) == (1 if count <= 4 else 2)
    for svg in shown:
        root = ElementTree.fromstring(svg.split("?>", 1)[1])
        _, _, width, height = map(float, root.attrib["viewBox"].split())
        assert width / height == pytest.approx(WIDTH / HEIGHT, rel=1e-4)
        assert not re.search(r"<text|<image|href=\"[^#]", svg)  # letters as paths, nothing from elsewhere
    text, said = "".join(around.itertext()), content(count)
    for spell in said.spells:
        for line in (f"Spell {spell.number}: {spell.minutes} min", spell.top, *spell.what, *spell.pace, spell.turn):
            assert line in text
        assert spell.checkpoint in text
    assert all(line in text for line in (said.prediction, said.checking, *said.before, *said.to_look_for, *ON_THE_CARD))
    assert "nan" not in html


def test_what_stands_on_a_page_is_in_its_text() -> None:
    (page,) = card_pages(full_content(3, 8, "in"))
    spoken = " ".join(" ".join(page.text).split())
    left_out = re.compile(r"done$|at$|date|minutes|Notes|\d+$|.[CF]$")  # places to write in, numbers said otherwise
    for line, _ in texts_of(page):
        assert left_out.match(line) or " ".join(line.split()) in spoken, line


def test_html_escapes_what_people_write() -> None:
    laps = tuple(small_bench(True).laps[0].model_copy(update={"name": name}) for name in ("a<b>&c", "other"))
    bench = small_bench(True).model_copy(update={"laps": laps})
    spells = (ws.Spell.model_validate({"stroke": "one-third", "minutes": 4.0, "lap": "a<b>&c"}),)
    one = replace(with_spells(1), programme=ws.Programme(spells=spells))
    html = card_bytes(bench, one, None, ".html").decode("utf-8")
    assert "a&lt;b&gt;&amp;c" in html and "a<b>" not in html and "a<b>&c" in unescape(html)
    ElementTree.fromstring(pictures(html)[0].split("?>", 1)[1])


def test_the_same_card_twice_is_the_same_file() -> None:
    for ending in (".pdf", ".html"):
        one, two = (card_bytes(small_bench(True), with_spells(2), after(), ending) for _ in range(2))
        assert one == two
    with pytest.raises(ValueError, match="pdf or"):
        card_bytes(small_bench(True), with_spells(2), after(), ".png")


def test_a_card_of_more_spells_than_anyone_works_is_refused() -> None:
    with pytest.raises(InputError, match="a card of 41 spells; expected at most 40"):
        card_bytes(small_bench(True), with_spells(41), after())
