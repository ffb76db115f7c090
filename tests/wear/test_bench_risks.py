"""What a bench risks: sizes that are known, what they go by, and where a person is warned."""

from __future__ import annotations

import re
from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from tests.helpers.workbench import make_bench, make_programme, make_spell
from wearsim.bench.bench import Bench, Wear
from wearsim.bench.hands import Hands
from wearsim.bench.lap import Lap
from wearsim.bench.mirror import SUPPORTS, Mirror
from wearsim.figure.plate import Plate, on_points
from wearsim.show.risks import risks_text
from wearsim.wear.bench_risks import SUPPORT_RINGS, Risk, bench_risks, facet_contrast, give, large_risks
from wearsim.wear.warnings import warnings_for


def glass(thickness: float, material: str = "borosilicate", **rest: Any) -> Bench:
    bench = make_bench(0.3, 3.0, thickness=thickness, **rest)
    return bench.model_copy(update={"mirror": bench.mirror.model_copy(update={"glass": material})})


def risk(bench: Bench, name: str) -> Risk:
    return next(one for one in bench_risks(bench) if one.name == name)


def test_thin_glass_bends_across_a_diameter_as_easily_as_the_pitch() -> None:
    assert give(glass(0.025, stiffness=5e9)) == pytest.approx(1.0, abs=0.25)
    assert give(glass(0.05, stiffness=5e9)) < 0.15


def test_three_pads_print_a_thin_glass_and_spare_a_thick_one() -> None:
    thin, thick = (risk(glass(thickness), "support") for thickness in (0.025, 0.05))
    assert 40e-9 < thin.rms < 90e-9 and 8e-9 < thick.rms < 16e-9
    assert thin.is_large(550e-9) and not thick.is_large(550e-9)
    assert "support it on six pads" in thin.advice and f"expect another {thin.rms * 1e9:.0f} nm RMS" in thin.advice
    assert all("three pads, 105 mm from its centre" in one.words for one in (thin, thick))
    assert all("by a fifth of a turn" in one.advice for one in (thin, thick))


def test_pads_moved_in_are_in_the_advice_with_what_they_leave() -> None:
    thin = risk(glass(0.025), "support")
    found = re.search(r"move the three in to 75 mm \((\d+) nm\)", thin.advice)
    assert found is not None and float(found[1]) * 1e-9 < 0.55 * thin.rms


