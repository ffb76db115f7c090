"""The plot of a calibration: each constant as it was believed before and as the sessions tell it."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from wearsim.bench.bench import Bench
from wearsim.learn.calibrate import FACTOR_90, Calibration, stated_constant
from wearsim.show.calibration_table import TITLES, UNITS, VERDICTS
from wearsim.show.style import BLUE, INK, QUIET, RED, house, sheet
from wearsim.wear.constants import NAMES

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure


def calibration_figure(bench: Bench, found: Calibration) -> Figure:
    """Plot a calibration.

    Parameters
    ----------
    bench : Bench
        Of the folder.
    found : Calibration
    """
    with house():
        figure = sheet(8.5, 6.0)
        upper, lower = figure.subplots(2, 1, height_ratios=[2.4, 1.0])
        _constants(upper, bench, found)
        _sessions(lower, found)
    return figure


def _constants(axes: Axes, bench: Bench, found: Calibration) -> None:
    """Intervals as factors on what the bench states, the sizes themselves written beside."""
    low, high = np.exp(found.posterior.interval())
    middle = np.exp(found.belief.mean)
    before = np.exp(FACTOR_90 * np.sqrt(np.diagonal(found.prior.covariance)))
    for row, name in enumerate(NAMES):
        size, unit = UNITS[name]
        stated = stated_constant(bench, name)[0] / size
        axes.plot([1 / before[row], before[row]], [row, row], color=QUIET, linewidth=2.0,
                  label="believed before, 90 %" if row == 0 else None)  # fmt: skip
        axes.plot([low[row], high[row]], [row, row], color=BLUE, linewidth=8.0, solid_capstyle="butt",
                  label="now, 90 %" if row == 0 else None)  # fmt: skip
        axes.plot(middle[row], row, "|", color="white", markersize=9, markeredgewidth=2.0)
        said = f"{stated * middle[row]:.3g} {unit}".rstrip() + f": {VERDICTS[found.told(name)]}"
        axes.annotate(said, (middle[row], row), (0, 9), textcoords="offset points", ha="center", fontsize=9,
                      bbox={"facecolor": "white", "edgecolor": "none", "pad": 1.0})  # fmt: skip
    axes.axvline(1.0, color=INK, linewidth=0.8)
    axes.set_xscale("log")
    ticks = [t for t in (0.1, 0.2, 0.5, 1.0, 2.0, 5.0, 10.0) if 1 / before.max() <= t <= before.max()]
    axes.set_xticks(ticks, [f"{t:g}" for t in ticks])
    axes.minorticks_off()
    axes.set_yticks(range(len(NAMES)), [TITLES[name] for name in NAMES])
    axes.set_ylim(len(NAMES) - 0.4, -0.8)
    axes.set_xlabel("factor on what the bench states")
    axes.legend(loc="lower center", bbox_to_anchor=(0.5, 1.0), ncols=2)


def _sessions(axes: Axes, found: Calibration) -> None:
    """How far each session's readings stand from what is expected, in sigmas, root mean square."""
    numbers = [fit.number for fit in found.sessions]
    away = [np.sqrt(fit.chi_square / fit.compared) for fit in found.sessions]
    odd = [
        not fit.fits or fit.is_doubtful or fit.has_size_in_doubt or fit.is_record_in_doubt for fit in found.sessions
    ]  # fmt: skip
    colours = [RED if one else BLUE for one in odd]
    axes.bar(numbers, away, color=colours, width=0.5)
    for fit, height in zip(found.sessions, away, strict=True):
        if not fit.fits or fit.has_size_in_doubt or fit.is_record_in_doubt:
            in_doubt = "size in doubt" if fit.has_size_in_doubt else "record in doubt"
            said = in_doubt if fit.fits else "does not fit"
            above = max(height, 1.0) if fit.fits else height  # clear of the line at 1
            axes.annotate(said, (fit.number, above), (0, 3), textcoords="offset points", ha="center")
    axes.axhline(1.0, color=INK, linewidth=0.8, linestyle=(0, (5, 2)))
    axes.set_xticks(numbers)
    axes.set_xlim(numbers[0] - 1.0, numbers[-1] + 1.0)
    axes.set_ylim(0.0, 1.2 * max([*away, 1.2]))
    axes.set_xlabel("session")
    axes.set_ylabel("readings from\nexpected [sigmas]")
