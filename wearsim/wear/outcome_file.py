"""Outcomes in HDF5: provenance first, units on every dataset, a seal over all of it, and back into an equal outcome."""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from dataclasses import asdict
from pathlib import Path
from typing import Any
from urllib.parse import unquote

import h5py
import numpy as np

from wearsim.bench.figure_source import Light
from wearsim.bench.input_errors import is_ordinary, read_table
from wearsim.bench.mirror import Mirror
from wearsim.bench.whole_file import digest, whole_file
from wearsim.errors import StoreError
from wearsim.figure.metrics import NINE_IN_TEN, FigureGauge, FigureNumbers
from wearsim.kernels.arrays import Floats
from wearsim.wear.outcome import (
    BANDS,
    FIGURE_NUMBERS,
    PROFILES,
    SPELL_BANDS,
    SPELL_NUMBERS,
    Band,
    Outcome,
    OutcomeField,
    SpellSummary,
)
from wearsim.wear.sealed_hdf5 import DAMAGE, LAYOUT, check_seal, data, link_of, new_hdf5, provenance, scale, seal

FORMAT = "wearsim outcome"
VERSION = 3
"""1: before bands of all numbers, of the removal, of every spell and of the figure before; 2: before the
rim's height and the seal."""
# name -> (unit, what it is, names of its dimensions); a coordinate has none
_MAPS: dict[str, tuple[str, str, tuple[str, ...]]] = {
    "x": ("m", "place on the mirror", ()),
    "y": ("m", "place on the mirror, at right angles", ()),
    "pitch_x": ("m", "place on the lap", ()),
    "pitch_y": ("m", "place on the lap, at right angles", ()),
    "zernike_index": ("1", "single index of ISO 24157", ()),
    "ripple_frequency": ("1/m", "spatial frequency along the radius", ()),
    "before": ("m", "figure error before, positive = high", ("y", "x")),
    "after": ("m", "figure error after, positive = high", ("y", "x")),
    "removal": ("m", "glass removed", ("y", "x")),
    "glass": ("1", "share of the cell that is glass", ("y", "x")),
    "pitch": ("m", "pitch after, above the reference sphere", ("pitch_y", "pitch_x")),
    "facets": ("1", "share of the cell that is pitch", ("pitch_y", "pitch_x")),
    "zernike": ("m", "Zernike coefficients of the figure error, at the start and after each spell",
                ("stage", "zernike_index")),
    "ripple_amplitude": ("m", "amplitude of zonal ripple in the removal", ("ripple_frequency",)),
}  # fmt: skip


def write_maps(group: h5py.Group, maps: Mapping[str, Floats]) -> None:
    """Every map with its coordinates; what belongs to a lap but the first has the lap's name and a colon before it.

    Raises
    ------
    KeyError
        For a map that is none of ours.
    """
    kinds = {name: _MAPS[name.rpartition(": ")[2]] for name in maps}
    for name in sorted(maps, key=lambda one: len(kinds[one][2])):  # coordinates first: the others lie over them
        lap, (unit, text, dimensions) = name.rpartition(": ")[0], kinds[name]
        text += f" ({lap})" if lap else ""
        if not dimensions:
            scale(group, link_of(name), maps[name], unit, text)
        else:
            own = [f"{lap}: {one}" if f"{lap}: {one}" in maps else one for one in dimensions]
            over = tuple(map(link_of, own))
            data(group, link_of(name), maps[name], unit, text, over, compression="gzip", shuffle=True)


def read_maps(group: h5py.Group) -> dict[str, Floats]:
    """All maps of a group."""
    return {unquote(link): np.asarray(values[()]) for link, values in group.items()}


EXPECTED = ("expected_rms", "expected_rms_before")
"""Attributes of a band [m]; older files lack them."""


