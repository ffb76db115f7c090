"""One style for every plot: lines and areas differ by dash and hatch as well as by colour, on paper and on a screen."""

from __future__ import annotations

import io
import math
from base64 import b64encode
from collections.abc import Iterator
from contextlib import contextmanager
from io import BytesIO
from pathlib import Path
from typing import TYPE_CHECKING, Any, cast

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

SCREEN_DOTS = 144
"""Dots of a picture on a screen, per inch."""
INK = "#1a1a1a"
QUIET = "#767676"
BLUE, RED = "#0b5394", "#b8480e"  # apart in hue for colour-blind eyes, and apart in grey
BEFORE: dict[str, Any] = {"color": QUIET, "linestyle": (0, (5, 2)), "linewidth": 1.6, "zorder": 3}
AFTER: dict[str, Any] = {"color": BLUE, "linestyle": "-", "linewidth": 2.2}
BAND: dict[str, Any] = {"facecolor": "#d3e3f2", "edgecolor": "#8fb3d4", "linewidth": 0.6}
BAND_BEFORE: dict[str, Any] = {
    "facecolor": "none", "edgecolor": "#8a8a8a", "linewidth": 0.6, "linestyle": (0, (5, 2)), "hatch": "||||", "zorder": 2.5,
}  # fmt: skip
BAND_REMOVED: dict[str, Any] = {"facecolor": "#fbf1ea", "edgecolor": RED, "linewidth": 0.8, "linestyle": (0, (2, 2))}
LEAST_REMOVED: dict[str, Any] = {"color": RED, "linewidth": 0.8, "linestyle": (0, (2, 2)), "zorder": 2.5}
REMOVED: dict[str, Any] = {"facecolor": "#f3d9c9", "edgecolor": RED, "linewidth": 1.4, "hatch": "...."}
LEFT_OUT: dict[str, Any] = {"facecolor": "none", "edgecolor": "#9a9a9a", "linewidth": 0.0, "hatch": "/////"}

_RC: dict[str, Any] = {
    "font.size": 10.5,
    "axes.titlesize": 11,
    "axes.titlelocation": "left",
    "axes.labelsize": 10.5,
    "axes.edgecolor": INK,
    "axes.labelcolor": INK,
    "axes.linewidth": 0.8,
    "axes.spines.top": False,
    "axes.spines.right": False,
    "axes.axisbelow": True,
    "axes.grid": True,
    "grid.color": "#dcdcdc",
    "grid.linewidth": 0.6,
    "xtick.color": INK,
    "ytick.color": INK,
    "text.color": INK,
    "legend.frameon": False,
    "legend.fontsize": 9.5,
    "hatch.linewidth": 0.6,
    "figure.facecolor": "white",
    "savefig.facecolor": "white",
    "svg.hashsalt": "wearsim",
    "text.parse_math": False,  # a dollar sign in a name is a dollar sign
}


@contextmanager
def plot_style() -> Iterator[None]:
    """Our settings of matplotlib, and none of the person's own, for as long as the block lasts.

    Yields
    ------
    None
    """
    import matplotlib

    with matplotlib.rc_context():
        matplotlib.rcdefaults()
        matplotlib.rcParams.update(cast(Any, _RC))
        yield


def new_figure(width: float, height: float) -> Figure:
    """An empty figure of this size [in], apart from any window or global state."""
    from matplotlib.backends.backend_agg import FigureCanvasAgg
    from matplotlib.figure import Figure

    figure = Figure(figsize=(width, height), layout="constrained")
    FigureCanvasAgg(figure)
    return figure


def save(figure: Figure, path: Path, ending: str) -> None:
    """Write a figure as ``".png"``, ``".svg"`` or ``".pdf"``; the path itself may have another ending."""
    kind = ending.lower().lstrip(".")
    undated = {"svg": {"Date": None}, "pdf": {"CreationDate": None}}.get(kind, {})
    with plot_style():
        engine = figure.get_layout_engine()
        if engine is not None:
            # laid out once: again and again it would move by a last bit, and an SVG names clips by it
            engine.execute(figure)
            figure.set_layout_engine("none")
        content = BytesIO()  # a full disk half-way would leave the writers of PDF in disorder
        figure.savefig(content, format=kind, dpi=150, metadata=undated)
    path.write_bytes(content.getvalue())


def data_address(figure: Figure, width: float | None = None) -> str:
    """A figure as the address of a picture, for use in a page; no wider than so much [in]: letters are larger beside it."""
    stream = io.BytesIO()
    with plot_style():
        figure.set_figwidth(min(figure.get_figwidth(), width or math.inf))
        figure.savefig(stream, format="png", dpi=SCREEN_DOTS)
    return "data:image/png;base64," + b64encode(stream.getvalue()).decode("ascii")


def without_frame(axes: Axes) -> None:
    """For a drawing to scale: no axes, equal units."""
    axes.set_aspect("equal")
    axes.set_axis_off()
