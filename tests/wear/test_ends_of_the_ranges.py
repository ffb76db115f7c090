"""What is accepted is worked: numbers at the ends of their ranges, with both engines."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest

from wearsim.bench.toml_io import bench_from_table, programme_from_table
from wearsim.errors import InputError, TipsOffError
from wearsim.wear.accuracy import PlanarAccuracy
from wearsim.wear.predict import predict

BENCH: dict[str, dict[str, Any]] = {
    "mirror": {"diameter": "300 mm", "radius_of_curvature": "3 m"}, "lap": {"diameter": "300 mm", "mass": "4 kg"},
    "figure": {"conic": -1.0}, "hands": {},
}  # fmt: skip
SPELLS = [{"stroke": "w", "length": 0.3, "side_sweep": 0.1, "minutes": 5}]
COARSE = PlanarAccuracy(cells=32, poses=8)
ENDS: dict[str, tuple[str, dict[str, Any]]] = {
    "stiff pitch": ("lap", {"stiffness": "1e12 Pa/m"}),
    "stiff pitch, spherical": ("lap", {"stiffness": "1e12 Pa/m", "start": "spherical"}),
    "soft pitch": ("lap", {"stiffness": "1e6 Pa/m"}),
    "facets larger than the lap": ("lap", {"facet": "400 mm", "channel": "5 mm"}),
    "a lap of a tenth": ("lap", {"diameter": "30 mm"}),
    "a push of a tonne": ("hands", {"push": "1e4 N"}),
    "hands that shake": ("hands", {"centre_jitter": "40 mm", "length_jitter": 0.3}),
}


@pytest.mark.parametrize("end", ENDS)
@pytest.mark.parametrize("engine", ["radial", "planar"])
def test_the_contact_balances(engine: str, end: str) -> None:
    table, changes = ENDS[end]
    bench = bench_from_table({**BENCH, table: {**BENCH[table], **changes}})
    programme = programme_from_table({"spell": SPELLS}).check_on(bench)
    outcome = predict(bench, programme, engine, draws=0, planar=COARSE if engine == "planar" else None)
    assert np.isfinite(outcome.figure_error).all() and np.isfinite(outcome.removal).all()
    assert outcome.removal.min() >= 0.0 and outcome.removal.max() > 1e-9
    # every stroke carries its load somewhere: no less than if all of the lap carried it alike
    load, area = bench.load_on("tool", bench.laps[0]), np.pi * bench.laps[0].radius ** 2
    assert 0.9 * load / area < outcome.peak_pressure < np.inf


def test_a_load_nearer_to_the_rim_than_the_nodes_of_the_contact_tips() -> None:
    """A lap of 11 mm led by 5.25 mm of friction: between two offsets that balance lies one that does not."""
    mirror = {"diameter": "108.28 mm", "radius_of_curvature": "16.864 m", "hole": "5.27 mm", "thickness": "20 mm"}
    lap = {"diameter": "10.9646 mm", "mass": "15 kg"}
    bench = bench_from_table({"mirror": mirror, "lap": lap, "figure": {"conic": -1.0}})
    spell = {"stroke": "overhang", "minutes": 0.6, "length": 0.000378, "side_overhang": 0.000113}
    with pytest.raises(TipsOffError, match="spell 1: the top piece tips off at an offset of 0"):
        predict(bench, programme_from_table({"spell": [spell]}).check_on(bench), draws=0)


def test_a_start_figure_that_no_hand_could_polish_away_is_refused() -> None:
    """A conic of -43 at f/0.8 is 35 mm from the paraboloid: the lap touches it in a few nodes."""
    mirror = {"diameter": "1.22 m", "radius_of_curvature": "2.0 m", "thickness": "200 mm"}
    bench = bench_from_table({**BENCH, "mirror": mirror, "figure": {"conic": -43.0}})
    with pytest.raises(InputError, match=r"figure\.conic: too steep to be a figure error.*10 um per mm"):
        predict(bench, programme_from_table({"spell": SPELLS}).check_on(bench), draws=0)
