"""A mirror's history and a rehearsal as they are shown: one session as well as many."""

from __future__ import annotations

from dataclasses import replace
from datetime import date
from typing import Any

import numpy as np
import pytest
from matplotlib.figure import Figure
from matplotlib.text import Text

from wearsim.bench.mirror import Mirror
from wearsim.bench.toml_io import bench_from_table, programme_from_table
from wearsim.bench.units import MILLIMETRES
from wearsim.learn.history import Entry, History
from wearsim.learn.known_figure import FigureEstimate
from wearsim.learn.practice.rehearse import Round
from wearsim.show.history import ending_text, history_figure, history_text, round_text


@pytest.fixture
def mirror() -> Mirror:
    table = {
        "mirror": {"diameter": "300 mm", "radius_of_curvature": "3 m"},
        "lap": {"diameter": "200 mm", "mass": "4 kg"},
        "figure": {"conic": 0.0},
    }
    return bench_from_table(table).mirror


def history_of(minutes: tuple[float, ...], misfits: tuple[int, ...] = ()) -> History:
    """Sessions of so many minutes, each predicted worse than it came out."""
    radius = np.linspace(0.0, 0.15, 40)
    entries = []
    for number, worked in enumerate(minutes, start=1):
        rms = 50e-9 / number
        shape = rms * np.cos(60.0 * radius)
        entries.append(Entry(
            number=number, date=date(2026, 2, number), minutes=worked, notes="", measured=shape, predicted=1.5 * shape,
            measured_rms=rms, measured_band=np.array([0.8, 1.3]) * rms, predicted_rms=1.5 * rms,
            predicted_band=np.array([1.1, 2.4]) * rms, edge_roll=-1e-8, prediction_error=rms, fits=number not in misfits,
            known=FigureEstimate(0.9 * shape, 0.0 * shape + 4e-9, 0.9 * rms, np.array([0.85, 1.0]) * rms),
            measured_profile_band=np.stack([shape - 3e-9, shape + 3e-9]),
            predicted_profile_band=np.stack([shape - 20e-9, shape + 30e-9]), edge_roll_band=np.array([-2e-8, 1e-9]),
        ))  # fmt: skip
    first_band = np.array([55e-9, 65e-9])
    return History(radius, 60e-9 * np.cos(60.0 * radius), 60e-9, first_band, tuple(entries), False)


def drawn(told: History, mirror: Mirror) -> tuple[Figure, Any]:
    """The figure laid out, and what measures texts in it."""
    figure = history_figure(told, mirror, MILLIMETRES)
    figure.draw_without_rendering()
    return figure, figure.canvas.get_renderer()  # type: ignore[attr-defined]


@pytest.mark.parametrize(
    ("minutes", "misfits", "title", "axis", "panels"),
    [
        ((7.0,), (1,), "1 session; (!) does not fit", "minutes of work", 1),
        ((30.0, 25.0, 10.0, 40.0), (), "4 sessions", "hours of work", 4),
        ((30.0,) * 6, (5,), "6 sessions; (!) does not fit", "hours of work", 6),
    ],
)
def test_the_plot_suits_one_session_and_many(
    mirror: Mirror, minutes: tuple[float, ...], misfits: tuple[int, ...], title: str, axis: str, panels: int
) -> None:
    figure, measure = drawn(history_of(minutes, misfits), mirror)
    course, *surfaces = figure.axes
    assert course.get_title(loc="left") == title
    assert course.get_xlabel() == axis
    assert len(surfaces) == panels and all(one.axison for one in surfaces)
    assert [text.get_text() for text in course.texts] == [
        f"{n} (!)" if n in misfits else f"{n}" for n in range(1, len(minutes) + 1)
    ]
    legend = course.get_legend()
    assert legend is not None
    # the legend is above the axes, beside the title, and no label lies on a bar
    assert legend.get_window_extent(measure).y0 >= course.get_window_extent(measure).y1 - 1.0
    (head,) = (one for one in course.get_children() if isinstance(one, Text) and one.get_text() == title)
    assert head.get_window_extent(measure).x1 < legend.get_window_extent(measure).x0
    lowest = min(text.get_window_extent(measure).y0 for text in course.texts)
    tops = [course.transData.transform(end)[1] for bars in course.collections for end in bars.get_paths()[0].vertices]
    assert lowest > max(tops)


def test_every_session_shows_what_was_read_and_predicted_with_their_bands(mirror: Mirror) -> None:
    told = history_of((30.0, 25.0))
    figure, _ = drawn(told, mirror)
    (legend,) = (part.legends[0] for part in figure.subfigs if part.legends)
    labels = [text.get_text() for text in legend.get_texts()]
    assert sorted(labels) == ["measured", "measured, 90%", "predicted", "predicted, 90%"]
    for axes, entry, said in zip(figure.axes[1:], told.entries, told.to_json()["sessions"], strict=True):
        ends = {area.get_label(): area.get_paths()[0].vertices[:, 1] for area in axes.collections}
        for label, band, key in (
            ("measured, 90%", entry.measured_profile_band, "figure_error_band_m"),
            ("predicted, 90%", entry.predicted_profile_band, "figure_error_predicted_band_m"),
        ):
            assert band is not None and said[key] == band.tolist()
            assert [ends[label].min(), ends[label].max()] == pytest.approx([band.min() * 1e9, band.max() * 1e9])
        assert said["edge_roll_band_m"] == [-2e-8, 1e-9]
    assert told.to_json()["surface_rms_first_band_m"] == told.first_band.tolist()


def test_what_the_only_session_does_not_fit(mirror: Mirror) -> None:
    def said(told: History) -> str:
        return " ".join(history_text(told).split())

    assert "does not agree with the assumed pitch and abrasive and is given little weight" in said(
        history_of((7.0,), (1,))
    )
    assert "does not agree with the other sessions and is given little weight" in said(history_of((7.0, 8.0), (1,)))
    assert "does not fit" not in said(history_of((7.0,)))


@pytest.mark.parametrize("width", [80, 60])
def test_a_history_keeps_to_the_columns_that_there_are(width: int, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("COLUMNS", str(width))
    lines = history_text(history_of((7.0, 80.0, 600.0), (2,))).splitlines()
    assert max(map(len, lines)) <= width


def test_a_rehearsal_keeps_to_80_columns_and_counts_one_session() -> None:
    table = {"spell": [{"stroke": "w", "length": 0.5, "side_sweep": 0.2, "minutes": 25, "lap": "full"}] * 3}
    one = Round(1, programme_from_table(table), 58e-9, 25e-9, (22e-9, 57e-9), 36e-9, 46e-9, 36.2e-9)
    ending = ending_text([one])
    assert ending.startswith("After 1 session and 75 minutes")
    assert ending_text([one, replace(one, number=2)]).startswith("After 2 sessions and")
    assert all(len(line) <= 80 for line in (round_text(one) + "\n" + ending).splitlines())
