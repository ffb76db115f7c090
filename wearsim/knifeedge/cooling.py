"""Before a reading is believed: how long the glass must stand after polishing and handling.

A disc that is warmer than the room cools from all its faces. Its slowest mode is the product of the slowest
mode across the thickness and the slowest along the radius (separation of variables in the heat equation
with a heat transfer coefficient on the faces; any textbook of heat conduction, from memory):

    rate = D (q_t^2 / (t/2)^2 + q_r^2 / a^2),   q_t tan q_t = h t / (2 k),   q_r J1(q_r) = (h a / k) J0(q_r)

While it lasts the rim is cooler than the middle, and the glass there is thinner by expansion x thickness x
difference: the surface reads wrong by that.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from wearsim.bench.materials import Glass
from wearsim.bench.personal_units import height_text

TRANSFER = 9.0
"""Heat transfer coefficient of still air and radiation at room temperature [W/(m^2 K)] (from memory)."""
EXCESS = 3.0
"""How much warmer than the room hands and polishing leave the glass [K] (judgement)."""
TOLERABLE = 14e-9
"""Surface error from warmth that may be left: about a fortieth of a wavelength [m] (judgement)."""


@dataclass(frozen=True, slots=True)
class Cooling:
    """How long glass must stand before it is read.

    Attributes
    ----------
    time_constant : float
        In which the slowest difference falls to 1/e [s].
    time : float
        Until the error from warmth is tolerable [s].
    first_error : float
        Error from warmth right after handling, surface [m].
    tolerable : float
        [m]
    excess : float
        Warmth assumed [K].
    """

    time_constant: float
    time: float
    first_error: float
    tolerable: float
    excess: float

    def error_after(self, elapsed: float) -> float:
        """Surface error [m] from the warmth that is left when the glass has cooled so long [s]."""
        return float(self.first_error * np.exp(-elapsed / self.time_constant))

    def warning(self, elapsed: float) -> str | None:
        """One line if the glass cooled for less than it takes [s], else None."""
        if elapsed >= self.time:
            return None
        return (
            f"tested {_time(elapsed, np.floor)} after the glass was worked or handled: it may still be warm enough for "
            f"{height_text(self.error_after(elapsed))} of error; test {_time(self.time, np.ceil)} after the work"
        )


def cooling(
    diameter: float,
    thickness: float,
    glass: Glass,
    *,
    excess: float = EXCESS,
    tolerable: float = TOLERABLE,
    transfer: float = TRANSFER,
) -> Cooling:
    """How long a disc of glass must stand before a reading of it is to be believed.

    Parameters
    ----------
    diameter, thickness : float
        Of the disc [m].
    glass : Glass
        What it is made of, such as a bench's ``mirror.material``.
    excess : float
        How much warmer than the room it is at first [K].
    tolerable : float
        Surface error from warmth that may be left [m].
    transfer : float
        Heat transfer coefficient of its faces [W/(m^2 K)].

    Returns
    -------
    Cooling
        Times [s], and the error that warmth makes until then [m].
    """
    # slow to import, as is what finds the roots: a prediction needs neither
    from scipy.special import j0, j1

    half, radius = thickness / 2.0, diameter / 2.0
    through = _slowest(lambda q: q * np.tan(q) - transfer * half / glass.conductivity, np.pi / 2)
    along = _slowest(lambda q: q * j1(q) - transfer * radius / glass.conductivity * j0(q), 2.404825557695773)
    rate = glass.diffusivity * ((through / half) ** 2 + (along / radius) ** 2)
    # the mode's height against a uniform start is a little above 1; it is taken as 1 (judgement)
    error = glass.expansion * thickness * abs(excess) * float(1.0 - j0(along))
    time = float(np.log(error / tolerable)) / rate if error > tolerable else 0.0
    return Cooling(time_constant=float(1.0 / rate), time=time, first_error=error, tolerable=tolerable, excess=excess)


def _slowest(equation: object, pole: float) -> float:
    from scipy.optimize import brentq

    return float(brentq(equation, 1e-9, pole * (1.0 - 1e-12)))


def _time(seconds: float, rounded: Callable[[float], float]) -> str:
    """In minutes, from an hour and a half on in half hours."""
    return f"{seconds / 60.0:.0f} min" if seconds < 5370.0 else f"about {0.5 * rounded(seconds / 1800.0):g} h"
