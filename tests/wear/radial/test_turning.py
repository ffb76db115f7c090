"""A machine's turning and the exponents of the law of wear, in the radial engine, against closed forms."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest

from tests.helpers.flat_wear import STILL, flat_removal
from tests.helpers.workbench import STEADY, flat_state, make_bench, make_spell, pitch_of, work_spell
from wearsim.bench.bench import Wear
from wearsim.bench.hands import REFERENCE_SPEED
from wearsim.bench.lap import REFERENCE_PRESSURE
from wearsim.wear.accuracy import DEFAULT
from wearsim.wear.radial.offset_basis import offset_basis, path_matrix
from wearsim.wear.radial.path_weights import speed_law

AT_REST = 1e-4  # of the diameter: a stroke too short to see, once a minute
SPIN = 2.0 * np.pi * 7.0 / 60.0


def turning(top: float = 0.0, stand: float = 0.0) -> Any:
    """Steady hands on a machine: turns per minute."""
    return STEADY.model_copy(update={"top_turns": top, "stand_turns": stand})


def flat_bench(hands: Any, lap: float = 0.3, **wear: Any) -> Any:
    return make_bench(0.3, 3.0, lap, hands=hands, wear=Wear(edge_gain=0.0, **wear))


def orbit_share(r: Any, lap: float, apart: float) -> Any:
    """Share of a turn for which a ring of the mirror is under a lap whose centre is ``apart``."""
    cosine = (r**2 + apart**2 - lap**2) / (2.0 * np.maximum(r, 1e-12) * apart)
    return np.arccos(np.clip(cosine, -1.0, 1.0)) / np.pi


def mean_pressure(bench: Any, on_top: str) -> float:
    return float(bench.load_on(on_top, bench.lap()) / (np.pi * min(bench.lap().radius, bench.mirror.radius) ** 2))


@pytest.mark.parametrize(("top", "stand"), [(7.0, 0.0), (0.0, 7.0), (-7.0, 0.0)])
@pytest.mark.parametrize("on_top", ["tool", "mirror"])
def test_spin_alone_wears_as_the_radius(top: float, stand: float, on_top: str) -> None:
    """dz/dt = k p w r. Preston, J. Soc. Glass Technology 11 (1927) 214 [memory; derived]."""
    bench = flat_bench(turning(top, stand), 0.32)
    radius, rate, _ = flat_removal(bench, make_spell("straight", on_top, length=AT_REST, rate=1.0))
    assert rate / mean_pressure(bench, on_top) == pytest.approx(SPIN * radius, abs=2e-4 * SPIN * 0.15)


def test_orbiting_lap() -> None:
    """dz/dt = k p w e c(r), even pressure. Preston 1927 [memory; derived]."""
    lap, apart = 0.16, 0.05
    bench = flat_bench(turning(), lap)
    stroke = make_spell("oval", length=2.0 * apart / 0.3, side_sweep=apart / 0.3, rate=50.0)
    radius, rate, speed = flat_removal(bench, stroke)
    assert speed == pytest.approx(2.0 * np.pi * 50.0 / 60.0 * apart, rel=1e-6)
    found = rate / mean_pressure(bench, "tool") / speed
    assert found == pytest.approx(orbit_share(radius, lap / 2, apart), abs=2e-3)


@pytest.mark.parametrize("turns", [7.0, -7.0])
def test_equal_spin_gives_one_speed_everywhere(turns: float) -> None:
    """Both pieces spin at one rate w, axes e apart: the relative speed is w e. Preston 1927 [memory; derived]."""
    lap, apart = 0.16, 0.05
    bench = flat_bench(turning(turns, turns), lap)
    radius, rate, speed = flat_removal(bench, make_spell("overhang", length=AT_REST, side_overhang=apart / 0.3))
    assert speed == pytest.approx(SPIN * apart, rel=1e-4)
    found = rate / mean_pressure(bench, "tool") / (SPIN * apart)
    assert found == pytest.approx(orbit_share(radius, lap / 2, apart), abs=2e-3)


def test_spin_about_axes_apart_against_the_plane() -> None:
    """A lap that turns about its own centre beside the mirror's: v = w |x - c|, summed over the plane."""
    lap, apart = 0.16, 0.05
    bench = flat_bench(turning(7.0), lap)
    radius, rate, _ = flat_removal(bench, make_spell("overhang", length=AT_REST, side_overhang=apart / 0.3))
    angle = 2.0 * np.pi * (np.arange(3600) + 0.5) / 3600
    away = np.abs(radius[:, None] * np.exp(1j * angle) - apart)
    wanted = np.mean(np.where(away < lap / 2, SPIN * away, 0.0), axis=1)
    # the tip of the cone lies between the places at which the speed is tabulated: the worst there is
    assert rate / mean_pressure(bench, "tool") == pytest.approx(wanted, abs=0.016 * wanted.max())


