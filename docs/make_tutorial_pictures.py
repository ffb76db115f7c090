"""The pictures of the tutorial: what its first ``reduce`` draws, and the card that its ``propose`` writes."""

from __future__ import annotations

from typing import Any

from make_tutorial import FOLDER

import wearsim as ws
from wearsim.bench.units import length_unit
from wearsim.decide.propose import propose
from wearsim.knifeedge.readings import load_readings
from wearsim.knifeedge.reduction import reduce_readings
from wearsim.show.card.content import card_content
from wearsim.show.card.page import card_pages
from wearsim.show.reduction import reduction_figure
from wearsim.wear.expected_readings import drawn_figures, own_sheet, readings_after, with_halfway

MINUTES = 40.0


def surface() -> Any:
    """The surface from the readings before the first session."""
    bench = ws.load_bench(FOLDER / "bench.toml")
    reduced = reduce_readings(load_readings(FOLDER / "readings.toml"), bench.mirror.geometry, bench.light.wavelength)
    return reduction_figure(reduced, length_unit(bench))


def card() -> Any:
    """The card of the first proposal, its only page."""
    bench = ws.load_bench(FOLDER / "bench.toml")
    proposal = propose(bench, minutes=MINUTES)
    drawn = drawn_figures(bench, proposal.programme)
    after = readings_after(bench, proposal.outcome, own_sheet(bench), drawn)
    (page,) = card_pages(card_content(bench, proposal, with_halfway(after, bench, proposal.programme)))
    return page.figure
