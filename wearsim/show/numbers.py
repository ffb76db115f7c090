"""The numbers of an outcome as they are read: in words, in the units of a person, with their bands."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import asdict, dataclass
from typing import Any, NamedTuple

import numpy as np

from wearsim.bench.bench import Bench
from wearsim.bench.personal_units import temperature_unit
from wearsim.bench.units import INCHES, MILLIMETRES, LengthUnit, decimal, pressure_unit
from wearsim.kernels.arrays import Floats
from wearsim.show.text import Cell, band_words, bands_beneath, ends_words, is_outside, table
from wearsim.wear.outcome import Outcome
from wearsim.wear.warnings import PRESSURE_TOO_HIGH

METRES = LengthUnit("m", 1.0, 4)


def fine_unit(unit: LengthUnit) -> LengthUnit:
    """Millimetres or inches with the decimals that a knife is set to."""
    return LengthUnit(unit.name, unit.size, 4 if unit.size > MILLIMETRES.size else 3)


def long_unit(unit: LengthUnit) -> LengthUnit:
    """What a radius of curvature is read in: inches where lengths are, metres otherwise."""
    return INCHES if unit.name == INCHES.name else METRES


def degree_sign(bench: Bench) -> str:
    """The unit of :func:`wearsim.bench.units.temperature_unit` as it is printed on paper."""
    return {"degC": "\u00b0C", "degF": "\u00b0F"}.get(temperature_unit(bench), "K")


CANNOT = "cannot"
WIDTH = "rim_width"
NO_WIDTH = ("-", "")
"""In place of a rim's width and its band where it has none of its own."""
NO_WIDTH_NOTE = "No rim width (-) is given where there is a larger error farther in than at the rim."


class Number(NamedTuple):
    """How a number is read: its name in the code, in words, its unit, how it is written."""

    name: str
    words: str
    unit: str
    written: Callable[[float], str]

    @property
    def label(self) -> str:
        """The words with the unit."""
        return f"{self.words}, {self.unit}" if self.unit else self.words


def in_tenths(share: float) -> str:
    """A share [1] in per cent and tenths of it."""
    return f"{decimal(100.0 * share, 1)}%"


PRESSURE = "peak_pressure"
LIFT_OFF = Number("lift_off_share", "Lift-off, mean share", "", in_tenths)


def pressure_number(outcome: Outcome, digits: int = 2) -> Number:
    """How the largest pressure of an outcome is read: in the unit that goes with its bench's lengths."""
    unit, size = pressure_unit(outcome.bench_text)

    def written(pressure: float) -> str:
        if pressure > PRESSURE_TOO_HIGH:  # pitch gives way at once: how much more is no number to go by
            return f">{PRESSURE_TOO_HIGH / size:.0f}"
        return f"{pressure / size:.{digits}f}"

    return Number(PRESSURE, "Largest pressure", unit, written)


STREHL_WORDS = (
    "Strehl ratio: how bright the centre of a star's image is, compared with a perfect mirror (1). From 0.8 on a mirror is "
    "called diffraction limited."
)
CONIC_WORDS = "Conic constant: 0 is a sphere, -1 a paraboloid; below -1 the mirror is overcorrected."
OVERHANG_WORDS = "Overhang: how far the top piece's edge passes the edge of the piece beneath it."


def figure_rows(high: LengthUnit, length: LengthUnit = MILLIMETRES, conic_places: int = 2) -> tuple[Number, ...]:
    """The figure's numbers (:class:`wearsim.figure.metrics.FigureNumbers`), the conic with so many decimals.

    Heights in ``high``, lengths on the glass in ``length``.
    """
    return (
        Number("surface_rms", "RMS, surface", high.name, high.number),
        Number("surface_pv", "Peak to valley, surface", high.name, high.number),
        Number("wavefront_rms_waves", "RMS, wavefront", "waves", "{:.3f}".format),
        Number("wavefront_pv_waves", "Peak to valley, wavefront", "waves", "{:.2f}".format),
        Number("strehl", "Strehl ratio", "", "{:.3f}".format),
        Number("conic_fit", "Conic constant, best fit", "", lambda conic: decimal(conic, conic_places)),
        Number("edge_roll", "Edge roll, negative = down", high.name, high.number),
        Number("rim_height", "Rim height, negative = down", high.name, high.number),
        Number(WIDTH, "Rim width at half that height", length.name, length.number),
    )


@dataclass(frozen=True)
class BandedNumbers:
    """Numbers by their names, and the bands of those that have one."""

    values: Mapping[str, float]
    ends: Mapping[str, Floats]

    def cells(self, number: Number) -> tuple[str, str]:
        """A number and its band; empty what is not there."""
        value, ends = self.values.get(number.name), self.ends.get(number.name)
        if number.name == WIDTH and value == 0.0:
            return NO_WIDTH
        return (
            "" if value is None else number.written(value),
            "" if ends is None else band_words(tuple(ends), number.written),
        )

    def outside(self, numbers: Sequence[Number]) -> dict[str, None]:
        """Names of those outside their own bands, once for surface and wavefront."""
        return {
            number.words.partition(",")[0]: None
            for number in numbers
            if number.name in self.ends
            and (number.name != WIDTH or self.values[WIDTH])
            and is_outside(self.values[number.name], self.ends[number.name])
        }

    def no_better_than(self, rms: float, wavelength: float) -> BandedNumbers:
        """The same, but no RMS of the surface below this [m], nor a Strehl ratio that is better."""
        strehl = float(np.exp(-((4.0 * np.pi * rms / wavelength) ** 2)))
        least = {"surface_rms": rms, "wavefront_rms_waves": 2.0 * rms / wavelength}
        values, ends = dict(self.values), dict(self.ends)
        for name in {*least, "strehl"} & values.keys():

            def held(value: Any, name: str = name) -> Any:
                return np.maximum(value, least[name]) if name in least else np.minimum(value, strehl)

            values[name] = float(held(values[name]))
            if name in ends:
                ends[name] = held(ends[name])
        return BandedNumbers(values, ends)

    def text(self, name: str, written: Callable[[float], str], unit: str = "") -> str:
        """A number with its unit and, in brackets, its band."""
        return f"{written(self.values[name])}{unit}{ends_words(self.ends, name, written)}"

    def height(self, name: str, high: LengthUnit) -> str:
        """The same of a height [m]."""
        return self.text(name, high.number, f" {high.name}")


def numbers_before(outcome: Outcome) -> BandedNumbers:
    """The figure before."""
    return BandedNumbers(asdict(outcome.numbers_before), {} if outcome.band is None else outcome.band.numbers_before)


def numbers_after(outcome: Outcome) -> BandedNumbers:
    """The figure after, and largest pressure and lift-off of the programme."""
    of_programme = {name: getattr(outcome, name) for name in (PRESSURE, LIFT_OFF.name)}
    band = outcome.band
    ends = {} if band is None else {**band.numbers, **band.of_programme}
    return BandedNumbers({**asdict(outcome.numbers), **of_programme}, ends)


def numbers_table(
    columns: Mapping[str, BandedNumbers | None],
    numbers: Sequence[Number],
    *,
    head: str = "",
    band_beneath: bool = False,
) -> str:
    """Numbers in rows, ``head`` over their names; None for a column of what cannot be done.

    A band is beside its number, or beneath it.
    """
    rows: list[Sequence[Cell]] = []
    for number in numbers:
        cells = [(CANNOT, "") if column is None else column.cells(number) for column in columns.values()]
        rows += bands_beneath(number.label, cells, "  its band") if band_beneath else [(number.label, *cells)]
    return table([head, *columns], rows)
