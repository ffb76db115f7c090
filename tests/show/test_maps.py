"""Maps drawn and told: levels, tints that say the same in grey, what stands on the sheet."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from matplotlib.colors import to_rgb

from wearsim.bench.bench import Bench
from wearsim.bench.programme import Programme
from wearsim.bench.toml_io import load_bench, load_programme
from wearsim.show.maps import DEPTHS, HEIGHTS, draw_map, steps, turns_text
from wearsim.show.outcome import outcome_figure
from wearsim.show.style import new_figure
from wearsim.wear.accuracy import PlanarAccuracy
from wearsim.wear.outcome import Outcome
from wearsim.wear.predict import predict

TURNING = Path(__file__).parents[2] / "examples" / "turning"
SHORT = '[[spell]]\nstroke = "straight"\nlength = 0.35\nminutes = 0.5\n'


@pytest.fixture(scope="module")
def worked(tmp_path_factory: pytest.TempPathFactory) -> tuple[Bench, Programme, Outcome]:
    folder = tmp_path_factory.mktemp("maps")
    (folder / "short.toml").write_text(SHORT)
    text = (TURNING / "bench.toml").read_text().replace("conic = -1.0", "zernike = [0, 0, 0, 0, 0, 40]")
    (folder / "bench.toml").write_text(text)
    bench = load_bench(folder / "bench.toml")
    programme = load_programme(folder / "short.toml", bench)
    return bench, programme, predict(bench, programme, "planar", planar=PlanarAccuracy(cells=40))


def test_the_sheet_shows_every_map(worked: tuple[Bench, Programme, Outcome]) -> None:
    bench, programme, outcome = worked
    figure = outcome_figure(bench, programme, outcome)
    titles = "\n".join(axes.get_title(loc="left") for axes in figure.axes)
    for words in ("Before: RMS 40 nm,\nastigmatism 40 nm", "After: ", "Removed: up to", "Pitch afterwards", "ripple"):
        assert words in titles
    assert f"largest pressure, {outcome.peak_pressure / 1e3:.1f} kPa" in titles


def test_the_ring_stands_where_the_pressure_stood(worked: tuple[Bench, Programme, Outcome]) -> None:
    bench, programme, outcome = worked
    figure = outcome_figure(bench, programme, outcome)
    axes = next(one for one in figure.axes if one.get_title(loc="left").startswith("Removed"))
    ring = next(line for line in axes.lines if line.get_marker() == "o")
    place = outcome.details["peak_x_m"], outcome.details["peak_y_m"]
    assert np.ravel(ring.get_data()) == pytest.approx(np.array(place) * 1e3)


def test_arrows_point_along_the_high_meridian(worked: tuple[Bench, Programme, Outcome]) -> None:
    """Forty nanometres of the cosine term: high along x, whose two arrows lie on it."""
    bench, programme, outcome = worked
    figure = outcome_figure(bench, programme, outcome)
    axes = next(one for one in figure.axes if one.get_title(loc="left").startswith("Before"))
    tips = np.array([text.xy for text in axes.texts if getattr(text, "arrow_patch", None) is not None])
    assert np.sort(tips[:, 0]) == pytest.approx([-102.0, 102.0], abs=0.5)
    assert tips[:, 1] == pytest.approx([0.0, 0.0], abs=2.0)


@pytest.mark.parametrize("tints", [HEIGHTS, DEPTHS])
def test_tints_tell_high_from_low_in_grey(tints: tuple[str, ...]) -> None:
    grey = np.array([np.dot(to_rgb(tint), (0.2126, 0.7152, 0.0722)) for tint in tints])
    change = np.diff(grey)
    assert (change > 0.02).all() or (change < -0.02).all()


@pytest.mark.parametrize("size", [3e-3, 1.0, 40.0, 7e4])
def test_levels_are_round_and_neither_few_nor_many(size: float, rng: np.random.Generator) -> None:
    values = size * rng.normal(size=(30, 30))
    levels = steps(values, np.ones_like(values, dtype=np.bool_))
    step = np.diff(levels)
    assert 4 <= levels.size <= 14 and step == pytest.approx(np.full(step.size, step[0]))
    assert float(f"{step[0]:.6e}"[:8]) in (1.0, 2.0, 5.0)


def test_a_level_map_is_drawn_without_lines_through_its_rounding(rng: np.random.Generator) -> None:
    inside = np.ones((20, 20), dtype=np.bool_)
    assert np.diff(steps(np.zeros((20, 20)), inside)) == pytest.approx([1.0])
    axes = new_figure(3.0, 3.0).subplots()
    levels = np.array([-20.0, -10.0, 0.0, 10.0, 20.0])
    draw_map(axes, np.arange(20.0), 1e-7 * rng.normal(size=(20, 20)), inside, levels)
    assert not axes.texts
    draw_map(axes, np.arange(20.0), np.outer(np.linspace(-19, 19, 20), np.ones(20)), inside, levels)
    assert axes.texts


def test_table_of_turns_fits_a_terminal() -> None:
    lines = turns_text().splitlines()
    assert max(map(len, lines)) <= 80
    shares = {line.split()[0]: line.split()[2:] for line in lines if line.endswith("%")}
    assert shares["72"][3] == "0%" and shares["90"][0] == "0%" and set(shares["180"]) == {"100%"}
