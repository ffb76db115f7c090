"""What masking the rim would buy: Strehl ratio and light in the core, against the mask's diameter."""

from __future__ import annotations

from pathlib import Path

import numpy as np

from wearsim.knifeedge.stopping import StopAdvice
from wearsim.show.paper import ACCENT, BAND, INK, plain, sheet, write


def draw_masking(advice: StopAdvice, path: str | Path) -> Path:
    """Draw the masking curve of a reduced mirror.

    Parameters
    ----------
    advice : StopAdvice
        What to draw.
    path : str or Path
        PNG, PDF or SVG.

    Returns
    -------
    Path

    Raises
    ------
    InputError
        Another ending, or a place that cannot be written.
    """
    curve = advice.masking
    across = 2e3 * curve.mask_radius
    figure = sheet(5.6, 3.6, layout="constrained")
    axes = figure.subplots()
    axes.fill_between(across, *advice.masking_band, color=BAND, lw=0, label="90 % of what the readings allow")
    axes.plot(across, curve.worth, color=ACCENT, lw=1.8, label="light in the core: Strehl ratio x area left")
    axes.plot(across, curve.strehl, color=INK, lw=1.2, ls="--", label="Strehl ratio inside the mask")
    axes.plot([2e3 * curve.best_radius], [float(np.max(curve.worth))], "o", color=ACCENT, ms=5)
    axes.set_ylim(0.0, 1.05)
    axes.set_xlabel("diameter left clear by the mask [mm]", fontsize=9)
    axes.set_ylabel("of the perfect, unmasked mirror", fontsize=9)
    axes.set_title(advice.reason, fontsize=8, loc="left", wrap=True)
    axes.legend(fontsize=8, frameon=False, loc="best")
    plain(axes)
    return write(figure, path)
