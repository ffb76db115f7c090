"""Drawings of the knife-edge room: true to scale, reproducible, refused where they must be."""

from __future__ import annotations

import re
from pathlib import Path

import numpy as np
import pytest

from wearsim.errors import InputError
from wearsim.knifeedge.mask import design_mask
from wearsim.knifeedge.readings import parse_readings
from wearsim.knifeedge.reduction import reduce_readings
from wearsim.knifeedge.shadows import KnifeTester
from wearsim.knifeedge.stopping import when_to_stop
from wearsim.show.mask import FOOT, MARGIN, draw_mask, window_outline
from wearsim.show.masking import draw_masking
from wearsim.show.reduction import draw_reduction
from wearsim.show.shadows import draw_shadows, matched_radii

SHEET = """
source = "moving"
length_unit = "mm"
windows = [[18, 45], [60, 80], [92, 108], [118, 130], [138, 147]]
readings = [[0.00, 0.61, 1.45, 2.30, 3.20], [0.05, 0.58, 1.50, 2.26, 3.25]]
"""


@pytest.fixture(scope="module")
def reduction():
    return reduce_readings(parse_readings(SHEET), radius=0.15, radius_of_curvature=3.0, clear_radius=0.148)


def stand(error: np.ndarray, radius: np.ndarray) -> KnifeTester:
    return KnifeTester(radius, error, 0.15, 3.0, -1.0, 550e-9)


@pytest.mark.parametrize("suffix", [".svg", ".pdf", ".png"])
def test_drawings_are_the_same_twice(tmp_path: Path, suffix: str, reduction) -> None:
    for name in ("one", "two"):
        draw_reduction(reduction, tmp_path / f"{name}{suffix}")
        draw_mask(design_mask(5, radius=0.1, radius_of_curvature=2.4), tmp_path / f"m{name}{suffix}")
    for start in ("", "m"):
        first, second = (tmp_path / f"{start}{name}{suffix}" for name in ("one", "two"))
        assert first.read_bytes() == second.read_bytes()
        assert first.stat().st_size > 2000


def test_mask_is_drawn_at_its_true_size(tmp_path: Path) -> None:
    text = draw_mask(design_mask(5, radius=0.1, radius_of_curvature=2.4), tmp_path / "mask.svg").read_text()
    width, height = (float(re.search(rf'{side}="([\d.]+)pt"', text)[1]) for side in ("width", "height"))
    assert width * 25.4 / 72 == pytest.approx(200 + 2 * MARGIN, abs=0.01)
    assert height * 25.4 / 72 == pytest.approx(200 + 2 * MARGIN + FOOT, abs=0.01)
    assert "100 mm" in text
    # the outermost window's outline, in points from the page's corner
    design = design_mask(5, radius=0.1, radius_of_curvature=2.4)
    corner = window_outline(design.zones.inner[-1] * 1e3, design.zones.outer[-1] * 1e3, 1)[0]
    x, y = (corner + np.array([100 + MARGIN, 100 + MARGIN + FOOT])) * 72 / 25.4
    numbers = np.array([[float(a), height - float(b)] for a, b in re.findall(r"M ([\d.]+) ([\d.]+)", text)])
    assert np.min(np.hypot(numbers[:, 0] - x, numbers[:, 1] - y)) < 0.05


def test_windows_weigh_every_radius_by_r() -> None:
    outline = window_outline(40.0, 60.0, -1)
    x, y = outline.T
    area = 0.5 * abs(np.dot(x, np.roll(y, 1)) - np.dot(y, np.roll(x, 1)))
    assert area == pytest.approx(np.radians(20.0) * (60.0**2 - 40.0**2), rel=1e-3)
    assert np.all(x < 0)


def test_letters_stand_where_the_zone_is_grey(reduction) -> None:
    plain = stand(0 * reduction.radius, reduction.radius)
    assert matched_radii(plain, 0.1**2 / 6) == pytest.approx([0.1], abs=1e-6)
    assert matched_radii(plain, 0.5).size == 0


def test_shadows_and_masking_are_drawn(tmp_path: Path, reduction) -> None:
    before = stand(reduction.figure_error, reduction.radius)
    after = stand(0.2 * reduction.figure_error, reduction.radius)
    surfaces = {"before": before, "predicted": after}
    made = draw_shadows(surfaces, [0.0015, 0.003], tmp_path / "s.png", pixels=128)
    assert made.stat().st_size > 5000
    assert draw_masking(when_to_stop(reduction, draws=5), tmp_path / "k.png").stat().st_size > 5000
    with pytest.raises(ValueError, match="one to eight"):
        draw_shadows(surfaces, [], tmp_path / "s.png")


def test_what_cannot_be_drawn_is_one_line(tmp_path: Path, reduction) -> None:
    with pytest.raises(InputError, match=r"\.png"):
        draw_reduction(reduction, tmp_path / "plot.docx")
    with pytest.raises(InputError, match="cannot be written"):
        draw_reduction(reduction, tmp_path / "no" / "plot.png")