def write_outcome(outcome: Outcome, path: str | Path, *, seed: int = 0, force: bool = False) -> None:
    """Write an outcome with everything needed to understand it.

    Parameters
    ----------
    outcome : Outcome
    path : str or Path
    seed : int
        That it was computed with.
    force : bool
        Whether an existing file may be replaced.

    Raises
    ------
    InputError
        Where the file already exists or cannot be written.
    """
    with whole_file(Path(path), force=force) as partial, new_hdf5(partial, libver=LAYOUT) as (file, _):
        file.attrs["format"] = FORMAT
        file.attrs["format_version"] = VERSION
        about = provenance(
            seed=seed, engine=outcome.engine, warnings=list(outcome.warnings), no_band=outcome.no_band,
            bench_toml=outcome.bench_text, programme_toml=outcome.programme_text,
            bench_sha256=digest(outcome.bench_text), programme_sha256=digest(outcome.programme_text),
            peak_pressure=outcome.peak_pressure, lift_off_share=outcome.lift_off_share,
        )  # fmt: skip
        file.attrs.update(about)
        scale(file, "radius", outcome.radius, "m", "radius on the mirror")
        scale(file, "stage", np.arange(len(outcome.stages)), "1", "spells done")
        _write_all(file, PROFILES, vars(outcome))
        for name in ("numbers_before", "numbers"):
            file.create_group(name).attrs.update(asdict(getattr(outcome, name)))
        _write_spells(file, outcome)
        _write_band(file, outcome.band)
        _write_laps(file, outcome)
        write_maps(file.create_group("maps"), outcome.maps)
        file.create_group("details").attrs.update(outcome.details)
        seal(file)


def _write_all(group: h5py.Group, table: Mapping[str, OutcomeField], values: Mapping[str, Any]) -> None:
    """The quantities of a table that are there, each with its unit and its words."""
    for name, one in table.items():
        if values[name] is not None:
            data(group, name, values[name], one.unit, one.text, one.dimensions)


def _write_spells(file: h5py.File, outcome: Outcome) -> None:
    group = file.create_group("spells")
    group.attrs["label"] = [spell.label for spell in outcome.spells]
    scale(group, "spell", np.arange(1, len(outcome.spells) + 1), "1", "number of the spell")
    columns = {name: np.array([getattr(spell, name) for spell in outcome.spells], float) for name in SPELL_NUMBERS}
    _write_all(group, SPELL_NUMBERS, columns)


def _write_band(file: h5py.File, band: Band | None) -> None:
    if band is None:
        return
    group = file.create_group("band")
    group.attrs["draws"], group.attrs["failed"] = band.draws, band.failed
    group.attrs.update({name: value for name in EXPECTED if (value := getattr(band, name)) is not None})
    scale(group, "percentile", np.array(NINE_IN_TEN), "1", "percentile over the draws")
    _write_all(group, {**BANDS, **SPELL_BANDS}, vars(band))
    for when, numbers in (("", band.numbers), ("before_", band.numbers_before)):
        for name, ends in numbers.items():
            words = f"{FIGURE_NUMBERS[name].text} {'before' if when else 'after'}"
            data(group, when + name, ends, FIGURE_NUMBERS[name].unit, words, ("percentile",))
    group.create_group("details").attrs.update(band.details)


def _write_laps(file: h5py.File, outcome: Outcome) -> None:
    laps = file.create_group("laps")
    for name, radius in outcome.pitch_radius.items():
        group = laps.create_group(link_of(name))
        scale(group, "pitch_radius", radius, "m", "radius on the lap")
        height = outcome.pitch_height[name]
        data(group, "pitch_height", height, "m", "pitch after, above the reference sphere", ("pitch_radius",))


def read_outcome(path: str | Path) -> Outcome:
    """Read an outcome back.

    Parameters
    ----------
    path : str or Path

    Returns
    -------
    Outcome
        Equal to the one that was written.

    Raises
    ------
    StoreError
        Where the file is missing, damaged, of a newer version or not an outcome.
    """
    path = Path(path)
    if not is_ordinary(path):
        raise StoreError("no such file", file=path, expected="a file written by wearsim")
    try:
        with h5py.File(path, "r") as file:
            return _read(file, path)
    except DAMAGE as error:
        raise StoreError("damaged, or not an HDF5 file", file=path, expected="a file written by wearsim") from error


