"""Drawings of the knife-edge room: true to scale, reproducible, refused where they must be."""

from __future__ import annotations

import re
from dataclasses import replace
from itertools import combinations
from pathlib import Path
from types import SimpleNamespace

import numpy as np
import pytest

from wearsim.bench.units import INCHES, MILLIMETRES, LengthUnit
from wearsim.figure.conic import MirrorGeometry
from wearsim.knifeedge.mask import design_mask
from wearsim.knifeedge.readings import parse_readings
from wearsim.knifeedge.reduction import reduce_readings
from wearsim.knifeedge.shadows import KnifeTester
from wearsim.knifeedge.stopping import when_to_stop
from wearsim.show.mask import FOOT, MARGIN, mask_figure, mask_text, window_outline, windows_drawing, windows_toml
from wearsim.show.reduction import correction_words, masking_figure, reduction_figure, reduction_text
from wearsim.show.shadows import matched_radii, measured_shadows, shadows_figure
from wearsim.show.style import BLUE, save

GLASS = MirrorGeometry(3.0, radius=0.15, clear_radius=0.148)
SMALL = MirrorGeometry(2.4, radius=0.1, clear_radius=0.1)
SHEET = """
source = "moving"
length_unit = "mm"
windows = [[18, 45], [60, 80], [92, 108], [118, 130], [138, 147]]
readings = [[0.00, 0.61, 1.45, 2.30, 3.20], [0.05, 0.58, 1.50, 2.26, 3.25]]
"""


@pytest.fixture(scope="module")
def reduction():
    return reduce_readings(parse_readings(SHEET), GLASS)


def stand(error: np.ndarray, radius: np.ndarray) -> KnifeTester:
    return KnifeTester(radius, error, GLASS, 550e-9)


@pytest.mark.parametrize("suffix", [".svg", ".pdf", ".png"])
def test_drawings_are_the_same_twice(tmp_path: Path, suffix: str, reduction) -> None:
    mask = design_mask(5, SMALL)
    for name in ("one", "two"):
        save(reduction_figure(reduction), tmp_path / f"{name}{suffix}", suffix)
        save(mask_figure(mask), tmp_path / f"m{name}{suffix}", suffix)
    for start in ("", "m"):
        first, second = (tmp_path / f"{start}{name}{suffix}" for name in ("one", "two"))
        assert first.read_bytes() == second.read_bytes()
        assert first.stat().st_size > 2000


def test_mask_is_drawn_at_its_true_size(tmp_path: Path) -> None:
    design = design_mask(5, SMALL)
    save(mask_figure(design), tmp_path / "mask.svg", ".svg")
    text = (tmp_path / "mask.svg").read_text()
    width, height = (float(re.search(rf'{side}="([\d.]+)pt"', text)[1]) for side in ("width", "height"))
    assert width * 25.4 / 72 == pytest.approx(200 + 2 * MARGIN, abs=0.01)
    assert height * 25.4 / 72 == pytest.approx(200 + 2 * MARGIN + FOOT, abs=0.01)
    # the outermost window's outline, in points from the page's corner
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


def test_scale_bar_is_a_hundred_millimetres() -> None:
    figure = mask_figure(design_mask(5, SMALL))
    axes = figure.axes[0]
    bar = np.concatenate([band.get_paths()[0].vertices[:, 0] for band in axes.collections])
    page = axes.transData.transform([[bar.min(), 0.0], [bar.max(), 0.0]])
    assert (page[1, 0] - page[0, 0]) / figure.dpi * 25.4 == pytest.approx(100.0, abs=1e-6)
    assert "100 mm" in " ".join(text.get_text() for text in axes.texts)


def test_shadows_and_masking_are_drawn(tmp_path: Path, reduction) -> None:
    before = stand(reduction.figure_error, reduction.radius)
    after = stand(0.2 * reduction.figure_error, reduction.radius)
    surfaces = {"before": before, "predicted": after}
    figure = shadows_figure(surfaces, [0.0015, 0.003], pixels=128)
    pictures = [image.get_array() for axes in figure.axes for image in axes.images]
    assert len(pictures) == 4
    assert all(picture.min() >= 0.0 and 0.9 < picture.max() < 2.0 for picture in pictures)
    save(figure, tmp_path / "s.png", ".png")
    curve = masking_figure(when_to_stop(reduction, draws=5)).axes[0].lines[0].get_ydata()
    assert 0.0 < curve.min() <= curve.max() <= 1.0
    with pytest.raises(ValueError, match="one to eight"):
        shadows_figure(surfaces, [])


def test_shadows_of_a_mirror_in_inches_speak_inches(reduction) -> None:
    surfaces = {"before": stand(reduction.figure_error, reduction.radius)}
    figure = shadows_figure(surfaces, [0.0254], pixels=128, unit=INCHES)
    assert figure.axes[1].get_title(loc="left") == "a: 1.000 in"
    assert figure.axes[0].get_xlabel() == "along the diameter [in]"
    assert max(figure.axes[0].lines[1].get_xdata()) == pytest.approx(reduction.radius[-1] / 0.0254)


