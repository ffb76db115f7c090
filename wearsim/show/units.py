"""The units in which a person reads heights, settings of a knife, radii of curvature and temperatures."""

from __future__ import annotations

import re
import tomllib

from wearsim.bench.bench import Bench
from wearsim.bench.units import INCHES, MILLIMETRES, Unit

# By how its name ends: degF, degree_Fahrenheit; K, kelvin.
_DEGREES = ((re.compile(r"(F|ahrenheit)\s*$"), "\u00b0F"), (re.compile(r"(K|elvin)\s*$"), "K"))
METRES = Unit("m", 1.0, 4)
NANOMETRES = Unit("nm", 1e-9, 0)
MICROMETRES = Unit("um", 1e-6, 2)
# Above this a height in nanometres has too many digits to be read.
MANY_NANOMETRES = 1e-5


def fine_unit(unit: Unit) -> Unit:
    """Millimetres or inches with the decimals that a knife is set to."""
    return Unit(unit.name, unit.size, 4 if unit.size > MILLIMETRES.size else 3)


def long_unit(unit: Unit) -> Unit:
    """What a radius of curvature is read in: inches where lengths are, metres otherwise."""
    return INCHES if unit.name == INCHES.name else METRES


def temperature_unit(bench: Bench) -> str:
    """The unit in which a person writes temperatures down.

    Returns
    -------
    str
        That of the first temperature in the bench's own file, the room's before the pitch's; where it gives none,
        degrees Celsius: inches alone do not say.
    """
    table = tomllib.loads(bench.text)
    laps = table.get("lap", [])
    written = [table.get("wear", {}).get("temperature")]
    written += [lap.get("pitch_temperature") for lap in (laps if isinstance(laps, list) else [laps])]
    first = next((str(one) for one in written if one is not None), "")
    return next((name for pattern, name in _DEGREES if pattern.search(first)), "\u00b0C")


def temperature_text(celsius: float, bench: Bench) -> str:
    """A temperature [degC] in the unit in which a person writes them, ASCII for every terminal."""
    shown = {"\u00b0F": (1.8 * celsius + 32.0, "degF"), "K": (celsius + 273.15, "K")}
    value, name = shown.get(temperature_unit(bench), (celsius, "degC"))
    return f"{value:.4g} {name}"


def height_unit(largest: float) -> Unit:
    """Nanometres, or micrometres where heights [m] run to many of them."""
    return MICROMETRES if largest > MANY_NANOMETRES else NANOMETRES
