"""Slips of the pen are warned of by row and zone, ordinary noise is not."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from wearsim.figure.conic import MirrorGeometry
from wearsim.knifeedge.longitudinal import Zones
from wearsim.knifeedge.readings import Readings, load_readings, parse_readings
from wearsim.knifeedge.reduction import reduce_readings
from wearsim.knifeedge.setting_noise import outliers

EXAMPLES = Path(__file__).parents[2] / "examples"
TUTORIAL = EXAMPLES / "tutorial" / "readings.toml"
EDGES = [[10.8, 42.2], [44.2, 60.1], [62.1, 74.3], [76.3, 86.5], [88.5, 97.5], [99.5, 107.5]]


def warned(sheet: Readings) -> list[str]:
    shape = 0.35 * sheet.zones.outer[-1] / sheet.zones.middle
    return list(outliers(sheet, shape, 0.2e-3 * shape))


@pytest.mark.parametrize(
    ("right", "slipped", "place"),
    [("5.03", "50.3", "row 1, zone 2: 50.3 mm is"), ("4.98]", "49.8]", "row 4, zone 6: 49.8 mm is 44.8 mm"),
     ("4.59", "9.54", "row 2, zone 3: 9.54 mm is"), ("4.97, 5.12", "0.497, 5.12", "row 3, zone 1")],
)  # fmt: skip
def test_a_slip_is_named_by_row_and_zone(right: str, slipped: str, place: str) -> None:
    text = TUTORIAL.read_text()
    assert text.count(right) == 1
    sheet = parse_readings(text.replace(right, slipped))
    reduced = reduce_readings(sheet, MirrorGeometry(2.42, radius=0.11, clear_radius=0.11))
    (line,) = [one for one in reduced.warnings if "slip of the pen" in one]
    assert line.startswith(f"readings, {place}")


def test_two_slips_do_not_hide_each_other() -> None:
    sheet = parse_readings(TUTORIAL.read_text().replace("5.03", "50.3").replace("4.79", "47.9"))
    assert [line[:24] for line in warned(sheet)] == ["readings, row 1, zone 2:", "readings, row 4, zone 5:"]


def test_of_two_rows_either_may_be_wrong() -> None:
    sheet = parse_readings("\n".join(TUTORIAL.read_text().replace("5.03", "50.3").splitlines()[:7]) + "\n]")
    assert sheet.repeats == 2
    assert warned(sheet) == []  # two rows of six zones are too few to judge by
    wide = Readings(Zones.from_radii(np.linspace(0.02, 0.1, 9)), np.zeros((2, 9)) + 1e-5 * np.arange(9))
    wide.positions[1, 3] += 0.01
    (line,) = warned(wide)
    assert line.startswith("readings, rows 1 and 2, zone 4: are 0.01 m apart")


@pytest.mark.parametrize("path", sorted(EXAMPLES.rglob("*.toml")), ids=lambda path: path.stem)
def test_the_repositorys_own_readings_have_none(path: Path) -> None:
    if "windows" in path.read_text():
        assert warned(load_readings(path)) == []


@pytest.mark.parametrize("sigma", [1e-5, 1e-4, 5e-4])
@pytest.mark.parametrize("rows", [2, 3, 4, 8])
def test_ordinary_noise_is_not_warned_of(rows: int, sigma: float) -> None:
    zones = Zones.from_windows(np.array(EDGES) * 1e-3)
    for seed in range(25):
        rng = np.random.default_rng(np.random.SeedSequence(entropy=seed, spawn_key=(rows,)))
        noise = sigma * 0.0385 / zones.middle * rng.standard_normal((rows, len(zones)))
        positions = zones.middle**2 / 4.84 + rng.uniform(-3e-3, 3e-3, (rows, 1)) + noise
        turned = None if seed % 2 else rng.choice([0.0, np.pi / 2], rows)
        assert warned(Readings(zones, positions, orientation=turned)) == []


def test_astigmatism_is_no_slip() -> None:
    zones = Zones.from_windows(np.array(EDGES) * 1e-3)
    rng = np.random.default_rng(3)
    angle = np.array([0.0, np.pi / 2] * 3)
    uneven = np.cos(2 * angle)[:, None] * np.linspace(0.0, 5e-3, len(zones))
    positions = uneven + 2e-5 * rng.standard_normal((6, len(zones)))
    assert warned(Readings(zones, positions, orientation=angle)) == []
    positions[4, 2] += 0.02
    assert [line[:24] for line in warned(Readings(zones, positions, orientation=angle))] == ["readings, row 5, zone 3:"]