def test_each_window_has_its_foot_its_band_and_its_point(reduction) -> None:
    lines = reduction_figure(reduction).axes[1].lines[1:]
    for zone, feet, band, point in zip(reduction.zones, *(lines[i::3] for i in range(3)), strict=True):
        assert feet.get_xdata() == pytest.approx([1e3 * zone.inner, 1e3 * zone.outer])
        assert np.mean(band.get_ydata()) == pytest.approx(zone.multiple)
        assert np.ptp(band.get_ydata()) == pytest.approx(2.0 * 1.645 * zone.multiple_sigma)
        assert point.get_xydata()[0] == pytest.approx([500.0 * (zone.inner + zone.outer), zone.multiple])
        assert (point.get_markerfacecolor() == "white") != zone.is_resolved


def test_no_letter_of_the_narrowest_picture_is_cut_off(reduction) -> None:
    figure = reduction_figure(reduction)
    figure.set_figwidth(6.0)  # as on a phone
    figure.draw_without_rendering()
    written = [
        one for axes in figure.axes for one in (axes._left_title, axes.title, axes.xaxis.label, axes.yaxis.label)
    ]
    for one in written:
        box = one.get_window_extent()
        assert box.x0 >= 0.0 and box.x1 <= figure.bbox.x1 and box.y1 <= figure.bbox.y1, one.get_text()


def test_tables_hold_what_was_reduced(reduction) -> None:
    readings = parse_readings(SHEET)
    text = reduction_text(readings, reduction, when_to_stop(reduction, draws=5))
    assert f"{reduction.strehl:.3f}" in text
    assert "18.0 - 45.0" in text
    assert max(map(len, text.splitlines())) <= 80


@pytest.mark.parametrize(
    "off, word", [(-0.3, "overcorrected: -1.30"), (0.3, "undercorrected: -0.70"), (-0.05, ""), (0.05, "")]
)
def test_the_whole_surface_is_called_by_the_word_of_the_trade(reduction, off: float, word: str) -> None:
    said = correction_words(replace(reduction, conic_fit=-1.0 + off, conic_sigma=0.04))
    assert (word in said) if word else said == ""
    sphere = replace(reduction.geometry, conic=0.0)
    assert correction_words(replace(reduction, conic_fit=off, conic_sigma=0.04, geometry=sphere)) == ""


def test_mask_table_fits_a_terminal() -> None:
    for unit in (MILLIMETRES, INCHES):
        text = mask_text(design_mask(5, SMALL), unit)
        assert max(map(len, text.splitlines())) <= 80


@pytest.mark.parametrize(("unit", "zones"), [(MILLIMETRES, 5), (INCHES, 5), (INCHES, 9), (MILLIMETRES, 3)])
def test_windows_are_pasted_in_the_units_they_are_shown_in(unit: LengthUnit, zones: int) -> None:
    design = design_mask(zones, MirrorGeometry(2.4, radius=0.2, clear_radius=0.2))
    pasted = windows_toml(design, unit)
    assert max(map(len, pasted.splitlines())) <= 80
    sheet = parse_readings(f'source = "moving"\n{pasted}\nreadings = [{[0] * zones}]')
    assert sheet.length_unit == unit.name
    for read, cut in ((sheet.zones.inner, design.zones.inner), (sheet.zones.outer, design.zones.outer)):
        assert read == pytest.approx(cut, abs=0.51 * (1e-5 if unit is MILLIMETRES else 2.54e-5))


def test_a_mask_in_inches_has_its_knife_in_inches_too() -> None:
    design = design_mask(5, MirrorGeometry(2.4384, radius=0.1016, clear_radius=0.1016))
    text = mask_text(design, INCHES)
    assert "mm" not in text
    last = (design.aberration[-1] - design.aberration[0]) / 0.0254
    assert f"{last:.4f}" in text.splitlines()[7]


def test_shadows_are_levelled_like_the_reduction_and_count_from_the_first_zone(reduction) -> None:
    sheet = parse_readings(SHEET)
    bench = SimpleNamespace(
        mirror=SimpleNamespace(geometry=reduction.geometry), light=SimpleNamespace(wavelength=550e-9), text=""
    )
    figure = measured_shadows(bench, sheet, reduction)
    line = next(line for line in figure.axes[0].lines if line.get_color() == BLUE)
    drawn = np.interp(reduction.radius[::20] * 1e3, line.get_xdata(), line.get_ydata())
    assert drawn == pytest.approx(reduction.figure_error[::20] * 1e9, abs=0.5)
    assert figure.axes[1].get_title(loc="left") == "a: 0.00 mm"
    last = reduction.zones[-1].reading - reduction.zones[0].reading
    assert figure.axes[3].get_title(loc="left") == f"c: {last * 1e3:.2f} mm"


def test_letters_of_zones_do_not_cover_each_other(reduction) -> None:
    surfaces = {"as read": stand(3.0 * reduction.figure_error, reduction.radius)}
    knives = [zone.reading for zone in reduction.zones]
    figure = shadows_figure(surfaces, knives, pixels=64)
    figure.canvas.draw()
    letters = [text.get_window_extent() for text in figure.axes[0].texts]
    assert len(letters) >= len(knives)
    assert not any(one.overlaps(other) for one, other in combinations(letters, 2))


def test_no_label_of_a_window_is_cut_at_the_rim_of_the_drawing() -> None:
    shares = [(0.1 * place, 0.1 * place + 0.099) for place in range(10)]
    for count in (6, 10):
        texts = re.findall(r'<text x="([-\d.]+)" y="([\d.]+)">(\d+)<', windows_drawing(shares[10 - count :], 0))
        assert [number for *_, number in texts] == [str(place + 1) for place in range(count)]
        for x, y, number in texts:
            assert np.hypot(float(x) + 3.0 * len(number), float(y) + 2.0) < 99.0
