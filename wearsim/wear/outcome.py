"""What a programme is predicted to do.

The band of a prediction: the spread of everything in it over draws.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass, field, fields
from typing import Any

import numpy as np

from wearsim.errors import ContactError
from wearsim.figure.metrics import FigureGauge, FigureNumbers, percentiles
from wearsim.kernels.arrays import Floats
from wearsim.wear.engine import Run


@dataclass(frozen=True, eq=False)
class Band:
    """Spread of a prediction over the uncertain constants and the measurement.

    Every pair is the 5th and the 95th percentile over the draws (:func:`~wearsim.figure.metrics.percentiles`).
    The prediction itself is at the most likely constants and the figure as measured; it is no draw, and may lie
    outside.

    Parameters
    ----------
    figure_error : (2, n) ndarray
        After, at each radius [m].
    numbers : mapping of str to (2,) ndarray
        Of every number of the figure after, by its name in :class:`wearsim.figure.metrics.FigureNumbers`.
    draws : int
        Draws that were worked out.
    failed : int
        Draws that could not be (their constants led to no balance).
    removal : (2, n) ndarray or None
        Glass removed [m]; None in a file of the first format, as are all below.
    stage_rms, stage_edge_roll : (spells, 2) ndarray or None
        RMS figure error and edge roll after each spell [m].
    before : (2, n) ndarray or None
        Figure error before: the measurement's own band [m]; None where the figure is taken as exact.
    numbers_before : mapping of str to (2,) ndarray
        As ``numbers``, of the figure before; empty where it is taken as exact.
    change : (2, n) ndarray or None
        Figure error after less before [m]; None in a file that was written before it was kept, as are all below.
    share : (2,) ndarray or None
        Share of the way that the removal goes (:func:`wearsim.wear.outcome.share_of_the_way`) [1].
    stage_peak_pressure, stage_lift_off : (spells, 2) ndarray or None
        Largest pressure [Pa] and share of the overlap that carried nothing [1] in each spell.
    peak_pressure, lift_off_share : (2,) ndarray or None
        The same of the whole programme.
    details : mapping of str to (2,) ndarray
        Of the planar engine's numbers of the maps, places and axes left out; empty for the radial engine.
    """

    figure_error: Floats
    numbers: Mapping[str, Floats]
    draws: int
    failed: int = 0
    removal: Floats | None = None
    stage_rms: Floats | None = None
    stage_edge_roll: Floats | None = None
    before: Floats | None = None
    numbers_before: Mapping[str, Floats] = field(default_factory=dict)
    change: Floats | None = None
    share: Floats | None = None
    stage_peak_pressure: Floats | None = None
    stage_lift_off: Floats | None = None
    peak_pressure: Floats | None = None
    lift_off_share: Floats | None = None
    details: Mapping[str, Floats] = field(default_factory=dict)

    @property
    def surface_rms(self) -> Floats:
        """Of the RMS figure error after, shape (2,) [m]."""
        return self.numbers["surface_rms"]

    @property
    def edge_roll(self) -> Floats:
        """Of the edge roll after, shape (2,) [m]."""
        return self.numbers["edge_roll"]

    @property
    def of_programme(self) -> dict[str, Floats]:
        """Largest pressure [Pa] and mean lift-off share [1], by their names in an outcome; those that are there."""
        found = {"peak_pressure": self.peak_pressure, "lift_off_share": self.lift_off_share}
        return {name: ends for name, ends in found.items() if ends is not None}

    def __eq__(self, other: object) -> bool:
        if not isinstance(other, Band):
            return NotImplemented
        return all(_same(getattr(self, f.name), getattr(other, f.name)) for f in fields(self))

    __hash__ = None  # type: ignore[assignment]

    def to_json(self) -> dict[str, Any]:
        """What stands in the JSON of an outcome, besides the bands of its spells.

        Returns
        -------
        dict
            Units in the names of the keys.
        """
        profiles = {
            "figure_error_band_m": self.figure_error,
            "figure_error_before_band_m": self.before,
            "removal_band_m": self.removal,
            "figure_error_change_band_m": self.change,
            "peak_pressure_band_pa": self.peak_pressure,
            "lift_off_share_band": self.lift_off_share,
        }
        result: dict[str, Any] = {key: values.tolist() for key, values in profiles.items() if values is not None}
        for what, numbers in (("_before_band", self.numbers_before), ("_band", self.numbers)):
            result |= {_key(name, what): ends.tolist() for name, ends in numbers.items()}
        if self.details:
            result["details_band"] = {name: ends.tolist() for name, ends in self.details.items()}
        return {**result, "band_draws": self.draws, "band_draws_failed": self.failed}

    def of_spell(self, number: int) -> dict[str, Any]:
        """What stands in the JSON of one spell, from 0."""
        bands = {
            "surface_rms_band_m": self.stage_rms,
            "edge_roll_band_m": self.stage_edge_roll,
            "peak_pressure_band_pa": self.stage_peak_pressure,
            "lift_off_share_band": self.stage_lift_off,
        }
        return {key: ends[number].tolist() for key, ends in bands.items() if ends is not None}


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
        None when every constant is stated as known and the figure as exact, or no draws were asked for.
    no_band : str
        Then why, in a few words; empty otherwise.
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
    radius: Floats
    removal: Floats
    before: Floats
    figure_error: Floats
    stages: Floats
    numbers_before: FigureNumbers
    numbers: FigureNumbers
    height: Floats
    pitch_radius: Mapping[str, Floats]
    pitch_height: Mapping[str, Floats]
    spells: tuple[SpellSummary, ...]
    peak_pressure: float
    lift_off_share: float
    band: Band | None = None
    no_band: str = ""
    warnings: tuple[str, ...] = ()
    maps: Mapping[str, Floats] = field(default_factory=dict)
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
        result: dict[str, Any] = {
            "engine": self.engine,
            "radius_m": self.radius.tolist(),
            "removal_m": self.removal.tolist(),
            "figure_error_before_m": self.before.tolist(),
            "figure_error_after_m": self.figure_error.tolist(),
            **{_key(name, "_before"): value for name, value in asdict(self.numbers_before).items()},
            **{_key(name): value for name, value in asdict(self.numbers).items()},
            "lift_off_share": self.lift_off_share,
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
                    **({} if self.band is None else self.band.of_spell(place)),
                }
                for place, s in enumerate(self.spells)
            ],
            "warnings": list(self.warnings),
        }
        result |= {"no_band": self.no_band} if self.band is None else self.band.to_json()
        if self.details:
            result["details"] = dict(self.details)
        return result


def _key(name: str, what: str = "") -> str:
    """The JSON key of a number of the figure: its name, what of it, its unit."""
    stem = name.removesuffix("_waves")
    unit = "_waves" if stem != name else "" if name in ("strehl", "conic_fit") else "_m"
    return f"{stem}{what}{unit}"


def _same(one: Any, two: Any) -> bool:
    if isinstance(one, np.ndarray) or isinstance(two, np.ndarray):
        return np.array_equal(np.asarray(one), np.asarray(two))
    if isinstance(one, Mapping) and isinstance(two, Mapping):
        return one.keys() == two.keys() and all(_same(one[k], two[k]) for k in one)
    return bool(one == two)


EXACT = "the bench states every constant as exact and its figure has no sigma"
NOT_ASKED = "no draws were asked for (--draws)"
NOTHING_DONE = "nothing is done"


NO_SPREAD = ("axis", "peak_", "strokes_redrawn", "steady_bias", "period")
"""In the names of details that are places, axes or counts: percentiles over draws say nothing of them."""


@dataclass(frozen=True, eq=False)
class Draw:
    """What a band keeps of a run with one draw of what is uncertain.

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

    heights: Floats
    peak_pressure: Floats
    lift_off: Floats
    details: Mapping[str, float] = field(default_factory=dict)

    @classmethod
    def of(cls, run: Run[Any]) -> Draw:
        """The part of a run that a band is made of."""
        return cls(
            run.heights,
            np.array([report.peak_pressure for report in run.reports]),
            np.array([report.lift_off_share for report in run.reports]),
            {name: value for name, value in run.details.items() if not any(part in name for part in NO_SPREAD)},
        )


def share_of_the_way(before: Floats, removal: Floats, gauge: FigureGauge) -> float:
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
    drawn: Sequence[Draw | None], gauge: FigureGauge, draws: int, minutes: Floats, *, is_measured: bool
) -> Band:
    """The band over all draws, None for those that found no balance.

    Parameters
    ----------
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
    pressure, lift_off = (np.array([getattr(one, name) for one in found]) for name in ("peak_pressure", "lift_off"))
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
        share=percentiles([share_of_the_way(one[0], h[0] - h[-1], gauge) for one, h in zip(stages, kept, strict=True)]),
        stage_peak_pressure=percentiles(pressure).T,
        stage_lift_off=percentiles(lift_off).T,
        peak_pressure=percentiles(pressure.max(axis=1)),
        lift_off_share=percentiles(lift_off @ minutes / minutes.sum()),
        details={name: percentiles([one.details[name] for one in found]) for name in found[0].details},
    )


def _numbers(heights: Sequence[Floats], gauge: FigureGauge) -> dict[str, Floats]:
    """Band of every number of the figure."""
    found = [asdict(gauge.numbers(height)) for height in heights]
    return {name: percentiles([one[name] for one in found]) for name in found[0]}
