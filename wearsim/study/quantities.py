"""What a study may keep of a case: numbers, profiles, maps, and the spread over the uncertain constants."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from functools import cached_property
from typing import Any

import numpy as np

from wearsim.figure.metrics import FigureGauge, percentiles
from wearsim.kernels.arrays import Floats

PERCENTILES = (5.0, 50.0, 95.0)
RADIUS_SETTINGS = frozenset({("mirror", "diameter"), ("mirror", "hole")})
"""Settings that move the radii of profiles: with one of these as an axis no profile is kept."""


@dataclass(frozen=True)
class CaseOutcome:
    """One case worked out, whichever engine did it; maps and details are the planar engine's.

    Parameters
    ----------
    radius, before, height : (n,) ndarray
        Grid, and the glass before and after, above the reference sphere [m].
    peak_pressure : float
        [Pa]
    lift_off_share : float
        [1]
    drawn : DrawStatistics or None
        The same case over draws of the constants.
    """

    gauge: FigureGauge
    radius: Floats
    before: Floats
    height: Floats
    peak_pressure: float
    lift_off_share: float
    maps: Mapping[str, Floats] = field(default_factory=dict)
    details: Mapping[str, float] = field(default_factory=dict)
    drawn: DrawStatistics | None = None

    @cached_property
    def error(self) -> Floats:
        """Figure error after [m]."""
        return self.gauge.error(self.height)

    @cached_property
    def error_before(self) -> Floats:
        """Figure error before [m]."""
        return self.gauge.error(self.before)

    @cached_property
    def removal(self) -> Floats:
        """Glass removed [m]."""
        return self.before - self.height

    @property
    def over_draws(self) -> DrawStatistics:
        """The draws of a case that has them."""
        if self.drawn is None:
            raise ValueError("this case was worked without draws")
        return self.drawn


@dataclass(frozen=True)
class DrawStatistics:
    """A case over draws of the uncertain constants; draws that found no balance are left out.

    Parameters
    ----------
    edge_roll, surface_rms : (kept,) ndarray
        [m]
    limit : float
        An edge roll below minus this is a turned edge [m].
    failed : int
        Draws left out.
    cases : tuple of CaseOutcome
        The draws themselves, without maps.
    """

    edge_roll: Floats
    surface_rms: Floats
    limit: float
    failed: int
    cases: tuple[CaseOutcome, ...] = ()

    @property
    def turned(self) -> int:
        """Draws that end with a turned edge."""
        return int(np.count_nonzero(self.edge_roll < -self.limit))

    @property
    def risk(self) -> float:
        """Share of the draws that end with a turned edge [1]."""
        return self.turned / len(self.edge_roll)

    @property
    def risk_error(self) -> float:
        """Monte-Carlo standard error of :attr:`risk` [1]."""
        return standard_error(self.turned, len(self.edge_roll))


def standard_error(hits: int, draws: int) -> float:
    """Standard error of a share that was counted.

    The standard deviation of the share given the count, every share being equally likely before: for many
    draws ``sqrt(p (1 - p) / n)``, and never the false zero which that gives when all or none are hits
    (Beta distribution with ``hits + 1`` and ``draws - hits + 1``, derived).
    """
    one, other = hits + 1.0, draws - hits + 1.0
    return float(np.sqrt(one * other / (one + other + 1.0)) / (one + other))


@dataclass(frozen=True)
class Quantity:
    """Something that can be kept.

    Parameters
    ----------
    inner : tuple of str
        Dimensions besides the axes: ``"radius"``, ``"percentile"``, ``"y"``, ``"x"``.
    drawn : bool
        Whether it needs draws of the constants.
    engine : str or None
        The only engine that gives it.
    """

    unit: str
    text: str
    take: Callable[[CaseOutcome], Any]
    inner: tuple[str, ...] = ()
    drawn: bool = False
    engine: str | None = None


def _map(name: str) -> Callable[[CaseOutcome], Any]:
    return lambda case: case.maps[name]


def _percentiles(name: str) -> Callable[[CaseOutcome], Any]:
    return lambda case: percentiles([QUANTITIES[name].take(one) for one in case.over_draws.cases], PERCENTILES)


_R = ("radius",)
_P = ("percentile",)
_YX = ("y", "x")
QUANTITIES: dict[str, Quantity] = {
    "surface_rms": Quantity("m", "RMS figure error after", lambda c: c.gauge.aperture.rms(c.error)),
    "surface_pv": Quantity(
        "m", "peak-to-valley figure error after", lambda c: c.gauge.aperture.peak_to_valley(c.error)
    ),
    "strehl": Quantity("1", "Strehl ratio after", lambda c: c.gauge.strehl(c.error)),
    "conic_fit": Quantity("1", "best-fit conic constant after", lambda c: c.gauge.conic_fit(c.height)),
    "edge_roll": Quantity("m", "edge roll after, negative = turned down", lambda c: c.gauge.edge_roll(c.error)),
    "surface_rms_before": Quantity("m", "RMS figure error before", lambda c: c.gauge.aperture.rms(c.error_before)),
    "edge_roll_before": Quantity("m", "edge roll before", lambda c: c.gauge.edge_roll(c.error_before)),
    "removal_mean": Quantity(
        "m", "glass removed, mean over the clear aperture", lambda c: c.gauge.aperture.mean(c.removal)
    ),
    "removal_most": Quantity("m", "glass removed where most is", lambda c: float(c.removal.max())),
    "peak_pressure": Quantity("Pa", "largest pressure", lambda c: c.peak_pressure),
    "lift_off_share": Quantity("1", "share of the overlap that carried nothing", lambda c: c.lift_off_share),
    "risk": Quantity("1", "probability of a turned edge", lambda c: c.over_draws.risk, drawn=True),
    "risk_error": Quantity("1", "Monte-Carlo standard error of risk", lambda c: c.over_draws.risk_error, drawn=True),
    "draws_failed": Quantity("1", "draws without a balance", lambda c: c.over_draws.failed, drawn=True),
    "removal": Quantity("m", "glass removed", lambda c: c.removal, _R),
    "figure_error": Quantity("m", "figure error after, positive = high", lambda c: c.error, _R),
    "figure_error_before": Quantity("m", "figure error before", lambda c: c.error_before, _R),
    "height": Quantity("m", "glass after, above the reference sphere", lambda c: c.height, _R),
    "removal_map": Quantity("m", "glass removed", _map("removal"), _YX, engine="planar"),
    "astigmatism": Quantity("m", "astigmatism after", lambda c: c.details["astigmatism_after_m"], engine="planar"),
    "ripple_rms": Quantity("m", "ripple of the removal", lambda c: c.details["ripple_rms_m"], engine="planar"),
    "map_rms": Quantity("m", "RMS figure error of the map", lambda c: c.details["map_rms_after_m"], engine="planar"),
    "after_map": Quantity("m", "figure error after", _map("after"), _YX, engine="planar"),
}
BANDED = (
    "edge_roll", "surface_rms", "surface_pv", "strehl", "conic_fit", "removal_mean", "removal_most", "peak_pressure",
    "lift_off_share",
)  # fmt: skip
"""Numbers that have a band over the draws, kept as ``NAME_band`` with the number itself."""
for _name in BANDED:
    _text = f"{QUANTITIES[_name].text}, over the uncertain constants"
    QUANTITIES[f"{_name}_band"] = Quantity(QUANTITIES[_name].unit, _text, _percentiles(_name), _P, drawn=True)
DEFAULT_KEPT = ("edge_roll", "surface_rms", "surface_pv", "strehl", "peak_pressure", "lift_off_share")
DRAWN_KEPT = ("risk", "risk_error", "draws_failed", "edge_roll_band", "surface_rms_band")


def kept_quantities(keep: tuple[str, ...], draws: int) -> tuple[str, ...]:
    """Names of what is kept: wherever there are draws the risk with its error, and the bands of what is kept."""
    bands = [f"{name}_band" for name in keep if name in BANDED]
    return tuple(dict.fromkeys([*keep, *([*DRAWN_KEPT, *bands] if draws else ())]))
