"""The readings of the tutorial's mirror, made up: a true surface, true constants, a seed.

``python examples/tutorial/make_readings.py`` writes ``readings.toml`` and ``after.toml`` beside it. The mirror's
own constants differ from the bench's within its stated spread; the tutorial does not know them.
"""

from __future__ import annotations

from pathlib import Path

import numpy as np

import wearsim as ws
from wearsim.bench.bench import Bench
from wearsim.bench.figure_source import FigureSource
from wearsim.figure.conic import Conic
from wearsim.knifeedge.longitudinal import Zones, zone_readings
from wearsim.knifeedge.setting_noise import STATED_AT
from wearsim.wear.accuracy import DEFAULT
from wearsim.wear.constants import Constants
from wearsim.wear.radial.engine import RadialEngine
from wearsim.wear.state import glass_grid, start_state

FOLDER = Path(__file__).resolve().parent
TRUE = Constants(preston=0.72, stiffness=1.3, relaxation_time=1.4, edge_gain=0.8)
PRESSED = ws.Spell(stroke="press", minutes=10.0)
"""How the lap was pressed before the first spell: by the weight of the tool."""
SETTING, ROWS, WINDOWS, SEED = 0.04e-3, 4, 6, 20261025


def true_height(bench: Bench, radius: np.ndarray) -> np.ndarray:
    """The glass that nobody knows: half way to the paraboloid, a hill, a faint ring [m]."""
    a, curve = bench.mirror.radius, bench.mirror.radius_of_curvature
    hill = 45e-9 * np.exp(-((radius / (0.28 * a)) ** 2))
    ring = 18e-9 * np.exp(-(((radius - 0.72 * a) / (0.1 * a)) ** 2))
    return Conic(curve, -0.62).departure(radius) + hill + ring


def sheet(
    bench: Bench, zones: Zones, radius: np.ndarray, height: np.ndarray, rng: np.random.Generator, about: str
) -> str:
    """Readings of a glass as they would be written down."""
    mirror = bench.mirror
    error = mirror.geometry.figure_error(radius, height)
    spread = SETTING * STATED_AT * mirror.radius / zones.middle
    rows = zone_readings(zones, radius, error, mirror.geometry) + spread * rng.standard_normal((ROWS, len(zones)))
    rows = 1e3 * (rows - rows[:, :1]) + rng.uniform(3.0, 6.0, (ROWS, 1))
    windows = ", ".join(f"[{1e3 * i:.1f}, {1e3 * o:.1f}]" for i, o in zip(zones.inner, zones.outer, strict=True))
    lines = [f"    [{', '.join(f'{value:.2f}' for value in row)}]," for row in rows]
    return "\n".join([
        f"# {about} Invented, like the mirror (examples/tutorial/make_readings.py).",
        'source = "moving"', 'length_unit = "mm"',
        f"windows = [{windows}]", "readings = [", *lines, "]", "",
    ])  # fmt: skip


def main() -> None:
    """Write both sheets."""
    bench = ws.load_bench(FOLDER / "bench.toml").model_copy(update={"figure": FigureSource(conic=0.0)})
    spells = ws.load_programme(FOLDER / "done.toml", bench).spells
    done = ws.Programme(spells=(PRESSED, *spells))
    made, rng = (
        ws.design_mask(WINDOWS, bench.mirror.geometry, bench.light.wavelength).zones,
        np.random.default_rng(SEED),
    )
    zones = Zones(np.round(made.inner, 4), np.round(made.outer, 4))
    radius = glass_grid(bench.mirror, DEFAULT)
    before = true_height(bench, radius)
    after = RadialEngine().run(bench, done, start_state(bench, radius, before, DEFAULT), TRUE).end.height
    for name, height, about in (
        ("readings", before, "Readings before the first session."),
        ("after", after, "Readings after the first session."),
    ):
        text = sheet(bench, zones, radius, height, rng, about)
        (FOLDER / f"{name}.toml").write_text(text, encoding="utf-8")


if __name__ == "__main__":
    main()
