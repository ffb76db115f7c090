"""
How far may I overhang?
=======================

W strokes with the tool on top, run off centre by more and more, on a perfect mirror, so that only these strokes move the
rim. How far may a spell of twenty minutes turn it? The edge gain, how much harder the rim is pressed, is a judgement, so
the uncertain result counts: with the constants as stated the rim hardly moves, but every practitioner expects a turned edge
from long overhung work. Work a few minutes at a time, and look at the edge in every test.
"""

from __future__ import annotations

import sys

import numpy as np
from matplotlib.figure import Figure

import wearsim as ws
from wearsim.bench.figure_source import FigureSource
from wearsim.errors import TipsOffError
from wearsim.show.style import AFTER, BAND, RED, new_figure, plot_style

LIMIT = 0.125 * 550e-9  # an eighth of a wave of surface
MINUTES, DRAWS = 20, 32
TRIED = np.linspace(0.0, 0.4, 17)


def rolls() -> tuple[np.ndarray, np.ndarray]:
    """Overhangs that do not tip the tool off, and the change of edge roll: 5th, 50th and 95th percentile [m]."""
    bench = ws.load_bench("raised-zone-300").model_copy(update={"figure": FigureSource(conic=-1.0)})
    side, rows = [], []
    for overhang in TRIED:
        spell = ws.Spell(stroke="w", length=0.3, side_sweep=0.08, side_overhang=float(overhang), minutes=MINUTES)
        try:
            outcome = ws.predict(bench, ws.Programme(spells=(spell,)), draws=DRAWS)
        except TipsOffError:
            break
        low, high = outcome.band.edge_roll
        side.append(float(overhang))
        rows.append(np.array([low, outcome.edge_roll, high]) - outcome.numbers_before.edge_roll)
    return np.array(side), np.array(rows)


def verdict(side: np.ndarray, low: np.ndarray) -> str:
    """What the 5th percentiles [m] say of the overhangs tried, from the least on."""
    broken = np.flatnonzero(low < -LIMIT)
    if broken.size == 0:
        return f"Every overhang tried stays within the limit, up to {side[-1]:.3f}; beyond that the tool tips off"
    if broken[0] == 0:
        return "Every overhang tried goes beyond the limit"
    return f"Largest overhang tried that stays within the limit: {side[broken[0] - 1]:.3f} of the mirror's diameter"


def answer() -> tuple[str, Figure]:
    side, change = rolls()
    nm = change * 1e9
    lines = ["Change of edge roll, 5th to 95th percentile; in brackets: constants as stated"]
    lines += [
        f"{at:.2f} D off centre: {row[0]:+.0f} to {row[2]:+.0f} nm ({row[1]:+.0f} nm)"
        for at, row in zip(side[::2], nm[::2], strict=True)
    ]
    lines.append(f"Limit: at most {LIMIT * 1e9:.0f} nm down at the 5th percentile (an eighth of a wave).")
    lines.append(verdict(side, change[:, 0]))
    with plot_style():
        figure = new_figure(7.0, 4.0)
        axes = figure.subplots()
        axes.fill_between(side, nm[:, 0], nm[:, 2], label="5th to 95th percentile", **BAND)
        axes.plot(side, nm[:, 1], label="constants as stated", **AFTER)
        axes.axhline(-LIMIT * 1e9, color=RED, linestyle=":", label="an eighth of a wave turned down")
        axes.set(xlabel="overhang, in diameters of the mirror", ylabel=f"change of edge roll in {MINUTES} min [nm]")
        axes.legend(loc="lower left")
    return "\n".join(lines), figure


if __name__ == "__main__":
    words, picture = answer()
    print(words)
    if len(sys.argv) > 1:
        picture.savefig(sys.argv[1])
