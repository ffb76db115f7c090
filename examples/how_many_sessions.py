"""
How much closer do the second and third sessions get?
=====================================================

A raised ring near the edge of a 0.4 m mirror, with only the default knowledge of the constants. In truth the glass
wears at 0.7 times, and the pitch is 1.4 times as stiff as, the bench's values. Each session is proposed with what is
known, carried out with the true values, and followed by a test and a calibration, taken here to find the constants within a
factor of 1.25, after the second test of 1.1. A session is an hour at most, in two spells.
"""

from __future__ import annotations

import sys

import numpy as np
from matplotlib.figure import Figure

import wearsim as ws
from wearsim.bench.profile import Profile
from wearsim.bench.toml_io import bench_from_table
from wearsim.decide.limits import Limits
from wearsim.show.style import BLUE, RED, new_figure, plot_style
from wearsim.wear.accuracy import DEFAULT
from wearsim.wear.constants import IS_FACTOR, Belief, Constants, prior, vector_of
from wearsim.wear.initial_figure import from_profile

BENCH = {
    "mirror": {"diameter": "0.4 m", "radius_of_curvature": "3.6 m", "thickness": "50 mm", "mass": "11 kg"},
    "lap": {"diameter": "0.4 m", "mass": "5 kg"},
    "figure": {"conic": -1.0},
}
TRUTH = vector_of(Constants(preston=0.7, stiffness=1.4))
"""True factors on what the bench says, as logarithms; hands that do as is written."""
KNOWN_WITHIN = np.log([1.25, 1.1, 1.1])
"""One sigma of the constants' logarithms after each session's test (judgement)."""


def answer() -> tuple[str, Figure]:
    bench = bench_from_table(BENCH)
    gauge_radius = np.linspace(0.0, 1.0, 121) * bench.mirror.radius
    ring = 250e-9 * np.exp(-(((gauge_radius / bench.mirror.radius - 0.85) / 0.10) ** 2))
    profile, known = Profile(gauge_radius, ring, None), prior(bench)
    truth = Belief(TRUTH, np.zeros((TRUTH.size, TRUTH.size)))
    rms, expected, minutes = [], [], []
    for sigma in KNOWN_WITHIN:
        start = from_profile(bench, profile, DEFAULT)
        plan = ws.propose(bench, limits=Limits(minutes=60.0, spells=2), start=start, belief=known, draws=16)
        worked = ws.predict(bench, plan.programme, start=start, belief=truth, draws=0)
        rms += [worked.numbers_before.surface_rms, worked.surface_rms]
        expected.append(plan.expected_rms)
        minutes.append(sum(spell.minutes for spell in plan.programme.spells))
        profile = Profile(worked.radius, worked.figure_error, None)
        known = Belief(TRUTH, sigma**2 * np.diag(IS_FACTOR))
    rms = [rms[0], *rms[1::2]]
    lines = [f"before: {rms[0] * 1e9:.1f} nm RMS"]
    lines += [
        f"session {i}, {long:.0f} minutes: {risk * 1e9:.1f} nm RMS expected, {left * 1e9:.1f} nm in reality"
        for i, (left, risk, long) in enumerate(zip(rms[1:], expected, minutes, strict=True), start=1)
    ]
    with plot_style():
        figure = new_figure(6.0, 3.6)
        axes = figure.subplots()
        axes.plot(range(len(rms)), np.array(rms) * 1e9, "o-", color=BLUE, label="in reality")
        axes.plot(range(1, len(rms)), np.array(expected) * 1e9, "s--", color=RED, label="expected by the proposal")
        axes.set(xlabel="session", ylabel="RMS of the surface [nm]", ylim=(0, None), xticks=range(len(rms)))
        axes.legend()
    return "\n".join(lines), figure


if __name__ == "__main__":
    words, picture = answer()
    print(words)
    if len(sys.argv) > 1:
        picture.savefig(sys.argv[1])
