"""Ready-made files of ``configs/``: glasses, abrasives, pitches and worked benches, by name."""

from __future__ import annotations

import difflib
from functools import lru_cache
from importlib import resources
from pathlib import Path
from typing import Any, TypeVar

from pydantic import Field

from wearsim.bench.fields import (
    Conductivity,
    Density,
    Elasticity,
    Expansion,
    HeatCapacity,
    InputTable,
    PlainFactor,
    PoissonRatio,
    Stiffness,
    Temperature,
    Time,
)
from wearsim.bench.input_errors import nearest_word, parse_toml, read_table, read_text
from wearsim.errors import InputError


class Glass(InputTable):
    """A glass: density [kg/m^3], wear relative to borosilicate, what heat does to it, how it bends; each with its source.

    ``also``: what it is also called, and what is meant by that.

    Conductivity [W/(m K)], heat capacity [J/(kg K)], linear expansion [1/K]; Young's modulus [Pa], Poisson's ratio [1].
    """

    also: dict[str, str] = Field(default_factory=dict)
    density: Density
    density_source: str
    wear: PlainFactor
    wear_source: str
    conductivity: Conductivity
    heat_capacity: HeatCapacity
    expansion: Expansion
    heat_source: str
    young: Elasticity
    poisson: PoissonRatio
    elastic_source: str

    @property
    def diffusivity(self) -> float:
        """Conductivity over density and heat capacity [m^2/s]."""
        return self.conductivity / (self.density * self.heat_capacity)


class Abrasive(InputTable):
    """An abrasive: wear relative to cerium oxide, with its source; what it is also called, and what is meant."""

    also: dict[str, str] = Field(default_factory=dict)
    wear: PlainFactor
    wear_source: str


class Pitch(InputTable):
    """A pitch: foundation modulus [Pa/m], relaxation time [s] and the temperature [degC] it holds at."""

    also: dict[str, str] = Field(default_factory=dict)
    stiffness: Stiffness
    relaxation_time: Time
    pitch_temperature: Temperature
    source: str


_Table = TypeVar("_Table", bound=InputTable)


def configs_folder() -> Path:
    """Where the ready-made files are: inside the installed package, or beside it in a checkout."""
    package = Path(str(resources.files("wearsim")))
    inside = package / "configs"
    return inside if inside.is_dir() else package.parent / "configs"


@lru_cache(maxsize=8)
def _tables(name: str) -> dict[str, Any]:
    path = configs_folder() / name
    return parse_toml(read_text(path, "a file that comes with wearsim"), path)


def _pick(model: type[_Table], name: str, key: str, file: str) -> _Table:
    tables = _tables(file)
    proper = proper_name(name, file)
    if proper not in tables:
        known = {**{one: one for one in tables}, **_other_names(file)}
        close = difflib.get_close_matches(_plain(name), known, n=1, cutoff=0.6)
        expected = nearest_word(known[close[0]], tables) if close else f"one of {', '.join(_called(tables))}"
        raise InputError(f'unknown {key} "{name}"', key=key, expected=expected)
    return read_table(model, tables[proper], proper, configs_folder() / file)


def proper_name(name: str, file: str) -> str:
    """The name in such a file of what people also call otherwise; the name itself where it is none of these."""
    plain = _plain(name)
    return _other_names(file).get(plain, plain if plain in _tables(file) else name)


def _plain(name: str) -> str:
    """A name in small letters, its words joined: ``Cerium Oxide`` is ``cerium-oxide``."""
    return "-".join(name.lower().replace("_", " ").replace("-", " ").replace("'", "").replace("\u2019", "").split())


@lru_cache(maxsize=8)
def _other_names(file: str) -> dict[str, str]:
    return {_plain(other): name for name, table in _tables(file).items() for other in table.get("also", {})}


@lru_cache(maxsize=64)
def glass(name: str) -> Glass:
    """The glass of this name in ``configs/glasses.toml``, in SI units; InputError where there is none."""
    return _pick(Glass, name, "glass", "glasses.toml")


@lru_cache(maxsize=64)
def abrasive(name: str) -> Abrasive:
    """The abrasive of this name in ``configs/abrasives.toml``, in SI units; InputError where there is none."""
    return _pick(Abrasive, name, "abrasive", "abrasives.toml")


@lru_cache(maxsize=64)
def pitch(name: str) -> Pitch:
    """The pitch of this name in ``configs/pitches.toml``, in SI units; InputError where there is none."""
    return _pick(Pitch, name, "pitch", "pitches.toml")


def called(piece: str) -> tuple[str, ...]:
    """The same, each with what people also call it in brackets."""
    return _called(_tables(f"{piece}.toml"))


def _called(tables: dict[str, Any]) -> tuple[str, ...]:
    return tuple(
        f"{name} ({', '.join(table['also'])})" if table.get("also") else name for name, table in tables.items()
    )


def names(piece: str) -> tuple[str, ...]:
    """Names of the ready-made ``"glasses"``, ``"abrasives"``, ``"pitches"`` or ``"benches"``, that may be named."""
    if piece == "benches":
        return tuple(sorted(path.stem for path in (configs_folder() / "benches").glob("*.toml")))
    return tuple(_tables(f"{piece}.toml"))


def ready_bench(name: str) -> Path | None:
    """File of a ready-made bench, or None where there is none of this name."""
    return configs_folder() / "benches" / f"{name}.toml" if name in names("benches") else None