def test_a_fifth_of_a_turn_cancels_the_lobes_of_every_support() -> None:
    plate = Plate(0.15, 0.025, 63e9, 0.2)
    for rings in SUPPORT_RINGS.values():
        sag = on_points(plate, 100.0, rings)
        lobes = sag.height - sag.height.mean(axis=1, keepdims=True)
        turned = np.mean([np.roll(lobes, n * lobes.shape[1] // 5, axis=1) for n in range(5)], axis=0)
        left, whole = (np.sqrt(sag.weight @ np.mean(one**2, axis=1)) for one in (turned, lobes))
        assert left < 0.04 * whole  # what waves of 15 and more round the rim leave beside the pads


def test_the_support_that_a_bench_states_is_what_is_warned_of() -> None:
    def on(support: str) -> Risk:
        bench = glass(0.02)
        mirror = Mirror.model_validate({**bench.mirror.model_dump(), "support": support})
        return risk(bench.model_copy(update={"mirror": mirror}), "support")

    found = [on(support) for support in SUPPORTS]
    assert [one.rms for one in found] == sorted((one.rms for one in found), reverse=True)
    assert found[-1].rms == 0.0 and "an even layer" in found[-1].words and not found[-1].is_large(550e-9)
    assert "nine pads" in found[2].words and "mm and " in found[2].words
    assert not found[3].is_large(550e-9) and found[3].advice.startswith("these pads suffice")


def test_palms_warm_by_expansion_and_conduction() -> None:
    soda, borosilicate = (risk(glass(0.05, material), "palms") for material in ("soda-lime", "borosilicate"))
    assert soda.careless / borosilicate.careless == pytest.approx(3.1, abs=0.3)
    assert 200e-9 < soda.careless < 500e-9 and soda.rms < 0.1 * soda.careless
    hot = risk(glass(0.05, wear=Wear(temperature=33.0)), "palms")
    assert hot.rms == 0.0 and hot.careless == 0.0


def test_what_turning_cures_is_as_bad_as_it_gets_where_nothing_is_turned() -> None:
    held = glass(0.025, hands=Hands(hand_turn=1e8))
    for name in ("hands", "palms"):
        assert risk(held, name).rms == risk(held, name).careless == risk(glass(0.025), name).careless


def test_a_heavier_disc_bends_less() -> None:
    light, heavy = (risk(glass(0.04, mass=mass), "tool") for mass in (2.0, 6.0))
    assert light.rms > 10.0 * heavy.rms


def test_a_thin_disc_is_told_how_thick_it_should_be() -> None:
    bench = glass(0.04, mass=1.0)
    advice = risk(bench, "tool").advice
    assert advice.startswith("use a tool as stiff as glass ")
    thickness = float(advice.split()[7]) / 1e3
    grown = glass(0.04, mass=1.0 + 2500.0 * np.pi * 0.15**2 * (thickness - risk_thickness(bench)))
    assert not risk(grown, "tool").is_large(550e-9)


def risk_thickness(bench: Bench) -> float:
    return float(risk(bench, "tool").words.split("taken as glass ")[1].split()[0]) / 1e3


def test_a_line_only_where_it_matters_and_for_the_piece_on_top() -> None:
    thin, thick = glass(0.025), glass(0.05)
    assert [one.name for one in large_risks(thin, {"tool"})] == ["support"]
    assert large_risks(thin, {"mirror"}) == () and large_risks(thick, {"tool", "mirror"}) == ()


def test_the_warning_says_how_much_and_what_to_do() -> None:
    from wearsim.wear.predict import predict

    bench, programme = glass(0.025), make_programme(make_spell("one-third", minutes=1.0))
    outcome = predict(bench, programme, draws=0)
    (line,) = (line for line in warnings_for(bench, programme, outcome) if line.startswith("the mirror sags"))
    assert "nm RMS on the surface that the prediction leaves out; support it on six pads" in line


@pytest.mark.parametrize("offset", [(0.0, 0.0), (0.008, 0.003)])
def test_the_print_of_facets_is_that_of_a_lap_turned_and_stroked_at_random(
    offset: tuple[float, float], rng: Any
) -> None:
    """The share of random places of a random lap that lie on a facet, ring by ring."""
    lap, half, count = Lap(diameter=0.3, mass=4.0, channel_offset=offset), 0.02, 400_000
    contrast = facet_contrast(lap, 0.0, half)
    for radius in (0.0, 0.01, 0.02, 0.035):
        angle, heading = rng.uniform(0.0, 2.0 * np.pi, (2, count))
        along = rng.uniform(-half, half, count)
        x = radius * np.cos(angle) + along * np.cos(heading) - offset[0]
        y = radius * np.sin(angle) + along * np.sin(heading) - offset[1]
        period, facet = lap.facet + lap.channel, lap.facet / 2
        on = [np.abs(np.mod(axis + period / 2, period) - period / 2) < facet for axis in (x, y)]
        assert float(contrast(radius)[0]) == pytest.approx(np.mean(on[0] & on[1]) / lap.fraction - 1.0, abs=0.01)


def test_a_lap_without_channels_prints_nothing() -> None:
    assert risk(make_bench(0.3, 3.0, facet_shape="none"), "facets").rms == 0.0


def test_what_is_there_but_rounds_to_nothing_is_less_than_one() -> None:
    bench = glass(0.05)
    hands = risk(bench, "hands")
    assert 0.0 < hands.rms < 0.5e-9
    row = next(line for line in risks_text((hands,), 550e-9).splitlines() if "hands bend" in line)
    assert re.search(r"\s<1\s+8\s", row)
    nothing = replace(hands, rms=0.0, careless=0.0)
    assert "<1" not in risks_text((nothing,), 550e-9)
