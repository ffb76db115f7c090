"""Masks on sheets of paper: everything is on some sheet at true size, and the marks of neighbours lie on each other."""

import re
from itertools import combinations

import numpy as np
import pytest

from wearsim.bench.units import INCHES, MILLIMETRES
from wearsim.errors import InputError
from wearsim.figure.conic import MirrorGeometry
from wearsim.knifeedge.mask import design_mask
from wearsim.show.mask import HALF_ANGLE
from wearsim.show.mask_sheets import (
    INCH,
    MOST_SHEETS,
    OVERLAP,
    PAPERS,
    mask_bytes,
    sheet_figure,
    sheets_for,
    sheets_text,
)


def design(radius: float):
    return design_mask(5, MirrorGeometry(16.0 * radius, radius=radius, clear_radius=radius))


@pytest.mark.parametrize("paper", PAPERS.values(), ids=lambda one: one.name)
@pytest.mark.parametrize(("radius", "count"), [(0.075, 1), (0.1016, 2), (0.15, 4), (0.2, 6)])
def test_the_sheets_cover_the_glass_and_overlap(paper, radius, count):
    sheets = sheets_for(design(radius), paper)
    assert len(sheets) == count
    width, height = sheets[0].paper.room
    x, y = np.meshgrid(*[np.linspace(-1.0, 1.0, 81)] * 2)
    on_glass = np.hypot(x, y) <= 1.0
    across, up = 1e3 * radius * x[on_glass], 1e3 * radius * y[on_glass]
    seen = np.zeros(across.size, dtype=int)
    for sheet in sheets:
        inside = (across >= sheet.left) & (across <= sheet.left + width)
        seen += inside & (up >= sheet.bottom) & (up <= sheet.bottom + height)
    assert seen.min() >= 1 and (count == 1 or seen.max() > 1)


def test_a_cross_lies_at_the_same_place_on_both_sheets_and_has_a_letter_of_its_own():
    for radius in (0.1016, 0.2, 0.35):
        found: dict[str, list[tuple[float, float]]] = {}
        for sheet in sheets_for(design(radius), PAPERS["a4"]):
            for x, y, letter in sheet.joints:
                found.setdefault(letter, []).append((x, y))
        assert found and all(len(places) == 2 for places in found.values())
        for first, second in found.values():
            assert first == pytest.approx(second, abs=1e-9)
        assert all(np.hypot(a[0][0] - b[0][0], a[0][1] - b[0][1]) > OVERLAP for a, b in combinations(found.values(), 2))


def test_no_joint_across_runs_through_the_windows_of_a_mask_on_two_rows():
    upper, *_, lower = sheets_for(design(0.15), PAPERS["a4"])
    assert upper.bottom > 150.0 * np.sin(HALF_ANGLE) or lower.bottom + lower.paper.room[1] < -150.0 * np.sin(HALF_ANGLE)


def test_a_sheet_is_the_paper_and_drawn_to_scale():
    mask = design(0.1016)
    for sheet in sheets_for(mask, PAPERS["letter"]):
        figure = sheet_figure(mask, sheet, INCHES)
        assert figure.get_size_inches() * INCH == pytest.approx([sheet.paper.width, sheet.paper.height])
        axes = figure.axes[0]
        box, (left, right) = axes.get_position(), axes.get_xlim()
        assert box.width * sheet.paper.width == pytest.approx(right - left)
        ends = [path.get_extents() for one in figure.axes[1].collections for path in one.get_paths()]
        assert max(one.x1 for one in ends) - min(one.x0 for one in ends) == pytest.approx(4 * INCH)


def test_the_pdf_has_a_page_for_every_sheet_and_the_words_say_how_many():
    for radius, unit, words in ((0.075, MILLIMETRES, "one sheet of A4"), (0.1016, INCHES, "2 sheets of Letter")):
        paper = PAPERS["letter" if unit is INCHES else "a4"]
        pages = len(re.findall(rb"/Type /Page\b", mask_bytes(design(radius), unit)))
        assert pages == len(sheets_for(design(radius), paper))
        assert words in sheets_text(sheets_for(design(radius), paper))


def test_a_mask_that_nobody_would_join_is_refused():
    with pytest.raises(InputError, match=r"takes 2\d\d\d sheets of A4; expected at most 100 sheets"):
        mask_bytes(design(5.0))
    assert len(sheets_for(design(0.95), PAPERS["a4"])) <= MOST_SHEETS