def _read(file: h5py.File, path: Path) -> Outcome:
    attributes = file.attrs
    if attributes.get("format") != FORMAT:
        raise StoreError("not an outcome", file=path, value=attributes.get("format"), expected=FORMAT)
    if int(attributes["format_version"]) > VERSION:
        raise StoreError(
            "written by a newer wearsim", file=path, value=int(attributes["format_version"]),
            expected=f"format version up to {VERSION}",
        )  # fmt: skip
    if int(attributes["format_version"]) > 2:
        check_seal(file)
    laps = file["laps"]
    return Outcome(
        engine=str(attributes["engine"]),
        radius=file["radius"][()],
        **{name: file[name][()] for name in PROFILES},
        numbers_before=_read_numbers(file, "numbers_before", "before"),
        numbers=_read_numbers(file, "numbers", "figure_error"),
        pitch_radius={unquote(link): laps[link]["pitch_radius"][()] for link in laps},
        pitch_height={unquote(link): laps[link]["pitch_height"][()] for link in laps},
        spells=_read_spells(file),
        peak_pressure=float(attributes["peak_pressure"]),
        lift_off_share=float(attributes["lift_off_share"]),
        band=_read_band(file),
        no_band=str(attributes.get("no_band", "")),
        warnings=tuple(map(str, attributes["warnings"])),
        maps=read_maps(file["maps"]),
        details=_floats(file["details"]),
        bench_text=str(attributes["bench_toml"]),
        programme_text=str(attributes["programme_toml"]),
    )


def _floats(group: h5py.Group) -> dict[str, float]:
    return {name: float(value) for name, value in group.attrs.items()}


def _read_numbers(file: h5py.File, name: str, profile: str) -> FigureNumbers:
    """A figure's numbers; the rim's, which older files lack, are taken from the profile."""
    found = _floats(file[name])
    if "rim_height" not in found:
        gauge, error = _gauge(file), file[profile][()]
        found |= {"rim_height": gauge.rim_height(error), "rim_width": gauge.rim_width(error)}
    return FigureNumbers(**found)


def _gauge(file: h5py.File) -> FigureGauge:
    radius = file["radius"][()]
    return FigureGauge(radius, _mirror_of(file, radius).geometry, Light().wavelength)


def _mirror_of(file: h5py.File, radius: Floats) -> Mirror:
    """The mirror as its bench states it; of a bench that was built in Python one of this size, its rim the default."""
    table = tomllib.loads(str(file.attrs["bench_toml"]))
    if "mirror" in table:
        return read_table(Mirror, table["mirror"], "mirror", None)
    across = 2.0 * float(radius[-1])
    return Mirror(diameter=across, radius_of_curvature=100.0 * across, thickness=across, hole=2.0 * float(radius[0]))


def _read_spells(file: h5py.File) -> tuple[SpellSummary, ...]:
    """Every spell; the rim's numbers, which older files lack, are taken from the profiles after it."""
    group = file["spells"]
    columns = {name: group[name][()] for name in SPELL_NUMBERS if name in group}
    if "rim_height" not in columns:
        gauge, stages = _gauge(file), file["stages"][1:]
        columns |= {name: [getattr(gauge, name)(one) for one in stages] for name in ("rim_height", "rim_width")}
    return tuple(
        SpellSummary(label=str(label), **{name: float(values[i]) for name, values in columns.items()})
        for i, label in enumerate(group.attrs["label"])
    )


def _read_band(file: h5py.File) -> Band | None:
    if "band" not in file:
        return None
    group = file["band"]

    def numbers(when: str) -> dict[str, Floats]:
        return {name: group[when + name][()] for name in FIGURE_NUMBERS if when + name in group}

    return Band(
        numbers=numbers(""),
        numbers_before=numbers("before_"),
        draws=int(group.attrs["draws"]),
        failed=int(group.attrs["failed"]),
        **{name: group[name][()] for name in (*BANDS, *SPELL_BANDS) if name in group},
        details=dict(group["details"].attrs.items()) if "details" in group else {},
        expected_rms=group.attrs.get("expected_rms"),
        expected_rms_before=group.attrs.get("expected_rms_before"),
    )
