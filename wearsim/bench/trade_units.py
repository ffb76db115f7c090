"""Units that benches are written in, defined for pint: quick to load, and the same as pint's own.

pint's full list takes a fifth of a second to load, which every command would pay. What is not here is looked
up there (:func:`wearsim.bench.units.registry`), so nothing is lost by leaving a unit out; a test compares every
one of these with the full list, exactly.
"""

from __future__ import annotations

# Exact by definition of the units: the SI; yard and pound agreement of 1959; standard gravity 9.80665 m/s^2.
# Pi to the digits of pint's list, so that an angle is the same float whichever list it came from.
TRADE_UNITS: tuple[str, ...] = (
    "pico- = 1e-12 = p-",
    "nano- = 1e-9 = n-",
    "micro- = 1e-6 = u- = \N{MICRO SIGN}- = \N{GREEK SMALL LETTER MU}-",
    "milli- = 1e-3 = m-",
    "centi- = 1e-2 = c-",
    "kilo- = 1e3 = k-",
    "mega- = 1e6 = M-",
    "giga- = 1e9 = G-",
    "meter = [length] = m = metre",
    "gram = [mass] = g",
    "second = [time] = s",
    "kelvin = [temperature]; offset: 0 = K",
    "radian = [] = rad",
    "degree = 3.1415926535897932384626433832795028841971693993751 / 180 * radian = deg",
    "turn = 360 * degree",
    "inch = 0.0254 * meter = in",
    "foot = 12 * inch = ft",
    "pound = 453.59237 * gram = lb",
    "ounce = pound / 16 = oz",
    "minute = 60 * second = min",
    "hour = 60 * minute = h",
    "degree_Celsius = kelvin; offset: 273.15 = degC",
    "degree_Fahrenheit = 5 / 9 * kelvin; offset: 233.15 + 200 / 9 = degF",
    "newton = kilogram * meter / second ** 2 = N",
    "pascal = newton / meter ** 2 = Pa",
    "kilogram_force = 9.80665 * newton = kgf",
    "pound_force = 0.45359237 * kilogram_force = lbf",
)
