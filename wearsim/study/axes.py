"""The axes of a study: a grid, a list or a random sample of one setting, or of several that take the same value."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import Annotated, Any, Literal

import numpy as np
from pydantic import BeforeValidator

from wearsim.bench import units
from wearsim.bench.bench import Bench
from wearsim.bench.fields import InputTable, choice, default, refuse, whole_number
from wearsim.bench.input_errors import read_table
from wearsim.bench.programme import Programme
from wearsim.errors import InputError
from wearsim.kernels.arrays import Floats
from wearsim.study.settings import StudySetting, Value, find_setting

MOST_POINTS = 1_000_000
MOST_SAMPLES = 5_000_000
_SHAPES = ("grid", "list", "sample")
SPREADS: dict[str, tuple[str, str]] = {
    "uniform": ("least", "most"),
    "log-uniform": ("least", "most"),
    "normal": ("mean", "sigma"),
    "log-normal": ("median", "factor"),
}
"""How a setting may spread, and the two keys that say where; ``factor`` is the one-sigma factor."""
# Child of the study's seed from which the sample is laid out; cases are children (0,), (1,), ...
_SAMPLE_KEY = (0, 1)
Method = Literal["latin-hypercube", "sobol", "random"]
_METHODS: tuple[Method, ...] = ("latin-hypercube", "sobol", "random")
Spacing = Literal["even", "log"]


def _keys(value: Any) -> tuple[str, ...]:
    words = [value] if isinstance(value, str) else value
    if not isinstance(words, list) or not words or not all(isinstance(word, str) for word in words):
        raise refuse("not a dotted name", '"hands.push", or a list of names that take the same value')
    return tuple(words)


def _anything(value: Any) -> Any:
    return value


class AxisTable(InputTable):
    """One axis as in the file, from ``[[axis]]``.

    Attributes
    ----------
    key : tuple of str
        Dotted name, or a list of names that all take the same value.
    grid, list, sample : object
        Exactly one of these.
    """

    key: Annotated[tuple[str, ...], BeforeValidator(_keys)]
    grid: Annotated[Any, BeforeValidator(_anything)] = None
    list: Annotated[Any, BeforeValidator(_anything)] = None
    sample: Annotated[Any, BeforeValidator(_anything)] = None


class GridTable(InputTable):
    """``grid = { first = "0 mm", last = "90 mm", count = 7 }``, evenly or by equal factors (``spacing``)."""

    first: Any
    last: Any
    count: Annotated[int, whole_number("7", least=1, most=MOST_POINTS)]
    spacing: Annotated[Spacing, *choice("even", "log")] = default("even", "equal steps")


class SampleTable(InputTable):
    """How many samples and how they are laid out, from ``[sample]``.

    Attributes
    ----------
    count : int
    method : {"latin-hypercube", "sobol", "random"}
        sobol needs a power of two.
    """

    count: Annotated[int, whole_number("128", least=1, most=MOST_SAMPLES)]
    method: Annotated[Method, *choice(*_METHODS)] = default(
        "latin-hypercube", "judgement: even along every axis, any count"
    )


@dataclass(frozen=True)
class Distribution:
    """How one setting spreads: one of :data:`SPREADS`, and its two numbers in SI units (``factor`` is plain)."""

    spread: str
    first: float
    second: float

    def at(self, share: Floats) -> Floats:
        """Values below which these shares of the distribution lie, same shape."""
        from scipy.special import ndtri

        if self.spread == "uniform":
            return self.first + (self.second - self.first) * share
        if self.spread == "log-uniform":
            return np.asarray(self.first * (self.second / self.first) ** share)
        normal = ndtri(np.clip(share, 1e-12, 1.0 - 1e-12))
        if self.spread == "normal":
            return np.asarray(self.first + self.second * normal)
        return np.asarray(self.first * self.second**normal)


@dataclass(frozen=True)
class Axis:
    """One axis, ready for use.

    Parameters
    ----------
    unit : str
        Of its numbers; empty for words.
    values : tuple of float or str
        SI numbers or words, in order; empty for a sampled axis.
    raw : tuple
        The same as they would be written in a file.
    distribution : Distribution or None
        Of a sampled axis.
    """

    settings: tuple[StudySetting, ...]
    unit: str
    values: tuple[Value, ...] = ()
    raw: tuple[Any, ...] = ()
    distribution: Distribution | None = None

    @property
    def key(self) -> str:
        """Its dotted name or names."""
        return ", ".join(setting.key for setting in self.settings)

    @property
    def name(self) -> str:
        """Name of its dataset: the first dotted name in letters that every tool takes."""
        return self.settings[0].key.replace(" ", "_").replace(".", "_")

    @property
    def is_number(self) -> bool:
        """Whether its values are numbers."""
        return self.unit != ""

    def is_of(self, spells: bool) -> bool:
        """Whether it varies the programme's spells, or the bench."""
        return any((setting.table == "spell") == spells for setting in self.settings)

    def changes(self, raw: Any) -> list[tuple[StudySetting, Any]]:
        """What one of its raw values changes."""
        return [(setting, raw) for setting in self.settings]

    def raw_value(self, number: int | float) -> Any:
        """The text for a file: of a place along a grid or list, or of a sampled SI number."""
        return self.raw[int(number)] if self.distribution is None else self.settings[0].written(number, self.unit)


