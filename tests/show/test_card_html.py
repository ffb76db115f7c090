"""The bench card in a browser, and its drawings."""

from __future__ import annotations

import re
from dataclasses import replace
from html.parser import HTMLParser

import numpy as np
import pytest

import wearsim as ws
from tests.helpers.card_cases import after, content, full_content, programme_of, texts_of, with_spells
from tests.helpers.small_bench import small_bench
from wearsim.bench.fields import Extent
from wearsim.show.card import card_bytes
from wearsim.show.card_content import CardContent, card_content
from wearsim.show.card_html import card_html
from wearsim.show.card_page import card_pages, plan
from wearsim.show.card_parts import draw_stroke
from wearsim.show.card_pen import Pen
from wearsim.show.card_svg import early_svg, stroke_svg
from wearsim.show.units import temperature_text, temperature_unit


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
    assert all(line in checker.text for line in (said.promise, *said.before, *said.look, *said.cautions))
    assert said.checking in checker.text and html.count('class="rule"') >= 2 * count
    assert "nan" not in html


def test_html_says_the_readings_and_the_bands_and_is_set_in_the_type_of_the_paper() -> None:
    said = full_content(3, 8, "in")
    html = card_html(said)
    checker = Checker()
    checker.feed(html)
    assert said.readings is not None and checker.open == checker.bad == []
    cells = (said.readings.head, said.readings.foot, *(cell for row in said.readings.rows for cell in row))
    assert all(text in checker.text for text in cells)
    assert f"--size: {plan(said).face.size}pt" in html and "@page { size: auto; margin: 10mm; }" in html
    around = re.search(r'<polygon points="([^"]+)"', early_svg(said, 100.0))
    assert around is not None and len(around[1].split()) == 2 * said.early.minutes.size
    assert "polygon" not in early_svg(content(3), 100.0)


def test_html_escapes_what_people_write() -> None:
    laps = tuple(small_bench(True).laps[0].model_copy(update={"name": name}) for name in ("a<b>&c", "other"))
    bench = small_bench(True).model_copy(update={"laps": laps})
    spells = (ws.Spell.model_validate({"stroke": "one-third", "minutes": 4.0, "lap": "a<b>&c"}),)
    one = replace(with_spells(1), programme=ws.Programme(spells=spells))
    html = card_bytes(bench, one, None, ".html").decode("utf-8")
    assert "a&lt;b&gt;&amp;c" in html and "a<b>" not in html


def test_the_stroke_is_drawn_to_scale() -> None:
    said = content(1)
    drawing = said.spells[0].drawing
    svg = stroke_svg(drawing, said.scale)
    points = np.array([[float(n) for n in pair.split(",")] for pair in re.search(r'points="([^"]+)"', svg)[1].split()])
    radius = float(re.search(r'<circle r="([\d.]+)"', svg)[1])
    across = np.ptp(points[:, 0]) / (2.0 * radius)
    along = np.ptp(points[:, 1]) / (2.0 * radius)
    assert across == pytest.approx(0.71, abs=0.005) and along == pytest.approx(0.24, abs=0.005)
    assert points[:, 1].mean() < 0.0  # the overhang is drawn upwards


def far_out() -> CardContent:
    """Three spells, one of them far off centre with the mirror on top."""
    far = {"on_top": "mirror", "stroke": "overhang", "length": 0.2, "side_overhang": 0.36, "rate": 50.0, "minutes": 2.0}
    spell = ws.Spell.model_validate(
        {key: Extent(value) if isinstance(value, float) and value < 1.0 else value for key, value in far.items()}
    )
    programme = ws.Programme(spells=(*programme_of(2).spells, spell))
    return card_content(small_bench(True), replace(with_spells(3), programme=programme), after())


def test_the_top_piece_at_its_farthest_is_shown_whole_and_to_one_scale() -> None:
    from matplotlib.patches import Circle

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
    assert temperature_text(20.0, bench) == {"\u00b0C": "20 degC", "\u00b0F": "68 degF", "K": "293.1 K"}[degree]
    html = card_bytes(bench, with_spells(2), after(), ".html").decode("utf-8")
    assert set(re.findall(r"(?:[.] |</i>)(\u00b0C|\u00b0F|K)<", html)) == {degree}
    (page,) = card_pages(content(2, bench))
    noted = [text for text, _ in texts_of(page) if text == degree or "......" in text]
    assert len(noted) == 3 and all(line.endswith(degree) for line in noted)


def test_the_same_card_twice_is_the_same_file() -> None:
    for ending in (".pdf", ".html"):
        one, two = (card_bytes(small_bench(True), with_spells(2), after(), ending) for _ in range(2))
        assert one == two
    with pytest.raises(ValueError, match="pdf or"):
        card_bytes(small_bench(True), with_spells(2), after(), ".png")
