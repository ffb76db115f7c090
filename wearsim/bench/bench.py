"""The bench: everything that stays the same during a session; what takes the glass away, and how well that is known."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated, Any, Literal, Self

from pydantic import Field, model_validator

from wearsim.bench import materials as catalogue
from wearsim.bench.fields import DefaultUsed, Depth, InputTable, Length, Name, PerPascal, Temperature, default, number
from wearsim.bench.figure_source import FigureSource, Light
from wearsim.bench.hands import Hands
from wearsim.bench.input_errors import length_error
from wearsim.bench.lap import Lap
from wearsim.bench.mirror import Mirror
from wearsim.errors import InputError

PRESTON = 8e-13
"""Preston coefficient of cerium oxide on pitch, borosilicate [1/Pa]."""
PRESTON_SOURCE = (
    "common practice, no source: 8e-13 / Pa for computer-controlled figuring, from 1.6e-13 to 1.6e-12 / Pa for fused "
    "silica; known within a factor of 2.5"
)
_LAW = (
    "F. W. Preston, The theory and design of plate glass polishing machines, 1927 [memory]; "
    "1.25 and 0.75 are possible if the water film carries part of the load [judgement]"
)
_OFF = "off, because no session could determine it"
EDGE_LENGTH_SOURCE = "the pitch thickness (physics section 2)"


class Wear(InputTable):
    """What removes the glass, from ``[wear]``.

    Attributes
    ----------
    preston : float or None
        Preston coefficient for this glass, abrasive and lap [1/Pa], used unchanged; None: the standard value times the
        factors for glass and abrasive (:attr:`wearsim.bench.bench.Bench.preston`).
    abrasive : str
        An abrasive from the catalogue.
    edge_gain : float
        Extra pressure at the glass's rim [1] (physics section 2).
    edge_length : float or None
        Distance over which it fades [m]; None: the pitch thickness.
    temperature : float
        Room temperature [degC]; the relaxation time depends on it.
    pressure_exponent : float
        The exponent m in wear = preston x pressure^m x speed^n [1], scaled so that at 1 kPa and 0.1 m/s the wear is the
        same as with m = n = 1 (physics section 3).
    speed_exponent : float
        The exponent n in the same law [1].
    """

    preston: PerPascal | None = None
    abrasive: Name = default("cerium-oxide", "judgement: the usual one")
    edge_gain: Annotated[float, *number("0.3", least=0.0, most=20.0)] = default(
        0.3, "judgement, from the edge pressure of a rigid punch on a bonded layer; known within a factor of 2"
    )
    edge_length: Length | None = None
    temperature: Temperature = default(20.0, "common practice, no source: basements are at 17-21 degC")
    pressure_exponent: Annotated[float, *number("1.25", least=0.5, most=2.0)] = default(1.0, _LAW)
    speed_exponent: Annotated[float, *number("0.75", least=0.0, most=2.0)] = default(1.0, _LAW)

    @model_validator(mode="after")
    def _check(self) -> Self:
        catalogue.abrasive(self.abrasive)
        return self


class Spread(InputTable):
    """How well the constants are known, from ``[spread]``: one-sigma factors of a log-normal; 1 = exactly.

    Attributes
    ----------
    preston, stiffness, relaxation_time, edge_gain : float
        [1], at least 1.
    smoothing : float
        The same for preston times stiffness, which sets how fast high zones wear [1]. Practice shows the product better
        than either factor.
    flow : float
        The same for stiffness times relaxation_time, which sets how fast pitch flows under a load [1].
    stroke_length : float
        How much longer or shorter all strokes of one person may be than was written down [1].
    overhang_bias : float
        How far all strokes of one person may be off to one side of what was written down: one sigma [m]; 0 = exactly.
    edge_length : float
        The same for the distance over which the edge effect fades [1].
    temperature_slope : float
        The same for the drop in temperature that makes relaxation ten times slower [1].
    stiffness_exponent, pressure_exponent, speed_exponent : float
        One sigma of an amount added to each exponent [1]; 0 = off.
    """

    preston: Annotated[float, *number("2.5", least=1.0, most=100.0)] = default(2.5, "from the sources of the value")
    stiffness: Annotated[float, *number("3.0", least=1.0, most=100.0)] = default(3.0, "no published value")
    relaxation_time: Annotated[float, *number("2.5", least=1.0, most=100.0)] = default(2.5, "judgement")
    edge_gain: Annotated[float, *number("2.0", least=1.0, most=100.0)] = default(2.0, "judgement")
    smoothing: Annotated[float, *number("3.0", least=1.0, most=100.0)] = default(
        3.0, "judgement: parabolizing times agree with practice to within this factor"
    )
    flow: Annotated[float, *number("2.5", least=1.0, most=100.0)] = default(
        2.5, "judgement: viscosity of pitch at a stated temperature"
    )
    stroke_length: Annotated[float, *number("1.08", least=1.0, most=2.0)] = default(1.08, "judgement: 8%")
    overhang_bias: Depth = default(0.005, "judgement: 5 mm")
    edge_length: Annotated[float, *number("1.8", least=1.0, most=10.0)] = default(
        1.8,
        "judgement: 3 mm to 15 mm, most likely 5 mm to 7 mm; turned edges are often about 6 mm wide (common practice, no "
        "source)",
    )
    temperature_slope: Annotated[float, *number("1.25", least=1.0, most=5.0)] = default(
        1.25,
        "6 +- 1.5 degC: 5 from the universal constants of M. L. Williams, R. F. Landel & J. D. Ferry (The temperature "
        "dependence of relaxation mechanisms, 1955), 6 to 10 in practice [memory]",
    )
    stiffness_exponent: Annotated[float, *number("0.3", least=0.0, most=1.0)] = default(0.0, _OFF)
    pressure_exponent: Annotated[float, *number("0.2", least=0.0, most=1.0)] = default(0.0, _OFF)
    speed_exponent: Annotated[float, *number("0.2", least=0.0, most=1.0)] = default(0.0, _OFF)


GRAVITY = 9.80665
"""Standard acceleration of gravity [m/s^2] (physics section 2)."""
LARGEST_LAP = 1.2
"""Largest lap, in diameters of the mirror."""
TABLES = ("mirror", "laps", "hands", "wear", "spread", "figure", "light")


class Bench(InputTable):
    """Both pieces, hands, abrasive, and where the glass stands. SI floats.

    Two benches are equal when these are, wherever they came from: ``file``, ``text`` and ``defaults_used``
    do not count.

    Attributes
    ----------
    mirror : Mirror
    laps : tuple of Lap
        At least one; names are unique where there are several.
    hands : Hands
    wear : Wear
    spread : Spread
    figure : FigureSource
    light : Light
    file : Path or None
        Where it was read.
    text : str
        The TOML as it was read.
    defaults_used : tuple of DefaultUsed
        What the file left to wearsim.
    """

    mirror: Mirror
    laps: tuple[Lap, ...]
    hands: Hands = Field(default_factory=Hands)
    wear: Wear = Field(default_factory=Wear)
    spread: Spread = Field(default_factory=Spread)
    figure: FigureSource
    light: Light = Field(default_factory=Light)
    file: Path | None = None
    text: str = ""
    defaults_used: tuple[DefaultUsed, ...] = ()

    def _compared(self) -> tuple[Any, ...]:
        return tuple(getattr(self, key) for key in TABLES)

    def __eq__(self, other: object) -> bool:
        if not isinstance(other, Bench):
            return NotImplemented
        return self._compared() == other._compared()

    def __hash__(self) -> int:
        return hash(self._compared())

    def lap(self, name: str | None = None) -> Lap:
        """The lap of this name, or the first.

        Parameters
        ----------
        name : str, optional
            As the bench or a spell writes it.

        Returns
        -------
        Lap
            The first of the bench where no name is given.

        Raises
        ------
        InputError
            Where there is none of this name.
        """
        if name is None:
            return self.laps[0]
        for lap in self.laps:
            if lap.name == name:
                return lap
        there = ", ".join(lap.name for lap in self.laps if lap.name) or "no name, because this bench's lap has none"
        raise InputError("the bench has no lap of this name", key="lap", value=name, expected=there)

    @property
    def preston(self) -> float:
        """Preston coefficient [1/Pa]: stated, or the default times the factors of glass and abrasive."""
        if self.wear.preston is not None:
            return self.wear.preston
        return PRESTON * catalogue.glass(self.mirror.glass).wear * catalogue.abrasive(self.wear.abrasive).wear

    def relaxation_time_at(self, lap: Lap, slope: float = 1.0) -> float:
        """Relaxation time of a lap's pitch at the temperature of the room [s] (physics section 4).

        Parameters
        ----------
        lap : Lap
            One of the bench's.
        slope : float
            Factor on its ``degrees_per_decade`` [1].

        Returns
        -------
        float
            [s]; ten times as long for every ``degrees_per_decade`` colder than the lap states it for.
        """
        colder = lap.pitch_temperature - self.wear.temperature
        return float(lap.relaxation_time * 10.0 ** (colder / (slope * lap.degrees_per_decade)))

    def exponents(self, more_pressure: float = 0.0, more_speed: float = 0.0) -> tuple[float, float]:
        """Exponents m of the pressure and n of the speed in the law of wear.

        Parameters
        ----------
        more_pressure, more_speed : float
            What a draw adds to each [1].

        Returns
        -------
        tuple of float
            m and n, within their limits [1].
        """
        m, n = self.wear.pressure_exponent + more_pressure, self.wear.speed_exponent + more_speed
        return min(2.0, max(0.5, m)), min(2.0, max(0.0, n))

    def edge_length_for(self, lap: Lap) -> float:
        """Over what length the glass-edge effect fades with this lap [m] (physics section 2).

        Parameters
        ----------
        lap : Lap
            One of the bench's.

        Returns
        -------
        float
            [m]; the thickness of the lap's pitch where the bench states none.
        """
        return lap.pitch_thickness if self.wear.edge_length is None else self.wear.edge_length

    def load_on(
        self, on_top: Literal["tool", "mirror"], lap: Lap, push: float | None = None, pressing: bool = False
    ) -> float:
        """Force between the pieces [N]: weight of the top piece and push of the hands (physics section 2).

        Parameters
        ----------
        on_top : {"tool", "mirror"}
            The piece on top.
        lap : Lap
            The lap in use.
        push : float, optional
            Of the hands [N]; the bench's where not given.
        pressing : bool
            Cold pressing: the weight alone.

        Returns
        -------
        float
            [N]
        """
        weight = GRAVITY * (lap.mass if on_top == "tool" else self.mirror.piece_mass)
        if pressing:
            return weight
        return weight + (self.hands.push if push is None else push)

    @model_validator(mode="after")
    def _check(self) -> Self:
        if not self.laps:
            raise InputError("missing", key="lap", expected="a table [lap], or several [[lap]]")
        for place in range(len(self.laps)):
            self._check_lap(place)
        return self

    def _check_lap(self, place: int) -> None:
        lap, key = self.laps[place], lap_key(place, len(self.laps))
        most = LARGEST_LAP * self.mirror.diameter
        if lap.diameter > most * (1 + 1e-12):
            message, bound = "the lap is too large for this mirror", f"at most {LARGEST_LAP} x the mirror's diameter"
            raise length_error(f"{key}.diameter", lap.diameter, message, bound, most)
        if len(self.laps) > 1 and lap.name is None:
            raise InputError("missing", key=f"{key}.name", expected="a name for each lap where there are several")
        if lap.name is not None and lap.name in [other.name for other in self.laps[:place]]:
            raise InputError(
                "two laps have this name", key=f"{key}.name", value=lap.name, expected="a different name for each"
            )
        if lap.diameter <= self.mirror.hole:
            message = "the lap would fall into the mirror's hole"
            raise length_error(f"{key}.diameter", lap.diameter, message, "more than the hole", self.mirror.hole)


def lap_key(place: int, count: int) -> str:
    """Dotted key of a lap in its file: ``lap``, or ``lap 2`` where there are several."""
    return "lap" if count == 1 else f"lap {place + 1}"
