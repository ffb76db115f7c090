"""Sheets to draw on: figures without a screen, written whole, the same bytes for the same content."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

from wearsim.errors import InputError

if TYPE_CHECKING:
    from matplotlib.figure import Figure

# Legible in grey and to colour-blind eyes: they differ in lightness first.
INK, BAND, ACCENT, PALE, GLASS = "#1a1a1a", "#b8c4cf", "#0b5a8a", "#eef1f4", "#d9e4ec"

SUFFIXES = (".png", ".pdf", ".svg")


def sheet(width: float, height: float, **options: Any) -> Figure:
    """A figure of so many inches, tied to no screen.

    Parameters
    ----------
    width, height : float
        [in]
    **options
        Of ``matplotlib.figure.Figure``.
    """
    from matplotlib.backends.backend_agg import FigureCanvasAgg
    from matplotlib.figure import Figure

    figure = Figure(figsize=(width, height), **options)
    FigureCanvasAgg(figure)
    return figure


def write(figure: Figure, path: str | Path, dpi: int = 150) -> Path:
    """Write a figure as PNG, PDF or SVG, by the name's ending.

    Parameters
    ----------
    figure : Figure
        What to write.
    path : str or Path
        Where to.
    dpi : int
        Of a PNG.

    Raises
    ------
    InputError
        Another ending, or a place that cannot be written.
    """
    import matplotlib

    file = Path(path)
    kind = file.suffix.lower()
    if kind not in SUFFIXES:
        raise InputError(
            "cannot draw such a file", file=file, expected="a name ending in " + ", ".join(SUFFIXES)
        )
    undated: dict[str, Any] = {".pdf": {"CreationDate": None}, ".svg": {"Date": None}}.get(kind, {})
    try:
        with matplotlib.rc_context({"svg.hashsalt": "wearsim", "svg.fonttype": "none"}):
            figure.savefig(file, dpi=dpi, metadata=undated or None)
    except OSError as error:
        raise InputError(f"cannot be written ({error.strerror or error})", file=file) from error
    return file


def plain(axes: Any) -> None:
    """Take the box's upper and right sides away and make the ticks quiet."""
    for side in ("top", "right"):
        axes.spines[side].set_visible(False)
    axes.tick_params(labelsize=8)
