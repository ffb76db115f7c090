"""What a programme is predicted to do."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, fields
from typing import Any

import numpy as np

from wearsim.figure.numbers import FigureNumbers
from wearsim.wear.grid import Array


@dataclass(frozen=True)
class Band:
    """Spread of a prediction over the uncertain constants and the measurement.

    Parameters
    ----------
    figure_error : (2, n) ndarray
        5th and 95th percentile at each radius [m].
    surface_rms : (2,) ndarray
        5th and 95th percentile of the RMS figure error [m].
    edge_roll : (2,) ndarray
        The same of the edge roll [m].
    draws : int
        Draws that were worked out.
    failed : int
        Draws that could not be (their constants led to no balance).
    """

    figure_error: Array
    surface_rms: Array
    edge_roll: Array
    draws: int
    failed: int = 0


@dataclass(frozen=True)
class SpellSummary:
    """One spell of the outcome.

    Parameters
    ----------
    label : str
        The spell in words.
    minutes : float
        [min]
    peak_pressure : float
        [Pa]
    lift_off_share : float
        [1]
    reach, tip : float
        Largest offset of the stroke, and where it would tip off [m].
    left_out : float
        Share of jittered strokes that would tip off [1].
    surface_rms : float
        RMS figure error after it [m].
    edge_roll : float
        After it [m].
    """

    label: str
    minutes: float
    peak_pressure: float
    lift_off_share: float
    reach: float
    tip: float
    left_out: float
    surface_rms: float
    edge_roll: float


@dataclass(frozen=True, eq=False)
class Outcome:
    """What a programme is predicted to do.

    Parameters
    ----------
    engine : str
        ``"radial"`` or ``"planar"``.
    radius : (n,) ndarray
        [m]
    removal : (n,) ndarray
        Glass removed, positive [m].
    before, figure_error : (n,) ndarray
        Figure error before and after, each less the piston and the r^2 term of its own best fit [m].
    stages : (spells + 1, n) ndarray
        Figure error at the start and after each spell [m].
    numbers_before, numbers : FigureNumbers
        The figure in numbers before and after.
    height : (n,) ndarray
        Glass after, above the reference sphere [m].
    pitch_radius, pitch_height : mapping of str to (m,) ndarray
        Every lap's pitch after, by the lap's name [m].
    spells : tuple of SpellSummary
    peak_pressure : float
        Largest over the programme [Pa].
    lift_off_share : float
        Share of the overlap that carried nothing, mean over the time worked [1].
    band : Band or None
        None when every constant is stated as known and the figure as exact.
    warnings : tuple of str
        What a careful colleague would say.
    maps : mapping of str to ndarray
        Of the planar engine: ``x``, ``y`` [m], ``before``, ``after``, ``removal``, ``pitch`` [m].
    details : mapping of str to float
        Of the planar engine: low Zernike terms, astigmatism, ripple and the like.
    bench_text, programme_text : str
        What it was computed from, as TOML.
    """

    engine: str
    radius: Array
    removal: Array
    before: Array
    figure_error: Array
    stages: Array
    numbers_before: FigureNumbers
    numbers: FigureNumbers
    height: Array
    pitch_radius: Mapping[str, Array]
    pitch_height: Mapping[str, Array]
    spells: tuple[SpellSummary, ...]
    peak_pressure: float
    lift_off_share: float
    band: Band | None = None
    warnings: tuple[str, ...] = ()
    maps: Mapping[str, Array] = field(default_factory=dict)
    details: Mapping[str, float] = field(default_factory=dict)
    bench_text: str = ""
    programme_text: str = ""

    @property
    def surface_rms(self) -> float:
        """RMS figure error after [m]."""
        return self.numbers.surface_rms

    @property
    def surface_pv(self) -> float:
        """Peak-to-valley figure error after [m]."""
        return self.numbers.surface_pv

    @property
    def strehl(self) -> float:
        """Strehl ratio after [1]."""
        return self.numbers.strehl

    @property
    def edge_roll(self) -> float:
        """Edge roll after, negative = turned down [m]."""
        return self.numbers.edge_roll

    @property
    def conic_fit(self) -> float:
        """Best-fit conic constant after [1]."""
        return self.numbers.conic_fit

    def __eq__(self, other: object) -> bool:
        if not isinstance(other, Outcome):
            return NotImplemented
        return all(_same(getattr(self, f.name), getattr(other, f.name)) for f in fields(self))

    __hash__ = None  # type: ignore[assignment]

    def to_json(self) -> dict[str, Any]:
        """One object for ``--json``: plain lists and floats, SI units in the key names.

        Returns
        -------
        dict
            Units in the names of the keys; no NaN, no infinity.
        """
        n, m = self.numbers, self.numbers_before
        result: dict[str, Any] = {
            "engine": self.engine,
            "radius_m": self.radius.tolist(),
            "removal_m": self.removal.tolist(),
            "figure_error_before_m": self.before.tolist(),
            "figure_error_after_m": self.figure_error.tolist(),
            "surface_rms_before_m": m.surface_rms,
            "surface_rms_m": n.surface_rms,
            "surface_pv_m": n.surface_pv,
            "wavefront_rms_waves": n.wavefront_rms_waves,
            "wavefront_pv_waves": n.wavefront_pv_waves,
            "lift_off_share": self.lift_off_share,
            "strehl": n.strehl,
            "strehl_before": m.strehl,
            "conic_fit": n.conic_fit,
            "conic_fit_before": m.conic_fit,
            "edge_roll_m": n.edge_roll,
            "edge_roll_before_m": m.edge_roll,
            "peak_pressure_pa": self.peak_pressure,
            "spells": [
                {
                    "label": s.label,
                    "minutes": s.minutes,
                    "time_s": 60.0 * s.minutes,
                    "peak_pressure_pa": s.peak_pressure,
                    "lift_off_share": s.lift_off_share,
                    "reach_m": s.reach,
                    "tip_m": s.tip,
                    "surface_rms_m": s.surface_rms,
                    "edge_roll_m": s.edge_roll,
                }
                for s in self.spells
            ],
            "warnings": list(self.warnings),
        }
        if self.band is not None:
            result["figure_error_band_m"] = self.band.figure_error.tolist()
            result["surface_rms_band_m"] = self.band.surface_rms.tolist()
            result["edge_roll_band_m"] = self.band.edge_roll.tolist()
            result["band_draws"] = self.band.draws
        if self.details:
            result["details"] = dict(self.details)
        return result


def _same(one: Any, two: Any) -> bool:
    if isinstance(one, np.ndarray) or isinstance(two, np.ndarray):
        return np.array_equal(np.asarray(one), np.asarray(two))
    if isinstance(one, Mapping) and isinstance(two, Mapping):
        return one.keys() == two.keys() and all(_same(one[k], two[k]) for k in one)
    if isinstance(one, Band) and isinstance(two, Band):
        return all(_same(getattr(one, f.name), getattr(two, f.name)) for f in fields(one))
    return bool(one == two)
