"""Each warning from a bench that deserves it, and not from one that does not."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from tests.helpers.workbench import STEADY, make_bench, make_programme, make_spell
from wearsim.bench.bench import Spread
from wearsim.bench.hands import Hands
from wearsim.bench.units import POUND, POUND_FORCE
from wearsim.wear.accuracy import DEFAULT, PlanarAccuracy
from wearsim.wear.bench_risks import round_give
from wearsim.wear.outcome import Band
from wearsim.wear.planar.engine import PlanarEngine
from wearsim.wear.predict import predict
from wearsim.wear.warnings import EDGE_AT_WORST, lift_off_by_tilt, mistrust, warnings_for

QUICK = replace(DEFAULT, glass_rings=32, pitch_rings=24, offsets=10, draws=64)


def warnings(bench: Any, *spells: Any, draws: int = 0) -> tuple[str, ...]:
    return predict(bench, make_programme(*spells), accuracy=QUICK, draws=draws).warnings


def said(lines: tuple[str, ...], words: str) -> bool:
    return any(words in line for line in lines)


GENTLE = make_spell("one-third", minutes=5.0)


def test_a_sound_bench_draws_no_warning() -> None:
    assert warnings(make_bench(0.2, 2.4, glass=-1.0, thickness=0.03), GENTLE) == ()


LONG_W = {"on_top": "mirror", "length": 0.75, "side_sweep": 0.25}


def test_edge() -> None:
    bench = make_bench(0.2, 2.4, thickness=0.03)
    assert said(warnings(bench, make_spell("w", minutes=60.0, **LONG_W)), "edge roll: turned down by")
    assert not said(warnings(bench, make_spell("w", minutes=10.0, **LONG_W)), "edge")


def test_edge_of_an_unlucky_draw() -> None:
    spread = Spread(preston=1.3, stiffness=1.5, relaxation_time=1.0, edge_gain=1.0)
    bench = make_bench(0.2, 2.4, thickness=0.03, spread=spread)
    lines = warnings(bench, make_spell("w", minutes=38.0, **LONG_W), draws=24)
    (line,) = (line for line in lines if line.startswith(f"{EDGE_AT_WORST} the edge ends up turned down by"))
    before = predict(bench, make_programme(GENTLE), accuracy=QUICK, draws=0).numbers_before
    now, rim = before.edge_roll, before.rim_height
    against = " from the slope just inside it" if now * rim < 0.0 else ")"
    assert f"(now turned {'up' if now > 0.0 else 'down'} by {abs(now) * 1e9:.0f} nm{against}" in line
    assert not said(lines, "edge roll: turned down")


def test_an_edge_that_turns_up_is_told_as_one_that_turns_down() -> None:
    bench, programme = make_bench(0.2, 2.4, thickness=0.03), make_programme(GENTLE)
    done = predict(bench, programme, accuracy=QUICK, draws=0)
    up = replace(done, numbers=replace(done.numbers, edge_roll=150e-9))
    assert said(warnings_for(bench, programme, up), "edge roll: turned up by 150 nm")
    band = Band(np.zeros((2, 1)), {"edge_roll": np.array([-10e-9, 90e-9])}, draws=4)
    (line,) = (line for line in warnings_for(bench, programme, replace(done, band=band)) if line.startswith("edge"))
    assert line.startswith(f"{EDGE_AT_WORST} the edge ends up turned up by 90 nm or more on the surface (now ")


def test_an_edge_up_from_a_falling_slope_is_not_taken_for_a_high_rim() -> None:
    bench, programme = make_bench(0.2, 2.4, thickness=0.03), make_programme(GENTLE)
    done = predict(bench, programme, accuracy=QUICK, draws=0)
    for rim, words in (
        (-162e-9, " from the slope just inside it, while the rim as a whole is 162 nm low); "),
        (50e-9, "); "),
    ):
        before = replace(done.numbers_before, edge_roll=48e-9, rim_height=rim)
        up = replace(done, numbers_before=before, numbers=replace(done.numbers, edge_roll=150e-9))
        (line,) = (line for line in warnings_for(bench, programme, up) if line.startswith("edge"))
        assert f"(now turned up by 48 nm{words}" in line


def test_lap_that_does_not_conform() -> None:
    rough = make_bench(0.2, 2.4, glass=12.0, start="spherical", thickness=0.03)
    assert said(warnings(rough, GENTLE), "the lap does not fit")
    followed = make_bench(0.2, 2.4, glass=12.0, start="pressed", thickness=0.03)
    assert not said(warnings(followed, make_spell("straight", minutes=5.0, length=0.1)), "conform")


def test_a_lap_that_is_only_tilted_conforms() -> None:
    bench = make_bench(0.2, 2.4, thickness=0.03)
    spell = make_spell("overhang", minutes=2.0, on_top="mirror", length=0.1, side_overhang=0.38)
    outcome = predict(bench, make_programme(spell), accuracy=QUICK, draws=0)
    assert outcome.spells[0].lift_off_share > 0.3
    assert lift_off_by_tilt(bench, spell) == pytest.approx(outcome.spells[0].lift_off_share, abs=0.03)
    assert not said(outcome.warnings, "conform")


def test_near_tipping() -> None:
    bench = make_bench(0.2, 2.4, hands=STEADY, thickness=0.03)
    assert said(warnings(bench, make_spell("straight", length=0.93)), "near tipping: the stroke reaches 93 mm")
    assert not said(warnings(bench, make_spell("straight", length=0.85)), "tipping")


def test_strokes_left_out() -> None:
    hands = Hands(length_jitter=0.1, centre_jitter=0.002, push_height=0.0)
    bench = make_bench(0.2, 2.4, hands=hands, thickness=0.03)
    assert said(warnings(bench, make_spell("straight", length=0.85)), "% of the strokes would tip")
    assert not said(warnings(bench, make_spell("straight", length=0.4)), "would tip")


def test_thin_glass_says_from_where() -> None:
    thin = make_bench(0.4, 4.0, thickness=0.02)
    lines = [line for line in warnings(thin, GENTLE) if line.startswith("glass:")]
    assert len(lines) == 1
    enough = float(lines[0].split("assumes; about ")[1].split(" mm")[0]) / 1e3
    for thickness, warned in ((1.02 * enough, False), (0.97 * enough, True)):
        assert said(warnings(make_bench(0.4, 4.0, thickness=thickness), GENTLE), "glass:") is warned


def test_bending_is_that_of_a_thin_plate() -> None:
    # kappa / (D q^4), D = E t^3 / (12 (1 - nu^2)): twice as thick bends 8 times less, twice as wide 16 times more
    base, thick, wide = (
        round_give(make_bench(d, 1.5e3 * d, thickness=t, stiffness=5e9))
        for d, t in ((0.3, 0.03), (0.3, 0.06), (0.6, 0.03))
    )
    assert base / thick == pytest.approx(8.0, rel=2e-3)
    assert wide / base == pytest.approx(16.0, rel=2e-3)
    rigidity = 64e9 * 0.03**3 / (12 * (1 - 0.2**2))
    assert base == pytest.approx(5e9 / (rigidity * (3.0 / 0.15) ** 4), rel=2e-3)


def test_heavy_piece_on_top() -> None:
    bench = make_bench(0.5, 4.0, mass=12.0, thickness=0.08)  # a mirror of 34 kg, a tool of 12 kg
    assert bench.mirror.piece_mass > 20.0
    mirror, tool = (make_spell("one-third", on_top, 5.0) for on_top in ("mirror", "tool"))
    assert said(warnings(bench, mirror), "weight: the mirror on top weighs")
    assert not said(warnings(bench, tool), "weight")
    assert np.ceil(bench.mirror.piece_mass) == float(
        next(w for w in warnings(bench, mirror) if "weight" in w).split("weighs ")[1].split(" kg")[0]
    )


def test_numbers_that_are_not_to_be_trusted_are_said_to_be_so_first() -> None:
    from wearsim.show.outcome import outcome_text

    bench, programme = make_bench(), make_programme(make_spell("one-third", minutes=1.0))
    outcome = predict(bench, programme, accuracy=QUICK, draws=0)
    assert mistrust(outcome) == () and "Do not trust" not in outcome_text(bench, programme, outcome)
    (spell,) = outcome.spells
    for change, reason in (
        ({"left_out": 0.379}, "38% of the strokes would tip"),
        ({"peak_pressure": 212e3}, "212 kPa"),
    ):
        spoiled = replace(outcome, spells=(replace(spell, **change),))
        first = outcome_text(bench, programme, spoiled).partition("\n\n")[0]
        assert first.startswith("Do not trust these numbers: spell 1: ") and reason in " ".join(first.split())


def test_a_figure_that_no_tester_reads_is_questioned() -> None:
    assert said(warnings(make_bench(0.2, 2.4, glass=-50.0, thickness=0.03), GENTLE), "is the unit right?")
    fast = make_bench(0.4, 1.6, glass=0.0, thickness=0.06)  # still a sphere, and microns from its paraboloid
    assert not said(warnings(fast, GENTLE), "is the unit right?")


def test_a_pressure_that_no_pitch_bears_is_named() -> None:
    bench, programme = make_bench(0.2, 2.4, glass=-1.0, thickness=0.03), make_programme(GENTLE)
    done = predict(bench, programme, accuracy=QUICK, draws=0)
    (spell,) = done.spells
    assert not said(warnings_for(bench, programme, done), "largest pressure")
    spotty = replace(done, spells=(replace(spell, peak_pressure=4.495e6),))
    assert said(
        warnings_for(bench, programme, spotty), "spell 1: largest pressure 4495 kPa: the load rests on a few high spots"
    )
    uncertain = bench.model_copy(
        update={"spread": Spread(preston=1.3, stiffness=1.5, relaxation_time=1.0, edge_gain=1.0)}
    )
    banded = predict(uncertain, programme, accuracy=QUICK, draws=8)
    assert banded.band is not None and not said(warnings_for(bench, programme, banded), "largest pressure")
    at_worst = replace(banded, band=replace(banded.band, stage_peak_pressure=np.array([[3e3, 2e6]])))
    assert said(
        warnings_for(bench, programme, at_worst), "in the worst 5% of cases the largest pressure reaches 2000 kPa"
    )


def test_channels_that_a_grid_cannot_resolve_are_named() -> None:
    programme = make_programme(GENTLE)
    for cells, channel, is_named in ((64, 0.006, True), (128, 0.006, False), (64, 0.010, False)):
        bench = make_bench(0.3, 3.0)
        lap = bench.laps[0].model_copy(update={"channel": channel, "facet_shape": "square"})
        said_of = PlanarEngine(PlanarAccuracy(cells=cells)).cautions(
            bench.model_copy(update={"laps": (lap,)}), programme
        )
        assert said(said_of, "use --cells 100 or more") is is_named
    bare = bench.model_copy(update={"laps": (lap.model_copy(update={"facet_shape": "none", "channel": 0.006}),)})
    assert PlanarEngine(PlanarAccuracy(cells=64)).cautions(bare, programme) == ()


def test_who_works_in_inches_reads_of_pounds_and_their_pressure() -> None:
    from wearsim.show.outcome import outcome_text

    bench, programme = make_bench(0.2, 2.4, glass=-1.0, thickness=0.03), make_programme(GENTLE)
    done = predict(bench, programme, accuracy=QUICK, draws=0)
    spotty = replace(done, spells=(replace(done.spells[0], peak_pressure=200.0 * POUND_FORCE / 0.0254**2),))
    inches = replace(spotty, bench_text='[mirror]\ndiameter = "8 in"\n')
    in_inches = bench.model_copy(update={"text": inches.bench_text})
    assert said(warnings_for(in_inches, programme, inches), "largest pressure 200 psi")
    assert "up to 200 psi" in mistrust(inches)[0] and "kPa" not in outcome_text(bench, programme, inches)
    assert "psi" in outcome_text(bench, programme, inches) and "psi" not in outcome_text(bench, programme, spotty)
    heavy = make_bench(0.5, 4.0, mass=12.0, thickness=0.08).model_copy(update={"text": inches.bench_text})
    lines = warnings_for(heavy, make_programme(make_spell("one-third", "mirror", 5.0)), done)
    assert said(lines, f"the mirror on top weighs {np.ceil(heavy.mirror.piece_mass / POUND):.0f} lb:")
