"""Before a reading is believed: how long the glass must stand after polishing and handling.

A disc that is warmer than the room cools from all its faces. Its slowest mode is the product of the slowest
mode across the thickness and the slowest along the radius (separation of variables in the heat equation
with a heat transfer coefficient on the faces; any textbook of heat conduction, from memory):

    rate = D (q_t^2 / (t/2)^2 + q_r^2 / a^2),   q_t tan q_t = h t / (2 k),   q_r J1(q_r) = (h a / k) J0(q_r)

While it lasts the rim is cooler than the middle, and the glass there is thinner by expansion x thickness x
difference: that is the error it feigns.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from wearsim.errors import InputError


@dataclass(frozen=True, slots=True)
class ThermalGlass:
    """What heat does to a glass.

    Attributes
    ----------
    conductivity : float
        [W/(m K)]
    density : float
        [kg/m^3]
    heat_capacity : float
        [J/(kg K)]
    expansion : float
        Linear [1/K].
    """

    conductivity: float
    density: float
    heat_capacity: float
    expansion: float

    @property
    def diffusivity(self) -> float:
        """Conductivity over density and heat capacity [m^2/s]."""
        return self.conductivity / (self.density * self.heat_capacity)


# All from memory, good to about a tenth.
THERMAL: dict[str, ThermalGlass] = {
    "borosilicate": ThermalGlass(1.14, 2230.0, 830.0, 3.3e-6),
    "soda-lime": ThermalGlass(1.0, 2500.0, 840.0, 8.7e-6),
    "fused silica": ThermalGlass(1.38, 2200.0, 740.0, 0.55e-6),
    "crown": ThermalGlass(1.11, 2510.0, 860.0, 7.1e-6),
    "glass-ceramic": ThermalGlass(1.46, 2530.0, 800.0, 0.05e-6),
}

TRANSFER = 9.0
"""Heat transfer coefficient of still air and radiation at room temperature [W/(m^2 K)] (from memory)."""
EXCESS = 3.0
"""How much warmer than the room hands and polishing leave the glass [K] (judgement)."""
TOLERABLE = 14e-9
"""Surface error that may be feigned: about a fortieth of a wavelength [m] (judgement)."""


@dataclass(frozen=True, slots=True)
class Waiting:
    """How long to wait before reading.

    Attributes
    ----------
    time_constant : float
        In which the slowest difference falls to 1/e [s].
    time : float
        Until the error feigned is tolerable [s].
    feigned : float
        Error feigned right after handling, surface [m].
    tolerable : float
        [m]
    excess : float
        Warmth assumed [K].
    """

    time_constant: float
    time: float
    feigned: float
    tolerable: float
    excess: float

    def feigned_after(self, waited: float) -> float:
        """Surface error feigned after waiting so long [s], [m]."""
        return float(self.feigned * np.exp(-waited / self.time_constant))

    def warning(self, waited: float) -> str | None:
        """One line if the glass stood for less than it takes [s], else None."""
        if waited >= self.time:
            return None
        return (
            f"read {_minutes(waited)} after the glass was worked or handled: it may still feign "
            f"{self.feigned_after(waited) * 1e9:.0f} nm; wait {_minutes(self.time)}"
        )


def waiting_time(
    diameter: float,
    thickness: float,
    glass: str | ThermalGlass = "borosilicate",
    *,
    excess: float = EXCESS,
    tolerable: float = TOLERABLE,
    transfer: float = TRANSFER,
) -> Waiting:
    """How long a disc of glass must stand before a reading of it is to be believed.

    Parameters
    ----------
    diameter, thickness : float
        Of the disc [m].
    glass : str or ThermalGlass
        One of :data:`THERMAL`, or its properties.
    excess : float
        How much warmer than the room it is at first [K].
    tolerable : float
        Surface error that may be feigned [m].
    transfer : float
        Heat transfer coefficient of its faces [W/(m^2 K)].

    Returns
    -------
    Waiting

    Raises
    ------
    InputError
        A glass that is not in the table.
    """
    # slow to import, as is what finds the roots: a prediction needs neither
    from scipy.special import j0, j1

    made = thermal_glass(glass) if isinstance(glass, str) else glass
    half, radius = thickness / 2.0, diameter / 2.0
    through = _slowest(lambda q: q * np.tan(q) - transfer * half / made.conductivity, np.pi / 2)
    along = _slowest(lambda q: q * j1(q) - transfer * radius / made.conductivity * j0(q), 2.404825557695773)
    rate = made.diffusivity * ((through / half) ** 2 + (along / radius) ** 2)
    # the mode's height against a uniform start is a little above 1; it is taken as 1 (judgement)
    feigned = made.expansion * thickness * abs(excess) * float(1.0 - j0(along))
    time = float(np.log(feigned / tolerable)) / rate if feigned > tolerable else 0.0
    return Waiting(time_constant=float(1.0 / rate), time=time, feigned=feigned, tolerable=tolerable, excess=excess)


def thermal_glass(name: str) -> ThermalGlass:
    """The table's entry for a glass; spaces and dashes are alike.

    Raises
    ------
    InputError
        A glass that is not in the table.
    """
    wanted = name.strip().lower().replace("-", " ").replace("_", " ")
    for known, made in THERMAL.items():
        if known.replace("-", " ") == wanted:
            return made
    raise InputError("no thermal properties known", key="glass", value=name, expected="one of " + ", ".join(THERMAL))


def _slowest(equation: object, pole: float) -> float:
    from scipy.optimize import brentq

    return float(brentq(equation, 1e-9, pole * (1.0 - 1e-12)))


def _minutes(seconds: float) -> str:
    minutes = seconds / 60.0
    return f"{minutes:.0f} min" if minutes < 100 else f"{minutes / 60.0:.1f} h"
