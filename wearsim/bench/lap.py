"""The lap: pitch on a rigid disc."""

from __future__ import annotations

import math
from typing import Annotated, Any, Literal, Self

from pydantic import model_validator

from wearsim.bench import materials as catalogue
from wearsim.bench.fields import (
    Depth,
    Diameter,
    InputTable,
    Length,
    LengthPair,
    Mass,
    Name,
    Stiffness,
    Temperature,
    Thickness,
    Time,
    choice,
    default,
    number,
    table_of,
    whole_number,
)
from wearsim.bench.input_errors import length_error
from wearsim.errors import InputError

_FACETS = "25 mm facets with 6 mm channels: common practice, no source; contact fraction 0.65 [derived]"
REFERENCE_PRESSURE = 1000.0
"""Pressure at which a law of wear and a stiffness are as stated, whatever their exponents [Pa]; a usual one."""
LIKE = 1.2
"""A time by squeeze flow that differs by less than this factor from the catalogue's is not worth mentioning (judgement)."""
FROM_PITCH = ("stiffness", "relaxation_time", "pitch_temperature")


def _about(value: float) -> str:
    """Two digits, without an exponent for large numbers."""
    return f"{value:.0f}" if value >= 10.0 else f"{value:.2g}"


class Lap(InputTable):
    """A lap, from ``[lap]`` or one of several ``[[lap]]``.

    Attributes
    ----------
    name : str or None
        Name by which a spell refers to this lap.
    diameter : float
        Diameter of the pitch that touches the glass, measured across it, not of the disc beneath. Pitch that ends 2-3%
        inside the disc, or is rounded at its rim, shifts the stroke at which the conic stays as it is by 0.02-0.06 of the
        mirror's diameter [m].
    mass : float
        Mass of the whole piece [kg].
    pitch : str or None
        A pitch from the catalogue: gives stiffness, relaxation_time and pitch_temperature where they are not given
        themselves.
    pitch_thickness : float
        Thickness of the pitch [m].
    stiffness : float
        Foundation modulus per nominal area, channels included [Pa/m] (physics section 2).
    stiffness_exponent : float
        Power of the mean pressure, over 1 kPa, with which the stiffness grows [1] (physics section 2).
    relaxation_time : float
        Relaxation time at ``pitch_temperature`` [s] (physics section 4).
    pitch_temperature : float
        Temperature at which the relaxation time holds [degC].
    degrees_per_decade : float
        Drop in temperature, in degrees Celsius, that makes relaxation ten times slower [degC] (physics section 4).
    start : {"pressed", "spherical"}
        Its shape when the session begins.
    facet, channel : float
        Width of a facet (of a hexagon, across its flats) and of the channel between two [m].
    channel_offset : tuple of float
        Position of the middle of the nearest facet, from the lap's centre [m].
    facet_shape : {"square", "hexagonal", "none"}
        How the channels run.
    ring_inner : float
        Diameter of the bare middle of a ring lap [m]; 0 for a whole lap.
    star_points : int
        Points of a star-shaped lap; 0 for a round one.
    star_depth : float
        How far the notches between two points reach in from the rim [m]. From one point, on the x
        axis, to the next the rim runs evenly in azimuth down to the notch and up again:
        ``a - star_depth * (1 - |n phi / pi - 1|)`` for ``phi`` from 0 to ``2 pi / n``.
    """

    name: Name | None = None
    diameter: Diameter
    mass: Mass
    pitch: Name | None = None
    pitch_thickness: Thickness = default(
        0.005,
        "1/8 in (H. Draper, On the Construction of a Silvered Glass Telescope, 1864; L. Bell, The Telescope, 1922) [read]; "
        "1/4 in: common practice, no source",
    )
    stiffness: Stiffness = default(
        5e9,
        "no published value; observations suggest both softer and stiffer (validation page); known within a factor of 3",
    )
    stiffness_exponent: Annotated[float, *number("0.5", least=0.0, most=1.0)] = default(
        0.0, "judgement: 0 for an elastic bed; 1 where grains or a water film carry the load (physics section 2)"
    )
    relaxation_time: Time = default(
        300.0,
        "0.58 times the squeeze-flow time of a facet (J. Stefan, Versuche ueber die scheinbare Adhaesion, 1874 [memory]), "
        "to allow for sliding glass; viscosity 1.4e9 Pa s [derived]; known within a factor of 2.5",
    )
    pitch_temperature: Temperature = default(20.0, "the temperature of the default relaxation time")
    degrees_per_decade: Annotated[float, *number("6", least=2.0, most=30.0)] = default(
        6.0,
        "5 from the universal constants of M. L. Williams, R. F. Landel & J. D. Ferry (The temperature dependence "
        "of relaxation mechanisms, 1955), 6 to 10 in practice [memory]; taken as 6 +- 1.5",
    )
    start: Annotated[Literal["pressed", "spherical"], *choice("pressed", "spherical")] = default(
        "pressed", "common practice, no source: cold-press before a spell"
    )
    facet: Length = default(0.025, _FACETS)
    channel: Depth = default(0.006, _FACETS)
    channel_offset: LengthPair = default((0.0, 0.0), "judgement: a facet in the middle")
    facet_shape: Annotated[Literal["square", "hexagonal", "none"], *choice("square", "hexagonal", "none")] = default(
        "square", "common practice, no source"
    )
    ring_inner: Depth = default(0.0, "a whole lap, no ring")
    star_points: Annotated[int, whole_number("6", most=60)] = default(0, "a round lap, no star")
    star_depth: Depth = default(0.0, "a round lap, no star")

    @property
    def radius(self) -> float:
        """[m]."""
        return self.diameter / 2

    @property
    def fraction(self) -> float:
        """Share of the nominal area that the facets touch [1], channels between them taken off.

        ``(facet / (facet + channel))^2``, for squares and for hexagons alike: a cell of the pattern and
        its facet are similar figures, ``facet + channel`` and ``facet`` across (derived).
        """
        if self.facet_shape == "none":
            return 1.0
        return (self.facet / (self.facet + self.channel)) ** 2

    def stiffening_under(self, force: float, radius: float, more: float = 0.0) -> float:
        """Factor on the stiffness under a load [N] on a disc of a radius [m]: 1 at :data:`REFERENCE_PRESSURE` [1].

        ``more`` is added to the exponent; what comes out is held to 0-1.
        """
        exponent = min(1.0, max(0.0, self.stiffness_exponent + more))
        return float((force / (math.pi * radius**2) / REFERENCE_PRESSURE) ** exponent)

    @property
    def squeeze_flow(self) -> float:
        """How many times as slowly these facets are squeezed as those the catalogue's times are for, of the same pitch [1].

        As the facet's width squared over the pitch's thickness cubed (Stefan 1874; theory page on wear and flow). A lap
        without channels has no facets, and 1.
        """
        if self.facet_shape == "none":
            return 1.0
        usual = Lap.model_fields
        wide, thick = self.facet / usual["facet"].default, self.pitch_thickness / usual["pitch_thickness"].default
        return float(wide**2 / thick**3)

    @property
    def flow_note(self) -> str:
        """What squeeze flow makes of a relaxation time that nobody stated, in millimetres; empty where it agrees."""
        factor = self.squeeze_flow
        if 1.0 / LIKE < factor < LIKE:
            return ""
        times = f"{_about(factor)} times as long" if factor > 1.0 else f"{_about(1.0 / factor)} times shorter"
        sizes = f"{1e3 * self.facet:.4g} mm facets in {1e3 * self.pitch_thickness:.4g} mm of pitch"
        minutes = _about(factor * self.relaxation_time / 60.0)
        return (
            "this value, which wearsim uses, is for 25 mm facets in 5 mm of pitch; "
            f"for {sizes} squeeze flow makes it {times}. "
            f'To use that, set relaxation_time = "{minutes} min" yourself'
        )

    @model_validator(mode="before")
    @classmethod
    def _from_pitch(cls, table: Any) -> Any:
        if not isinstance(table, dict) or not isinstance(table.get("pitch"), str):
            return table
        given = table_of(catalogue.pitch(table["pitch"]))
        return {**{key: given[key] for key in FROM_PITCH}, **table}

    @model_validator(mode="after")
    def _check(self) -> Self:
        if self.ring_inner >= 0.95 * self.diameter:
            message, bound = "this leaves too narrow a ring of pitch", "less than 0.95 of the lap's diameter"
            raise length_error("ring_inner", self.ring_inner, message, bound, 0.95 * self.diameter)
        self._check_star()
        return self

    def _check_star(self) -> None:
        if self.star_points in (1, 2):
            raise InputError("too few points", key="star_points", value=self.star_points, expected="0, or 3 to 60")
        if (self.star_points > 0) != (self.star_depth > 0):
            raise InputError("a star needs star_points and star_depth", key="star_depth", expected="both or neither")
        most = self.radius - self.ring_inner / 2
        if self.star_depth >= most:
            raise length_error(
                "star_depth", self.star_depth, "the notches meet", "less than the width of the pitch", most
            )
