"""What a programme is predicted to do, and the band of it: the spread of everything over draws.

The tables say of everything that is written down what it is, its unit and what it lies over: JSON and HDF5 read them.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass, field
from typing import Any, NamedTuple

import numpy as np

from wearsim.errors import ContactError
from wearsim.figure.metrics import FigureGauge, FigureNumbers, percentiles
from wearsim.kernels.arrays import Floats
from wearsim.wear.engine_protocol import Run

EXACT = "the bench states every constant as exact and its figure has no sigma"
NOT_ASKED = "no draws were asked for (--draws)"
NOTHING_DONE = "the programme is empty"
NO_SPREAD = ("axis", "peak_", "strokes_redrawn", "steady_bias", "period")
"""In the names of details that are places, axes or counts: percentiles over draws say nothing of them."""


class OutcomeField(NamedTuple):
    """How a field is written down: its name in JSON, units apart ("" for none), unit, words and dimensions."""

    name: str
    unit: str
    text: str
    dimensions: tuple[str, ...] = ()

    def key(self, what: str = "") -> str:
        """The JSON key of it, or of ``what`` of it: the unit is at the end."""
        stem = self.name.removesuffix("_waves")
        unit = "_waves" if stem != self.name else {"m": "_m", "Pa": "_pa"}.get(self.unit, "")
        return f"{stem}{what}{unit}"


def _table(*rows: tuple[str, str, str, str, str]) -> dict[str, OutcomeField]:
    """Quantities by their names in the code, from rows of that, name in JSON, unit, words and dimensions."""
    return {code: OutcomeField(name, unit, text, tuple(over.split())) for code, name, unit, text, over in rows}


# what is written down, in the order of JSON
_FIGURE_NUMBERS = {
    "surface_rms": ("m", "RMS figure error"), "surface_pv": ("m", "peak-to-valley figure error"),
    "wavefront_rms_waves": ("1", "RMS of the wavefront in wavelengths"),
    "wavefront_pv_waves": ("1", "peak to valley of the wavefront in wavelengths"),
    "strehl": ("1", "Strehl ratio"), "conic_fit": ("1", "best-fit conic constant"), "edge_roll": ("m", "edge roll"),
    "rim_height": ("m", "rim above the sphere that fits the inner 80%"),
    "rim_width": ("m", "how far in from the rim half of its height is reached"),
}  # fmt: skip
FIGURE_NUMBERS = {code: OutcomeField(code, *rest) for code, rest in _FIGURE_NUMBERS.items()}
PROFILES = _table(
    ("removal", "removal", "m", "glass removed", "radius"),
    ("before", "figure_error_before", "m", "figure error before, positive = high", "radius"),
    ("figure_error", "figure_error_after", "m", "figure error after, positive = high", "radius"),
    ("stages", "", "m", "figure error at the start and after each spell", "stage radius"),
    ("height", "", "m", "glass after, above the reference sphere", "radius"),
)
BANDS = _table(
    ("figure_error", "figure_error", "m", "figure error after", "percentile radius"),
    ("before", "figure_error_before", "m", "figure error before, of the measurement", "percentile radius"),
    ("removal", "removal", "m", "glass removed", "percentile radius"),
    ("change", "figure_error_change", "m", "figure error after less before", "percentile radius"),
    ("share", "", "1", "share of the error that the removal takes away", "percentile"),
    ("peak_pressure", "peak_pressure", "Pa", "largest pressure", "percentile"),
    ("lift_off_share", "lift_off_share", "1", "share of the overlap that carried no load", "percentile"),
)
SPELL_BANDS = _table(
    ("stage_rms", "surface_rms", "m", "RMS figure error after each spell", "spells/spell percentile"),
    ("stage_edge_roll", "edge_roll", "m", "edge roll after each spell", "spells/spell percentile"),
    ("stage_rim_height", "rim_height", "m", "rim's height after each spell", "spells/spell percentile"),
    ("stage_rim_width", "rim_width", "m", "rim's width after each spell", "spells/spell percentile"),
    ("stage_peak_pressure", "peak_pressure", "Pa", "largest pressure in each spell", "spells/spell percentile"),
    ("stage_lift_off", "lift_off_share", "1", "share of the overlap that carried no load, each spell",
     "spells/spell percentile"),
)  # fmt: skip
_SPELL_UNITS = {
    "minutes": "min", "peak_pressure": "Pa", "lift_off_share": "1", "reach": "m", "tip": "m", "left_out": "1",
    "surface_rms": "m", "edge_roll": "m", "rim_height": "m", "rim_width": "m",
}  # fmt: skip
SPELL_NUMBERS = {
    code: OutcomeField("" if code == "left_out" else code, unit, code.replace("_", " "), ("spell",))
    for code, unit in _SPELL_UNITS.items()
}


def _named(table: Mapping[str, OutcomeField], thing: Any, what: str = "") -> dict[str, Any]:
    """The quantities of a thing that JSON names and that are there, by their keys."""
    found = {one.key(what): getattr(thing, code) for code, one in table.items() if one.name}
    return {key: value for key, value in found.items() if value is not None}


def _listed(named: Mapping[str, Floats]) -> dict[str, Any]:
    return {key: values.tolist() for key, values in named.items()}


class _EqualByValue:
    """Equal where all fields are, arrays and mappings of arrays included."""

    def __eq__(self, other: object) -> bool:
        return _same(vars(self), vars(other)) if type(other) is type(self) else NotImplemented

    __hash__ = None  # type: ignore[assignment]


def _same(one: Any, two: Any) -> bool:
    if isinstance(one, np.ndarray) or isinstance(two, np.ndarray):
        return np.array_equal(np.asarray(one), np.asarray(two))
    if isinstance(one, Mapping) and isinstance(two, Mapping):
        return one.keys() == two.keys() and all(_same(one[k], two[k]) for k in one)
    return bool(one == two)


@dataclass(frozen=True, eq=False)
class Band(_EqualByValue):
    """Spread of a prediction over the uncertain constants and the measurement.

    Every pair is the 5th and the 95th percentile over the draws (:func:`~wearsim.figure.metrics.percentiles`): (2, n)
    over the radius, (spells, 2) of each spell, or (2,); what each is, :data:`BANDS` and :data:`SPELL_BANDS` say. The
    prediction itself is at the most likely constants and the figure as measured; it is no draw, and may lie outside.
    None is what an older file has not; ``before`` also where the figure is taken as exact.

    Parameters
    ----------
    numbers, numbers_before : mapping of str to (2,) ndarray
        Of every number of the figure after and before, by its name in :class:`wearsim.figure.metrics.FigureNumbers`;
        before, empty where the figure is taken as exact.
    draws, failed : int
        Draws that were tried, and those that could not be worked out (their constants led to no balance).
    details : mapping of str to (2,) ndarray
        Of the planar engine's numbers of the maps, places and axes left out; empty for the radial engine.
    expected_rms, expected_rms_before : float or None
        Root of the mean square figure error over the draws, after and before: what programmes are compared by [m].
    """

    figure_error: Floats
    numbers: Mapping[str, Floats]
    draws: int
    failed: int = 0
    numbers_before: Mapping[str, Floats] = field(default_factory=dict)
    before: Floats | None = None
    removal: Floats | None = None
    change: Floats | None = None
    share: Floats | None = None
    peak_pressure: Floats | None = None
    lift_off_share: Floats | None = None
    stage_rms: Floats | None = None
    stage_edge_roll: Floats | None = None
    stage_rim_height: Floats | None = None
    stage_rim_width: Floats | None = None
    stage_peak_pressure: Floats | None = None
    stage_lift_off: Floats | None = None
    details: Mapping[str, Floats] = field(default_factory=dict)
    expected_rms: float | None = None
    expected_rms_before: float | None = None

    @property
    def surface_rms(self) -> Floats:
        """Band of the RMS figure error after, shape (2,) [m]."""
        return self.numbers["surface_rms"]

    @property
    def edge_roll(self) -> Floats:
        """Band of the edge roll after, shape (2,) [m]."""
        return self.numbers["edge_roll"]

    @property
    def of_programme(self) -> dict[str, Floats]:
        """Largest pressure [Pa] and mean lift-off share [1], by their names in an outcome; those that are there."""
        found = {"peak_pressure": self.peak_pressure, "lift_off_share": self.lift_off_share}
        return {name: ends for name, ends in found.items() if ends is not None}

    def to_json(self) -> dict[str, Any]:
        """What the JSON of an outcome holds, units in the names of the keys, except the bands of its spells."""
        result = _listed(_named(BANDS, self, "_band"))
        for what, numbers in (("_before_band", self.numbers_before), ("_band", self.numbers)):
            result |= _listed({FIGURE_NUMBERS[name].key(what): ends for name, ends in numbers.items()})
        if self.details:
            result["details_band"] = _listed(self.details)
        if self.expected_rms is not None:
            result |= {"expected_rms_m": self.expected_rms, "expected_rms_if_stopped_m": self.expected_rms_before}
        return {**result, "band_draws": self.draws, "band_draws_failed": self.failed}

    def of_spell(self, number: int) -> dict[str, Any]:
        """What the JSON of one spell holds, from 0."""
        return {key: ends[number].tolist() for key, ends in _named(SPELL_BANDS, self, "_band").items()}


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
        Largest [Pa].
    lift_off_share : float
        Share of the overlap that carried nothing [1].
    reach, tip : float
        Largest offset of the stroke, and where it would tip off [m].
    left_out : float
        Share of jittered strokes that would tip off [1].
    surface_rms, edge_roll, rim_height, rim_width : float
        Of the figure after it [m].
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
    rim_height: float
    rim_width: float

    def to_json(self) -> dict[str, Any]:
        """One object for ``--json``, units in the names of the keys."""
        time = {"label": self.label, "minutes": self.minutes, "time_s": 60.0 * self.minutes}
        return {**time, **_named(SPELL_NUMBERS, self)}


@dataclass(frozen=True, eq=False)
class Outcome(_EqualByValue):
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

    def to_json(self) -> dict[str, Any]:
        """One object for ``--json``: plain lists and floats, SI units in the key names.

        Returns
        -------
        dict
            Units in the names of the keys; no NaN, no infinity.
        """
        spells = [
            {**spell.to_json(), **({} if self.band is None else self.band.of_spell(place))}
            for place, spell in enumerate(self.spells)
        ]
        result: dict[str, Any] = {
            "engine": self.engine,
            "radius_m": self.radius.tolist(),
            **_listed(_named(PROFILES, self)),
            **_named(FIGURE_NUMBERS, self.numbers_before, "_before"),
            **_named(FIGURE_NUMBERS, self.numbers),
            "lift_off_share": self.lift_off_share,
            "peak_pressure_pa": self.peak_pressure,
            "spells": spells,
            "warnings": list(self.warnings),
        }
        result |= {"no_band": self.no_band} if self.band is None else self.band.to_json()
        return result | ({"details": dict(self.details)} if self.details else {})


@dataclass(frozen=True, eq=False)
class Draw:
    """What a band keeps of a run with one draw of the uncertainties.

    Parameters
    ----------
    heights : (spells + 1, n) ndarray
        Glass at the start and after each spell, above the reference sphere [m].
    peak_pressure, lift_off : (spells,) ndarray
        Largest pressure [Pa], and share of the overlap that carried no load [1], in each spell.
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

    ``before`` is the figure error, ``removal`` the glass removed, both (n,) [m] on the gauge's radii.
    """
    whole = gauge.aperture.rms(before) ** 2
    return gauge.aperture.inner_product(gauge.aperture.level(removal), before) / whole if whole > 0.0 else 0.0


def band_of(
    drawn: Sequence[Draw | None], gauge: FigureGauge, draws: int, minutes: Floats, *, is_measured: bool
) -> Band:
    """The band over all draws, None for those that could not be balanced.

    ``draws`` of them were tried, the spells took ``minutes`` (spells,) [min], and where the figure ``is_measured`` the
    glass at the start differs from draw to draw. Strokes only wear: where a draw's difference in shape would add glass, none
    is removed in that draw.

    Raises
    ------
    ContactError
        If none found a balance.
    """
    found = [one for one in drawn if one is not None]
    if not found:
        raise ContactError("the forces could not be balanced for any draw of the constants")
    kept = [one.heights for one in found]
    first, last = (np.array([gauge.error(heights[place]) for heights in kept]) for place in (0, -1))
    takes = (gauge.aperture.rms, gauge.edge_roll, gauge.rim_height, gauge.rim_width)
    numbers = np.empty((len(kept), minutes.size, len(takes)))
    for row, heights in zip(numbers, kept, strict=True):
        row[:] = [[take(error) for take in takes] for error in map(gauge.error, heights[1:])]
    pressure, lift_off = (np.array([getattr(one, name) for one in found]) for name in ("peak_pressure", "lift_off"))
    rms, roll, rim, width = percentiles(numbers).T
    expected, stopped = (
        float(np.sqrt(np.mean([gauge.aperture.rms(one) ** 2 for one in errors]))) for errors in (last, first)
    )
    return Band(
        figure_error=percentiles(last),
        numbers=_numbers([heights[-1] for heights in kept], gauge),
        draws=draws,
        failed=draws - len(kept),
        removal=percentiles([np.maximum(heights[0] - heights[-1], 0.0) for heights in kept]),
        stage_rms=rms,
        stage_edge_roll=roll,
        stage_rim_height=rim,
        stage_rim_width=width,
        before=percentiles(first) if is_measured else None,
        numbers_before=_numbers([heights[0] for heights in kept], gauge) if is_measured else {},
        change=percentiles(last - first),
        share=percentiles([share_of_the_way(one, h[0] - h[-1], gauge) for one, h in zip(first, kept, strict=True)]),
        stage_peak_pressure=percentiles(pressure).T,
        stage_lift_off=percentiles(lift_off).T,
        peak_pressure=percentiles(pressure.max(axis=1)),
        lift_off_share=percentiles(lift_off @ minutes / minutes.sum()),
        details={name: percentiles([one.details[name] for one in found]) for name in found[0].details},
        expected_rms=expected,
        expected_rms_before=stopped,
    )


def _numbers(heights: Sequence[Floats], gauge: FigureGauge) -> dict[str, Floats]:
    """Band of every number of the figure."""
    found = [asdict(gauge.numbers(height)) for height in heights]
    return {name: percentiles([one[name] for one in found]) for name in found[0]}
