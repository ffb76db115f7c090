"""
What goes to the barrel?
========================

The card of the tutorial's first proposal, its only page: every stroke to scale, and the readings to expect.
"""

import sys
from pathlib import Path

from wearsim.show.card_content import card_content
from wearsim.show.card_page import card_pages

import wearsim as ws
from wearsim.decide.propose import propose
from wearsim.wear.expected_readings import drawn_figures, own_sheet, readings_after, with_halfway

bench = ws.load_bench(Path(__file__).resolve().parents[1] / "tutorial" / "bench.toml")
proposal = propose(bench, minutes=40)
drawn = drawn_figures(bench, proposal.programme)
after = readings_after(bench, proposal.outcome, own_sheet(bench), drawn)
(figure,) = card_pages(card_content(bench, proposal, with_halfway(after, bench, proposal.programme)))

if len(sys.argv) > 1:
    figure.savefig(sys.argv[1])
