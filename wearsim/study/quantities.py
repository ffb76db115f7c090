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

    @cached_property
    def edge_roll_change(self) -> float:
        """What was done to the edge roll, negative = turned down [m]."""
        return self.gauge.edge_roll(self.error) - self.gauge.edge_roll(self.error_before)

    @cached_property
    def rim_height_change(self) -> float:
        """What was done to the rim's height, negative = turned down [m]."""
        return self.gauge.rim_height(self.error) - self.gauge.rim_height(self.error_before)

    @property
    def over_draws(self) -> DrawStatistics:
        """The draws of a case that has them."""
        if self.drawn is None:
            raise ValueError("this case was computed without draws")
        return self.drawn


@dataclass(frozen=True)
class DrawStatistics:
    """A case over draws of the uncertain constants; draws that could not be balanced are left out.

    Parameters
    ----------
    edge_roll, surface_rms : (kept,) ndarray
        [m]
    roll_added, rim_added : (kept,) ndarray
        Change of the edge roll and of the rim's height [m].
    limit : float
        One of them below minus this is a turned edge [m].
    failed : int
        Draws left out.
    cases : tuple of CaseOutcome
        The draws themselves, without maps.
    """

    edge_roll: Floats
    surface_rms: Floats
    roll_added: Floats
    rim_added: Floats
    limit: float
    failed: int
    cases: tuple[CaseOutcome, ...] = ()

    def share_below(self, values: Floats) -> float:
        """Share of the draws that go further down than the limit [1]."""
        return np.count_nonzero(values < -self.limit) / len(values)

    def share_error(self, values: Floats) -> float:
        """Monte-Carlo standard error of :meth:`share_below` [1]."""
        return standard_error(int(np.count_nonzero(values < -self.limit)), len(values))

    @property
    def risk(self) -> float:
        """Share of the draws that end with a turned edge [1]."""
        return self.share_below(self.edge_roll)

    @property
    def risk_error(self) -> float:
        """Monte-Carlo standard error of :attr:`risk` [1]."""
        return self.share_error(self.edge_roll)


def standard_error(hits: int, draws: int) -> float:
    """Standard error of a share that was counted.

    The standard deviation of the share given the count, every share being equally likely before: for many
    draws ``sqrt(p (1 - p) / n)``, and never the false zero which that gives when all or none are hits
    (Beta distribution with ``hits + 1`` and ``draws - hits + 1``, derived).
    """
    one, other = hits + 1.0, draws - hits + 1.0
    return float(np.sqrt(one * other / (one + other + 1.0)) / (one + other))


def none_seen(draws: float) -> float:
    """Largest share that so many draws without a hit leave likely, 19 in 20: ``3 / n``, the rule of three (derived)."""
    return 3.0 / max(draws, 3.0)


SMOOTHED_OVER = 0.7
"""Steps along an axis over which shares are smoothed, one sigma: halves their variance, bends a curve by less than that."""


def smoothed_shares(at: Floats, shares: Floats, draws: Floats) -> tuple[Floats, Floats]:
    """Counted shares along an axis, smoothed, and their standard errors.

    A straight line through each place and its neighbours, weighted by a Gaussian of :data:`SMOOTHED_OVER` mean steps (W. S.
    Cleveland, "Robust locally weighted regression and smoothing scatterplots", J. Am. Stat. Assoc. 74 (1979), from memory;
    without its robust part). It is linear in the shares, so their errors (:func:`standard_error`) go through it.

    Parameters
    ----------
    at, shares, draws : (n,) ndarray
        Places along the axis, shares [1] and the draws that each was counted in; a share that is NaN is left out.

    Returns
    -------
    (n,) ndarray, (n,) ndarray
        [1]; NaN where the share is.
    """
    good = np.isfinite(shares)
    smooth, error = np.full(shares.shape, np.nan), np.full(shares.shape, np.nan)
    x, y = at[good], shares[good]
    if not x.size:
        return smooth, error
    own = np.array([standard_error(round(s * n), int(n)) for s, n in zip(y, draws[good], strict=True)])
    step = SMOOTHED_OVER * float(np.ptp(x)) / max(x.size - 1, 1)
    rows = np.stack([_line_weights(x, centre, step) for centre in x])
    smooth[good], error[good] = np.clip(rows @ y, 0.0, 1.0), np.sqrt(rows**2 @ own**2)
    return smooth, error


def _line_weights(x: Floats, centre: float, step: float) -> Floats:
    """Weights of the values at ``x`` in the height at ``centre`` of the line that fits them best near it."""
    away = x - centre
    weight = np.exp(-0.5 * (away / step) ** 2) if step > 0.0 else np.ones_like(x)
    first, second = weight @ away, weight @ away**2
    determinant = weight.sum() * second - first**2
    if determinant <= 0.0:
        return np.asarray(weight / weight.sum())
    return np.asarray(weight * (second - first * away) / determinant)


