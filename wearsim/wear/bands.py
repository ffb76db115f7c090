"""The band of a prediction: the spread of everything in it over draws."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass, field

import numpy as np

from wearsim.errors import ContactError
from wearsim.figure.band import percentiles
from wearsim.figure.numbers import FigureGauge
from wearsim.wear.grid import Array
from wearsim.wear.outcome import Band

EXACT = "the bench states every constant as exact and its figure has no sigma"
NOT_ASKED = "no draws were asked for (--draws)"
NOTHING_DONE = "nothing is done"


@dataclass(frozen=True, eq=False)
class Drawn:
    """One draw worked out.

    Parameters
    ----------
    heights : (spells + 1, n) ndarray
        Glass at the start and after each spell, above the reference sphere [m].
    peak_pressure : (spells,) ndarray
        Largest pressure in each spell [Pa].
    lift_off : (spells,) ndarray
        Share of the overlap that carried nothing in each spell [1].
    details : mapping of str to float
        Of the planar engine.
    """

    heights: Array
    peak_pressure: Array
    lift_off: Array
    details: Mapping[str, float] = field(default_factory=dict)


def share_of_the_way(before: Array, removal: Array, gauge: FigureGauge) -> float:
    """The removal's part along the figure error before, in squares [1]; 1 takes all of it away, and 0 stands for no error.

    Parameters
    ----------
    before : (n,) ndarray
        Figure error [m].
    removal : (n,) ndarray
        Glass removed [m].
    gauge : FigureGauge
        On the same radii.
    """
    whole = gauge.aperture.rms(before) ** 2
    return gauge.aperture.inner_product(gauge.aperture.level(removal), before) / whole if whole > 0.0 else 0.0


def band_of(
    drawn: Sequence[Drawn | None], gauge: FigureGauge, draws: int, minutes: Array, *, is_measured: bool
) -> Band:
    """The band over all draws, None for those that found no balance.

    Parameters
    ----------
    drawn : sequence of Drawn or None
    gauge : FigureGauge
    draws : int
        How many were tried.
    minutes : (spells,) ndarray
        Of the spells [min].
    is_measured : bool
        Whether the glass at the start differs from draw to draw.

    Raises
    ------
    ContactError
        If none found a balance.
    """
    found = [one for one in drawn if one is not None]
    if not found:
        raise ContactError("no draw of the constants found a balance")
    kept = [one.heights for one in found]
    stages = np.array([[gauge.error(height) for height in heights] for heights in kept])
    pressure, lift_off = (
        np.array([getattr(one, name) for one in found]) for name in ("peak_pressure", "lift_off")
    )
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
        change=percentiles(stages[:, -1] - stages[:, 0]),
        share=percentiles(
            [share_of_the_way(one[0], h[0] - h[-1], gauge) for one, h in zip(stages, kept, strict=True)]
        ),
        stage_peak_pressure=percentiles(pressure).T,
        stage_lift_off=percentiles(lift_off).T,
        peak_pressure=percentiles(pressure.max(axis=1)),
        lift_off_share=percentiles(lift_off @ minutes / minutes.sum()),
        details={name: percentiles([one.details[name] for one in found]) for name in found[0].details},
    )


def _numbers(heights: Sequence[Array], gauge: FigureGauge) -> dict[str, Array]:
    """Band of every number of the figure."""
    found = [asdict(gauge.numbers(height)) for height in heights]
    return {name: percentiles([one[name] for one in found]) for name in found[0]}
