"""Plots, looked at as figures rather than as pixels."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import combinations
from pathlib import Path

import matplotlib
import numpy as np
import pytest
from matplotlib.axis import Axis
from matplotlib.colors import to_rgb
from matplotlib.figure import Figure
from matplotlib.patches import Circle
from matplotlib.text import Text

from wearsim.bench.bench import Bench
from wearsim.bench.personal_units import read_heights_in, surface_unit
from wearsim.bench.programme import Programme, Stroke
from wearsim.bench.toml_io import load_bench, load_programme, programme_from_table
from wearsim.bench.units import MILLIMETRES
from wearsim.decide.compare import compare
from wearsim.show.comparison import comparison_figure
from wearsim.show.outcome import MOST_DRAWN, outcome_figure, profiles_figure
from wearsim.show.strokes import caption_of, drawing_of, drawn_path, stroke_path
from wearsim.show.style import AFTER, BAND, BEFORE, REMOVED, save
from wearsim.wear.outcome import Outcome
from wearsim.wear.predict import predict
from wearsim.wear.strokes import stroke_reach

DEMO = Path(__file__).parents[2] / "examples" / "demo"


@pytest.fixture(scope="module")
def bench() -> Bench:
    return load_bench(DEMO / "bench.toml")


@pytest.fixture(scope="module")
def programme() -> Programme:
    return load_programme(DEMO / "programme.toml")


@pytest.fixture(scope="module")
def outcome(bench: Bench, programme: Programme) -> Outcome:
    return predict(bench, programme, draws=4)


@pytest.fixture(scope="module")
def figure(bench: Bench, programme: Programme, outcome: Outcome) -> Figure:
    return outcome_figure(bench, programme, outcome)


def shown_ticks(axis: Axis) -> list[Text]:
    """Labels of the ticks inside the limits; matplotlib keeps some outside that it does not draw."""
    low, high = sorted(axis.get_view_interval())
    return [tick.label1 for tick in axis.get_major_ticks() if low <= tick.get_loc() <= high]


def texts_overlap(figure: Figure) -> list[tuple[str, str]]:
    """Pairs of titles, labels and legends that lie on each other."""
    figure.canvas.draw()
    found = []
    for axes in figure.axes:
        titles = [part for part in axes.get_children() if isinstance(part, Text)]
        titles += [axes.xaxis.label, axes.yaxis.label]
        ticks = [label for axis in (axes.xaxis, axes.yaxis) for label in shown_ticks(axis)] if axes.axison else []
        found += [text for text in titles + ticks if text.get_visible() and text.get_text().strip()]
        found += [axes.get_legend()] if axes.get_legend() else []
    found += figure.legends
    boxes = [(part, part.get_window_extent()) for part in found if part.get_visible()]
    inside = [(part, box) for part, box in boxes if box.width > 0 and figure.bbox.overlaps(box)]
    return [
        (str(one), str(two))
        for (one, a), (two, b) in combinations(inside, 2)
        if a.shrunk(0.98, 0.98).overlaps(b.shrunk(0.98, 0.98))
    ]


def test_panels_and_their_units(figure: Figure) -> None:
    surface, removal, *strokes = figure.axes
    assert surface.get_ylabel() == "surface above the target [nm]"
    assert removal.get_ylabel() == "removed [nm]"
    assert removal.get_xlabel().startswith("radius on the mirror [mm]")
    assert [axes.get_title(loc="left").split("\n")[:2] for axes in strokes] == [
        ["1:  5 min", "tool on top, cold pressing"],
        ["2:  4 min", "tool on top, W"],
        ["3:  3 min", "mirror on top, oval"],
    ]


def test_the_lines_are_the_outcome(figure: Figure, outcome: Outcome) -> None:
    surface, removal, *_ = figure.axes
    lines = {line.get_label(): line.get_xydata() for line in surface.lines}
    for label, profile in (("before", outcome.before), ("after", outcome.figure_error)):
        x, y = np.asarray(lines[label]).T
        assert np.interp(outcome.radius * 1e3, x, y) == pytest.approx(profile * 1e9, abs=1.0)
    deep, shallow = removal.get_ylim()
    assert shallow == 0.0 and deep > outcome.removal.max() * 1e9  # it hangs down
    assert outcome.band is not None
    assert max(surface.get_ylim()) > outcome.band.figure_error.max() * 1e9
    assert outcome.band.removal is not None and deep > outcome.band.removal.max() * 1e9


def test_legend_names_what_is_drawn(figure: Figure) -> None:
    legend = figure.axes[0].get_legend()
    assert legend is not None
    labels = [text.get_text() for text in legend.get_texts()]
    assert labels == ["before", "after", "before, after: 90% band"]
    below = figure.axes[1].get_legend()
    assert below is not None
    assert [text.get_text() for text in below.get_texts()] == ["removed", "removed, 90% band"]


def test_nothing_lies_on_anything_else(figure: Figure) -> None:
    assert texts_overlap(figure) == []


def test_strokes_are_drawn_to_one_scale(figure: Figure, bench: Bench) -> None:
    panels = figure.axes[2:]
    assert len({axes.get_xlim() + axes.get_ylim() for axes in panels}) == 1
    for axes in panels:
        assert axes.get_aspect() == 1.0
        radii = [patch.radius for patch in axes.patches if isinstance(patch, Circle)]
        assert radii == [bench.mirror.radius, bench.laps[0].radius]


def test_a_long_programme_says_what_it_leaves_out(bench: Bench) -> None:
    spell = {
        "stroke": "w", "length": 0.2, "side_sweep": 0.1, "side_overhang": 0.05, "minutes": 0.1, "on_top": "mirror",
    }  # fmt: skip
    long = programme_from_table({"spell": [spell] * (MOST_DRAWN + 3)})
    figure = outcome_figure(bench, long, predict(bench, long, draws=0))
    assert len(figure.axes) == 2 + MOST_DRAWN
    assert any("3 more spells" in part.get_supxlabel() for part in figure.subfigs)
    assert texts_overlap(figure) == []


def test_no_spells_no_strokes(bench: Bench) -> None:
    none = Programme()
    assert len(outcome_figure(bench, none, predict(bench, none)).axes) == 2


def test_comparison_stands_side_by_side_on_common_scales(bench: Bench, programme: Programme) -> None:
    both = compare(bench, programme, draws=3)
    figure = comparison_figure(bench, both)
    upper_left, upper_right, lower_left, lower_right = figure.axes
    assert upper_left.get_title(loc="left").startswith("Tool on top\nRMS ")
    assert upper_right.get_title(loc="left").startswith("Mirror on top\nRMS ")
    assert upper_left.get_ylim() == upper_right.get_ylim()
    assert lower_left.get_ylim() == lower_right.get_ylim()
    deepest = max(side.outcome.removal.max() for side in both.sides if side.outcome)
    assert lower_left.get_ylim()[0] > deepest * 1e9
    assert texts_overlap(figure) == []


def test_a_refused_side_says_why(bench: Bench) -> None:
    small = bench.model_copy(update={"laps": (bench.laps[0].model_copy(update={"diameter": 0.15}),)})
    straight = programme_from_table({"spell": [{"stroke": "straight", "length": 0.6, "minutes": 2}]})
    figure = comparison_figure(small, compare(small, straight, draws=0))
    assert figure.axes[1].get_title(loc="left") == "Mirror on top: cannot be done"
    assert "tips off" in figure.axes[1].texts[0].get_text()
    assert figure.axes[0].get_ylim()[1] > 10.0  # the scale is the drawn side's
    assert texts_overlap(figure) == []


@pytest.mark.parametrize("kind", ["straight", "overhang", "w", "oval"])
def test_the_drawn_way_is_the_stroke(kind: str) -> None:
    stroke = Stroke(kind, 0.1, 0.04 if kind in ("w", "oval") else 0.0, 0.0 if kind == "straight" else 0.03, 6, 1.0)
    x, y = stroke_path(stroke)
    assert (x[-1], y[-1]) == pytest.approx((x[0], y[0]), abs=1e-12)  # whole rounds
    assert np.ptp(x) == pytest.approx(stroke.length, rel=1e-3)
    # the engine's reach of a W is the corner of its box, which side sweep and stroke need not meet in
    least = 0.95 if kind == "w" else 0.998
    assert least * stroke_reach(stroke) < np.hypot(x, y).max() < 1.002 * stroke_reach(stroke)
    assert y.mean() == pytest.approx(stroke.side_overhang, abs=2e-3)
    assert np.ptp(y) == pytest.approx(2 * stroke.side_sweep, abs=1e-12)


def test_a_w_stroke_sweeps_once_in_its_strokes() -> None:
    x, y = stroke_path(Stroke("w", 0.1, 0.04, 0.0, 5, 1.0))
    assert y[1] > y[0] == 0.0  # rising at first (physics section 5)
    crossings = np.count_nonzero(np.diff(np.sign(x[1:-1])) != 0)
    assert crossings == 2 * 2 * 5 - 1  # out and back five times from side to side, and five times home


def test_a_w_is_drawn_in_few_crossings_to_its_full_width(bench: Bench, programme: Programme) -> None:
    stroke = Stroke("w", 0.1, 0.04, 0.01, 8, 1.0)
    x, y = drawn_path(stroke)
    assert np.count_nonzero(np.diff(np.sign(x[1:-1])) != 0) <= 6
    assert np.ptp(x) == pytest.approx(0.1, rel=1e-3) and (y[0], y[-1]) == pytest.approx((-0.03, 0.05))
    drawings = [drawing_of(bench, spell, 1, MILLIMETRES) for spell in programme.spells]
    thinned = [one.is_thinned for one in drawings]
    assert thinned == [spell.stroke == "w" for spell in programme.spells]
    assert ("crossings" in caption_of(drawings)) == any(thinned)


def test_a_hole_is_drawn_where_the_glass_is(bench: Bench, programme: Programme) -> None:
    holed = bench.model_copy(update={"mirror": bench.mirror.model_copy(update={"hole": 0.06})})
    below = drawing_of(holed, programme.spells[1], 2, MILLIMETRES)
    above = drawing_of(holed, programme.spells[2], 3, MILLIMETRES)
    assert (below.hole, below.mirror_on_top, above.hole, above.mirror_on_top) == (0.03, False, 0.03, True)


def test_the_look_stays_in_the_house(bench: Bench, programme: Programme, outcome: Outcome, tmp_path: Path) -> None:
    before = dict(matplotlib.rcParams)
    save(outcome_figure(bench, programme, outcome), tmp_path / "out", ".png")
    assert dict(matplotlib.rcParams) == before
    assert "matplotlib.pyplot" not in vars(matplotlib)


def lightness(colour: str | Sequence[float]) -> float:
    """Relative luminance of a colour, 0 black to 1 white (sRGB, IEC 61966-2-1; weights of ITU-R BT.709)."""
    parts = [c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in to_rgb(colour)]
    return float(np.dot([0.2126, 0.7152, 0.0722], parts))


def test_told_apart_without_colour() -> None:
    before, after = lightness(BEFORE["color"]), lightness(AFTER["color"])
    assert before - after > 0.05 and BEFORE["linestyle"] != AFTER["linestyle"]
    # contrast as of ISO 9241 and of the accessibility guidelines: (L1 + 0.05) / (L2 + 0.05), 3 for lines
    assert all(1.05 / (light + 0.05) >= 3.0 for light in (before, after))
    assert (lightness(BAND["facecolor"]) + 0.05) / (after + 0.05) >= 3.0
    assert REMOVED["hatch"]


@pytest.mark.parametrize("ending", [".svg", ".pdf", ".png"])
def test_the_same_plot_is_the_same_file(ending: str, figure: Figure, tmp_path: Path) -> None:
    save(figure, tmp_path / "one", ending)
    save(figure, tmp_path / "two", ending)
    assert (tmp_path / "one").read_bytes() == (tmp_path / "two").read_bytes()


@pytest.mark.parametrize("unit", ["nm", "waves", "millionths"])
def test_no_title_is_cut_off_whatever_the_unit(unit: str, bench: Bench, programme: Programme, outcome: Outcome) -> None:
    read_heights_in(surface_unit(unit, bench.light.wavelength))
    try:
        drawn = [outcome_figure(bench, programme, outcome), profiles_figure(bench, outcome)]
    finally:
        read_heights_in(None)
    for figure in drawn:
        figure.canvas.draw()
        for axes in figure.axes:
            for text in (axes.title, axes._left_title, *(axes.get_legend().get_texts() if axes.get_legend() else ())):
                box = text.get_window_extent()
                if text.get_text().strip():
                    assert box.x0 >= -1.0 and box.x1 <= figure.bbox.x1 + 1.0, text.get_text()
                    assert box.y1 <= figure.bbox.y1 + 1.0, text.get_text()
