"""What masking the rim would buy: Strehl ratio and light in the core, against the mask's diameter."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from wearsim.knifeedge.stopping import StopAdvice
from wearsim.show.lengths import MILLIMETRES, Unit
from wearsim.show.style import BAND, BLUE, INK, house, sheet

if TYPE_CHECKING:
    from matplotlib.figure import Figure


def masking_figure(advice: StopAdvice, unit: Unit = MILLIMETRES) -> Figure:
    """Plot the masking curve of a reduced mirror.

    Parameters
    ----------
    advice : StopAdvice
    unit : Unit
        Of diameters.
    """
    curve = advice.masking
    across = 2.0 * curve.mask_radius / unit.size
    with house():
        figure = sheet(7.0, 4.4)
        axes = figure.subplots()
        low, high = advice.masking_band
        axes.fill_between(across, low, high, **BAND, label="the same, 90 % of what the readings allow")
        axes.plot(
            across,
            curve.worth,
            color=BLUE,
            linewidth=2.0,
            label="light in the core, of the mean surface: Strehl x area",
        )
        axes.plot(
            across,
            curve.strehl,
            color=INK,
            linewidth=1.3,
            linestyle="--",
            label="its Strehl ratio inside the mask",
        )
        axes.plot([2.0 * curve.best_radius / unit.size], [float(np.max(curve.worth))], "o", color=BLUE)
        axes.set_ylim(0.0, 1.05)
        axes.set_xlabel(f"diameter left clear by the mask [{unit.name}]")
        axes.set_ylabel("of the perfect, unmasked mirror")
        axes.set_title(advice.reason, fontsize=9.5, wrap=True)
        axes.legend(loc="best")
    return figure
