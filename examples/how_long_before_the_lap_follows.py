"""
How long before the lap follows?
================================

A lap that is still spherical is laid on the demo's mirror and left to press under its own weight, in rooms of
different temperature. How far is its pitch from the glass after some minutes?
"""

from __future__ import annotations

import sys
from pathlib import Path

import numpy as np
from matplotlib.figure import Figure

import wearsim as ws
from wearsim.show.style import new_figure, plot_style

DEMO = Path(__file__).parent / "demo" / "bench.toml"
EACH, TIMES = 4.0, 12


def answer() -> tuple[str, Figure]:
    bench = ws.load_bench(DEMO)
    lap = bench.lap().model_copy(update={"start": "spherical"})
    press = ws.Programme(spells=(ws.Spell(stroke="press", minutes=EACH),) * TIMES)
    lines = []
    with plot_style():
        figure = new_figure(7.0, 4.0)
        axes = figure.subplots()
        for degrees, dash in ((24.0, ":"), (20.0, "-"), (16.0, "--")):
            wear = bench.wear.model_copy(update={"temperature": degrees})
            room = bench.model_copy(update={"laps": (lap,), "wear": wear})
            misfit = [gap(room, press, count) for count in range(TIMES + 1)]
            axes.plot(
                EACH * np.arange(TIMES + 1), np.array(misfit) * 1e9, dash, color="#0b5394", label=f"{degrees:.0f} degC"
            )
            half = next((f"halved within {EACH * i:.0f}" for i, m in enumerate(misfit) if m < 0.5 * misfit[0]), "")
            said = half or f"not yet halved after {EACH * TIMES:.0f}"
            lines.append(f"{degrees:.0f} degC: misfit {misfit[0] * 1e9:.0f} nm at first, {said} min")
        axes.set(xlabel="minutes of pressing", ylabel="misfit of pitch and glass, RMS [nm]", ylim=(0, None))
        axes.legend(title="room")
    return "\n".join(lines), figure


def gap(bench: ws.Bench, press: ws.Programme, count: int) -> float:
    """RMS by area of glass plus pitch, less the mean that the lap takes up by settling [m]."""
    outcome = ws.predict(bench, ws.Programme(spells=press.spells[:count]), draws=0)
    pitch = np.interp(outcome.radius, outcome.pitch_radius["lap"], outcome.pitch_height["lap"])
    misfit, weight = outcome.height + pitch, outcome.radius / outcome.radius.sum()
    return float(np.sqrt(weight @ (misfit - weight @ misfit) ** 2))


if __name__ == "__main__":
    words, picture = answer()
    print(words)
    if len(sys.argv) > 1:
        picture.savefig(sys.argv[1])
