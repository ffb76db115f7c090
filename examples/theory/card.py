"""
What goes to the barrel?
========================

The card of the tutorial's first proposal, its only page: every stroke to scale, and the expected readings.
"""

import sys
from pathlib import Path

import wearsim as ws
from wearsim.show.card.content import card_content
from wearsim.show.card.page import card_pages
from wearsim.wear.expected_readings import drawn_figures, readings_after, with_halfway
from wearsim.wear.initial_figure import own_sheet

bench = ws.load_bench(Path(__file__).resolve().parents[1] / "tutorial" / "bench.toml")
proposal = ws.propose(bench, minutes=40)
drawn = drawn_figures(bench, proposal.programme)
after = readings_after(bench, proposal.outcome, own_sheet(bench), drawn)
(page,) = card_pages(card_content(bench, proposal, with_halfway(after, bench, proposal.programme)))
figure = page.figure

if len(sys.argv) > 1:
    figure.savefig(sys.argv[1])
