"""Maps drawn as a hill map is: contour lines, dashed below the target, over a tint that is darker the lower it lies."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from wearsim.bench.mirror import Mirror
from wearsim.show.lengths import Unit
from wearsim.show.style import INK
from wearsim.wear.grid import Array

if TYPE_CHECKING:
    from matplotlib.axes import Axes

Cells = NDArray[np.bool_]
# Lightness rises evenly from low to high, so that a grey print says the same.
HEIGHTS = ("#557ca3", "#84a8c6", "#b3cbdc", "#dbe5e6", "#f8f0dc")
DEPTHS = ("#fdf6f1", "#f3d9c9", "#e3b193", "#cb8157")
FEWEST, MOST = 4, 7
FLAT = 0.05  # of a step: a map that spans less has no lines, they would trace rounding
REACH = 1.22  # of a map's panel, in radii: room for the arrows


def steps(values: Array, inside: Cells) -> Array:
    """Round levels for contour lines, in the unit of the values.

    Parameters
    ----------
    values, inside : ndarray
        A map, or several, and where it counts.
    """
    from matplotlib.ticker import MaxNLocator

    shown = values[inside]
    if not shown.size or np.ptp(shown) < 1e-3:
        return np.array([-0.5, 0.5])
    return np.asarray(
        MaxNLocator(MOST, min_n_ticks=FEWEST, steps=[1, 2, 5, 10]).tick_values(
            *np.percentile(shown, [0.2, 99.8])
        )
    )


def draw_map(
    axes: Axes, across: Array, values: Array, inside: Cells, levels: Array, tints: tuple[str, ...] = HEIGHTS
) -> Any:
    """Draw one map.

    Parameters
    ----------
    axes : Axes
    across : ndarray, shape (n,)
        Coordinates of columns and rows, in the unit of the axes.
    values, inside : ndarray, shape (n, n)
        The map in the unit of the levels, and where it is drawn.
    levels : ndarray
    tints : tuple of str
        From the least value to the largest.

    Returns
    -------
    matplotlib artist
        For a colour bar.
    """
    from matplotlib.colors import LinearSegmentedColormap

    shown = np.ma.masked_where(~inside, np.clip(values, levels[0], levels[-1]))
    step = float(levels[1] - levels[0])
    flat = float(np.ptp(shown.compressed())) < FLAT * step
    if flat:  # a shade beside a level, not now this side of it and now that
        shown = np.ma.masked_where(~inside, np.full_like(values, float(shown.mean()) + FLAT * step))
    tint = LinearSegmentedColormap.from_list("house", tints)
    filled = axes.contourf(across, across, shown, levels=levels, cmap=tint, extend="neither")
    if not flat:
        _lines(axes, across, shown, levels)
    axes.set_aspect("equal")
    axes.grid(False)
    axes.tick_params(labelsize=8)
    return filled


def _lines(axes: Axes, across: Array, shown: Any, levels: Array) -> None:
    """Lines of equal height, some of them with their number: dashed below nought, heavy at it."""
    signs = np.where(np.abs(levels) < 1e-12, 0, np.sign(levels))
    lines = axes.contour(
        across, across, shown, levels=levels, colors=INK, linewidths=[1.3 if sign == 0 else 0.6 for sign in signs],
        linestyles=["--" if sign < 0 else "-" for sign in signs],
    )  # fmt: skip
    axes.clabel(lines, levels[1:-1:2], fontsize=7.5, fmt=_label, inline_spacing=5)


def _label(level: float) -> str:
    """A level with a sign that stands clear of a dashed line."""
    return f" \u2212 {-level:g} " if level < -1e-12 else f"{level:g}"


def draw_rims(axes: Axes, mirror: Mirror, radial: Unit) -> None:
    """The glass's rims, and dotted what counts in the numbers."""
    from matplotlib.patches import Circle

    for radius, line in ((mirror.radius, "-"), (mirror.hole_radius, "-"), (mirror.clear_radius, ":")):
        if radius > 0.0:
            axes.add_patch(
                Circle(
                    (0.0, 0.0), radius / radial.size, fill=False, edgecolor=INK, linestyle=line, linewidth=1.0
                )
            )
    reach = REACH * mirror.radius / radial.size
    axes.set_xlim(-reach, reach)
    axes.set_ylim(-reach, reach)


def draw_meridian(axes: Axes, radius: float, axis: float) -> None:
    """The high meridian of an astigmatism, as two arrows that point at it from outside.

    Parameters
    ----------
    radius : float
        Of the rim, in the unit of the axes.
    axis : float
        Azimuth [rad].
    """
    for azimuth in (axis, axis + np.pi):
        x, y = np.cos(azimuth), np.sin(azimuth)
        axes.annotate(
            "", xy=(1.02 * radius * x, 1.02 * radius * y), xytext=(1.2 * radius * x, 1.2 * radius * y),
            arrowprops={"arrowstyle": "-|>", "color": INK, "linewidth": 1.6, "shrinkA": 0, "shrinkB": 0},
            annotation_clip=False,
        )  # fmt: skip


def draw_place(axes: Axes, x: float, y: float) -> None:
    """A place on a map, ringed."""
    for colour, width in (("white", 3.4), (INK, 1.6)):
        axes.plot(
            [x],
            [y],
            marker="o",
            markersize=9,
            markerfacecolor="none",
            markeredgecolor=colour,
            markeredgewidth=width,
        )
