"""Properties that physics gives for free."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tests.helpers.workbench import make_bench, make_programme, make_spell, pitch_of, start, work, work_spell
from wearsim.bench.bench import Wear
from wearsim.bench.fields import Extent
from wearsim.bench.hands import Hands
from wearsim.wear.accuracy import DEFAULT
from wearsim.wear.constants import Constants

NO_CREEP = 1e12
FINE = replace(DEFAULT, tolerance=2e-4)


def share(low: int, high: int) -> st.SearchStrategy[float]:
    return st.integers(low, high).map(lambda n: n / 100)


@st.composite
def spells(draw: Any) -> Any:
    kind = draw(st.sampled_from(["straight", "one-third", "overhang", "w", "oval"]))
    extents = {} if kind == "one-third" else {"length": draw(share(10, 45))}
    if kind in ("w", "oval"):
        extents["side_sweep"] = draw(share(2, 15))
    if kind == "overhang":
        extents["side_overhang"] = draw(share(2, 15))
    on_top = draw(st.sampled_from(["tool", "mirror"]))
    return make_spell(kind, on_top, draw(st.sampled_from([1.0, 7.0, 20.0])), **extents)


@st.composite
def errors(draw: Any) -> Any:
    """A round figure error, up to many times what the load presses the pitch together."""
    height, waves, phase = draw(share(0, 100)) * 1e-6, draw(share(100, 2000)), draw(share(0, 600))
    return lambda t: height * np.cos(waves * t + phase)


def removed(bench: Any, spell: Any, error: Any, constants: Any = None, accuracy: Any = DEFAULT) -> Any:
    state = start(bench, accuracy, error=error)
    after, _ = work_spell(bench, spell, state, constants=constants or Constants(), accuracy=accuracy)
    return state.height - after.height


@settings(max_examples=40)
@given(spells(), errors(), st.sampled_from([0.6, 1.0, 1.2]), st.sampled_from(["pressed", "spherical"]))
def test_removal_is_never_negative(spell: Any, error: Any, lap: float, began: str) -> None:
    bench = make_bench(lap=0.3 * lap, start=began)
    state = start(bench, error=error)
    after, report = work_spell(bench, spell, state)
    assert np.all(after.height <= state.height)
    assert np.all(pitch_of(bench, after).height <= pitch_of(bench, state).height)
    assert report.imbalance < 1e-9
    assert 0.0 <= report.lift_off_share < 1.0


@settings(max_examples=15)
@given(spells(), errors(), st.integers(2, 50))
def test_linear_in_k_and_in_time_while_glass_and_lap_stand_still(spell: Any, error: Any, times: int) -> None:
    bench = make_bench()
    one = replace(DEFAULT, steps=1)
    still = Constants(preston=1e-6, relaxation_time=NO_CREEP)
    base = removed(bench, spell, error, still, one)
    faster = removed(bench, spell, error, replace(still, preston=1e-6 * times), one)
    longer = removed(bench, spell.model_copy(update={"minutes": spell.minutes * times}), error, still, one)
    # what is left of the removal's own effect on the pressure, and rounding of heights near a micrometre
    allowed = 2e-3 * times * base.max() + 1e-20
    assert faster == pytest.approx(times * base, abs=allowed)
    assert longer == pytest.approx(times * base, abs=allowed)


def test_no_spells_change_nothing() -> None:
    bench = make_bench()
    state = start(bench, error=lambda t: 1e-7 * np.cos(9 * t))
    worked = work(bench, make_programme(), state)
    assert worked.end == state


@settings(max_examples=15)
@given(spells(), errors(), share(10, 90))
def test_splitting_a_spell_changes_nothing(spell: Any, error: Any, part: float) -> None:
    bench = make_bench()
    state = start(bench, FINE, error=error)
    whole = work(bench, make_programme(spell), state, accuracy=FINE).end
    halves = [spell.model_copy(update={"minutes": m * spell.minutes}) for m in (part, 1.0 - part)]
    parts = work(bench, make_programme(*halves), state, accuracy=FINE).end
    gone = state.height - whole.height
    assert parts.height == pytest.approx(whole.height, abs=2e-3 * gone.max())
    moved = np.ptp(pitch_of(bench, state).height - pitch_of(bench, whole).height)
    assert pitch_of(bench, parts).height == pytest.approx(pitch_of(bench, whole).height, abs=4e-3 * moved)


@settings(max_examples=15)
@given(spells(), errors())
def test_double_k_for_half_the_time_without_creep(spell: Any, error: Any) -> None:
    bench = make_bench()
    slow = removed(bench, spell, error, Constants(relaxation_time=NO_CREEP), FINE)
    half = spell.model_copy(update={"minutes": spell.minutes / 2})
    fast = removed(bench, half, error, Constants(preston=2.0, relaxation_time=NO_CREEP), FINE)
    assert fast == pytest.approx(slow, abs=1e-3 * slow.max())


@settings(max_examples=15)
@given(spells(), errors(), st.sampled_from([0.37, 0.5, 2.0, 3.1]), st.sampled_from([0.4, 2.5]))
def test_scaling_the_whole_bench(spell: Any, error: Any, s: float, p: float) -> None:
    """Lengths x s, pressures x p, heights x h, the stroke's rate kept.

    From p = kappa (d + b.x + w + u), dw/dt = -k p v and du/dt = -p / (kappa tau): with kappa x p / h, force
    x p s^2, and speeds x s at the same rate, w goes as h where k x h / (p s), and u where tau is the same.
    """
    h = 1.7
    small, large = (
        make_bench(
            0.3 * z, 3.0 * z, hole=0.03 * z, conic=0.0, stiffness=kappa, mass=mass, pitch_thickness=0.005 * z,
            wear=Wear(preston=k, edge_gain=0.4), thickness=0.04 * z,
            hands=Hands(push=push, push_height=0.035 * z, centre_jitter=0.002 * z),
        )
        for z, kappa, k, mass, push in (
            (1.0, 5e9, 8e-13, 4.0, 30.0),
            (s, 5e9 * p / h, 8e-13 * h / (p * s), 4.0 * p * s**2, 30.0 * p * s**2),
        )
    )  # fmt: skip
    if spell.on_top == "mirror":  # the load is what counts: the glass's weight goes as s^3
        weight = (small.load_on("mirror", small.lap(), push=0.0), large.load_on("mirror", large.lap(), push=0.0))
        load = 100.0
        one = spell.model_copy(update={"push": load - weight[0]})
        two = spell.model_copy(update={"push": load * p * s**2 - weight[1]})
    else:
        one = two = spell
    first = removed(small, one, error)
    second = removed(large, two, lambda t: h * error(t))
    assert second / h == pytest.approx(first, abs=1e-6 * first.max())


def test_lengths_as_fractions_or_metres_are_the_same() -> None:
    bench = make_bench()
    one = make_spell("w", length=0.5, side_sweep=0.2)
    metres = {"length": Extent(0.15, relative=False), "side_sweep": Extent(0.06, relative=False)}
    two = one.model_copy(update=metres)
    flat = lambda t: 0.0 * t  # noqa: E731
    assert np.array_equal(removed(bench, one, flat), removed(bench, two, flat))