def read_axis(table: Any, at: str, bench: Bench, programme: Programme, file: Path | None) -> Axis:
    """One axis from its table, its values in SI units; ``at`` is its key, ``"axis 1"``, for error lines.

    Raises
    ------
    InputError
        Where the table is no axis, or its names do not stand on the bench and in the programme.
    """
    read = read_table(AxisTable, table, at, file)
    settings = tuple(find_setting(key, bench, programme, file, f"{at}.key") for key in read.key)
    given = [shape for shape in _SHAPES if getattr(read, shape) is not None]
    if len(given) != 1:
        came = " and ".join(given) or "none"
        raise InputError("exactly one is needed", file=file, key=at, value=came, expected="grid, list or sample")
    maker = {"grid": _grid, "list": _list, "sample": _sampled}[given[0]]
    return maker(getattr(read, given[0]), settings, f"{at}.{given[0]}", file)


def _grid(table: Any, settings: tuple[StudySetting, ...], at: str, file: Path | None) -> Axis:
    grid = read_table(GridTable, table, at, file)
    setting = settings[0]
    first, last = (setting.number(getattr(grid, end), file, f"{at}.{end}") for end in ("first", "last"))
    unit = setting.unit_of(grid.first)
    if unit != setting.unit_of(grid.last):
        raise InputError("first and last are of different kinds", file=file, key=at, expected="units on both")
    if grid.spacing == "log" and (first <= 0.0 or last <= 0.0):
        raise InputError("equal factors need numbers above 0", file=file, key=at)
    numbers = (np.geomspace if grid.spacing == "log" else np.linspace)(first, last, grid.count)
    values = tuple(float(number) for number in numbers)
    if len(set(values)) != len(values):
        raise InputError("first and last are the same", file=file, key=at, value=grid.first)
    return Axis(settings, unit, values, tuple(setting.written(value, unit) for value in values))


def _list(items: Any, settings: tuple[StudySetting, ...], at: str, file: Path | None) -> Axis:
    if not isinstance(items, list) or not 0 < len(items) <= MOST_POINTS:
        raise InputError("not a list of values", file=file, key=at, value=items, expected="[..., ...]")
    setting, unit = settings[0], ""
    values: tuple[Value, ...] = tuple(_as_words(item) for item in items)
    if setting.rule is not None:
        values = tuple(setting.number(item, file, at) for item in items)
        units = {setting.unit_of(item) for item in items}
        if len(units) != 1:
            raise InputError("this list mixes fractions and lengths", file=file, key=at, expected="only one of the two")
        unit = units.pop()
    if len(set(values)) != len(values):
        raise InputError("a value is listed twice", file=file, key=at, value=items)
    return Axis(settings, unit, values, tuple(items))


