"""The edge between people's units and SI floats."""

from __future__ import annotations

import math
import re
import subprocess
import sys
from fractions import Fraction

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from wearsim.bench import units
from wearsim.bench.bench import Wear
from wearsim.bench.fields import FROM_FILE, Extent, table_of
from wearsim.bench.units import TRADE_UNITS

# Exact by definition of the units (international yard and pound agreement, 1959; from memory).
KNOWN = [
    ("300 mm", "m", 0.3),
    ("38 mm", "m", 0.038),
    ("12 in", "m", 0.3048),
    ("12in", "m", 0.3048),
    ("1 ft", "m", 0.3048),
    ("550 nm", "m", 550e-9),
    ("2 um", "m", 2e-6),
    ("2 µm", "m", 2e-6),
    ("8 lb", "kg", 3.62873896),
    ("500 g", "kg", 0.5),
    ("30 N", "N", 30.0),
    ("1 kgf", "N", 9.80665),
    ("7 lbf", "N", 7 * 0.45359237 * 9.80665),
    ("25 min", "s", 1500.0),
    ("17.5 degC", "degC", 17.5),
    ("63 degF", "degC", (63 - 32) * 5 / 9),
    ("290 K", "degC", 16.85),
    ("-4 degF", "degC", -20.0),
    ("1.0e-12 / Pa", "1/Pa", 1e-12),
    ("1.0e-12 1/Pa", "1/Pa", 1e-12),
    ("1.0e-12 Pa^-1", "1/Pa", 1e-12),
    ("8e-13 m^2/N", "1/Pa", 8e-13),
    ("5e9 Pa/m", "Pa/m", 5e9),
    ("5 GPa/m", "Pa/m", 5e9),
    ("5 N/mm^3", "Pa/m", 5e9),
    ("2.23 g/cm³", "kg/m^3", 2230.0),
    ("2230 kg m^-3", "kg/m^3", 2230.0),
    ("72 deg", "rad", math.radians(72)),
    ("0.2 turn", "rad", 0.4 * math.pi),
    ("  +.5   m ", "m", 0.5),
    ('8"', "m", 0.2032),
    ('9 1/2 "', "m", 0.2413),
    ("9 1/2 in", "m", 0.2413),
    ("9-1/2in", "m", 0.2413),
    ("9\u00bd in", "m", 0.2413),
    ("1/4 in", "m", 0.00635),
    ("-3/8 inch", "m", -0.009525),
    ("63.5F", "degC", 17.5),
    ("63.5 F", "degC", 17.5),
    ("63.5 \u00b0F", "degC", 17.5),
    ("63.5 deg F", "degC", 17.5),
    ("17.5C", "degC", 17.5),
    ("20 lb", "N", 20 * 0.45359237 * 9.80665),
    ("20 lbs", "N", 20 * 0.45359237 * 9.80665),
    ("3 kg", "N", 3 * 9.80665),
    ("5 lbs", "kg", 5 * 0.45359237),
    ("2 hrs", "s", 7200.0),
]


@pytest.mark.parametrize(("text", "base", "value"), KNOWN)
def test_known_quantities(text: str, base: str, value: float) -> None:
    assert units.read(text, base) == pytest.approx(value, rel=4e-16, abs=0)


@pytest.mark.parametrize(
    "text",
    [
        "mm",
        "3",
        "3 kg",
        "3 mm/",
        "3 /mm",
        "3 mm mm",
        "3 mm2",
        "3 mm**99",
        "3 mm^(2)",
        "3 * 4 mm",
        "3 mm + 4 mm",
        "1_000 mm",
        "1,5 mm",
        "1e9999 mm",
        "0x10 mm",
        "__import__('os') mm",
        "3 m; m",
        "3 ²",
        "3 degC",
        "1/0 in",
        "1/2",
        "1/2.5 in",
        "1 / Pa in",
        "٣ mm",
        "3 mm " + " " * 99,
    ],
)
def test_not_a_length(text: str) -> None:
    with pytest.raises(units.NotAQuantity):
        units.read(text, "m")


SHOWN = [("m", "mm"), ("m", "nm"), ("kg", "kg"), ("N", "N"), ("s", "min"), ("degC", "degC"), ("rad", "deg")]


@given(
    st.sampled_from([*SHOWN, ("1/Pa", "/ Pa"), ("Pa/m", "Pa/m"), ("m", "in"), ("degC", "degF")]),
    st.floats(-1e30, 1e30, allow_subnormal=False),
)
def test_what_is_written_reads_back_exactly(pair: tuple[str, str], value: float) -> None:
    base, unit = pair
    assume(unit != "degF" or value == 0.0 or abs(value) > 1e-9)  # nearer to 0 degC no decimal of degF reads back
    text = units.write(value, base, [unit])
    assert units.read(text, base) == value
    assert len(text) <= units.LONGEST_TEXT


