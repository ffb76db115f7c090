"""Which stiffness the observations of docs/validation.md want, all together.

Run with ``python -m tests.benchmarks.stiffness_observations``.

Every observation with a number in it is worked at each stiffness of a grid; its misfit is how far the model's figure lies
from the observed one, in units of what the words leave open (``loose``, a one-sigma factor of a time or a width of the
conic constant; both judgement, beside each). The flow of the pitch under a pressure, stiffness times relaxation time, is
held at that of a facet squeezed flat on glass that slides, so that the grid changes the stiffness alone.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np

from docs import validation as v
from wearsim.bench.bench import Wear
from wearsim.bench.hands import Hands

GRID = (1e9, 2e9, 2.5e9, 3e9, 5e9, 7e9, 1e10, 2e10)
FLOW = 0.58 * 3.0 * 7e8 * 0.0125**2 / (2.0 * 0.005**3)
"""Stiffness times relaxation time [Pa s/m]: Stefan's, 0.58 of it for glass that slides (docs/theory/wear-and-flow.md)."""


def pitch_of(stiffness: float) -> dict[str, float]:
    """What a lap of this stiffness [Pa/m] is made of."""
    return {"stiffness": stiffness, "relaxation_time": FLOW / stiffness}


def hours_to(conics: tuple[float, ...], target: float, step: float) -> float:
    """Hours until the conic constant first comes to ``target``, a step [h] each; twice the longest where it does not."""
    series = np.asarray(conics)
    past = series <= target if series[0] > target else series >= target
    if not past.any():
        return 2.0 * step * (len(series) - 1)
    last = int(np.argmax(past))
    part = (series[last - 1] - target) / (series[last - 1] - series[last])
    return float(step * (last - 1 + part))


def parabolize(stiffness: float) -> float:
    """Tens of minutes to parabolize an 8 in f/6 by W strokes [h]."""
    bench = v.make_bench(0.2032, 2.4384, **pitch_of(stiffness))
    spell = v.make_spell("w", "mirror", 5.0, length=0.75, side_sweep=0.25)
    return hours_to(v.work(bench, [spell] * 24).conics, -1.0, 5.0 / 60.0)


def oblate(stiffness: float) -> float:
    """About ten hours from five times the paraboloid's correction to nearly a sphere [h]."""
    bench = v.make_bench(0.5, 4.0, **pitch_of(stiffness))
    spells = [v.make_spell("press", "tool", 5.0), v.make_spell("w", "mirror", 30.0, length=0.7, side_sweep=0.2)] * 20
    return hours_to(v.work(bench, spells, conic=5.0).conics[::2], 0.3, 0.5)


def draper(length: float, lap: float = 1.0, **turns: float) -> Callable[[float], float]:
    """Conic constant after two hours of Draper's strokes, his polisher at rest or turning."""

    def conic(stiffness: float) -> float:
        bench = v.make_bench(
            15.5 * v.INCH, 300.0 * v.INCH, wear=Wear(preston=8e-13), hands=Hands(push=0.0, **turns), lap=lap,
            **pitch_of(stiffness),
        )  # fmt: skip
        return v.work(bench, [v.make_spell("straight", "mirror", 15.0, length=length, rate=20.0)] * 8).conics[-1]

    return conic


def draper_back(stiffness: float) -> float:
    """Hours of 0.26 D in which a paraboloid comes back past the sphere [h]."""
    bench = v.make_bench(15.5 * v.INCH, 300.0 * v.INCH, hands=Hands(push=0.0), **pitch_of(stiffness))
    spells = [v.make_spell("straight", "mirror", 15.0, length=0.26, rate=20.0)] * 32
    return hours_to(v.work(bench, spells, conic=-1.0).conics, 0.0, 0.25)


# name, model, observed, what the words leave open: a factor, or a width where the observed value is a conic constant
OBSERVATIONS: tuple[tuple[str, Callable[[float], float], float, float, bool], ...] = (
    ("W strokes parabolize [h]", parabolize, 0.5, 1.8, True),
    ("ten hours to a sphere [h]", oblate, 10.0, 1.8, True),
    ("0.26 D: almost a sphere [K]", draper(0.26), 0.0, 0.7, False),
    ("0.52 D: a paraboloid in hours [K]", draper(0.52), -1.0, 0.7, False),
    ("0.26 D on a turning table [K]", draper(0.26, 0.97, stand_turns=20.0 / 3.0), 0.0, 0.7, False),
    ("0.52 D on a turning table [K]", draper(0.52, 0.97, stand_turns=20.0 / 3.0), -1.0, 0.7, False),
    ("back past the sphere [h]", draper_back, 3.0, 2.0, True),
)


def misfits(stiffness: float) -> list[tuple[float, float]]:
    """The model's figure and its misfit, observation by observation."""
    out = []
    for _, model, observed, loose, is_time in OBSERVATIONS:
        found = model(stiffness)
        off = np.log(found / observed) / np.log(loose) if is_time else (found - observed) / loose
        out.append((found, float(off)))
    return out


def main() -> None:
    """Print figure and misfit over the grid, and the sum of squares."""
    rows: dict[float, Any] = {stiffness: misfits(stiffness) for stiffness in GRID}
    print("stiffness [Pa/m]".ljust(36), *(f"{k:>14.1e}" for k in GRID))
    for number, (name, *_) in enumerate(OBSERVATIONS):
        print(name.ljust(36), *(f"{rows[k][number][0]:7.2f} ({rows[k][number][1]:+.1f})" for k in GRID))
    print("sum of squares".ljust(36), *(f"{sum(off**2 for _, off in rows[k]):14.1f}" for k in GRID))


if __name__ == "__main__":
    main()