@pytest.mark.parametrize(("m", "n"), [(1.25, 1.0), (1.0, 0.75), (1.25, 0.75), (0.75, 1.25), (1.0, 0.0)])
def test_exponents_under_even_pressure(m: float, n: float) -> None:
    """Spin alone: k p^m v^n with p the mean pressure and v = w r, as stated at 1 kPa and 0.1 m/s."""
    bench = flat_bench(turning(7.0), 0.32, pressure_exponent=m, speed_exponent=n)
    radius, rate, _ = flat_removal(bench, make_spell("straight", length=AT_REST, rate=1.0))
    p, v = mean_pressure(bench, "tool") / REFERENCE_PRESSURE, SPIN * radius / REFERENCE_SPEED
    wanted = REFERENCE_PRESSURE * REFERENCE_SPEED * p**m * v**n
    away = radius > 0.025  # v^n is steepest at the middle, where the table is linear
    assert rate[away] == pytest.approx(wanted[away], abs=6e-3 * wanted.max())


def test_exponents_of_a_slanting_pressure() -> None:
    """Equal discs a little apart: p is linear across them, and the ring means of its power come out."""
    bench = flat_bench(turning(7.0, 7.0), pressure_exponent=1.4)
    apart = 0.05
    radius, rate, _ = flat_removal(bench, make_spell("overhang", length=AT_REST, side_overhang=apart / 0.3))
    force = bench.load_on("tool", bench.lap())
    x, y = np.meshgrid(*[np.linspace(-0.15, 0.15, 1601)] * 2)
    under = (np.hypot(x, y) < 0.15) & (np.hypot(x - apart, y) < 0.15)
    area = (x[0, 1] - x[0, 0]) ** 2
    moments = area * np.array([[under.sum(), x[under].sum()], [x[under].sum(), (x[under] ** 2).sum()]])
    level, slope = np.linalg.solve(moments, [force, force * apart])
    place = radius[:, None] * np.exp(2j * np.pi * (np.arange(3600) + 0.5) / 3600)
    pressure = np.where(np.abs(place - apart) < 0.15, np.maximum(0.0, level + slope * place.real), 0.0)
    wanted = REFERENCE_PRESSURE * np.mean((pressure / REFERENCE_PRESSURE) ** 1.4, axis=1) * SPIN * apart
    assert rate == pytest.approx(wanted, abs=3e-3 * wanted.max())


def test_edge_effect_is_raised_with_the_pressure() -> None:
    """A large lap, spin alone: at the rim the pressure is 1 + g times that inside, the wear (1 + g)^m times."""
    hands, wear = turning(7.0), Wear(edge_gain=0.5, edge_length=0.004, pressure_exponent=1.5)
    bench = make_bench(0.3, 3.0, 0.34, hands=hands, wear=wear)
    radius, rate, _ = flat_removal(bench, make_spell("straight", length=AT_REST, rate=1.0))
    inside = rate[radius < 0.1][-1] / radius[radius < 0.1][-1]
    assert rate[-1] / radius[-1] / inside == pytest.approx(1.5**1.5, rel=5e-3)


def test_stiffness_grows_with_the_mean_pressure_and_flow_does_not() -> None:
    spell = make_spell("one-third", minutes=1.0)
    plain, stiffening = make_bench(hands=STEADY), make_bench(hands=STEADY, stiffness_exponent=1.0)
    ratio = stiffening.load_on("tool", stiffening.lap()) / (np.pi * 0.15**2 * REFERENCE_PRESSURE)
    assert stiffening.lap().stiffening_under(stiffening.load_on("tool", stiffening.lap()), 0.15) == pytest.approx(ratio)
    # the same as a bed that much stiffer, whose time is that much shorter
    stated = make_bench(hands=STEADY, stiffness=5e9 * ratio, relaxation_time=300.0 / ratio)
    bump = [flat_state(bench) for bench in (stiffening, stated)]
    for state in bump:
        state.height[:] = 200e-9 * np.exp(-(((state.radius / 0.15 - 0.7) / 0.1) ** 2))
    ours, theirs = (work_spell(b, spell, s)[0] for b, s in zip((stiffening, stated), bump, strict=True))
    assert ours.height == pytest.approx(theirs.height, abs=1e-15)
    assert pitch_of(stiffening, ours).height == pytest.approx(pitch_of(stated, theirs).height, abs=1e-15)
    other = work_spell(plain, spell, bump[0])[0]
    assert np.ptp(other.height - ours.height) > 1e-10


@pytest.mark.parametrize("on_top", ["tool", "mirror"])
def test_basis_and_engine_agree_with_everything_on(on_top: str) -> None:
    """The library's wear of a stroke, from its basis, is the engine's at the start of a spell."""
    hands = turning(5.0, -3.0).model_copy(update={"push_height": 0.035, "length_jitter": 0.06})
    wear = Wear(pressure_exponent=1.25, speed_exponent=0.75)
    bench = make_bench(hands=hands, wear=wear, stiffness_exponent=0.5)
    state = flat_state(bench)
    spell = make_spell("w", on_top, length=0.4, side_sweep=0.15)
    basis = offset_basis(bench, state, on_top, bench.lap(), constants=STILL, count=96)
    strokes = [spell.stroke_on(0.3)]
    weights = path_matrix(strokes, (0.06, 0.0), basis.offset, basis.cases, on_top, DEFAULT, speed_law(bench))
    _, rate, _ = flat_removal(bench, spell)
    assert basis.wear(weights, 1.0)[0] == pytest.approx(rate, abs=5e-3 * rate.max())
