"""
Is my edge worth mending, or is a mask enough?
==============================================

A turned edge 6 mm wide on a 200 mm mirror. Covering the rim costs light; it may still put more light into the
middle of the image.
"""

from __future__ import annotations

import sys

from matplotlib.figure import Figure

import wearsim as ws
from wearsim.bench.profile import read_profile
from wearsim.knifeedge.stopping import MaskSeries
from wearsim.show.style import BLUE, RED, new_figure, plot_style


def answer() -> tuple[str, Figure]:
    bench = ws.load_bench("turned-edge-200")
    profile, mirror = read_profile(bench.figure.profile, bench.mirror), bench.mirror
    found = MaskSeries(profile.radius, mirror.geometry, bench.light.wavelength).masking(profile.error)
    with plot_style():
        figure = new_figure(7.0, 4.0)
        axes = figure.subplots()
        axes.plot(2e3 * found.mask_radius, found.strehl, "--", color=RED, label="Strehl ratio")
        axes.plot(2e3 * found.mask_radius, found.worth, "-", color=BLUE, label="Strehl ratio x light left")
        axes.axvline(2e3 * found.best_radius, color=BLUE, linewidth=0.8, label="best mask")
        axes.set(xlabel="clear diameter that the mask leaves [mm]", ylim=(0, 1))
        axes.legend()
    best = int(found.worth.argmax())
    return (
        f"Unmasked: Strehl ratio {found.strehl[-1]:.2f}\n"
        f"Best mask: {2e3 * found.best_radius:.0f} mm, Strehl ratio {found.strehl[best]:.2f}, "
        f"{found.area[best]:.0%} of the light, {found.gain:.2f} times as much of it in the image's core"
    ), figure


if __name__ == "__main__":
    words, picture = answer()
    print(words)
    if len(sys.argv) > 1:
        picture.savefig(sys.argv[1])
