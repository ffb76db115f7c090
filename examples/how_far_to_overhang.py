"""How far may I overhang?

W strokes with the tool on top, run off centre by more and more to reach a raised zone near the rim. The rim
pays for it: how much does it turn down, for the constants as stated and for unlucky ones?
"""

from __future__ import annotations

import sys

import numpy as np
from matplotlib.figure import Figure

import wearsim as ws
from wearsim.errors import TipsOffError
from wearsim.show.style import AFTER, BAND, RED, house, sheet

LIMIT = 0.125 * 550e-9  # an eighth of a wave of surface


def answer() -> tuple[str, Figure]:
    bench = ws.load_bench("raised-zone-300")
    side, rows = [], []
    for overhang in np.linspace(0.0, 0.4, 9):
        spell = ws.Spell(stroke="w", length=0.3, side_sweep=0.08, side_overhang=float(overhang), minutes=8)
        try:
            outcome = ws.predict(bench, ws.Programme(spells=(spell,)), draws=16)
        except TipsOffError:
            break
        side.append(overhang)
        rows.append((outcome.edge_roll, *outcome.band.edge_roll))
    roll = np.array(rows)
    safe = max((s for s, r in zip(side, roll, strict=True) if r[1] > -LIMIT), default=0.0)
    with house():
        figure = sheet(7.0, 4.0)
        axes = figure.subplots()
        axes.fill_between(side, roll[:, 1] * 1e9, roll[:, 2] * 1e9, label="5th to 95th percentile", **BAND)
        axes.plot(side, roll[:, 0] * 1e9, label="constants as stated", **AFTER)
        axes.axhline(-LIMIT * 1e9, color=RED, linestyle=":", label="an eighth of a wave turned down")
        axes.set(xlabel="overhang, in diameters of the mirror", ylabel="edge roll after 8 min [nm]")
        axes.set_ylim(-1.2 * LIMIT * 1e9, 1.1 * LIMIT * 1e9)
        axes.legend(loc="upper right")
    return f"Largest overhang tried whose 5th percentile keeps the rim: {safe:.2f} of the diameter", figure


if __name__ == "__main__":
    words, picture = answer()
    print(words)
    if len(sys.argv) > 1:
        picture.savefig(sys.argv[1])