@dataclass(frozen=True)
class Quantity:
    """Something that can be kept.

    Parameters
    ----------
    inner : tuple of str
        Dimensions in addition to the axes: ``"radius"``, ``"percentile"``, ``"y"``, ``"x"``.
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


def _chance(text: str, name: str) -> Quantity:
    """How often what the draws have under ``name`` goes further down than the limit."""
    return Quantity("1", text, lambda c: c.over_draws.share_below(getattr(c.over_draws, name)), drawn=True)


def _chance_error(of: str, name: str) -> Quantity:
    text = f"Monte-Carlo standard error of {of}"
    return Quantity("1", text, lambda c: c.over_draws.share_error(getattr(c.over_draws, name)), drawn=True)


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
    "edge_roll_change": Quantity("m", "edge roll added, negative = turned down", lambda c: c.edge_roll_change),
    "rim_height": Quantity("m", "rim above the inner 80% after", lambda c: c.gauge.rim_height(c.error)),
    "rim_width": Quantity(
        "m", "distance in from the rim at which its height has fallen to half", lambda c: c.gauge.rim_width(c.error)
    ),
    "rim_height_change": Quantity("m", "rim height added, negative = turned down", lambda c: c.rim_height_change),
    "rim_width_added": Quantity(
        "m",
        "distance in from the rim at which the added height has fallen to half",
        lambda c: c.gauge.rim_width(-c.removal),
    ),
    "surface_rms_before": Quantity("m", "RMS figure error before", lambda c: c.gauge.aperture.rms(c.error_before)),
    "conic_fit_before": Quantity("1", "best-fit conic constant before", lambda c: c.gauge.conic_fit(c.before)),
    "edge_roll_before": Quantity("m", "edge roll before", lambda c: c.gauge.edge_roll(c.error_before)),
    "removal_mean": Quantity(
        "m", "glass removed, mean over the clear aperture", lambda c: c.gauge.aperture.mean(c.removal)
    ),
    "removal_most": Quantity("m", "glass removed, the largest", lambda c: float(c.removal.max())),
    "peak_pressure": Quantity("Pa", "largest pressure", lambda c: c.peak_pressure),
    "lift_off_share": Quantity("1", "share of the overlap that carried no load", lambda c: c.lift_off_share),
    "risk": Quantity("1", "probability of a turned edge", lambda c: c.over_draws.risk, drawn=True),
    "risk_error": Quantity("1", "Monte-Carlo standard error of risk", lambda c: c.over_draws.risk_error, drawn=True),
    "roll_risk_added": _chance("probability that these strokes lower the edge roll", "roll_added"),
    "roll_risk_added_error": _chance_error("roll_risk_added", "roll_added"),
    "rim_risk_added": _chance("probability that these strokes lower the rim", "rim_added"),
    "rim_risk_added_error": _chance_error("rim_risk_added", "rim_added"),
    "draws_failed": Quantity(
        "1", "draws for which the forces could not be balanced", lambda c: c.over_draws.failed, drawn=True
    ),
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
    "edge_roll", "edge_roll_change", "rim_height", "rim_width", "rim_height_change", "rim_width_added", "surface_rms",
    "surface_pv", "strehl", "conic_fit", "removal_mean", "removal_most", "peak_pressure", "lift_off_share",
)  # fmt: skip
"""Numbers that have a band over the draws, kept as ``NAME_band`` with the number itself."""
for _name in BANDED:
    _text = f"{QUANTITIES[_name].text}, over the uncertain constants"
    QUANTITIES[f"{_name}_band"] = Quantity(QUANTITIES[_name].unit, _text, _percentiles(_name), _P, drawn=True)
DEFAULT_KEPT = ("edge_roll", "surface_rms", "surface_pv", "strehl", "peak_pressure", "lift_off_share")
RISKS = ("risk", "roll_risk_added", "rim_risk_added")
"""Shares that are counted over the draws; ``NAME_error`` is the standard error of each."""
DRAWN_KEPT = (
    *(name for risk in RISKS for name in (risk, f"{risk}_error")), "draws_failed", "edge_roll_band", "surface_rms_band",
)  # fmt: skip


def kept_quantities(keep: tuple[str, ...], draws: int) -> tuple[str, ...]:
    """Names of what is kept: wherever there are draws the risk with its error, and the bands of what is kept."""
    bands = [f"{name}_band" for name in keep if name in BANDED]
    return tuple(dict.fromkeys([*keep, *([*DRAWN_KEPT, *bands] if draws else ())]))
