"""
How much of a stroke is spent at which offset?
==============================================

Share of path at each offset for three strokes, and the basis they weigh.
"""

import sys

import wearsim as ws
from wearsim.bench.figure_source import FigureSource
from wearsim.bench.programme import Stroke
from wearsim.show.style import BLUE, RED, new_figure, plot_style
from wearsim.wear.accuracy import DEFAULT
from wearsim.wear.initial_figure import start_figure
from wearsim.wear.radial.offset_basis import offset_basis, path_matrix
from wearsim.wear.radial.path_weights import load_cases
from wearsim.wear.state import start_state

DASHES = ("-", "--", "-.", ":")

bench = ws.load_bench("raised-zone-300").model_copy(update={"figure": FigureSource(conic=0.0)})
lap, d = bench.lap("full"), bench.mirror.diameter
cases = load_cases(bench.hands.friction_lead, tuple(bench.hands.push_offset))
state = start_state(bench, start_figure(bench).radius, start_figure(bench).height, DEFAULT)
basis = offset_basis(bench, state, "tool", lap)
strokes = {
    "straight, D/3": Stroke("straight", d / 3, 0.0, 0.0, 8.0, 50 / 60),
    "W, 0.5 D and 0.2 D": Stroke("w", 0.5 * d, 0.2 * d, 0.0, 8.0, 50 / 60),
    "overhang, 0.3 D at 0.25 D": Stroke("overhang", 0.3 * d, 0.0, 0.25 * d, 8.0, 50 / 60),
}
with plot_style():
    figure = new_figure(8.5, 3.8)
    left, right = figure.subplots(1, 2)
    rows = path_matrix(list(strokes.values()), (0.06, 0.002), basis.offset, cases, "tool")
    step = (basis.offset[1] - basis.offset[0]) / d
    for name, row, dash in zip(strokes, rows, DASHES, strict=False):
        share = row.reshape(basis.offset.size, -1).sum(axis=1) / row.sum()
        left.plot(basis.offset / d, share / step, dash, color=BLUE, label=name)
    left.set(xlabel="offset of the centres, in D", ylabel="share of the path per D of offset", ylim=(-1, 38))
    left.legend(fontsize=8, loc="upper right")
    for i, dash in zip((0, 12, 24, 36), DASHES, strict=True):
        mean = basis.pressure[i].mean(axis=0) / 1e3
        right.plot(basis.radius * 1e3, mean, dash, color=RED, label=f"offset {basis.offset[i] / d:.2f} D")
    right.set(xlabel="radius on the mirror [mm]", ylabel="ring mean of the pressure [kPa]")
    right.legend(fontsize=8)

if len(sys.argv) > 1:
    figure.savefig(sys.argv[1])