def test_written_as_a_person_would() -> None:
    assert units.write(0.038, "m", ["mm"]) == "38 mm"
    assert units.write(8e-13, "1/Pa", ["/ Pa"]) == "8e-13 / Pa"
    assert units.write(300.0, "s", ["min", "s"]) == "5 min"
    assert units.write(100.0, "s", ["min", "s"]) == "100 s"
    assert units.write(units.read("72 deg", "rad"), "rad", ["deg", "rad"]) == "72 deg"


NAMES = [
    name.strip()
    for line in TRADE_UNITS
    if "- =" not in line
    for name in re.sub(r"; offset:[^=]*", "", line).split("=")
    if re.fullmatch(r"\s*[A-Za-z_]+\s*", name)
]
SI = ("m", "kg", "s", "K", "rad", "N", "Pa", "J", "W")
PREFIXES = [line.split("-")[0] for line in TRADE_UNITS if "- =" in line]


@pytest.mark.parametrize("name", [*NAMES, *(f"{prefix}meter" for prefix in PREFIXES), "um", "µm", "kPa", "nm"])
def test_the_trades_units_are_those_of_the_full_list(name: str) -> None:
    few, full = units.registry(False), units.registry(True)
    base = next(base for base in SI if few.Unit(name).dimensionality == few.Unit(base).dimensionality)
    zero, one = ([known.Quantity(Fraction(n), name).to(base).magnitude for known in (few, full)] for n in (0, 1))
    assert zero[0] == zero[1] and one[0] == one[1]
    assert few.get_dimensionality(name) == full.get_dimensionality(name)


@pytest.mark.parametrize(("text", "base", "value"), [("1 fathom", "m", 1.8288), ("2 mil_length", "m", 2 * 25.4e-6)])
def test_other_units_are_found_in_the_full_list(text: str, base: str, value: float) -> None:
    assert units.read(text, base) == pytest.approx(value, rel=1e-5)


def test_extent() -> None:
    assert Extent(0.5).on(0.3) == 0.15
    assert Extent(0.15, relative=False).on(99.0) == 0.15


def test_pint_is_not_loaded_before_it_is_needed() -> None:
    code = "import sys, wearsim.bench.toml_io; sys.exit('pint' in sys.modules or 'scipy' in sys.modules)"
    assert subprocess.run([sys.executable, "-c", code], check=False).returncode == 0


@pytest.mark.parametrize("written", ["65 degF", "17.5 degC", "-10 degC", "64.5 degF", "20.25 degC"])
def test_a_temperature_is_kept_in_the_unit_it_was_written_in(written: str) -> None:
    wear = Wear.model_validate({"temperature": written}, context=FROM_FILE)
    kept = table_of(wear)["temperature"]
    assert kept == written
    assert Wear.model_validate({"temperature": kept}, context=FROM_FILE) == wear


IN_THREADS = """
import threading
from wearsim.bench.toml_io import load_bench

errors, together = [], threading.Barrier(4)

def load():
    together.wait()
    try:
        load_bench("raised-zone-300")
    except Exception as error:
        errors.append(error)

threads = [threading.Thread(target=load) for _ in range(4)]
for thread in threads:
    thread.start()
for thread in threads:
    thread.join()
assert not errors, errors
"""


def test_threads_may_ask_for_the_first_unit_at_once() -> None:
    subprocess.run([sys.executable, "-c", IN_THREADS], check=True, timeout=60)


@pytest.mark.parametrize(
    ("text", "unit", "whole"),
    [("20", "mm", "20 mm"), (" 1/2 ", "in", "1/2 in"), ("3 cm", "mm", "3 cm"), ("soon", "min", "soon")],
)
def test_a_plain_number_takes_the_unit_that_was_set(text: str, unit: str, whole: str) -> None:
    assert units.with_unit(text, "m", unit) == whole


@pytest.mark.parametrize(
    ("text", "inches"), [('8"', True), ("8\u00bd in", True), ("8 1/2 in", True), ("8''", True), ("8 mm", False)]
)
def test_who_writes_in_inches(text: str, inches: bool) -> None:
    assert units.is_in_inches(text) is inches


@pytest.mark.parametrize(
    ("value", "digits", "down", "text"),
    [(4238.9, 3, True, "4230"), (4238.9, 3, False, "4240"), (0.0, 3, True, "0"), (1.25e-5, 3, False, "0.0000125"),
     (12.0, 3, True, "12"), (-12345.6, 4, False, "-12350")],
)  # fmt: skip
def test_digits_without_an_exponent(value: float, digits: int, down: bool, text: str) -> None:
    assert units.in_digits(value, digits, down=down) == text
