"""How far is the shape of real removal from the engine's, with the right constants? What the discrepancy is settled on.

    python -m tests.benchmarks.shape_difference --count 40

Mirrors of independent_glass.py with everything in which it differs from the model, one session by hand each. The engine
works the same session with the true constants and the hands' own habits. From what is left the sizes of the spells and
the shapes of the lap's misfit are taken off, as far as their spreads allow. Then what is finer than a tenth of the radius,
inside nine tenths of it, is laid beside what it could go by: a Student distribution of four degrees of freedom whose
sigma is the root of a sum of squares, each a share of one of them. The numbers are in docs/learning.md.
"""

from __future__ import annotations

import argparse
from typing import NamedTuple

import numpy as np
from scipy.optimize import minimize
from scipy.stats import t

from tests.benchmarks import real_glass_coverage as coverage
from tests.benchmarks.independent_glass import departure
from tests.benchmarks.real_glass_coverage import draw_mirror, glass_of, programme_by_hand, stream
from wearsim.kernels.arrays import Floats
from wearsim.learn.session_filter import LEARNING
from wearsim.wear.constants import Constants
from wearsim.wear.discrepancy import LAP_MODES, UNSAID, Discrepancy, lap_shapes
from wearsim.wear.radial.engine import RadialEngine
from wearsim.wear.state import glass_grid, start_state

OWN = Discrepancy()
INSIDE, FREEDOM, LEAST = 0.92, 4, 0.3e-9
SHARES = ("mean", "RMS about the mean", "difference from the mean", "difference from nearby")


class Difference(NamedTuple):
    """Of one mirror at shares ``x`` of its radius (n,): glass less engine, the removal, what else may explain it [m]."""

    x: Floats
    left: Floats
    removal: Floats
    explained: Floats  # (m, n), one sigma each


def difference(seed: int) -> Difference:
    """One session, worked by both."""
    drawn = draw_mirror(seed)
    glass, bench, engine = glass_of(drawn, seed, "real"), drawn.bench, RadialEngine(LEARNING)
    programme = programme_by_hand(stream(seed, coverage.PROGRAMMES, 1))
    radius = glass_grid(bench.mirror, LEARNING)
    before = glass.profile(radius) + departure(bench, radius)
    true = {name: getattr(glass.constants, name) for name in ("preston", "stiffness", "relaxation_time", "edge_gain")}
    constants = Constants(**true, stroke_length=glass._length, overhang_bias=glass._overhang)

    def heights(mode: int | None = None) -> Floats:
        state = start_state(bench, radius, before, LEARNING)
        if mode is not None:
            state = engine.with_misfit(bench, state, lambda _, x: OWN.fresh_misfit * lap_shapes(x)[..., mode])
        state = engine.pressed(bench, state, [lap.name for lap in bench.laps], UNSAID, constants)
        return engine.run(bench, programme, state, constants).heights

    worked = heights()
    laps = [heights(mode)[-1] - worked[-1] for mode in range(LAP_MODES)]
    x = radius / radius[-1]
    size = float(np.hypot(OWN.spread, OWN.spell_spread))
    free = 1e-6 * np.stack([np.ones_like(x), x**2])
    glass.work(programme)
    left = glass.profile(radius) + departure(bench, radius) - worked[-1]
    explained = np.vstack([size * np.diff(worked, axis=0), laps, free])
    return Difference(x, left, before - worked[-1], explained)


def smoothed(x: Floats, values: Floats) -> Floats:
    """Mean nearby, as the discrepancy has it."""
    return OWN.nearby_mean(values, x)


def unexplained(one: Difference, about: float) -> Floats:
    """What sizes and laps leave, each held to its spread (n,) [m]."""
    weight = np.sqrt(one.x / one.x.sum()) * (one.x <= INSIDE + 0.05) * np.sqrt(20.0) / (0.03 * about)
    rows = np.vstack([(one.explained * weight).T, np.eye(len(one.explained))])
    found = np.linalg.lstsq(rows, np.append(one.left * weight, np.zeros(len(one.explained))), rcond=None)[0]
    return np.asarray(one.left - found @ one.explained)


def fine_rows(one: Difference) -> tuple[Floats, Floats]:
    """What is fine (k,), and what it could go by (4, k) [m]."""
    weight = one.x / one.x.sum()
    mean = float(weight @ one.removal)
    about = float(np.sqrt(weight @ (one.removal - mean) ** 2))
    left = unexplained(one, about)
    at = [int(np.abs(one.x - share).argmin()) for share in np.arange(0.05, INSIDE, 0.06)]
    by = (np.full_like(one.x, mean), np.full_like(one.x, about), one.removal - mean)
    by = (*by, one.removal - smoothed(one.x, one.removal))
    return (left - smoothed(one.x, left))[at], np.array(by)[:, at]


def fitted(fine: Floats, by: Floats) -> tuple[Floats, float]:
    """Shares of each of ``by`` (m, k) in the sigma of ``fine`` (k,), and the logarithm of the likelihood."""

    def unlikely(logs: Floats) -> float:
        sigma = np.sqrt(np.exp(2.0 * logs) @ by**2 + LEAST**2)
        return -float(np.sum(t.logpdf(fine / sigma, FREEDOM) - np.log(sigma)))

    found = minimize(unlikely, np.full(len(by), -4.0), method="Nelder-Mead")
    return np.exp(found.x), -float(found.fun)


def main() -> None:
    """Work the mirrors and print what fits."""
    parser = argparse.ArgumentParser(description=__doc__.split("\n")[0])
    parser.add_argument("--first", type=int, default=0)
    parser.add_argument("--count", type=int, default=40)
    given = parser.parse_args()
    rows = [fine_rows(difference(seed)) for seed in range(given.first, given.first + given.count)]
    fine, by = np.concatenate([one for one, _ in rows]), np.hstack([two for _, two in rows])
    for chosen in ((0,), (1,), (2,), (3,), (1, 3), (0, 1, 2, 3)):
        shares, likelihood = fitted(fine, by[list(chosen)])
        words = ", ".join(f"{share:.4f} of {SHARES[i]}" for i, share in zip(chosen, shares, strict=True))
        print(f"{words}: log-likelihood {likelihood:.0f}")


if __name__ == "__main__":
    main()
