"""The glossary holds the words that the pages and the output are written in."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
TEXT = (ROOT / "docs" / "glossary.md").read_text(encoding="utf-8")
ENTRIES = re.findall(r"^\*\*([^*]+)\*\*(?: \(([^)]+)\))?: \S.*\.?$", TEXT, re.MULTILINE)
TERMS = {term.strip().lower() for entry in ENTRIES for part in entry for term in part.split(",") if term}

TRADE = """mirror, tool, lap, pitch, facet, channel, bevel, rim, stroke, centre over centre, one-third stroke, W stroke,
overhang, tool on top, mirror on top, cold pressing, figuring, parabolizing, turned edge, raised zone, oblate, paraboloid,
conic constant, radius of curvature, longitudinal aberration, knife edge, zonal mask, shadow, wavefront, peak to valley,
RMS, Strehl ratio, rouge, cerium oxide, charge, wet, barrel"""
OUTPUT = """band, edge gain, edge limit, hand scatter, lift-off, Preston coefficient, reach, tips at, relaxation time,
stiffness, share of the error, floor, edge roll"""
OWN = """bench, spell, programme, offset basis, outcome, bench card, study, mirror's folder"""


@pytest.mark.parametrize("term", re.split(r",\s+", ", ".join((TRADE, OUTPUT, OWN))))
def test_it_is_explained(term: str) -> None:
    assert term.lower() in TERMS


def test_each_part_is_in_order_and_says_each_term_once() -> None:
    assert len(TERMS) >= len(ENTRIES)
    for part in TEXT.split("\n## ")[1:]:
        found = [term.lower() for term in re.findall(r"^\*\*([^*]+)\*\*", part, re.MULTILINE)]
        assert found == sorted(found)
        assert len(found) == len(set(found))
