"""How do the second and the third session close in?

A raised ring near the edge of a 0.4 m mirror, the constants known no better than the defaults have it. Each session is
proposed, worked as predicted, and followed by a test that narrows the constants down to a factor of about 1.25.
"""

from __future__ import annotations

import sys

import numpy as np
from matplotlib.figure import Figure

import wearsim as ws
from wearsim.bench.files import bench_from_table
from wearsim.bench.profile import Profile
from wearsim.decide.limits import Limits
from wearsim.show.style import BLUE, RED, house, sheet
from wearsim.wear.start import from_profile

BENCH = {
    "mirror": {"diameter": "0.4 m", "radius_of_curvature": "3.6 m", "thickness": "50 mm", "mass": "11 kg"},
    "lap": {"diameter": "0.4 m", "mass": "5 kg"},
    "figure": {"conic": -1.0},
}
SESSIONS = 3


def answer() -> tuple[str, Figure]:
    bench = bench_from_table(BENCH)
    x = np.linspace(0.0, 1.0, 121)
    ring = 250e-9 * np.exp(-(((x - 0.85) / 0.10) ** 2))
    start = from_profile(bench, Profile(x * bench.mirror.radius, ring, None))
    done = ws.propose(bench, limits=Limits(minutes=90.0), sessions=SESSIONS, start=start, starts=2, draws=48)
    rms = [done.outcome.numbers_before.surface_rms, done.outcome.surface_rms]
    expected = [done.expected_rms]
    for later in done.later:
        rms.append(later.rms)
        expected.append(later.expected_rms)
    lines = [f"before: {rms[0] * 1e9:.1f} nm RMS"]
    lines += [
        f"session {i}: {left * 1e9:.1f} nm RMS if it goes as predicted, {risk * 1e9:.1f} nm with what is uncertain"
        for i, (left, risk) in enumerate(zip(rms[1:], expected, strict=True), start=1)
    ]
    with house():
        figure = sheet(6.0, 3.6)
        axes = figure.subplots()
        axes.plot(range(len(rms)), np.array(rms) * 1e9, "o-", color=BLUE, label="as predicted")
        axes.plot(
            range(1, len(rms)), np.array(expected) * 1e9, "s--", color=RED, label="expected, all weighed"
        )
        axes.set(xlabel="session", ylabel="RMS of the surface [nm]", ylim=(0, None), xticks=range(len(rms)))
        axes.legend()
    return "\n".join(lines), figure


if __name__ == "__main__":
    words, picture = answer()
    print(words)
    if len(sys.argv) > 1:
        picture.savefig(sys.argv[1])
