"""Cards to test: programmes of many spells, a usual mask or the person's own, all that can be on a card at once."""

from __future__ import annotations

from dataclasses import replace
from functools import cache
from pathlib import Path

import numpy as np

import wearsim as ws
from tests.helpers.any_stroke import any_limits
from tests.helpers.small_bench import ring_figure, small_bench
from wearsim.bench.bench import Bench
from wearsim.bench.fields import Extent
from wearsim.decide.proposal import EarlyStop, Proposal
from wearsim.knifeedge.longitudinal import Zones
from wearsim.knifeedge.readings import Readings
from wearsim.show.card.content import CardContent, card_content
from wearsim.show.card.pen import HEIGHT, Pen
from wearsim.wear.accuracy import DEFAULT
from wearsim.wear.expected_readings import ReadingsAfter, drawn_figures, readings_after, usual_sheet
from wearsim.wear.predict import predict

SPELLS = (
    {"on_top": "mirror", "stroke": "w", "length": 0.71, "side_sweep": 0.12, "side_overhang": 0.11,
     "strokes_per_sweep": 8.0, "rate": 50.0, "minutes": 27.0, "turn": 1.2566370614},
    {"on_top": "tool", "stroke": "straight", "length": 0.25, "rate": 50.0, "minutes": 5.0},
    {"on_top": "tool", "stroke": "oval", "length": 0.2, "side_sweep": 0.1, "side_overhang": 0.15, "rate": 40.0,
     "minutes": 3.0, "push": 20.0},
)  # fmt: skip
INCHES = '[mirror]\ndiameter = "7.874 in"\n'


def programme_of(count: int, turned: bool = True, **changed: object) -> ws.Programme:
    """A programme of this many long-winded spells; ``changed`` holds for all."""
    spells = []
    for number in range(count):
        table = {key: _extent(key, value) for key, value in (SPELLS[number % len(SPELLS)] | changed).items()}
        spells.append(ws.Spell.model_validate(table if turned else {**table, "turn": 0.0}))
    return ws.Programme(spells=tuple(spells))


def _extent(key: str, value: object) -> object:
    return Extent(value) if key in ("length", "side_sweep", "side_overhang") else value  # type: ignore[arg-type]


@cache
def proposal() -> Proposal:
    """A programme of one spell on a raised ring, the default spreads, a few draws; nothing was searched."""
    programme = programme_of(3).spells[1:2]
    done = predict(
        small_bench(True), ws.Programme(spells=programme), draws=5, start=ring_figure(small_bench(True), DEFAULT)
    )
    early = EarlyStop(np.array([0.0, 5.0]), np.array([60e-9, 20e-9]), np.array([3e-9, -40e-9]))
    return Proposal(
        ws.Programme(spells=programme), done, 1e-9, 30e-9, 60e-9, 0.4, "as far as is safe", (), (), early, (),
        any_limits(), {None: 600.0}, 1, 1.0, False,
    )  # fmt: skip


@cache
def after() -> ReadingsAfter:
    """The readings after it through a standard mask."""
    bench = small_bench(True)
    sheet = usual_sheet(bench)
    assert sheet is not None
    drawn = drawn_figures(bench, proposal().programme, draws=5, start=ring_figure(bench, DEFAULT), accuracy=DEFAULT)
    return readings_after(bench, proposal().outcome, sheet, drawn, is_own=False)


def with_spells(count: int, turned: bool = True, **changed: object) -> Proposal:
    """The proposal with a programme of this many long-winded spells instead (its numbers are not theirs)."""
    programme = programme_of(count, turned, **changed)
    minutes = np.linspace(0.0, sum(spell.minutes for spell in programme.spells), 20)
    early = EarlyStop(minutes, np.linspace(60e-9, 20e-9, 20), np.linspace(3e-9, -40e-9, 20))
    return replace(proposal(), programme=programme, early=early)


def content(count: int, bench: Bench | None = None) -> CardContent:
    """The card of so many spells."""
    return card_content(small_bench(True) if bench is None else bench, with_spells(count), after())


def in_inches() -> Bench:
    """The bench as somebody writes it who measures in inches."""
    return small_bench(True).model_copy(update={"text": INCHES})


def of_fused_silica(bench: Bench) -> Bench:
    """The bench with glass that warmth does not bend: it can be read halfway through a spell."""
    return bench.model_copy(update={"mirror": bench.mirror.model_copy(update={"glass": "fused-silica"})})


def own_readings(zones: int, unit: str, long_ones: tuple[int, ...]) -> ReadingsAfter:
    """Readings through the person's own mask, its windows measured finely; the same halfway through long spells."""
    size, places = (1e-3, 3) if unit == "mm" else (0.0254, 4)
    edges = np.linspace(0.0101234, 0.0989, zones + 1)
    inner, outer = (np.round(ends / size, places) * size for ends in (edges[:-1] + 7e-4, edges[1:] - 7e-4))
    sheet = Readings(
        Zones(inner, outer), np.full((1, zones), size * 10.0 ** (1 - places)), "fixed", sigma=2e-4,
        length_unit=unit, unit=size, file=Path("readings.toml"),
    )  # fmt: skip
    found = readings_after(small_bench(True), proposal().outcome, sheet)
    return replace(found, halfway=dict.fromkeys(long_ones, found.after))


def full_content(count: int, zones: int, unit: str) -> CardContent:
    """A card with all that can be on it at once: W strokes, every one long, checks at the knife, bands."""
    done = with_spells(count, **SPELLS[0], push=20.0)
    early = done.early
    band = np.column_stack([0.7 * early.rms, 1.5 * early.rms])
    done = replace(done, early=replace(early, rms_band=band, edge_roll_band=band - 40e-9))
    bench = in_inches() if unit == "in" else small_bench(True)
    return card_content(of_fused_silica(bench), done, own_readings(zones, unit, tuple(range(1, count + 1))))


def texts_of(page: Pen) -> list[tuple[str, np.ndarray]]:
    """Every text on a page with its box in millimetres: left, top, right, bottom."""
    figure = page.figure
    figure.set_dpi(300)
    figure.draw_without_rendering()
    renderer = figure.canvas.get_renderer()  # type: ignore[attr-defined]
    found = []
    for axes in figure.axes:
        for text in [*axes.texts, axes.xaxis.label]:
            if text.get_text().strip():
                box = text.get_window_extent(renderer)
                mm = np.array([box.x0, box.y0, box.x1, box.y1]) * 25.4 / 300.0
                found.append((text.get_text(), np.array([mm[0], HEIGHT - mm[3], mm[2], HEIGHT - mm[1]])))
    return found
