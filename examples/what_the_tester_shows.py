"""
What will the tester show?
==========================

The demo's mirror behind the knife, before its programme and as predicted after it, at the knife positions where
a perfect mirror's outer and 70% zones darken.
"""

from __future__ import annotations

import sys
from pathlib import Path

from matplotlib.figure import Figure

import wearsim as ws
from wearsim.knifeedge.longitudinal import target_aberration
from wearsim.knifeedge.shadows import KnifeTester, knife_curve
from wearsim.show.shadows import shadows_figure

DEMO = Path(__file__).parent / "demo"


def answer() -> tuple[str, Figure]:
    bench = ws.load_bench(DEMO / "bench.toml")
    mirror, wave = bench.mirror, bench.light.wavelength
    outcome = ws.predict(bench, ws.load_programme(DEMO / "programme.toml", bench), draws=0)
    before = KnifeTester(outcome.radius, outcome.before, mirror.geometry, wave)
    after = KnifeTester(outcome.radius, outcome.figure_error, mirror.geometry, wave)
    at = [0.707 * mirror.clear_radius, 0.93 * mirror.clear_radius]
    knives = [float(s) for s in target_aberration(at, mirror.geometry)]
    lines = []
    for radius in at:
        old, new = (float(knife_curve(tester, [radius])[0]) for tester in (before, after))
        lines.append(f"zone at {radius * 1e3:.0f} mm: knife at {old * 1e3:.2f} mm before, {new * 1e3:.2f} mm after")
    return "\n".join(lines), shadows_figure({"before": before, "after": after}, knives)


if __name__ == "__main__":
    words, picture = answer()
    print(words)
    if len(sys.argv) > 1:
        picture.savefig(sys.argv[1])
