"""The band of a prediction: the spread of everything in it over draws."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import asdict

import numpy as np

from wearsim.errors import ContactError
from wearsim.figure.band import percentiles
from wearsim.figure.numbers import FigureGauge
from wearsim.wear.grid import Array
from wearsim.wear.outcome import Band

EXACT = "the bench states every constant as exact and its figure has no sigma"
NOT_ASKED = "no draws were asked for (--draws)"
NOTHING_DONE = "nothing is done"


def band_of(drawn: Sequence[Array | None], gauge: FigureGauge, draws: int, *, is_measured: bool) -> Band:
    """The band over the glass of all draws, None for those that found no balance.

    Parameters
    ----------
    drawn : sequence of (spells + 1, n) ndarray or None
        Glass at the start and after each spell, above the reference sphere [m].
    gauge : FigureGauge
    draws : int
        How many were tried.
    is_measured : bool
        Whether the glass at the start differs from draw to draw.

    Raises
    ------
    ContactError
        If none found a balance.
    """
    kept = [heights for heights in drawn if heights is not None]
    if not kept:
        raise ContactError("no draw of the constants found a balance")
    stages = np.array([[gauge.error(height) for height in heights] for heights in kept])
    after = _numbers([heights[-1] for heights in kept], gauge)
    rms, roll = (
        percentiles([[take(error) for error in one[1:]] for one in stages]).T
        for take in (gauge.aperture.rms, gauge.edge_roll)
    )
    return Band(
        figure_error=percentiles(stages[:, -1]),
        numbers=after,
        draws=draws,
        failed=draws - len(kept),
        removal=percentiles([heights[0] - heights[-1] for heights in kept]),
        stage_rms=rms,
        stage_edge_roll=roll,
        before=percentiles(stages[:, 0]) if is_measured else None,
        numbers_before=_numbers([heights[0] for heights in kept], gauge) if is_measured else {},
    )


def _numbers(heights: Sequence[Array], gauge: FigureGauge) -> dict[str, Array]:
    """Band of every number of the figure."""
    found = [asdict(gauge.numbers(height)) for height in heights]
    return {name: percentiles([one[name] for one in found]) for name in found[0]}