def _as_words(item: Any) -> str:
    return ", ".join(map(str, item)) if isinstance(item, list) else str(item)


def _sampled(table: Any, settings: tuple[StudySetting, ...], at: str, file: Path | None) -> Axis:
    setting = settings[0]
    spread = table.get("spread") if isinstance(table, dict) else table
    if not isinstance(table, dict) or not isinstance(spread, str) or spread not in SPREADS:
        expected = "spread = " + ", ".join(f'"{word}"' for word in SPREADS)
        raise InputError("unknown spread", file=file, key=at, value=spread, expected=expected)
    first_key, second_key = keys = SPREADS[spread]
    if set(table) != {"spread", *keys}:
        expected = ", ".join(("spread", *keys))
        raise InputError("wrong keys for this spread", file=file, key=at, value=", ".join(table), expected=expected)
    first = setting.number(table[first_key], file, f"{at}.{first_key}")
    second = _second(setting, table[second_key], second_key, at, file)
    unit = setting.unit_of(table[first_key])
    if second_key != "factor" and setting.unit_of(table[second_key]) != unit:
        raise InputError("two numbers of different kinds", file=file, key=at, expected="units on both or neither")
    _check_spread(spread, first, second, at, file)
    return Axis(settings, unit, distribution=Distribution(spread, first, second))


def _second(setting: StudySetting, raw: Any, name: str, at: str, file: Path | None) -> float:
    if name == "sigma" and setting.rule is not None and setting.rule.base == "degC":
        return _degrees(raw, f"{at}.sigma", file)
    if name != "factor":
        return setting.number(raw, file, f"{at}.{name}")
    if isinstance(raw, bool) or not isinstance(raw, (int, float)) or not 1.0 < raw <= 100.0:
        raise InputError("invalid factor", file=file, key=f"{at}.factor", value=raw, expected="a number above 1")
    return float(raw)


def _degrees(raw: Any, at: str, file: Path | None) -> float:
    """A difference of temperatures: ``"2 degC"`` is 2, and the zeros of other scales must not come in."""
    number, _, unit = raw.partition(" ") if isinstance(raw, str) else ("", "", "")
    try:
        degrees = units.read_number(number, "K", "K") if unit.strip() in ("degC", "K") else 0.0
    except units.NotAQuantity:
        degrees = 0.0
    if not 1e-3 <= degrees <= 100.0:
        expected = 'a difference from 0.001 to 100 degC, such as "2 degC"'
        raise InputError("invalid difference", file=file, key=at, value=raw, expected=expected)
    return degrees


def _check_spread(spread: str, first: float, second: float, at: str, file: Path | None) -> None:
    if spread.endswith("uniform") and not first < second:
        raise InputError("least must be below most", file=file, key=at)
    if spread.startswith("log") and first <= 0.0:
        raise InputError("must be above 0", file=file, key=at, value=first)
    if spread == "normal" and second <= 0.0:
        raise InputError("must be above 0", file=file, key=f"{at}.sigma", value=second)


def draw_sample(table: SampleTable, distributions: tuple[Distribution, ...], seed: int) -> Floats:
    """The whole sample (count, distributions), always the same for a seed, in the settings' SI units."""
    rng = np.random.default_rng(np.random.SeedSequence(seed, spawn_key=_SAMPLE_KEY))
    shares = _shares(table.method, table.count, len(distributions), rng)
    return np.column_stack([how.at(shares[:, place]) for place, how in enumerate(distributions)])


def _shares(method: str, count: int, width: int, rng: np.random.Generator) -> Floats:
    if method == "random":
        return rng.random((count, width))
    from scipy.stats import qmc

    maker: Any = qmc.Sobol if method == "sobol" else qmc.LatinHypercube
    return np.asarray(maker(width, seed=rng).random(count))
